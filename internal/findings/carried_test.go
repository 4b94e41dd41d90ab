package findings

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// heardNight is a night of some channels, heard; each holds the mains' lines at
// a level in dB, or none below -120.
func heardNight(hum map[string]float64, channels ...string) *channelsound.Night {
	n := &channelsound.Night{SampleRate: testRate}
	binHz := float64(testRate) / float64(spectrum.Decimation(testRate)*2*spectrum.Bins)
	for i, name := range channels {
		var part spectrum.Tone
		part.Cells = make([]spectrum.Cell, spectrum.PartCells)
		for k := range part.Quiet {
			part.Quiet[k] = 1e-13
		}
		for h := 1; h <= 8; h++ {
			if level, ok := hum[name]; ok {
				part.Quiet[int(math.Round(50*float64(h)/binHz))] = float32(math.Pow(10, level/10) / 8)
			}
		}
		n.Voices = append(n.Voices, channelsound.Voice{Track: catalog.Track{Number: i + 1, Channel: channels[i]}, Parts: []spectrum.Tone{part, part, part}, High: -20})
	}
	return n
}

// given is what is known of a recording whose exchanged voices and duplicates are given.
func given(r *evidence.Recording, swaps []swap, copies []catalog.Finding) *known {
	n := learn(r)
	n.swaps = func() []swap { return swaps }
	n.copies = func() []catalog.Finding { return copies }
	return n
}

// A guitar's amplifier hums on every night: wherever its signal is found, that
// is no news.
func TestHumOfExchanged(t *testing.T) {
	duplicate := catalog.Finding{Track: 2, Tracks: []int{2, 1}}
	for _, row := range []struct {
		what       string
		hum        map[string]float64
		swaps      []swap
		duplicates []catalog.Finding
		want       int // tracks that hum
	}{
		{"as always", map[string]float64{"Guitar": -62}, nil, nil, 0},
		{"the kick's microphone hums as the guitar does", map[string]float64{"Kick": -62}, nil, nil, 1},
		{"the two are exchanged", map[string]float64{"Kick": -62}, []swap{{a: 0, b: 1}}, nil, 0},
		{"the kick is exchanged with another", map[string]float64{"Kick": -62}, []swap{{a: 0, b: 2}}, nil, 1},
		{"exchanged, and the guitar's place hums: that is the kick's line", map[string]float64{"Guitar": -62}, []swap{{a: 0, b: 1}}, nil, 1},
		{"exchanged, and louder than the guitar ever did", map[string]float64{"Kick": -50}, []swap{{a: 0, b: 1}}, nil, 1},
		{"both carry the guitar", map[string]float64{"Kick": -62, "Guitar": -62}, nil, []catalog.Finding{duplicate}, 0},
		{"both carry a guitar that is louder than ever", map[string]float64{"Kick": -50, "Guitar": -50}, nil, []catalog.Finding{duplicate}, 2},
	} {
		t.Run(row.what, func(t *testing.T) {
			channels := []string{"Kick", "Guitar", "Bass"}
			n := &evidence.Recording{SampleRate: testRate, Sound: heardNight(row.hum, channels...)}
			for _, v := range n.Sound.Voices {
				v.Track.Frames = 180 * testRate
				n.Tracks = append(n.Tracks, evidence.Unmeasured(v.Track))
			}
			for range 2 {
				n.Tour = append(n.Tour, heardNight(map[string]float64{"Guitar": -62}, channels...))
			}
			if found := hum(given(n, row.swaps, row.duplicates)); len(found) != row.want {
				t.Errorf("%d hum, want %d: %+v", len(found), row.want, found)
			}
		})
	}
}

