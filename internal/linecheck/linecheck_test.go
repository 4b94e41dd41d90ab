package linecheck

import (
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/sound"
	"nightreel/internal/spectrum"
)

// voice is a channel that holds a level while it plays, and another in its quiet,
// in dB.
func voice(track int, channel string, level, quiet float64) sound.Voice {
	v := sound.Voice{Track: catalog.Track{Number: track, Channel: channel}, Quiet: quiet, Song: level - 2, High: level}
	for range 10 {
		v.Levels = append(v.Levels, level)
	}
	for b := range spectrum.Bands {
		v.Bands[b], v.QuietBands[b] = level-15, quiet-15
	}
	return v
}

func nights(levels ...float64) []*sound.Night {
	var tour []*sound.Night
	for _, l := range levels {
		tour = append(tour, &sound.Night{Voices: []sound.Voice{voice(1, "Hat", l, -80)}})
	}
	return tour
}

// One input against the tour, with near misses of each bound.
func TestInput(t *testing.T) {
	for _, row := range []struct {
		name         string
		level, quiet float64
		tour         []*sound.Night
		status       Status
		suggest      float64 // 0 = none
		says         string
	}{
		{"as on the tour", -20, -80, nights(-20, -21, -19), OK, 0, ""},
		{"2.9 dB louder", -17.1, -80, nights(-20, -20), OK, 0, ""},
		{"3 dB louder", -17, -80, nights(-20, -20), Look, -3, "gain down by about 3 dB"},
		{"6 dB quieter", -26, -80, nights(-20, -20), Look, 6, "gain up by about 6 dB"},
		{"10 dB louder may be the player", -10, -80, nights(-20, -20), Look, -10, "was it played as in the show?"},
		{"one odd night does not count", -20, -80, nights(-20, -40, -20), OK, 0, ""},
		{"dead", -86, -95, nights(-20, -20), Broken, 0, "is dead"},
		{"its floor, no history", -95, -95, nil, Unknown, 0, "no other night tells"},
		{"alive, no history", -30, -80, nil, OK, 0, ""},
		{"plays all the time", -20, -25, nights(-20, -20), OK, 0, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			v := voice(1, "Hat", row.level, row.quiet)
			in := input(&v, row.tour)
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

// A preamp gain that both lists give is no difference.
func TestInputListedGain(t *testing.T) {
	v := voice(1, "Hat", -14, -74)
	tour := nights(-20, -20)
	now, then := 36.0, 30.0
	v.Track.Input.GainDB = &now
	for _, n := range tour {
		n.Voices[0].Track.Input.GainDB = &then
	}
	if in := input(&v, tour); in.Status != OK || in.Difference == nil || *in.Difference != 0 {
		t.Errorf("%+v", in)
	}
}

// Of exchanged inputs nothing else is told: what they differ by is the other's.
func TestExchanged(t *testing.T) {
	tour := []*sound.Night{{Voices: []sound.Voice{voice(1, "Hat", -20, -80), voice(2, "Tom", -30, -80)}}}
	hat, tom := voice(1, "Hat", -30, -80), voice(2, "Tom", -20, -80)
	r := Report{Inputs: []Input{input(&hat, tour), input(&tom, tour)}}
	r.tell(catalog.Flag{Track: 1, Kind: catalog.Swapped, Evidence: catalog.Evidence{"with_track": 2}, Text: "Hat sounds as Tom did."})
	for i, other := range []string{"Tom", "Hat"} {
		in := r.Inputs[i]
		if in.Status != Broken || in.Swapped != other || in.Suggest != nil || len(in.Text) != 1 {
			t.Errorf("%+v", in)
		}
	}
}
