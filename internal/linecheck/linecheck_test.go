package linecheck

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/findings"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// voice is a channel with one level while it plays, and another while it is
// quiet, in dB.
func voice(track int, channel string, level, quiet float64) channelsound.Voice {
	v := channelsound.Voice{Track: catalog.Track{ID: catalog.TrackID(track), Number: track, Channel: channel, SampleRate: 48000}, Quiet: quiet, Song: level - 2, High: level}
	for range 10 {
		c := spectrum.Cell{}
		for b := range spectrum.Bands {
			c.Bands[b] = float32(math.Pow(10, (level-15)/10))
		}
		v.Cells, v.Levels = append(v.Cells, c), append(v.Levels, level)
	}
	for b := range spectrum.Bands {
		v.Bands[b], v.QuietBands[b] = level-15, quiet-15
	}
	return v
}

// held is a minute of peaks at the quiet level, except for some seconds.
func held(level, quiet float64, played int) []float64 {
	peaks := slices.Repeat([]float64{quiet}, 60)
	for i := range played {
		peaks[20+i] = level
	}
	return peaks
}

// hats are nights on which a hat peaked at some levels, a third of the time.
func hats(levels ...float64) *tour {
	t := &tour{inTurn: true, length: 60}
	for _, l := range levels {
		t.nights = append(t.nights, &channelsound.Night{Voices: []channelsound.Voice{voice(1, "Hat", l-12, -92)}})
		t.peaks = append(t.peaks, seconds{1: slices.Concat(held(l, -80, 30), held(l, -80, 20))})
	}
	return t
}

// One input against the tour, with near misses of each bound.
func TestInput(t *testing.T) {
	for _, row := range []struct {
		name         string
		level, quiet float64
		played       int // s
		tour         *tour
		status       Status
		suggest      float64 // 0 = none
		says         string
	}{
		{"as on the tour", -20, -80, 3, hats(-20, -21, -19), OK, 0, ""},
		{"as on the tour, for two seconds", -20, -80, 2, hats(-20, -21, -19), OK, 0, ""},
		{"as on the tour, all the time", -20, -80, 40, hats(-20, -21, -19), OK, 0, ""},
		{"2.9 dB louder", -17.1, -80, 3, hats(-20, -20), OK, 0, ""},
		{"3 dB louder", -17, -80, 3, hats(-20, -20), Look, -3, "gain down by about 3 dB"},
		{"6 dB quieter", -26, -80, 3, hats(-20, -20), Look, 6, "gain up by about 6 dB"},
		{"6 dB quieter, one stroke", -26, -80, 1, hats(-20, -20), Look, 0, "for a second only"},
		{"10 dB louder may come from the player", -10, -80, 3, hats(-20, -20), Look, -10, "was it played as in the show?"},
		{"far below the tour is bleed", -37, -80, 3, hats(-20, -20), Look, 0, "was it played? If it was"},
		{"one odd night does not change the range", -20, -80, 3, hats(-20, -40, -20), OK, 0, ""},
		{"full scale", 0, -80, 3, hats(0, -1), Look, 0, "full scale"},
		{"dead", -86, -95, 3, hats(-20, -20), Broken, 0, "is dead"},
		{"its floor, no history", -95, -95, 0, &tour{}, Unknown, 0, "no other night has it"},
		{"alive, no history", -30, -80, 3, &tour{}, OK, 0, ""},
		{"plays all the time", -20, -25, 30, hats(-20, -20), OK, 0, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			v := voice(1, "Hat", row.level-12, row.quiet-12)
			in, _ := row.tour.input(&v, held(row.level, row.quiet, row.played), timbre{})
			text := strings.Join(in.Text, " ")
			suggest := 0.0
			if in.Suggest != nil {
				suggest = *in.Suggest
			}
			if in.Status != row.status || suggest != row.suggest || !strings.Contains(text, row.says) || row.says == "" && text != "" {
				t.Errorf("%s, gain %+g, %q", in.Status, suggest, text)
			}
		})
	}
}

