package findings

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// Random nights go through all judges: recordings of any length that start anywhere in
// a show, with any number of tracks, and takes that lie anywhere; tracks that are
// empty, of one block, all digital zeros, shorter than the recording, or louder than
// anything; other nights of other shapes. None makes a judge panic, every finding is
// well formed, and the same night has the same findings again. NIGHTREEL_NIGHTS=n judges n nights
// instead of those of the suite, from number NIGHTREEL_FROM on.
func TestJudgesNeverPanicOnRandomNights(t *testing.T) {
	nights, from := 2000, 0
	if RaceEnabled || testing.Short() {
		nights = 200
	}
	if n, err := strconv.Atoi(os.Getenv("NIGHTREEL_NIGHTS")); err == nil {
		nights = n
		from, _ = strconv.Atoi(os.Getenv("NIGHTREEL_FROM"))
	}
	digest, count, steps := fnv.New64a(), map[catalog.FindingKind]int{}, 0
	for seed := from; seed < from+nights; seed++ {
		r := randomNight(rand.New(rand.NewPCG(uint64(seed), 2031)))
		found := judgeAnything(t, r)
		if t.Failed() {
			t.Fatalf("night %d", seed)
		}
		for _, f := range found {
			count[f.Kind]++
			if f.Evidence["within_night"] == 1 {
				steps++
			}
			fmt.Fprint(digest, f)
		}
		if seed%64 == 0 && !slices.EqualFunc(found, judgeAnything(t, randomNight(rand.New(rand.NewPCG(uint64(seed), 2031)))), func(a, b catalog.Finding) bool { return fmt.Sprint(a) == fmt.Sprint(b) }) {
			t.Errorf("night %d has other findings the second time", seed)
		}
	}
	t.Logf("%d random nights, findings %v, %d steps of gain, digest %x", nights, count, steps, digest.Sum64())
	for _, kind := range urgency {
		if count[kind] == 0 && nights >= 2000 {
			t.Errorf("no random night has a finding of %s: its judge is not tried", kind)
		}
	}
}

// FuzzJudges judges nights that are made of the fuzzer's bytes.
func FuzzJudges(f *testing.F) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 7))
		data := make([]byte, 64*seed)
		for i := range data {
			data[i] = byte(rng.Uint64())
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		judgeAnything(t, randomNight(rand.New(&bytesSource{data: data, then: rand.NewPCG(uint64(len(data)), 1)})))
	})
}

// bytesSource gives out bytes as random numbers, and random numbers after them.
type bytesSource struct {
	data []byte
	then *rand.PCG
}

func (s *bytesSource) Uint64() uint64 {
	if len(s.data) < 8 {
		return s.then.Uint64()
	}
	v := binary.LittleEndian.Uint64(s.data)
	s.data = s.data[8:]
	return v
}

// judgeAnything judges a recording, and its sound as a line check against the other
// nights. It reports panics and malformed findings.
func judgeAnything(t testing.TB, r *evidence.Recording) []catalog.Finding {
	t.Helper()
	defer func() {
		if cause := recover(); cause != nil {
			t.Errorf("outside of the judges: %v\n%s", cause, debug.Stack())
		}
	}()
	found := judged(t, r)
	for _, f := range found {
		if f.EndFrame < f.StartFrame || len(f.Text) < 20 || strings.Contains(f.Text, "%!") || strings.Contains(f.Text, "NaN") || !slices.Contains(severities, f.Severity) {
			t.Errorf("malformed: %+v", f)
		}
	}
	if r.Sound != nil && r.Frames%3 == 0 {
		pairs, _, notExchanged := Exchanged(r.Sound, r.Tour)
		line, notJudged := Line(r.Sound, r.Tour, pairs, len(r.Tracks)%2 == 0)
		for _, n := range append(notExchanged, notJudged...) {
			t.Error("line check: " + strings.Join(n.Report(), "\n"))
		}
		found = append(found, line...)
	}
	return found
}

// tourist makes the nights of one random tour.
type tourist struct {
	*rand.Rand
	names  []string // of all channels that there are
	songs  int
	level  []float64 // dB that each channel plays at
	hears  []int     // for each channel: -1 and 1 hear the stage turned over or not, 0 not at all
	prints []spectrum.Print
}

