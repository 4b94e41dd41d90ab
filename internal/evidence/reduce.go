package evidence

import (
	"strings"
	"unicode"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// FloorLimits are the thresholds of the floor of a track.
var FloorLimits = struct {
	// AboveDB is from where on above a floor a bin surely holds more. The noise of a preamp
	// varies by 0.1 dB from block to block (white noise); hum and dimmer noise by a few.
	AboveDB float64 `unit:"dB" source:"measured"`

	// QuietS is the shortest silence, in seconds of playing band, that is judged: no bleed is
	// as steady as a floor for so long. A dead track may hold as much sound in all: pops when
	// it was plugged in (common practice).
	QuietS float64 `unit:"s" source:"chosen"`

	// UnderDB is how far a floor lies below what the track holds elsewhere.
	UnderDB float64 `unit:"dB" source:"chosen"`

	// LowShare is the share of the bins below the low level, and above the high one; BlipShare
	// the share that a lifeless track may hold more in; FloorPart the part of the bins, one in
	// so many, whose loudest is the floor.
	LowShare  float64 `unit:"share" source:"chosen"`
	BlipShare float64 `unit:"share" source:"chosen"`
	FloorPart int     `unit:"parts" source:"chosen"`

	// LoudestDBFS keeps a steady drone from being taken for a floor.
	LoudestDBFS float64 `unit:"dBFS" source:"chosen"`
}{
	AboveDB:     6,
	QuietS:      8,
	UnderDB:     12,
	LowShare:    0.1,
	BlipShare:   0.1,
	FloorPart:   20,
	LoudestDBFS: -50,
}

// DCStretch is how many blocks an offset is taken over, 10 s: waves and breath noises
// average out in it. Chosen.
const DCStretch = 100

// dcLimits are the thresholds of a track's offset.
var dcLimits = struct {
	// Only the quietest Quiet blocks of a stretch count: an offset stands through the quiet,
	// while the mean of a lopsided wave (a reed, a voice close up) goes when the wave goes.
	// Measured: a sampled saxophone shows -39 dBFS of mean while it plays, and none in its
	// rests.
	Quiet int `unit:"blocks" source:"measured"`

	// Scatter is by how many times an offset the blocks of a stretch may scatter about it. The
	// mean of a rumble, or of a wave that is cut, is another in each block: of twenty such
	// blocks, one mean in 40 passes (normal law).
	Scatter float64 `unit:"times" source:"chosen"`
}{
	Quiet:   20,
	Scatter: 2,
}

// zeroLimits are the thresholds of runs of zeros.
var zeroLimits = struct {
	// Beside is the peak that the block before or after a run of zeros must reach to count as
	// signal: -66 dBFS, as package meter has it for the samples right beside the run.
	Beside float64 `unit:"full scale" source:"chosen"`

	// TextureShare is the share of the blocks with signal that hold zero runs from which zeros
	// belong to the sound: clicks, pulse waves, gated samples. Resting is how many runs with
	// signal on one side only make a source that rests on digital zero and starts or stops
	// hard: an instrument or player connected digitally (common practice).
	TextureShare float64 `unit:"share" source:"chosen"`
	Resting      int     `unit:"runs" source:"chosen"`
}{
	Beside:       0.0005,
	TextureShare: 0.1,
	Resting:      3,
}

// crackLimits are the thresholds of cracks.
var crackLimits = struct {
	// LeastRate is the rate from which on cracks tell of a contact: where half the rate lies
	// within what instruments sound at, their own edges are as sharp (the demo's sounds at 12
	// kHz).
	LeastRate int `unit:"Hz" source:"measured"`

	// BesideRunS is how near a crack may lie to a clipped run, a flat top or a run of zeros
	// and be its edge.
	BesideRunS float64 `unit:"s" source:"chosen"`
}{
	LeastRate:  32000,
	BesideRunS: 0.02,
}

// pileBlocks is how long a stretch is asked at one time. Chosen.
const pileBlocks = 30 * meter.BlocksPerSecond

// PileLimits are the thresholds of piles. A hat or a cymbal that runs into a ceiling
// leaves flat tops of one to three samples, which prove nothing one by one. But its
// loud moments then all have one peak. What a microphone hears never has: of the blocks
// of a song, three at most came within Near of its highest where nothing was cut, and
// 15 to 398 where something was (tuning nights of task evaluate, takes of 40 s, four
// tours of each kind of source). Samplers and limited playback repeat their peaks by
// right, and a name does not always say so: only inputs that hear a stage are asked,
// and only where another night has the channel without such a pile.
var PileLimits = struct {
	// Looked is the peak from which on flat tops and piles are looked for: -27 dBFS; package
	// meter looks for flat tops from -30 on.
	Looked float64 `unit:"full scale" source:"chosen"`

	// Near is how near the peaks must lie, 0.03 dB: noise of -90 dBFS moves a peak at Looked
	// by as much.
	Near float64 `unit:"ratio" source:"measured"`

	// Least is how many peaks of a stretch make a pile, and Share which share of those within
	// LoudWithin, 3 dB, they must be.
	Least      int     `unit:"peaks" source:"measured"`
	Share      float64 `unit:"share" source:"measured"`
	LoudWithin float64 `unit:"ratio" source:"chosen"`

	// Moves is by how much the power of the middle four fifths of those blocks must differ at
	// least, 0.5 dB: a line-up tone has one power as it has one peak. Tail is the fifth's
	// half.
	Moves float64 `unit:"ratio" source:"chosen"`
	Tail  float64 `unit:"share" source:"chosen"`
}{
	Looked:     0.0447,
	Near:       0.9966,
	Least:      10,
	Share:      0.1,
	LoudWithin: 0.7079,
	Moves:      1.122,
	Tail:       0.1,
}

// Pile is a stretch whose loud moments have one peak.
type Pile struct {
	From, To int // blocks, from the first of these peaks to the last
	Ceiling  float32
	Peaks    int
}

// piles finds those of a track, below full scale.
func piles(blocks []meter.Block) []Pile {
	var found []Pile
	for from := 0; from < len(blocks); from += pileBlocks {
		part := blocks[from:min(from+pileBlocks, len(blocks))]
		top := float32(0)
		for i := range part {
			top = max(top, part[i].Peak)
		}
		if top < float32(PileLimits.Looked) || top > float32(PileLimits.Near) {
			continue
		}
		p, loud := Pile{From: -1, Ceiling: top}, 0
		var powers []float32
		for i := range part {
			if part[i].Peak >= top*float32(PileLimits.LoudWithin) {
				loud++
			}
			if part[i].Peak < top*float32(PileLimits.Near) {
				continue
			}
			if p.Peaks++; p.From < 0 {
				p.From = from + i
			}
			p.To = from + i + 1
			powers = append(powers, part[i].MeanSquare)
		}
		if p.Peaks >= PileLimits.Least && float64(p.Peaks) >= PileLimits.Share*float64(loud) && stats.Pick(powers, 1-PileLimits.Tail) >= PileLimits.Moves*stats.Pick(powers, PileLimits.Tail) {
			found = append(found, p)
		}
	}
	return found
}

// Means returns the mean of each stretch of blocks in its quietest moments, the
// last stretch joined with what remains.
func Means(blocks []meter.Block) []float64 {
	var out []float64
	for from := 0; from < len(blocks); from += DCStretch {
		to := from + DCStretch
		if len(blocks)-to < DCStretch {
			to = len(blocks)
		}
		out = append(out, quietMean(blocks[from:min(to, len(blocks))]))
		if to == len(blocks) {
			break
		}
	}
	return out
}

// quietMean returns the mean sample of the dcLimits.Quiet blocks, in a hundred, that
// have the least sound beside the offset itself; 0 where they have none in
// common.
func quietMean(blocks []meter.Block) float64 {
	type moment struct{ sound, mean float64 }
	var room [40]moment
	count := max(1, len(blocks)*dcLimits.Quiet/DCStretch)
	quietest := room[:0] // the quietest so far, in order
	for i := range blocks {
		b := &blocks[i]
		m := moment{float64(b.MeanSquare) - float64(float64(b.Mean)*float64(b.Mean)), float64(b.Mean)}
		if len(quietest) < count {
			quietest = append(quietest, m)
		} else if m.sound >= quietest[count-1].sound {
			continue
		}
		k := len(quietest) - 1
		for ; k > 0 && m.sound < quietest[k-1].sound; k-- {
			quietest[k] = quietest[k-1]
		}
		quietest[k] = m
	}
	var sum, squares float64
	for _, m := range quietest {
		sum += m.mean
		squares += float64(m.mean * m.mean)
	}
	mean := sum / float64(count)
	if squares/float64(count)-float64(mean*mean) > dcLimits.Scatter*dcLimits.Scatter*mean*mean {
		return 0
	}
	return mean
}

// gaps returns the runs of zeros with signal beside them, and whether they
// belong to the sound.
func gaps(e meter.Envelope) (found []Gap, texture bool) {
	size := int64(e.BlockFrames())
	sounds := func(b int64) bool {
		return b >= 0 && b < int64(len(e.Blocks)) && e.Blocks[b].Peak >= float32(zeroLimits.Beside)
	}
	oneSided, blocks := 0, map[int64]bool{}
	for _, ev := range e.Events {
		if ev.Kind != meter.ZeroRun {
			continue
		}
		end := ev.Start + ev.Frames
		g := Gap{Start: ev.Start, Frames: ev.Frames, Before: sounds(ev.Start/size - 1), After: sounds(end/size + 1)}
		found = append(found, g)
		if !g.Before || !g.After {
			// The ends of the recording say nothing about the source.
			if ev.Start > size && end < e.Frames-2*size {
				oneSided++
			}
			continue
		}
		blocks[ev.Start/size] = true
	}
	signal := 0
	for b := range e.Blocks {
		if sounds(int64(b)) {
			signal++
		}
	}
	return found, oneSided > zeroLimits.Resting || len(blocks) > zeroLimits.Resting && float64(len(blocks)) > zeroLimits.TextureShare*float64(signal)
}

// crowded returns the blocks with cracks of which not all were kept: the events
// of a minute are bounded.
func crowded(e meter.Envelope) map[int]bool {
	kept := map[int]int{}
	size := int64(e.BlockFrames())
	for _, ev := range e.Events {
		if ev.Kind == meter.Crack {
			kept[int(ev.Start/size)]++
		}
	}
	found := map[int]bool{}
	for i := range e.Blocks {
		if int(e.Blocks[i].Cracks) > kept[i] {
			found[i] = true
		}
	}
	return found
}

// edges returns all cracks, also those beside what was clipped, cut flat or
// dropped out: the neighbours of a stroke that clips hear it, too.
func edges(e meter.Envelope) []meter.Event {
	var all []meter.Event
	for _, ev := range e.Events {
		if ev.Kind == meter.Crack {
			all = append(all, ev)
		}
	}
	return all
}

// cracks returns the frames at which the wave breaks off by itself, and their
// heights.
func cracks(e meter.Envelope) []meter.Event {
	if e.SampleRate < crackLimits.LeastRate {
		return nil
	}
	beside := int64(crackLimits.BesideRunS * float64(e.SampleRate))
	size := int64(e.BlockFrames())
	var runs []meter.Event
	for _, ev := range e.Events {
		if ev.Kind != meter.Crack {
			runs = append(runs, ev)
		}
	}
	var own []meter.Event
	at := 0
	for _, ev := range e.Events {
		if ev.Kind != meter.Crack {
			continue
		}
		for at < len(runs) && runs[at].Start+runs[at].Frames+beside < ev.Start {
			at++
		}
		if at < len(runs) && runs[at].Start-beside <= ev.Start {
			continue
		}
		if b := ev.Start / size; b < int64(len(e.Blocks)) && e.Blocks[b].Clipped+e.Blocks[b].Flat > 0 {
			continue
		}
		own = append(own, ev)
	}
	return own
}

// MayRest reports whether the input list or the name says that a channel often
// has nothing to play. It is asked only where no other night tells.
// Chosen: common practice.
func MayRest(t *Track) bool {
	text := strings.ToLower(t.Channel + " " + t.Name + " " + t.Input.Group + " " + t.Input.Notes)
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) }) {
		switch w {
		case "di", "line", "bass", "spare", "unused", "empty", "nothing", "guest", "keys", "keyboard", "synth", "piano", "organ", "sampler",
			"samples", "pad", "pads", "playback", "tracks", "laptop", "acoustic", "click", "cue", "talkback", "tb", "timecode", "sync",
			"aux", "return", "fx", "video", "dj", "only", "test":
			return true
		}
	}
	return false
}
