package findings

import (
	"math"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// tourGain is how a track differs from the other nights.
type tourGain struct {
	db     float64
	nights int
}

// shift is how a track differs from another night, in dB and but for what the
// input lists say: in its loudest moments, in what it hisses, and in all that it
// holds in its quiet.
type shift struct {
	loud, hiss, quiet float64
	hidden            bool // on one of the nights by the recorder's own steps: hiss is too small then
}

// againstNight compares all voices with another night; those that cannot be
// compared are left out.
func againstNight(n *evidence.Recording, p *channelsound.Night) map[int]shift {
	grain := max(n.Sound.Grain(), p.Grain())
	all := map[int]shift{}
	var hiss, quiet []float64
	for i := range n.Sound.Voices {
		v := &n.Sound.Voices[i]
		o, t := p.Find(catalog.Key(v.Track.Channel)), n.TrackOf(v)
		if o == nil || t == nil || !o.Plays() || !v.Plays() || min(len(v.In(n.Sound.Takes)), len(o.In(p.Takes))) < gainLimits.Cells {
			continue
		}
		listed := evidence.GainDB(evidence.Track{Track: v.Track}, evidence.Track{Track: o.Track})
		mine, other := hissOf(v.Parts), hissOf(o.Parts)
		d := shift{
			loud:   v.High - o.High - listed,
			hiss:   math.Max(grain, mine) - math.Max(grain, other) - listed,
			quiet:  max(grain, v.Quiet) - max(grain, o.Quiet) - listed,
			hidden: min(mine, other) < grain+gainLimits.HiddenDB,
		}
		if math.IsNaN(d.hiss) {
			continue
		}
		// Songs that both nights have tell more than the loudest of all.
		if apart := songsApart(v.SongLevels(n.Sound.Takes), o.SongLevels(p.Takes)); len(apart) > 0 {
			d.loud = stats.Percentile(apart, 0.5) - listed
		}
		all[i] = d
		if !t.Rests {
			hiss, quiet = append(hiss, d.hiss), append(quiet, d.quiet)
		}
	}
	if len(hiss) < stageLimits.Least {
		return all
	}
	// What all microphones have more of in the pauses is the audience.
	for i, d := range all {
		if t := n.TrackOf(&n.Sound.Voices[i]); !t.Rests {
			d.hiss -= stats.Median(hiss)
			d.quiet -= stats.Median(quiet)
			all[i] = d
		}
	}
	return all
}

// songsApart returns by how much each song's level lies over its other one's, of
// those that both have.
func songsApart(here, there map[string]float64) []float64 {
	var apart []float64
	for song, level := range here {
		if other, ok := there[song]; ok {
			apart = append(apart, level-other)
		}
	}
	return apart
}

// gainAgainstTour finds the tracks whose gain differs from that of the tour.
func gainAgainstTour(n *evidence.Recording) map[int]tourGain {
	loud, hiss, quiet := map[int][]float64{}, map[int][]float64{}, map[int][]float64{}
	hidden := map[int][]shift{}
	for _, p := range n.Tour {
		for i, d := range againstNight(n, p) {
			loud[i] = append(loud[i], d.loud)
			if d.hidden {
				hidden[i] = append(hidden[i], d)
				continue
			}
			hiss[i], quiet[i] = append(hiss[i], d.hiss), append(quiet[i], d.quiet)
		}
	}
	found := map[int]tourGain{}
	for i := range loud {
		if len(loud[i]) < gainLimits.Nights {
			continue
		}
		// Nights that hide it can only speak against it, if others tell.
		if len(hiss[i]) == 0 {
			for _, d := range hidden[i] {
				hiss[i], quiet[i] = append(hiss[i], d.hiss), append(quiet[i], d.quiet)
			}
		}
		if len(hiss[i]) < gainLimits.Nights && shareNear(loud[i], stats.Median(loud[i])) < gainLimits.Agree {
			continue
		}
		h, q := stats.Median(hiss[i]), stats.Median(quiet[i])
		db, ok := agree(h, stats.Median(loud[i]))
		// The other nights must agree, but for an odd one in three.
		if !ok || math.Abs(q-h) > max(gainLimits.AgreesDB, math.Abs(h)/2) || shareNear(hiss[i], h) < gainLimits.Agree {
			continue
		}
		found[i] = tourGain{db: db, nights: len(loud[i])}
	}
	return found
}

// shareNear returns the share of values within gainLimits.SpreadDB of one.
func shareNear(values []float64, at float64) float64 {
	near := 0
	for _, v := range values {
		if math.Abs(v-at) <= gainLimits.SpreadDB {
			near++
		}
	}
	return float64(near) / float64(len(values))
}
