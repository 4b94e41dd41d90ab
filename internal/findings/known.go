package findings

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// known is what the judges see: the evidence about a recording, and what several of
// them derive from it. learn and complete compute all of it, before the first judge
// is asked; nothing changes it afterwards, so judges may be asked in any order.
type known struct {
	*evidence.Recording

	stage     *stage            // when the band plays
	hushes    *hushes           // what each track holds between songs
	stretches [][]stretch       // of each track: where it holds only its floor
	contacts  [][]meter.Event   // of each track: cracks that no other track has
	swaps     []swap            // voices that were exchanged
	unsure    []Pair            // voices of which nothing says whether they were exchanged
	copies    []catalog.Finding // tracks that carry one signal
	carried   carried           // whose signal each track may hold

	silences []catalog.Finding // tracks that are dead or went silent, for whatever reason

	// inTurn: this is a line check in which the inputs were played in turn.
	inTurn bool
}

// learn derives what needs no track of another show. Each line needs those above it
// at most.
func learn(r *evidence.Recording) *known {
	n := &known{Recording: r}
	n.stage = stageOf(r)
	n.hushes = hushesOf(r, n.stage)
	n.stretches = stretchesOf(r, n.stage)
	n.contacts = contactsOf(r)
	n.swaps, n.unsure = swapsOf(r)
	n.copies = copiesOf(r, n.swaps)
	n.carried = carriedBy(r, n.swaps, n.copies)
	return n
}

// doubtful returns the keys of the channels whose tracks on other shows the judges
// compare with, for [evidence.Source.WithPast].
func (n *known) doubtful() []string {
	var channels []string
	for i := range n.Tracks {
		t := &n.Tracks[i]
		if t.Measured && (t.Lifeless || len(n.stretches[i]) > 0 || len(n.contacts[i]) >= leastCracks || len(t.Piles) > 0) {
			channels = append(channels, catalog.Key(t.Channel))
			channels = append(channels, n.carried[t.Number]...)
		}
	}
	slices.Sort(channels)
	return slices.Compact(channels)
}

// complete derives the rest, now that r has the tracks of the other shows.
func (n *known) complete(r *evidence.Recording) *known {
	all := *n
	all.Recording = r
	all.silences = silencesOf(&all)
	return &all
}
