package health

import (
	"context"
	"math"

	"nightreel/catalog"
	"nightreel/internal/sound"
	"nightreel/internal/spectrum"
)

// Tour returns what the nights nearest to a date sound like, for comparison:
// those of one rig where it was there.
func Tour(ctx context.Context, store *catalog.Store, date catalog.Date, rig string) ([]*sound.Night, error) {
	n := &Night{}
	err := n.loadTour(ctx, store, date, rig)
	return n.Tour, err
}

// Line judges a recording of minutes, in which every input was played or
// tapped, against the tour: exchanged inputs, polarity and hum. Flags lack what
// a store fills in.
func Line(line *sound.Night, tour []*sound.Night) []catalog.Flag {
	n := &Night{SampleRate: line.SampleRate, Sound: line, Tour: tour}
	for i := range line.Voices {
		t := line.Voices[i].Track
		n.Frames = max(n.Frames, t.Frames)
		n.Tracks = append(n.Tracks, unmeasured(t))
	}
	swaps := n.swaps()
	found := n.swapped(swaps)
	found = append(found, n.polarity(swaps, nil)...)
	return append(found, n.hum(n.carried(swaps, nil))...)
}

// Unlike returns by how many dB a voice's spectrum lies from what the channel
// had on the tour, and how far the tour's nights lie from each other; NaN where
// too few nights tell. Levels as a whole do not count.
func Unlike(v *sound.Voice, tour []*sound.Night) (apart, usual float64) {
	var past []*sound.Voice
	for _, p := range tour {
		if o := p.Find(catalog.Key(v.Track.Channel)); o != nil && o.Plays() {
			past = append(past, o)
		}
	}
	var here, among []float64
	for i, o := range past {
		here = append(here, shapesApart(v, o))
		for _, p := range past[:i] {
			among = append(among, shapesApart(o, p))
		}
	}
	return sound.Median(here), sound.Median(among)
}

func shapesApart(a, b *sound.Voice) float64 {
	lift := b.Song - a.Song
	var x [spectrum.Bands]float64
	for i, v := range a.Bands {
		x[i] = math.Max(v+lift, sound.Silence)
	}
	return bandsApart(a, b, &x, &b.Bands)
}
