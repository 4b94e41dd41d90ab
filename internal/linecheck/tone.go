package linecheck

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// toneLimits are the thresholds of spectra.
var toneLimits = struct {
	// UnlikeDB is how much more than the channel's own six seconds on the tour a spectrum must
	// differ to be reported.
	UnlikeDB float64 `unit:"dB" source:"chosen"`

	// LeastS is how long an input must be played for that: two taps hold a few notes, and none
	// of the other instruments that a microphone picks up all through a song.
	LeastS int `unit:"s" source:"chosen"`

	// VariesDB is the variation of a channel's own six seconds from which its spectrum is no
	// evidence: a click has two pitches, and a sampler any.
	VariesDB float64 `unit:"dB" source:"chosen"`

	// ReachDB is how far below its strongest band a channel's own sound is compared: below
	// that lies bleed, which a line check does not have.
	ReachDB float64 `unit:"dB" source:"chosen"`

	// SoundsDB is how far below its loudest cell a channel still plays.
	SoundsDB float64 `unit:"dB" source:"chosen"`

	// FewCells is the least number of the tour's cells that determine the variation of six
	// seconds, and MostCells the most that are used.
	FewCells  int `unit:"cells" source:"chosen"`
	MostCells int `unit:"cells" source:"chosen"`
}{
	UnlikeDB:  4,
	LeastS:    20,
	VariesDB:  12,
	ReachDB:   20,
	SoundsDB:  10,
	FewCells:  8,
	MostCells: 60,
}

// timbre is a spectrum in dB.
type timbre [spectrum.Bands]float64

// timbreOf returns the mean of some cells.
func timbreOf(cells []spectrum.Cell) timbre {
	var t timbre
	for b := range t {
		sum := 0.0
		for i := range cells {
			sum += float64(cells[i].Bands[b])
		}
		t[b] = channelsound.DB(sum / float64(max(1, len(cells))))
	}
	return t
}

// apart returns the RMS difference in dB of two spectra where either is strong.
// A difference in overall level does not count.
func (t *timbre) apart(o *timbre) float64 {
	top, other := slices.Max(t[:]), slices.Max(o[:])
	var room timbre
	d, mean := room[:0], 0.0
	for b := range t {
		if x, y := t[b]-top, o[b]-other; x > -toneLimits.ReachDB || y > -toneLimits.ReachDB {
			d = append(d, max(x, -2*toneLimits.ReachDB)-max(y, -2*toneLimits.ReachDB))
			mean += d[len(d)-1]
		}
	}
	mean /= float64(len(d))
	square := 0.0
	for _, v := range d {
		square += float64((v - mean) * (v - mean))
	}
	return math.Sqrt(square / float64(len(d)))
}

// sounding returns the cells of some spans in which a voice plays.
func sounding(v *channelsound.Voice, spans []channelsound.Span) []spectrum.Cell {
	in := v.In(spans)
	top := float64(channelsound.Silence)
	for _, c := range in {
		top = max(top, v.Levels[c])
	}
	var cells []spectrum.Cell
	for _, c := range in {
		if v.Levels[c] > top-toneLimits.SoundsDB {
			cells = append(cells, v.Cells[c])
		}
	}
	return cells
}

// manner is the sound of a channel on the tour.
type manner struct {
	nights []timbre
	own    float64 // dB within which 95 % of its cells lie, on the median night
	half   float64 // dB within which half of its cells lie
}

// mannerOf computes the sound of a channel on the tour. between includes the
// times between songs.
func (t *tour) mannerOf(key string, between bool) manner {
	var m manner
	var most, half []float64
	for _, n := range t.nights {
		v := n.Find(key)
		if v == nil || !v.Plays() {
			continue
		}
		spans := n.Takes
		if between {
			spans = nil
		}
		cells := sounding(v, spans)
		if len(cells) < toneLimits.FewCells {
			continue
		}
		night := timbreOf(cells)
		m.nights = append(m.nights, night)
		var d []float64
		for i := 0; i < len(cells); i += max(1, len(cells)/toneLimits.MostCells) {
			cell := timbreOf(cells[i : i+1])
			d = append(d, cell.apart(&night))
		}
		most, half = append(most, stats.Percentile(d, 0.95)), append(half, stats.Percentile(d, 0.5))
	}
	if len(most) > 0 {
		m.own, m.half = stats.Percentile(most, 0.5), stats.Percentile(half, 0.5)
	}
	return m
}

// unlike returns the distance in dB of what was played from the median night;
// NaN if no night has the channel.
func (m *manner) unlike(t *timbre) float64 {
	var d []float64
	for i := range m.nights {
		d = append(d, t.apart(&m.nights[i]))
	}
	return stats.Median(d)
}

// keyOf returns the key that a voice's channel has on every night.
func keyOf(v *channelsound.Voice) string { return catalog.Key(v.Track.Channel) }