var randomNames = []string{"Kick In", "Snare Top", "Hat", "Overhead L", "Overhead R", "Bass DI", "Bass Mic", "Keys L", "Keys R", "Lead Vocal", "Guest", "Drum Loop", "Spare 1", ""}

func (r *tourist) oneIn(n int) bool { return r.IntN(n) == 0 }

func pick[T any](r *rand.Rand, all ...T) T { return all[r.IntN(len(all))] }

// randomNight makes a recording with its other nights.
func randomNight(rng *rand.Rand) *evidence.Recording {
	r := &tourist{Rand: rng, names: slices.Clone(randomNames), songs: 1 + rng.IntN(9)}
	rng.Shuffle(len(r.names), func(i, j int) { r.names[i], r.names[j] = r.names[j], r.names[i] })
	for range r.names {
		r.level = append(r.level, -50+55*rng.Float64())
		r.hears = append(r.hears, pick(rng, 1, 1, 1, -1, 0))
	}
	r.prints = make([]spectrum.Print, 2*spectrum.PartCells)
	for c := range r.prints {
		for w := range r.prints[c] {
			r.prints[c][w] = rng.Uint64()
		}
	}
	tonight := r.capture()
	n := tonight.recording(r)
	for day := range pick(rng, 0, 0, 1, 2, 2, 3, 5) {
		other := r.capture()
		if r.oneIn(2) {
			other = tonight.again(r)
		}
		if !r.oneIn(6) {
			n.Tour = append(n.Tour, other.night(r, catalog.ShowKey(fmt.Sprintf("2031-04-%02d", day+1))))
		}
		for i := range other.tracks {
			if key := catalog.Key(other.tracks[i].name); r.oneIn(2) {
				n.Past[key] = append(n.Past[key], evidence.Past{Show: catalog.ShowKey(fmt.Sprintf("2031-04-%02d", day+1)), BitDepth: pick(rng, 0, 16, 24), Track: other.track(r, i), Takes: other.takes})
			}
		}
	}
	if r.oneIn(10) {
		n.Past = nil
	}
	return n
}

// capture is what a rig recorded of a show.
type capture struct {
	rate, blocks int
	loud         []bool // block by block: the band plays
	takes        []evidence.Take
	tracks       []randomTrack
}

// randomTrack is what a track holds.
type randomTrack struct {
	name     string
	number   int
	channel  int // index of its name
	holds    int
	blocks   int
	plays    float64 // dB
	floor    float64
	step, by int    // the block at which its gain changes, and by how many dB
	dies     int    // the block from which on it holds its floor
	wave     int    // index of the channel whose signal it carries
	luck     uint64 // tracks with the same luck hold the same wave
}

// What a track may hold.
const (
	playing = iota
	onlyFloor
	zeros
	drone
	anything
	holdings
)

func (r *tourist) capture() *capture {
	c := &capture{rate: pick(r.Rand, 48000, 48000, 48000, 44100, 96000, 8000, 11025, 384000)}
	c.blocks = pick(r.Rand, 0, 1, 1+r.IntN(12), r.IntN(300), r.IntN(300), 300+r.IntN(300), 300+r.IntN(300))
	usual := r.oneIn(2)
	if usual {
		c.blocks = 300 + r.IntN(400)
	}
	tracks := pick(r.Rand, 0, 1, 2, 3, 3, 4, 4, 5)
	if r.oneIn(10) {
		c.blocks, tracks = 2*c.blocks, 3*tracks
	}
	r.play(c, usual)
	names := r.Perm(len(r.names))[:min(len(r.names), tracks)]
	if len(names) == 12 && r.oneIn(8) {
		for i := range 30 { // more than there are names
			names = append(names, i%len(r.names))
		}
	}
	for i, k := range names {
		t := randomTrack{name: r.names[k], number: i + 1, channel: k, wave: k, luck: r.Uint64(), blocks: c.blocks, plays: r.level[k] + 6*r.Float64(), floor: -110 + 30*r.Float64(), step: math.MaxInt, dies: math.MaxInt}
		if !usual {
			t.holds = r.IntN(int(holdings))
		} else if r.oneIn(8) {
			t.holds = r.IntN(int(holdings))
		}
		if r.oneIn(6) {
			t.blocks = r.IntN(c.blocks + 100)
		}
		if r.oneIn(3) {
			t.step, t.by = r.IntN(c.blocks+1), pick(r.Rand, -12, -6, 6, 10, 40)
		}
		if r.oneIn(6) {
			t.dies = r.IntN(c.blocks + 1)
		}
		if r.oneIn(8) {
			t.number = r.IntN(40) // also one that another track has
		}
		if r.oneIn(8) {
			t.wave = r.IntN(len(r.names))
		}
		if i > 0 && r.oneIn(10) { // patched twice
			copied := c.tracks[r.IntN(i)]
			copied.name, copied.number, copied.plays, copied.floor = t.name, t.number, copied.plays-3, copied.floor-3
			t = copied
		}
		c.tracks = append(c.tracks, t)
	}
	return c
}

