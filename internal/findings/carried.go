package findings

import (
	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// carried has whose signal each track may hold, by track number: the keys of the
// channels whose other shows it is compared with. An exchanged track holds the other
// one's signal; of two that carry one signal, we cannot tell whose it is.
type carried map[int][]string

// carriedBy works that out from exchanged voices and duplicates.
func carriedBy(n *evidence.Recording, swaps []swap, duplicates []catalog.Finding) carried {
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
