package evidence

import (
	"strings"
	"unicode"

	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// Thresholds of the floor of a track.
const (
	// AboveDB is from where on above a floor, in dB, a bin surely holds more. The
	// noise of a preamp varies by 0.1 dB from block to block (measured on white
	// noise); hum and dimmer noise by a few.
	AboveDB = 6
	// QuietS is the shortest silence, in seconds of playing band, that is judged: no
	// bleed is as steady as a floor for so long. A dead track may hold as much sound
	// in all: pops when it was plugged in. Chosen: common practice.
	QuietS = 8
	// UnderDB is how far, in dB, a floor lies below what the track holds elsewhere.
	// Chosen.
	UnderDB = 12
	// lowShare is the share of the bins below the low level, and above the high one;
	// blipShare the share that a lifeless track may hold more in; floorPart the part of
	// the bins, one in so many, whose loudest is the floor. Chosen.
	lowShare  = 0.1
	blipShare = 0.1
	floorPart = 20
	// loudestFloorDB, in dB, keeps a steady drone from being taken for a floor.
	// Chosen.
	loudestFloorDB = -50
)

// Thresholds of a track's offset.
const (
	// DCStretch is how many blocks an offset is taken over, 10 s: waves and breath
	// noises average out in it. Only the quietest dcQuiet of them count: an offset
	// stands through the quiet, while the mean of a lopsided wave (a reed, a voice
	// close up) goes when the wave goes. Measured: a sampled saxophone shows -39
	// dBFS of mean while it plays, and none in its rests.
	DCStretch = 100
	dcQuiet   = 20
	// dcScatter is by how many times an offset the blocks of a stretch may scatter
	// about it. The mean of a rumble, or of a wave that is cut, is another in each
	// block: of twenty such blocks, one mean in 40 passes (normal law). Chosen.
	dcScatter = 2
)

// Thresholds of runs of zeros.
const (
	// besideGap is the peak, as a fraction of full scale, that the block before or
	// after a run of zeros must reach to count as signal: -66 dBFS, as package meter
	// has it for the samples right beside the run. Chosen.
	besideGap = 0.0005
	// textureShare is the share of the blocks with signal that hold zero runs from
	// which zeros belong to the sound: clicks, pulse waves, gated samples.
	// restingGaps is how many runs with signal on one side only make a source that
	// rests on digital zero and starts or stops hard: an instrument or player
	// connected digitally. Chosen: common practice.
	textureShare = 0.1
	restingGaps  = 3
)

// Thresholds of cracks.
const (
	// leastCrackRate is the rate, in Hz, from which on cracks tell of a contact:
	// where half the rate lies within what instruments sound at, their own edges
	// are as sharp (measured on the demo's sounds at 12 kHz).
	leastCrackRate = 32000
	// BesideRun is how near, in seconds, a crack may lie to a clipped run, a flat top
	// or a run of zeros and be its edge. Chosen.
	BesideRun = 0.02
)

// FlatLooked is the peak, as a fraction of full scale, from which on flat tops are
// looked for: -27 dBFS; package meter looks from -30 on. Chosen.
const FlatLooked = 0.0447

// A hat or a cymbal that runs into a ceiling leaves flat tops of one to three
// samples, which prove nothing one by one. But its loud moments then all have
// one peak. What a microphone hears never has: of the blocks of a song, three at
// most came within pileNear of its highest where nothing was cut, and 15 to 398
// where something was (tuning nights of task evaluate, takes of 40 s, four
// tours of each kind of source). Samplers and limited playback
// repeat their peaks by right, and a name does not always say so: only inputs
// that hear a stage are asked, and only where another night has the channel
// without such a pile.
const (
	// pileBlocks is how long a stretch is asked at one time.
	pileBlocks = 30 * meter.BlocksPerSecond
	// pileNear is how near the peaks must lie, 0.03 dB: noise of -90 dBFS moves
	// a peak at flatLooked by as much.
	pileNear = 0.9966
	// leastPile is how many peaks of a stretch make a pile, and pileShare which
	// share of those within 3 dB they must be.
	leastPile = 10
	pileShare = 0.1
	below3dB  = 0.7079
	// pileMoves is by how much the power of the middle four fifths of those blocks
	// must differ at least, 0.5 dB: a line-up tone has one power as it has one peak.
	pileMoves = 1.122
	pileTail  = 0.1
)

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
		if top < FlatLooked || top > pileNear {
			continue
		}
		p, loud := Pile{From: -1, Ceiling: top}, 0
		var powers []float32
		for i := range part {
			if part[i].Peak >= top*below3dB {
				loud++
			}
			if part[i].Peak < top*pileNear {
				continue
			}
			if p.Peaks++; p.From < 0 {
				p.From = from + i
			}
			p.To = from + i + 1
			powers = append(powers, part[i].MeanSquare)
		}
		if p.Peaks >= leastPile && float64(p.Peaks) >= pileShare*float64(loud) && stats.Pick(powers, 1-pileTail) >= pileMoves*stats.Pick(powers, pileTail) {
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

// quietMean returns the mean sample of the dcQuiet blocks, in a hundred, that
// have the least sound beside the offset itself; 0 where they have none in
// common.
func quietMean(blocks []meter.Block) float64 {
	type moment struct{ sound, mean float64 }
	var room [2 * dcQuiet]moment
	count := max(1, len(blocks)*dcQuiet/DCStretch)
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
	if squares/float64(count)-float64(mean*mean) > dcScatter*dcScatter*mean*mean {
		return 0
	}
	return mean
}

// gaps returns the runs of zeros with signal beside them, and whether they
// belong to the sound.
func gaps(e meter.Envelope) (found []Gap, texture bool) {
	size := int64(e.BlockFrames())
	sounds := func(b int64) bool {
		return b >= 0 && b < int64(len(e.Blocks)) && e.Blocks[b].Peak >= besideGap
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
	return found, oneSided > restingGaps || len(blocks) > restingGaps && float64(len(blocks)) > textureShare*float64(signal)
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
	if e.SampleRate < leastCrackRate {
		return nil
	}
	beside := int64(BesideRun * float64(e.SampleRate))
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
