package health

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

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
)

// pile is a stretch whose loud moments have one peak.
type pile struct {
	from, to int // blocks, from the first of these peaks to the last
	ceiling  float32
	peaks    int
}

// piles finds those of a track, below full scale.
func piles(blocks []meter.Block) []pile {
	var found []pile
	for from := 0; from < len(blocks); from += pileBlocks {
		part := blocks[from:min(from+pileBlocks, len(blocks))]
		top := float32(0)
		for i := range part {
			top = max(top, part[i].Peak)
		}
		if top < flatLooked || top > pileNear {
			continue
		}
		p, loud := pile{from: -1, ceiling: top}, 0
		var powers []float32
		for i := range part {
			if part[i].Peak >= top*below3dB {
				loud++
			}
			if part[i].Peak < top*pileNear {
				continue
			}
			if p.peaks++; p.from < 0 {
				p.from = from + i
			}
			p.to = from + i + 1
			powers = append(powers, part[i].MeanSquare)
		}
		if p.peaks >= leastPile && float64(p.peaks) >= pileShare*float64(loud) && stats.Pick(powers, 0.9) >= pileMoves*stats.Pick(powers, 0.1) {
			found = append(found, p)
		}
	}
	return found
}

// repeats reports whether an input may repeat its peaks by right: by the name of a
// channel whose signal it may hold, or because that one did on another night, or
// none is known.
func (n *Night) repeats(channels []string) bool {
	return slices.ContainsFunc(channels, func(channel string) bool {
		for i := range n.Tracks {
			if o := &n.Tracks[i]; catalog.Key(o.Channel) == channel && (o.rests || byMachine(o.Channel)) {
				return true
			}
		}
		nights := n.Past[channel]
		return len(nights) == 0 || slices.ContainsFunc(nights, func(p Past) bool { return len(p.Track.piles) > 0 })
	})
}

// byMachine reports whether a name is of something that plays samples or has an
// electronic voice.
func byMachine(channel string) bool {
	words := strings.FieldsFunc(strings.ToLower(channel), func(r rune) bool { return r < 'a' || r > 'z' })
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.Contains([]string{"trigger", "triggers", "trig", "module", "machine", "loop", "loops", "electronic"}, w)
	})
}

// ceilings tells of tracks that ran into a ceiling below full scale, where flat
// tops by themselves do not tell.
func (n *Night) ceilings(flatTops []catalog.Finding, of carried) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if len(t.piles) == 0 || n.repeats(of[t.Number]) {
			continue
		}
		for k := 0; k < len(t.piles); {
			p := t.piles[k]
			for k++; k < len(t.piles) && sameTop(p.ceiling, t.piles[k].ceiling); k++ {
				p.to, p.peaks = t.piles[k].to, p.peaks+t.piles[k].peaks
			}
			size := int64(meter.BlockFrames(t.SampleRate))
			s := spell{start: int64(p.from) * size, end: min(int64(p.to)*size, t.Frames)}
			if told(flatTops, t, s) || !t.holds(s, float64(p.ceiling)) {
				continue
			}
			found = append(found, catalog.Finding{
				Track: t.Number, Kind: catalog.FlatTop, StartFrame: s.start, EndFrame: s.end, Severity: catalog.WarningSeverity,
				Evidence: catalog.Evidence{"ceiling_dbfs": dBFS(float64(p.ceiling)), "peaks": float64(p.peaks)},
				Text: fmt.Sprintf("%s never got beyond %.1f dBFS %s%s, and reached just that %s: something before the recorder has no headroom left (microphone, wireless link or preamp pad); switch in the pad or move the microphone, the preamp gain alone will not cure it.",
					t.Channel, dBFS(float64(p.ceiling)), n.between(s.start, s.end), n.where(s.start), times(p.peaks)),
			})
		}
	}
	return found
}

func sameTop(a, b float32) bool {
	return math.Abs(float64(a-b)) <= (sameCeiling-1)*float64(min(a, b))
}

// told reports whether a spell of a track has a finding already.
func told(findings []catalog.Finding, t *Track, s spell) bool {
	return slices.ContainsFunc(findings, func(f catalog.Finding) bool {
		return f.Track == t.Number && f.StartFrame < s.end && f.EndFrame > s.start
	})
}