// A channel that no night used is no fault, and one that rests in some songs may
// rest while the band plays.
func TestInputAtRest(t *testing.T) {
	tour := hats(-20, -20)
	for i := range tour.nights {
		tour.nights[i].Voices[0] = voice(1, "Hat", -100, -100)
		tour.peaks[i][1] = held(-90, -90, 0)
	}
	v := voice(1, "Hat", -100, -100)
	if in, _ := tour.input(&v, held(-90, -90, 0), timbre{}); in.Status != OK || in.Alive {
		t.Errorf("never used: %+v", in)
	}
	tour = hats(-20, -20)
	for i, n := range tour.nights {
		n.Takes = []channelsound.Span{{Song: "A", Start: 0, End: 60 * 48000}, {Song: "B", Start: 60 * 48000, End: 120 * 48000}}
		copy(tour.peaks[i][1][60:], held(-80, -80, 0))
	}
	for inTurn, want := range map[bool]Status{true: Broken, false: Unknown} {
		tour.inTurn = inTurn
		if in, _ := tour.input(&v, held(-82, -82, 0), timbre{}); in.Status != want || in.Alive {
			t.Errorf("rests in a song, in turn %v: %+v", inTurn, in)
		}
	}
}

// If an input that plays in every song of the tour is 6 dB low, its gain is low:
// it does not rest.
func TestInputThatNeverRestsIsTurnedDown(t *testing.T) {
	tour := hats(-20, -20)
	tour.inTurn = false
	for _, n := range tour.nights {
		n.Takes = []channelsound.Span{{Song: "A", Start: 0, End: 60 * 48000}, {Song: "B", Start: 60 * 48000, End: 120 * 48000}}
	}
	v := voice(1, "Hat", -38, -92)
	if in, _ := tour.input(&v, held(-26, -80, 30), timbre{}); in.Status != Look || in.Suggest == nil || *in.Suggest != 6 {
		t.Errorf("%s, %v", in.Status, in.Text)
	}
}

// Peaks are those of the measured blocks, per second and not rounded; full scale
// is detected at 16 bit, too.
func TestPeaksAreThoseMeasured(t *testing.T) {
	blocks := make([]meter.Block, 2*meter.BlocksPerSecond+1)
	blocks[3].Peak, blocks[12].Peak = 32767./32768, 0.97
	peaks := peaksOf(blocks)
	if len(peaks) != 3 || peaks[0] < inputLimits.FullDBFS || peaks[1] >= inputLimits.FullDBFS || math.Abs(peaks[1]-20*math.Log10(0.97)) > 1e-5 || peaks[2] != channelsound.Silence {
		t.Errorf("%v", peaks)
	}
}

// A difference that both lists' preamp gains explain is no difference.
func TestInputListedGain(t *testing.T) {
	tour := hats(-20, -20)
	v := voice(1, "Hat", -26, -86)
	now, then := 36.0, 30.0
	v.Track.Input.GainDB = &now
	for _, n := range tour.nights {
		n.Voices[0].Track.Input.GainDB = &then
	}
	if in, _ := tour.input(&v, held(-14, -74, 3), timbre{}); in.Status != OK || in.Difference == nil || *in.Difference != 0 {
		t.Errorf("%+v", in)
	}
}

// The level of an input does not depend on how long it is played, and bleed does
// not count.
func TestPlayed(t *testing.T) {
	for _, n := range []int{1, 2, 3, 6, 30, 60} {
		if p := played(held(-12, -21, min(n, 40))); p.level != -12 || p.seconds != min(n, 40) || p.span != min(n, 40) {
			t.Errorf("%d s: %+v", n, p)
		}
	}
	if p := played(nil); p.seconds != 0 || p.level != channelsound.Silence {
		t.Errorf("nothing: %+v", p)
	}
	if p := played([]float64{channelsound.Silence, channelsound.Silence}); p.seconds != 0 {
		t.Errorf("digital silence: %+v", p)
	}
}