// play chooses when the band plays and where the takes lie. The rig may start and end
// anywhere in the show.
func (r *tourist) play(c *capture, usual bool) {
	c.loud = make([]bool, c.blocks)
	size := int64(meter.BlockFrames(c.rate))
	at := -r.IntN(c.blocks/2 + 50)
	for at < c.blocks+100 {
		length, pause := pick(r.Rand, 0, 20, 80+r.IntN(100), 80+r.IntN(300), 100+r.IntN(600)), pick(r.Rand, 0, 10, 20+r.IntN(40), 20+r.IntN(100), 30+r.IntN(300))
		if usual {
			length, pause = 80+r.IntN(200), 25+r.IntN(50)
		}
		for b := max(0, at); b < min(at+length, c.blocks); b++ {
			c.loud[b] = true
		}
		if !r.oneIn(5) {
			take := evidence.Take{Song: fmt.Sprintf("Song %d", r.IntN(r.songs)), Start: int64(at) * size, End: int64(at+length) * size}
			if !usual && r.oneIn(8) {
				take.Start, take.End = r.Int64N(int64(c.blocks+200)*size+1), r.Int64N(int64(c.blocks+200)*size+1)
				take.End = max(take.Start, take.End)
			}
			if !r.oneIn(4) { // as the catalog gives them
				take.Start, take.End = max(0, take.Start), min(take.End, int64(c.blocks)*size)
			}
			if take.Start <= take.End {
				c.takes = append(c.takes, take)
			}
		}
		at += length + pause
	}
	if r.oneIn(5) {
		r.Shuffle(len(c.takes), func(i, j int) { c.takes[i], c.takes[j] = c.takes[j], c.takes[i] })
	}
	if !usual && r.oneIn(8) {
		c.takes = nil
	}
}

// again returns a capture of some of the songs at the same times and of the same
// tracks. All of these tracks play.
func (c *capture) again(r *tourist) *capture {
	same := *c
	same.takes = nil
	most := r.IntN(4)
	for _, take := range c.takes {
		if r.IntN(4) >= most {
			same.takes = append(same.takes, take)
		}
	}
	same.tracks = slices.Clone(c.tracks)
	for i := range same.tracks {
		t := &same.tracks[i]
		t.holds, t.blocks, t.step, t.dies, t.wave, t.plays = playing, c.blocks, math.MaxInt, math.MaxInt, t.channel, r.level[t.channel]+float64(r.IntN(3))
	}
	return &same
}

// powers has the powers of levels from -400 dB on in steps of 1/8 dB: they are faster to
// look up than to compute.
var powers = func() (all [6401]float64) {
	for i := range all {
		all[i] = math.Pow(10, float64(i-3200)/80)
	}
	return all
}()

// power is the mean square of a level in dB.
func power(db float64) float64 {
	if math.IsInf(db, -1) {
		return 0
	}
	return powers[min(max(0, int(8*db)+3200), len(powers)-1)]
}

