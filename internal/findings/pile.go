package findings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// repeats reports whether an input may repeat its peaks by right: by the name of a
// channel whose signal it may hold, or because that one did on another night, or
// none is known.
func repeats(n *known, channels []string) bool {
	return slices.ContainsFunc(channels, func(channel string) bool {
		for i := range n.Tracks {
			if o := &n.Tracks[i]; catalog.Key(o.Channel) == channel && (o.Rests || byMachine(o.Channel)) {
				return true
			}
		}
		nights := n.Past[channel]
		return len(nights) == 0 || slices.ContainsFunc(nights, func(p evidence.Past) bool { return len(p.Track.Piles) > 0 })
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
func ceilings(n *known, flatTops []catalog.Finding) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if len(t.Piles) == 0 || repeats(n, n.carried()[t.Number]) {
			continue
		}
		for k := 0; k < len(t.Piles); {
			p := t.Piles[k]
			for k++; k < len(t.Piles) && sameTop(p.Ceiling, t.Piles[k].Ceiling); k++ {
				p.To, p.Peaks = t.Piles[k].To, p.Peaks+t.Piles[k].Peaks
			}
			size := int64(meter.BlockFrames(t.SampleRate))
			s := spell{start: int64(p.From) * size, end: min(int64(p.To)*size, t.Frames)}
			if told(flatTops, t, s) || !holds(t, s, float64(p.Ceiling)) {
				continue
			}
			found = append(found, catalog.Finding{
				Track: t.Number, Kind: catalog.FlatTop, StartFrame: s.start, EndFrame: s.end, Severity: catalog.WarningSeverity,
				Evidence: catalog.Evidence{"ceiling_dbfs": dBFS(float64(p.Ceiling)), "peaks": float64(p.Peaks)},
				Text: fmt.Sprintf("%s never got beyond %.1f dBFS %s%s, and reached just that %s: something before the recorder has no headroom left (microphone, wireless link or preamp pad); switch in the pad or move the microphone, the preamp gain alone will not cure it.",
					t.Channel, dBFS(float64(p.Ceiling)), n.between(s.start, s.end), n.where(s.start), times(p.Peaks)),
			})
		}
	}
	return found
}

func sameTop(a, b float32) bool {
	return math.Abs(float64(a-b)) <= (flatTopLimits.Ceiling-1)*float64(min(a, b))
}

// told reports whether a spell of a track has a finding already.
func told(findings []catalog.Finding, t *evidence.Track, s spell) bool {
	return slices.ContainsFunc(findings, func(f catalog.Finding) bool {
		return f.Track == t.Number && f.StartFrame < s.end && f.EndFrame > s.start
	})
}
