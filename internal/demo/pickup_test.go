package demo

import (
	"math"
	"testing"
)

// correlate returns the largest normalised cross-correlation of b with a for a
// lag of b of 0 to lag frames, and that lag.
func correlate(a, b []float64, lag int) (best float64, at int) {
	for l := range lag {
		ab, aa, bb := 0.0, 0.0, 0.0
		for i := l; i < min(len(a), len(b)); i++ {
			ab += a[i-l] * b[i]
			aa += a[i-l] * a[i-l]
			bb += b[i] * b[i]
		}
		if c := math.Abs(ab) / math.Sqrt(aa*bb); c > best {
			best, at = c, l
		}
	}
	return best, at
}

// treble keeps the noise of drums, which no two strokes share, and removes the
// tones, which instruments in one key have in common.
func treble(x []float64) []float64 {
	y := make([]float64, max(0, len(x)-2))
	for i := range y {
		y[i] = x[i] - 2*x[i+1] + x[i+2]
	}
	return y
}

// Sound takes its time from the snare to the other microphones, and cables from
// instruments carry none of it.
func TestBleed(t *testing.T) {
	c := smallTour(t)
	show := c.show("2031-05-02")
	r := show.Recordings[0]
	tracks := c.tracks(t, show.Date, r)
	// The end of the last take, where all instruments strike at once.
	last := c.truth.Takes[0]
	for _, k := range c.truth.Takes {
		if k.Show == show.Date {
			last = k
		}
	}
	// A short span, because it takes many multiplications: the last two beats
	// and the chord.
	from, to := last.EndS-2, last.EndS-0.8
	snare := treble(cut(tracks[2], r.SampleRate, from, to))
	metres := pickups()[overheadL].at.to(sources()[srcSnare].at)
	_, at := correlate(snare, treble(cut(tracks[6], r.SampleRate, from, to)), r.SampleRate/50)
	if want := metres / speedOfSound * float64(r.SampleRate); math.Abs(float64(at)-want) > 5 {
		t.Errorf("the snare reaches the overhead %d frames late; over %g m it takes %.0f", at, metres, want)
	}
	for ch, in := range c.inputs(show.Date) {
		x := treble(cut(tracks[in.Track], r.SampleRate, from, to))
		got, _ := correlate(snare, x, r.SampleRate/50)
		switch {
		case pickups()[ch].line && got > 0.05:
			t.Errorf("%s has %.2f of the snare", in.Channel, got)
		// The hat's track ends before that.
		case in.Group == "drums" && in.Channel != "Hat" && got < 0.1, in.Group == "vocals" && got < 0.05:
			t.Errorf("%s has only %.3f of the snare", in.Channel, got)
		}
	}
}

// A live microphone that is not sung or played into still picks up the stage,
// far above a dead one's floor and far below its own source.
func TestLevels(t *testing.T) {
	c := smallTour(t)
	show := c.show("2031-05-05")
	r := show.Recordings[0]
	tracks := c.tracks(t, show.Date, r)
	takes := []Take{}
	for _, k := range c.truth.Takes {
		if k.Show == show.Date {
			takes = append(takes, k)
		}
	}
	level := func(ch, take int) float64 {
		return rms(cut(tracks[tour()[2].track(ch)], r.SampleRate, takes[take].StartS, takes[take].EndS))
	}
	for take, sings := range []bool{false, false, true, false} {
		l := level(guestVocal, take)
		if sings && (l < -30 || l > -12) || !sings && (l < -55 || l > -33) {
			t.Errorf("guest vocal at %.1f dBFS in take %d, sings: %v", l, take, sings)
		}
	}
	for _, in := range c.inputs(show.Date) {
		if in.Channel == "Snare Bottom" {
			continue // dead that night
		}
		x := tracks[in.Track]
		if p := 20 * math.Log10(peak(x)); p < -30 || p > -0.05 {
			t.Errorf("%s peaks at %.1f dBFS", in.Channel, p)
		}
		song := rms(cut(x, r.SampleRate, takes[0].StartS, takes[0].EndS))
		pause := rms(cut(x, r.SampleRate, takes[3].EndS+0.4, r.DurationS()))
		if in.Group == "audience" && song-pause > 20 || in.Group != "audience" && song-pause < 10 {
			t.Errorf("%s: %.1f dBFS in a song, %.1f in a pause", in.Channel, song, pause)
		}
	}
}