// levelAt is what a track holds in a block, in dB.
func (c *capture) levelAt(t *randomTrack, b int, luck float64) float64 {
	level := t.floor + luck/4
	switch {
	case t.holds == zeros:
		return math.Inf(-1)
	case t.holds == drone:
		level = -30
	case t.holds == anything:
		level = -200 + 500*luck
	case t.holds == onlyFloor || b >= t.dies:
	case b < len(c.loud) && c.loud[b]:
		level = t.plays - 6*luck - float64((b/7+t.channel)%3*4)
	default:
		level += 12 + 4*luck
	}
	if b >= t.step {
		level += float64(t.by)
	}
	return level
}

// track measures what a track holds, as a scan does.
func (c *capture) track(r *tourist, i int) evidence.Track {
	t := &c.tracks[i]
	size := int64(meter.BlockFrames(c.rate))
	e := meter.Envelope{SampleRate: c.rate, Frames: int64(t.blocks) * size, Blocks: make([]meter.Block, t.blocks)}
	if e.Frames > 0 {
		e.Frames -= r.Int64N(size)
	}
	dc := pick(r.Rand, 0, 0, 0, 0, 0.01, -0.2)
	luck, bits := rand.NewPCG(t.luck, 1), uint64(0)
	for b := range e.Blocks {
		if b%8 == 0 {
			bits = luck.Uint64()
		}
		square := power(c.levelAt(t, b, float64(bits>>(b%8*8)&255)/256))
		peak := float32(math.Min(math.MaxFloat32, 3*math.Sqrt(square)))
		if t.holds == playing {
			peak = min(peak, 1)
		}
		mean := float32(math.Min(math.MaxFloat32, square))
		e.Blocks[b] = meter.Block{Peak: peak, TruePeak: peak, Mean: float32(dc), MeanSquare: mean + float32(dc*dc), KMeanSquare: mean, MaxMomentary: mean}
	}
	r.happen(&e)
	ct := catalog.Track{SampleRate: c.rate, Number: t.number, Name: t.name, Channel: t.name, Frames: e.Frames, Input: catalog.Input{Track: t.number, Channel: t.name}}
	if r.oneIn(5) {
		gain := float64(r.IntN(60))
		ct.Input.GainDB = &gain
	}
	if r.oneIn(8) {
		ct.Assumed, ct.Input.Track = true, 0
	}
	if r.oneIn(12) {
		return evidence.Unmeasured(ct)
	}
	return evidence.Reduce(ct, e, evidence.Options{})
}

// happen writes events into an envelope, and what blocks count of them.
func (r *tourist) happen(e *meter.Envelope) {
	if len(e.Blocks) == 0 || e.Frames == 0 || r.oneIn(3) {
		return
	}
	size := int64(meter.BlockFrames(e.SampleRate))
	for range 1 + r.IntN(3) {
		kind := pick(r.Rand, meter.ClipRun, meter.FlatTop, meter.ZeroRun, meter.Crack, meter.Crack)
		at, level := r.Int64N(e.Frames), pick(r.Rand, 0, 0.3, 0.5, 1, 1e30)
		for range pick(r.Rand, 1, 4, 15, 60) {
			frames := min(e.Frames-at, 1+r.Int64N(pick(r.Rand, int64(1), 40, 3*size)))
			e.Events = append(e.Events, meter.Event{Kind: kind, Start: at, Frames: frames, Level: float32(level)})
			b := &e.Blocks[min(at/size, int64(len(e.Blocks)-1))]
			n := uint16(min(frames, size, math.MaxUint16))
			switch kind {
			case meter.ClipRun:
				b.Clipped += n
			case meter.FlatTop:
				b.Flat += n
				b.Peak = max(b.Peak, float32(level))
			case meter.ZeroRun:
				b.Zeros = n
			default:
				b.Cracks++
			}
			if at += frames + r.Int64N(pick(r.Rand, int64(100), size, 20*size)); at >= e.Frames {
				break
			}
		}
	}
	slices.SortStableFunc(e.Events, func(a, b meter.Event) int { return int(a.Start - b.Start) })
}

