package health

import (
	"context"

	"nightreel/catalog"
	"nightreel/internal/sound"
)

// Tour returns what the nights nearest to a date sound like, for comparison:
// those of one rig where it was there.
func Tour(ctx context.Context, store *catalog.Store, date catalog.ShowKey, rig string) ([]*sound.Night, error) {
	n := &Night{}
	err := n.loadTour(ctx, store, date, rig)
	return n.Tour, err
}

// Pair is two voices of a line check, the lower index first.
type Pair struct{ A, B int }

// Exchanged returns the pairs of a recording of minutes that are exchanged by all
// that tells it of a night: how they sound, whom they hear, with whom they move.
// unsure are the pairs of which that tells nothing. Where inputs are played in
// turn, only the first of the three is left.
func Exchanged(line *sound.Night, tour []*sound.Night) (found, unsure []Pair) {
	n := lineNight(line, tour)
	for _, s := range n.swaps() {
		found = append(found, Pair{s.a, s.b})
	}
	return found, n.unsure
}

// Line judges a recording of minutes, in which every input was played or
// tapped, against the tour: exchanged inputs, which are given, polarity and hum.
// Findings lack what a store fills in. Where inputs are played in turn each has a long
// quiet, in which few lines of the mains are hum; under a song they may be a drone.
func Line(line *sound.Night, tour []*sound.Night, exchanged []Pair, inTurn bool) []catalog.Finding {
	n := lineNight(line, tour)
	n.compared, n.brief = true, inTurn
	for _, p := range exchanged {
		nights := min(len(n.before(line.Voices[p.A].Track.Channel)), len(n.before(line.Voices[p.B].Track.Channel)))
		n.exchanged = append(n.exchanged, swap{a: p.A, b: p.B, nights: nights})
	}
	found := n.swapped(n.exchanged)
	found = append(found, n.polarity(n.exchanged, nil)...)
	return append(found, n.hum(n.carried(n.exchanged, nil))...)
}

func lineNight(line *sound.Night, tour []*sound.Night) *Night {
	n := &Night{SampleRate: line.SampleRate, Sound: line, Tour: tour}
	for i := range line.Voices {
		t := line.Voices[i].Track
		n.Frames = max(n.Frames, t.Frames)
		n.Tracks = append(n.Tracks, unmeasured(t))
	}
	return n
}