// The gains of the input list are in the samples: floor and signal change with
// them.
func TestGainsAreApplied(t *testing.T) {
	shows := tour()
	for _, sh := range shows {
		for _, ch := range sh.patch {
			p, first := pickups()[ch], channels()[ch].gainDB
			a, b := p.feeds(48000, first, first), p.feeds(48000, sh.gain(ch), first)
			for i := range a {
				if d := 20*math.Log10(b[i].gain/a[i].gain) - (sh.gain(ch) - first); math.Abs(d) > 1e-9 {
					t.Errorf("%s %s: source %d is off by %g dB", sh.date(), channels()[ch].name, a[i].source, d)
				}
			}
			if d := p.floorDBFS(sh.gain(ch)) - p.floorDBFS(first) - (sh.gain(ch) - first); math.Abs(d) > 1e-9 {
				t.Errorf("%s %s: the floor is off by %g dB", sh.date(), channels()[ch].name, d)
			}
		}
	}
	// An idle cable has the floors alone, added as powers.
	c := smallTour(t)
	for _, date := range []string{"2031-05-02", "2031-05-03"} {
		r := c.show(date).Recordings[0]
		got := rms(c.tracks(t, date, r)[16])
		step := math.Ldexp(1, 1-r.BitDepth) // rounding adds a twelfth of its square
		want := 10 * math.Log10(math.Pow(10, pickups()[spareDI].floorDBFS(10)/10)+math.Pow(10, converterDBFS(r.BitDepth)/10)+step*step/12)
		if math.Abs(got-want) > 0.05 {
			t.Errorf("%s: floor of the spare %.2f dBFS, want %.2f", date, got, want)
		}
	}
}

// Both rigs record the same preamps: the same sound through different
// converters.
func TestTwoRigsOneSplit(t *testing.T) {
	c := smallTour(t)
	s := c.show("2031-05-05")
	m, b := s.Recordings[0], s.Recordings[1]
	main, backup := c.tracks(t, s.Date, m), c.tracks(t, s.Date, b)
	begin := int(math.Round(b.OffsetS * float64(m.SampleRate)))
	var dropout Fault // the same span on all tracks that have it
	for _, f := range c.truth.Faults {
		if f.Show == s.Date && f.Kind == "dropout" {
			dropout = f
		}
	}
	for track, y := range backup {
		x := main[track][begin : begin+len(y)]
		equal, off := 0, []float64{}
		for i := range y {
			if x[i] == y[i] {
				equal++
			}
			if at := float64(begin+i) / float64(m.SampleRate); at < dropout.StartS || at > dropout.EndS {
				off = append(off, x[i]-y[i])
			}
		}
		// Two dithered 16-bit roundings, squared steps of 1/6 and 1/12 each.
		want := 10*math.Log10(2*(1./6+1./12)) - 15*20*math.Log10(2)
		if d := rms(off); math.Abs(d-want) > 0.05 || equal == len(y) {
			t.Errorf("track %d: the rigs differ by %.1f dBFS, %d of %d samples are equal", track, d, equal, len(y))
		}
	}
}

func TestNoise(t *testing.T) {
	n := newNoise(1, 2)
	x := make([]float64, 100_000)
	for i := range x {
		x[i] = n.at(int64(i))
	}
	if m, l := mean(x), rms(x); math.Abs(m) > 0.01 || math.Abs(l) > 0.05 {
		t.Errorf("mean %g, RMS %g dB", m, l)
	}
	tri := make([]float64, len(x))
	for i := range tri {
		tri[i] = n.triangle(int64(i))
	}
	if m, l, p := mean(tri), rms(tri), peak(tri); math.Abs(m) > 0.01 || math.Abs(l) > 0.05 || p > sqrt6 {
		t.Errorf("triangular: mean %g, RMS %g dB, peak %g", m, l, p)
	}
	if newNoise(1, 2) == newNoise(2, 1) || newNoise(1) == newNoise(1, 0) {
		t.Error("ids that differ give one noise")
	}
}
