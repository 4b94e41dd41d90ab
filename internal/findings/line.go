package findings

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
)

// Pair is two voices of a line check, the lower index first.
type Pair struct{ A, B int }

// Exchanged returns the pairs of a recording of minutes that are exchanged by all
// that tells it of a show: how they sound, whom they hear, with whom they move.
// unsure are the pairs of which that tells nothing. Where inputs are played in
// turn, only the first of the three is left. If it panics, notJudged says so.
func Exchanged(line *channelsound.Night, tour []*channelsound.Night) (found, unsure []Pair, notJudged []catalog.NotJudged) {
	found, failed := fenced(func() (found []Pair) {
		var swaps []swap
		swaps, unsure = swapsOf(lineRecording(line, tour))
		for _, s := range swaps {
			found = append(found, Pair{s.a, s.b})
		}
		return found
	})
	if failed != nil {
		notJudged = append(notJudged, failed.of(judge{name: "exchanged", kinds: kinds(catalog.Swapped)}))
	}
	return found, unsure, notJudged
}

// Line judges a recording of minutes, in which every input was played or
// tapped, against the tour: exchanged inputs, which are given, polarity and hum.
// Findings lack what a store fills in. Where inputs are played in turn each has a long
// quiet, in which few lines of the mains are hum; under a song they may be a drone.
// notJudged is what judges that panicked did not judge.
func Line(line *channelsound.Night, tour []*channelsound.Night, exchanged []Pair, inTurn bool) (found []catalog.Finding, notJudged []catalog.NotJudged) {
	n := learn(lineRecording(line, tour))
	n.inTurn = inTurn
	var swaps []swap
	for _, p := range exchanged {
		nights := min(len(n.Before(line.Voices[p.A].Track.Channel)), len(n.Before(line.Voices[p.B].Track.Channel)))
		swaps = append(swaps, swap{a: p.A, b: p.B, nights: nights})
	}
	n.swaps = func() []swap { return swaps }
	n.copies = func() []catalog.Finding { return nil } // a minute does not tell
	for _, name := range []string{"swapped", "polarity", "hum"} {
		j := judges[slices.IndexFunc(judges, func(j judge) bool { return j.name == name })]
		of, failed := fenced(func() []catalog.Finding { return j.find(n) })
		if failed != nil {
			notJudged = append(notJudged, failed.of(j))
		}
		found = append(found, of...)
	}
	return found, notJudged
}

func lineRecording(line *channelsound.Night, tour []*channelsound.Night) *evidence.Recording {
	n := &evidence.Recording{SampleRate: line.SampleRate, Sound: line, Tour: tour}
	for i := range line.Voices {
		t := line.Voices[i].Track
		n.Frames = max(n.Frames, t.Frames)
		n.Tracks = append(n.Tracks, evidence.Unmeasured(t))
	}
	return n
}
