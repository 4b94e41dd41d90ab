package findings

import (
	"math"
	"math/rand/v2"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

const testRate = 48000

// kinds of pickups: what they hear.
type pickup int

const (
	mic      pickup = iota // its own source, the rest of the stage, the room
	line                   // its own source only, over a preamp
	digital                // its own source only, digitally silent else
	audience               // the room, the stage from afar
)

// voice is one channel of the invented stage.
type voice struct {
	name, group string
	pickup      pickup
	plays       func(st *stageNight, song int, block int) float64 // 0 to 1, in a song
	own         float64                                           // dBFS of its source at 1
	bleed       float64                                           // dB of the rest, below own
	floor       float64                                           // dBFS
}

// stageNight is what happens on one night, block by block.
type stageNight struct {
	rng    *rand.Rand
	blocks int
	song   []int // song of each block, -1 between
	takes  []evidence.Take
	crowd  []float64
	break_ []bool // a breakdown: voice alone
}

var songNames = []string{"Lamps", "Ferry", "Ash and Oak", "Slow Rain", "Copper"}

// newStage makes a night of all songs in some order, of about a minute each.
func newStage(rng *rand.Rand, songs int) *stageNight {
	st := &stageNight{rng: rng}
	gap := func(blocks int) {
		for range blocks {
			st.song = append(st.song, -1)
		}
	}
	gap(60 + rng.IntN(100))
	for _, s := range rng.Perm(len(songNames))[:songs] {
		from := len(st.song)
		for range 450 + rng.IntN(350) {
			st.song = append(st.song, s)
		}
		st.takes = append(st.takes, evidence.Take{Song: songNames[s], Start: int64(from) * testRate / 10, End: int64(len(st.song)) * testRate / 10})
		pause := 60 + rng.IntN(160)
		if rng.IntN(4) == 0 {
			pause += 300 // a long talk, or the break before an encore
		}
		gap(pause)
	}
	st.blocks = len(st.song)
	st.crowd = make([]float64, st.blocks)
	st.break_ = make([]bool, st.blocks)
	since := 100
	for b, s := range st.song {
		since++
		if s >= 0 {
			since = 0
		}
		st.crowd[b] = 0.02 * (0.7 + 0.6*rng.Float64())
		if since > 0 && since < 60 {
			st.crowd[b] += 0.5 * math.Exp(-float64(since)/25) * rng.Float64()
		}
	}
	for _, t := range st.takes {
		from := int(t.Start/4800) + 150 + rng.IntN(150)
		for b := from; b < from+100+rng.IntN(100) && b < int(t.End/4800)-20; b++ {
			st.break_[b] = true
		}
	}
	return st
}

func beat(every, phase int, level float64) func(*stageNight, int, int) float64 {
	return func(st *stageNight, song, b int) float64 {
		if st.break_[b] {
			return 0
		}
		d := (b + phase) % (every + song%2)
		return level * math.Exp(-0.9*float64(d)) * (0.8 + 0.2*st.rng.Float64())
	}
}

func steady(level float64) func(*stageNight, int, int) float64 {
	return func(st *stageNight, song, b int) float64 {
		if st.break_[b] {
			return 0
		}
		return level * (0.5 + 0.5*math.Exp(-0.4*float64(b%7))) * (0.9 + 0.1*st.rng.Float64())
	}
}

func sings(on, off, phase int) func(*stageNight, int, int) float64 {
	return func(st *stageNight, song, b int) float64 {
		if (b+phase)%(on+off) >= on {
			return 0
		}
		return 0.4 + 0.6*st.rng.Float64()
	}
}

// only restricts a player to some songs.
func only(f func(*stageNight, int, int) float64, songs ...int) func(*stageNight, int, int) float64 {
	return func(st *stageNight, song, b int) float64 {
		if !slices.Contains(songs, song) {
			return 0
		}
		return f(st, song, b)
	}
}

func never(*stageNight, int, int) float64 { return 0 }

// band returns the channels; floors, levels and bleed vary with rng, which is
// the tour's.
func band(rng *rand.Rand) []voice {
	v := []voice{
		{"Kick In", "drums", mic, beat(5, 0, 1), -14, 32, -96},
		{"Snare Top", "drums", mic, beat(5, 2, 1), -15, 28, -90},
		{"Snare Bottom", "drums", mic, beat(5, 2, 0.8), -18, 26, -88},
		{"Hat", "drums", mic, beat(2, 0, 0.9), -28, 16, -84},
		{"Tom", "drums", mic, beat(41, 7, 1), -16, 30, -90},
		{"Overhead L", "drums", mic, steady(0.8), -26, 12, -82},
		{"Overhead R", "drums", mic, steady(0.8), -26, 12, -82},
		{"Bass DI", "bass", line, steady(1), -18, 0, -98},
		{"Guitar L", "guitars", mic, steady(0.9), -20, 26, -92},
		{"Guitar R", "guitars", mic, only(steady(0.9), 0, 1, 3, 4), -20, 26, -92},
		{"Keys", "keys", digital, only(sings(80, 45, 0), 0, 2, 3), -22, 0, -200},
		{"Acoustic", "guitars", line, only(steady(0.7), 3), -24, 0, -97},
		{"Lead Vocal", "vocals", mic, sings(32, 21, 5), -20, 22, -78},
		{"Vocal 2", "vocals", mic, sings(20, 150, 60), -22, 22, -77},
		{"Guest Vocal", "vocals", mic, only(sings(30, 20, 0), 1), -20, 22, -78},
		{"Audience L", "audience", audience, never, -30, 0, -74},
		{"Audience R", "audience", audience, never, -30, 0, -74},
		{"Spare DI", "spare", line, never, -20, 0, -98},
	}
	for i := range v {
		v[i].own += 6*rng.Float64() - 4
		v[i].bleed += 10*rng.Float64() - 5
		v[i].floor += 10*rng.Float64() - 5
	}
	return v
}

// perform returns what each channel holds. gain is the night's difference of
// its preamp in dB.
func (st *stageNight) perform(voices []voice, gain []float64) []*tape {
	sources := make([][]float64, len(voices))
	for i, v := range voices {
		sources[i] = make([]float64, st.blocks)
		for b, s := range st.song {
			if s >= 0 {
				a := v.plays(st, s, b)
				sources[i][b] = a * a
			}
		}
	}
	stage := make([]float64, st.blocks) // what any microphone hears of all
	for b := range stage {
		for i, v := range voices {
			if v.pickup == mic || v.pickup == line {
				stage[b] += sources[i][b] / 6
			}
		}
		if b > 0 {
			stage[b] = max(stage[b], 0.55*stage[b-1]) // the hall
		}
	}
	power := func(dB float64) float64 { return math.Pow(10, dB/10) }
	var tapes []*tape
	for i, v := range voices {
		t := &tape{name: v.name, group: v.group, number: i + 1, rng: st.rng, blocks: make([]meter.Block, st.blocks)}
		ownPower, floorPower, bleedPower, gainPower := power(v.own), power(v.floor), power(v.own-v.bleed), power(gain[i])
		for b := range t.blocks {
			own := ownPower * sources[i][b]
			floor := floorPower * (1 + 0.02*st.rng.NormFloat64())
			ms := floor
			switch v.pickup {
			case mic:
				heard := bleedPower * (stage[b]*(0.8+0.4*st.rng.Float64()) + 0.02*st.crowd[b]*st.crowd[b])
				ms = gainPower*(own+heard) + floor*gainPower
			case line:
				ms = gainPower*own + floor
			case digital:
				ms = own
			case audience:
				ms = ownPower*(st.crowd[b]*st.crowd[b]+0.3*stage[b]) + floor
			}
			t.set(b, ms)
		}
		tapes = append(tapes, t)
	}
	return tapes
}

// tape is the measured track, before it is broken.
type tape struct {
	name, group string
	number      int
	rng         *rand.Rand
	blocks      []meter.Block
	events      []meter.Event
	ends        int64 // frames; 0 = all
}

func (t *tape) set(b int, ms float64) {
	peak := min(0.97, math.Sqrt(ms)*(2.6+0.5*t.rng.Float64()))
	bl := meter.Block{Peak: float32(peak), TruePeak: float32(peak), MeanSquare: float32(ms), KMeanSquare: float32(ms)}
	if ms == 0 {
		bl.Zeros = testRate / 10
	}
	t.blocks[b] = bl
}

// silence leaves only a floor, or digital zero below -150 dBFS.
func (t *tape) silence(from, to int, floor float64) {
	power := math.Pow(10, floor/10)
	for b := from; b < to; b++ {
		ms := power * (1 + 0.02*t.rng.NormFloat64())
		if floor < evidence.Silence {
			ms = 0
		}
		t.set(b, ms)
	}
}

func (t *tape) event(kind meter.EventKind, start, frames int64, level float64) {
	t.events = append(t.events, meter.Event{Kind: kind, Start: start, Frames: frames, Level: float32(level)})
	size := int64(testRate / 10)
	for at := start; at < start+frames; {
		b := at / size
		n := min(start+frames, (b+1)*size) - at
		bl := &t.blocks[b]
		switch kind {
		case meter.ClipRun:
			bl.Clipped += uint16(n)
			bl.Peak, bl.TruePeak = 1, max(bl.TruePeak, 1.05)
		case meter.FlatTop:
			bl.Flat += uint16(n)
			bl.Peak = max(bl.Peak, float32(level))
		case meter.ZeroRun:
			bl.Zeros += uint16(n)
			left := 1 - float32(n)/float32(size)
			bl.MeanSquare *= left
			bl.KMeanSquare *= left
			if left == 0 {
				*bl = meter.Block{Zeros: uint16(size)}
			}
		}
		at += n
	}
}

// ceiling cuts what is louder flat.
func (t *tape) ceiling(from, to int, level float64) (hits int) {
	for b := from; b < to; b++ {
		bl := &t.blocks[b]
		if float64(bl.Peak) <= level {
			continue
		}
		bl.Peak, bl.TruePeak = float32(level), float32(level)
		for k := range 4 {
			t.event(meter.FlatTop, int64(b)*testRate/10+int64(k)*1000, 20+t.rng.Int64N(30), level)
			hits++
		}
	}
	return hits
}

func (t *tape) offset(dc float64) {
	for b := range t.blocks {
		bl := &t.blocks[b]
		bl.Mean = float32(dc)
		bl.MeanSquare += float32(dc * dc)
		bl.Peak += float32(math.Abs(dc))
	}
}

func (t *tape) frames() int64 {
	if t.ends > 0 {
		return t.ends
	}
	return int64(len(t.blocks)) * testRate / 10
}

// track reduces the tape as Judge does.
func (t *tape) track() evidence.Track {
	frames := t.frames()
	slices.SortStableFunc(t.events, func(a, b meter.Event) int { return int(a.Start - b.Start) })
	e := meter.Envelope{SampleRate: testRate, Frames: frames, Blocks: t.blocks[:(frames+testRate/10-1)/(testRate/10)], Events: t.events}
	return evidence.Reduce(catalog.Track{SampleRate: testRate, Number: t.number, Name: t.name, Channel: t.name, Frames: frames,
		Input: catalog.Input{Track: t.number, Channel: t.name, Group: t.group}}, e, evidence.Options{})
}

// night puts tapes together; those that are nil were not recorded.
func night(st *stageNight, voices []voice, tapes []*tape) *evidence.Recording {
	n := &evidence.Recording{SampleRate: testRate, Frames: int64(st.blocks) * testRate / 10, Takes: st.takes, Elsewhere: map[int]bool{}, Usual: map[string]int{}, Others: 3, Past: map[string][]evidence.Past{}}
	for i, v := range voices {
		n.Inputs = append(n.Inputs, catalog.Input{Track: i + 1, Channel: v.name, Group: v.group})
		n.Usual[catalog.Key(v.name)] = 3
		if tapes[i] != nil {
			n.Tracks = append(n.Tracks, tapes[i].track())
			n.Files = append(n.Files, catalog.File{Path: v.name + ".wav", FirstTrack: i + 1, Channels: 1, Frames: tapes[i].frames()})
		}
	}
	return n
}

// remember makes a night's tracks the past of n.
func remember(n *evidence.Recording, date catalog.ShowKey, other *evidence.Recording) {
	for _, t := range other.Tracks {
		k := catalog.Key(t.Channel)
		n.Past[k] = append(n.Past[k], evidence.Past{Show: date, Track: t, Takes: other.Takes})
	}
}