// What stood beside the mains' lines on other nights is a habit of humming only
// where it stood through half of their minutes, at the mains' frequency.
func TestHumHabit(t *testing.T) {
	binHz := float64(testRate) / float64(spectrum.Decimation(testRate)*2*spectrum.Bins)
	tone := func(hz float64, minutes int) func(v *channelsound.Voice) {
		return func(v *channelsound.Voice) {
			v.Parts = slices.Clone(v.Parts)
			for i := range minutes {
				k := int(hz / binHz)
				share := hz/binHz - float64(k)
				v.Parts[i].Quiet[k] += float32(1e-5 * (1 - share))
				v.Parts[i].Quiet[k+1] += float32(1e-5 * share)
			}
		}
	}
	for _, row := range []struct {
		what string
		past func(v *channelsound.Voice)
		want int
	}{
		{"quiet on other nights", func(*channelsound.Voice) {}, 1},
		{"a bass note beside the line in one minute of three", tone(46.2, 1), 1},
		{"a bass note beside the line in all of them", tone(46.2, 3), 1},
		{"the mains in one minute of three", tone(50, 1), 1},
		{"the mains in two minutes of three", tone(50, 2), 0},
	} {
		t.Run(row.what, func(t *testing.T) {
			n := &evidence.Recording{SampleRate: testRate, Sound: heardNight(map[string]float64{"Vocal": -52}, "Vocal")}
			n.Tracks = append(n.Tracks, evidence.Unmeasured(n.Sound.Voices[0].Track))
			n.Tour = []*channelsound.Night{heardNight(nil, "Vocal"), heardNight(nil, "Vocal")}
			row.past(&n.Tour[1].Voices[0])
			if found := hum(given(n, nil, nil)); len(found) != row.want {
				t.Errorf("%d hum, want %d; other nights %.1f dB", len(found), row.want, humLevel(&n.Tour[1].Voices[0], binHz, 50))
			}
		})
	}
}

// A drum's own edges are its habit on whichever track it is found.
func TestCracksOfExchanged(t *testing.T) {
	for _, row := range []struct {
		what  string
		swaps []swap
		want  int
	}{
		{"a voice cracks", nil, 1},
		{"it is the snare, which always does", []swap{{a: 0, b: 1}}, 0},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(7, 2)
			voice := sc.tape("Lead Vocal")
			for i := range 40 {
				voice.event(meter.Crack, int64(sc.in(1, 0.2))*4800+int64(i*i%37+40*i)*2400, 1, 0.1)
			}
			n := night(sc.st, sc.voices, sc.tapes)
			for i, p := range sc.past {
				snare := track(p, 2)
				for range 30 * len(snare.Levels) / 2 {
					snare.Cracked = append(snare.Cracked, 1)
				}
				remember(n, catalog.ShowKey(fmt.Sprintf("2031-04-%02d", i+1)), p)
			}
			n.Sound = &channelsound.Night{Voices: []channelsound.Voice{{Track: track(n, 13).Track}, {Track: track(n, 2).Track}}}
			if found := crackles(given(n, row.swaps, nil)); len(found) != row.want {
				t.Errorf("%d crackle, want %d: %+v", len(found), row.want, found)
			}
		})
	}
}

// A stroke that clips its own microphone is heard by the one beside it, edges and
// all; a contact cracks by itself, whoever clips.
func TestCracksBesideClipping(t *testing.T) {
	for _, row := range []struct {
		what string
		late int64 // frames from the clipped strokes to what is beside
		want int
	}{
		{"with the strokes, 2 ms later", 96, 0},
		{"100 ms after them", 4800, 1},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(7, 0)
			in, beside := sc.tape("Kick In"), sc.tape("Guitar L")
			for i := range 40 {
				at := int64(sc.in(1, 0.2))*4800 + int64(i*i%37+40*i)*2400
				in.event(meter.ClipRun, at, 40, 1)
				in.event(meter.Crack, at+40, 1, 0.5)
				beside.event(meter.Crack, at+row.late, 1, 0.1)
			}
			n := night(sc.st, sc.voices, sc.tapes)
			found := crackles(learn(n))
			if len(found) != row.want || row.want > 0 && found[0].Track != beside.number {
				t.Errorf("%d crackle, want %d: %+v", len(found), row.want, found)
			}
		})
	}
}