// recording is the evidence of a capture.
func (c *capture) recording(r *tourist) *evidence.Recording {
	size := int64(meter.BlockFrames(c.rate))
	n := &evidence.Recording{SampleRate: c.rate, Takes: c.takes, Elsewhere: map[int]bool{}, Usual: map[string]int{}, Others: r.IntN(4), Past: map[string][]evidence.Past{}}
	for i := range c.tracks {
		t := c.track(r, i)
		n.Tracks = append(n.Tracks, t)
		n.Frames = max(n.Frames, t.Frames)
		file := catalog.File{Path: "night/" + t.Name + ".wav", FirstTrack: t.Number, Channels: 1, Frames: t.Frames, Unfinished: r.oneIn(10)}
		if r.oneIn(6) {
			later := file
			file.Frames /= 2
			later.StartFrame = file.Frames + r.Int64N(20*size+1)
			n.Files = append(n.Files, later)
		}
		n.Files = append(n.Files, file)
	}
	n.Frames = max(n.Frames, int64(c.blocks)*size)
	for i := range r.IntN(20) {
		n.Inputs = append(n.Inputs, catalog.Input{Track: i + 1, Channel: pick(r.Rand, r.names...)})
		n.Usual[catalog.Key(pick(r.Rand, r.names...))] = r.IntN(4)
	}
	if r.oneIn(4) {
		n.Elsewhere = nil
	}
	if !r.oneIn(6) {
		n.Sound = c.night(r, "2031-05-02")
	}
	return n
}

// night is what a capture sounds like.
func (c *capture) night(r *tourist, show catalog.ShowKey) *channelsound.Night {
	n := &channelsound.Night{SampleRate: c.rate, BitDepth: pick(r.Rand, 0, 16, 24), Takes: evidence.Spans(c.takes)}
	parts := (c.blocks + meter.PartBlocks - 1) / meter.PartBlocks
	for i := range c.tracks {
		t := &c.tracks[i]
		if r.oneIn(12) || parts == 0 && r.oneIn(2) {
			continue // a scan of earlier times kept no tone
		}
		var tones []spectrum.Tone
		hum := pick(r.Rand, 0, 0, 0, 0, 50, 60)
		for part := range parts {
			cells := spectrum.PartCells
			if part == parts-1 {
				cells = r.IntN(spectrum.PartCells + 1)
			}
			tones = append(tones, c.tone(r, t, part, cells, hum))
		}
		ct := catalog.Track{SampleRate: c.rate, Number: t.number, Name: t.name, Channel: t.name, Show: show, Frames: int64(t.blocks) * int64(meter.BlockFrames(c.rate))}
		n.Voices = append(n.Voices, channelsound.Hear(ct, tones, n.Takes))
	}
	return n
}

// tone is what a track sounds like for a minute.
func (c *capture) tone(r *tourist, t *randomTrack, part, cells, hum int) spectrum.Tone {
	tone := spectrum.Tone{Cells: make([]spectrum.Cell, cells)}
	same := rand.NewPCG(t.luck, uint64(part)+2)
	for k := range tone.Cells {
		cell := &tone.Cells[k]
		luck := same.Uint64()
		square := power(c.levelAt(t, part*meter.PartBlocks+(2*k+1)*meter.PartBlocks/spectrum.PartCells/2, float64(luck&255)/256))
		for band := range cell.Bands {
			slope := float64(1 + (t.wave*13+band*7)%20)
			cell.Bands[band] = float32(math.Min(math.MaxFloat32, square/slope))
		}
		if r.hears[t.wave] == 0 {
			continue
		}
		stage := r.prints[(part*spectrum.PartCells+k)%len(r.prints)]
		for w := range cell.Print {
			cell.Print[w] = stage[w] ^ luck&(luck>>7)
			if r.hears[t.wave] < 0 {
				cell.Print[w] = ^cell.Print[w]
			}
		}
	}
	quiet := float32(power(t.floor))
	if t.holds == zeros {
		quiet = 0
	}
	for k := range tone.Quiet {
		tone.Quiet[k] = quiet * 0.01
	}
	for band := range tone.QuietBands {
		tone.QuietBands[band] = quiet * 0.03
	}
	if hum > 0 {
		binHz := float64(c.rate) / float64(spectrum.Decimation(c.rate)*2*spectrum.Bins)
		for h := 1; h <= 8; h++ {
			if k := int(math.Round(float64(h*hum) / binHz)); k < len(tone.Quiet) {
				tone.Quiet[k] = max(1e-7, quiet)
			}
		}
	}
	return tone
}
