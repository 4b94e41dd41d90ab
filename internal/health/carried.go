package health

import (
	"slices"

	"nightreel/catalog"
)

// carried tells whose signal each track may hold, by track number: the keys of
// the channels whose other nights it is compared with. An exchanged track holds
// the other one's, and of two that carry one signal nobody knows whose it is.
type carried map[int][]string

func (n *Night) carried(swaps []swap, duplicates []catalog.Finding) carried {
	c := carried{}
	key := map[int]string{}
	for i := range n.Tracks {
		t := &n.Tracks[i]
		key[t.Number] = catalog.Key(t.Channel)
		c[t.Number] = []string{key[t.Number]}
	}
	for _, s := range swaps {
		a, b := n.Sound.Voices[s.a].Track.Number, n.Sound.Voices[s.b].Track.Number
		c[a], c[b] = []string{key[b]}, []string{key[a]}
	}
	for _, f := range duplicates {
		with := f.Partner()
		c[f.Track], c[with] = append(c[f.Track], key[with]), append(c[with], key[f.Track])
	}
	return c
}

// explained leaves out the silences of tracks that hold another one's signal:
// that one had nothing to play. Of two that carry one signal it is no silence
// of a source unless both are silent by what each does on other nights, and
// then it is told once.
func (n *Night) explained(silent []catalog.Finding, swaps []swap, duplicates []catalog.Finding) []catalog.Finding {
	return slices.DeleteFunc(slices.Clone(silent), func(f catalog.Finding) bool {
		for _, s := range swaps {
			if n.Sound.Voices[s.a].Track.Number == f.Track || n.Sound.Voices[s.b].Track.Number == f.Track {
				return true
			}
		}
		for _, d := range duplicates {
			if d.Track == f.Track || d.Partner() == f.Track && !covered(silent, d.Track, f.StartFrame, f.EndFrame) {
				return true
			}
		}
		return false
	})
}