// If inputs are exchanged, nothing else is reported of them: their differences
// are the other one's.
func TestExchanged(t *testing.T) {
	r := Report{Inputs: []Input{{Track: 1, Channel: "Hat", Suggest: rounded(6), Text: []string{"louder"}}, {Track: 2, Channel: "Tom", Tone: rounded(9), Text: []string{"unlike"}}}}
	r.add(catalog.Finding{Track: 1, Kind: catalog.Swapped, Tracks: []int{1, 2}, Text: "Hat sounds as Tom did."})
	for i, other := range []string{"Tom", "Hat"} {
		in := r.Inputs[i]
		if in.Status != Broken || in.Swapped != other || in.Suggest != nil || in.Tone != nil || len(in.Text) != 1 {
			t.Errorf("%+v", in)
		}
	}
}

// tilted is a channel whose spectrum falls by the given dB a band, beside an
// input with another slope.
func tilted(lean, now float64) heard {
	of := func(lean float64) (t timbre) {
		for b := range t {
			t[b] = -40 + lean*float64(b)
		}
		return t
	}
	return heard{now: of(now), usual: manner{nights: []timbre{of(lean), of(lean)}, own: 3, half: 2}, alive: true}
}

// Two inputs are exchanged if each is nearer to the other's channel. If the two
// channels sound alike, no exchange is reported. A pair from another method is
// kept unless its sound is as usual.
func TestCrosswise(t *testing.T) {
	dark, bright, brightToo := tilted(-1, -1), tilted(1, 1), tilted(1.05, 1)
	darkNow, brightNow := tilted(-1, 1), tilted(1, -1)
	silent := brightNow
	silent.alive = false
	pair := []findings.Pair{{A: 0, B: 1}}
	for _, row := range []struct {
		name   string
		inputs []heard
		told   []findings.Pair
		want   int
		alike  int
	}{
		{"as ever", []heard{dark, bright}, nil, 0, 0},
		{"exchanged", []heard{darkNow, brightNow}, nil, 1, 0},
		{"one is silent", []heard{darkNow, silent}, nil, 0, 0},
		{"only one sounds like the other", []heard{darkNow, bright}, nil, 0, 0},
		{"as usual, though given as a pair", []heard{dark, bright}, pair, 0, 0},
		{"alike", []heard{bright, brightToo}, nil, 0, 1},
		{"alike, and given as a pair", []heard{tilted(1, 1.03), tilted(1.05, 1.02)}, pair, 1, 1},
		{"each once", []heard{darkNow, brightNow, brightNow}, nil, 1, 1},
		{"no other night", []heard{{alive: true}, {alive: true}}, pair, 0, 0},
	} {
		if got, same := exchanged(row.inputs, row.told), alike(row.inputs); len(got) != row.want || len(same) != row.alike {
			t.Errorf("%s: exchanged %v, alike %v", row.name, got, same)
		}
	}
}

func TestAlikeGroups(t *testing.T) {
	r := Report{Inputs: []Input{
		{Channel: "A", Alike: []string{"D"}}, {Channel: "B", Alike: []string{"C"}}, {Channel: "C", Alike: []string{"B"}},
		{Channel: "D", Alike: []string{"A", "E"}}, {Channel: "E", Alike: []string{"D"}}, {Channel: "F"},
	}}
	if got, want := fmt.Sprint(r.AlikeGroups()), "[[A D E] [B C]]"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// What a judge that failed did not check is a problem of the report, with what to send.
func TestWhatAFailedJudgeDidNotCheckIsAProblem(t *testing.T) {
	var r Report
	r.miss("check.wav", []catalog.NotJudged{{Judge: "hum", Kinds: []catalog.FindingKind{catalog.Hum}, Error: "index out of range [3]", Stack: []string{"findings.hum hum.go:250"}}})
	if want := "hum was not checked, because of an error in nightreel: judge hum: index out of range [3];  at findings.hum hum.go:250"; len(r.Problems) != 1 || r.Problems[0].Problem != want || r.Problems[0].File != "check.wav" || r.Problems[0].Hint == "" {
		t.Errorf("problems: %+v", r.Problems)
	}
}
