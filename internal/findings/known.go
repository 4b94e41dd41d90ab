package findings

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// known is what the judges see: the evidence about a recording, and what several of
// them derive from it. Each function works its value out once, from the evidence and
// the functions above it alone, so judges may be asked in any order. If one panics,
// those judges fail that need it: see [derived].
type known struct {
	*evidence.Recording

	stage     func() *stage            // when the band plays
	hushes    func() *hushes           // what each track holds between songs
	stretches func() [][]stretch       // of each track: where it holds only its floor
	contacts  func() [][]meter.Event   // of each track: cracks that no other track has
	swaps     func() []swap            // voices that were exchanged
	copies    func() []catalog.Finding // tracks that carry one signal
	carried   func() carried           // whose signal each track may hold
	silences  func() []catalog.Finding // tracks that are dead or went silent, for whatever reason

	// inTurn: this is a line check in which the inputs were played in turn.
	inTurn bool
}

// learn derives from a recording whatever needs no track of another show.
func learn(r *evidence.Recording) *known {
	n := &known{Recording: r}
	n.stage = derived(func() *stage { return stageOf(r) })
	n.hushes = derived(func() *hushes { return hushesOf(r, n.stage()) })
	n.stretches = derived(func() [][]stretch { return stretchesOf(r, n.stage()) })
	n.contacts = derived(func() [][]meter.Event { return contactsOf(r) })
	n.swaps = derived(func() []swap { all, _ := swapsOf(r); return all })
	n.copies = derived(func() []catalog.Finding { return copiesOf(r, n.swaps()) })
	n.carried = derived(func() carried { return carriedBy(r, n.swaps(), n.copies()) })
	return n
}

// doubtful returns the keys of the channels whose tracks on other shows the judges
// compare with, for [evidence.Source.WithPast].
// What cannot be derived without a panic makes no channel doubtful: the judges that
// need it fail anyway.
func (n *known) doubtful() []string {
	stretches, _ := fenced(n.stretches)
	contacts, _ := fenced(n.contacts)
	carried, _ := fenced(n.carried)
	var channels []string
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if t.Measured && (t.Lifeless || stretches != nil && len(stretches[i]) > 0 || contacts != nil && len(contacts[i]) >= crackleLimits.Least || len(t.Piles) > 0) {
			channels = append(channels, catalog.Key(t.Channel))
			channels = append(channels, carried[t.Number]...)
		}
	}
	slices.Sort(channels)
	return slices.Compact(channels)
}

// complete derives the rest, if r is the same recording with the tracks of other
// shows.
func (n *known) complete(r *evidence.Recording) *known {
	all := *n
	all.Recording = r
	all.silences = derived(func() []catalog.Finding { return silencesOf(&all) })
	return &all
}
