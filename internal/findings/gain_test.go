package findings

import (
	"math"
	"testing"

	"nightreel/catalog"
)

// What the quiet and the playing must say for a change of gain, with near misses.
func TestAgree(t *testing.T) {
	for _, row := range []struct {
		quiet, loud float64
		ok          bool
		why         string
	}{
		{-6, -6, true, "both move alike"},
		{4.6, 4.4, true, "just enough"},
		{4.6, 3.9, false, "just too little in all"},
		{4.4, 5, false, "just too little"},
		{-6, -2.5, true, "playing shows enough of it"},
		{-6, -2.3, false, "playing shows too little: a quieter room"},
		{-6, -9.9, true, "played softer as well"},
		{-6, -10.1, false, "mostly played softer"},
		{6, -6, false, "against each other: a louder room, a softer player"},
		{0.2, -12, false, "a softer player"},
		{-12, -17.9, true, "half of a large change"},
		{33, 33, false, "more than a preamp's step: another thing"},
	} {
		if _, ok := agree(row.quiet, row.loud); ok != row.ok {
			t.Errorf("quiet %g dB, playing %g dB (%s): %v", row.quiet, row.loud, row.why, ok)
		}
	}
}

// turn moves all that a tape holds from a block on, as a preamp does.
func (t *tape) turn(from int, db float32) {
	g := float32(1)
	for range int(db) {
		g *= 1.2589254 // 1 dB of power
	}
	for range int(-db) {
		g /= 1.2589254
	}
	for b := from; b < len(t.blocks); b++ {
		t.blocks[b].MeanSquare *= g
		t.blocks[b].KMeanSquare *= g
	}
}

// A preamp that is turned within the night, and a player who is louder from a
// song on, whose floor and bleed stay.
func TestStep(t *testing.T) {
	for _, row := range []struct {
		name  string
		touch func(sc *scene)
		want  []want
	}{
		{"up by 8 dB", func(sc *scene) { sc.tape("Snare Top").turn(sc.in(2, 0), 8) }, []want{{catalog.GainChange, "Snare Top", catalog.NoteSeverity}}},
		{"down by 10 dB", func(sc *scene) { sc.tape("Guitar L").turn(sc.in(2, 0), -10) }, []want{{catalog.GainChange, "Guitar L", catalog.NoteSeverity}}},
		{"up by 3 dB: a microphone moved", func(sc *scene) { sc.tape("Snare Top").turn(sc.in(2, 0), 3) }, nil},
		{"louder player", func(sc *scene) {
			t := sc.tape("Guitar L")
			for b := sc.in(2, 0); b < len(t.blocks); b++ {
				if t.blocks[b].KMeanSquare > 1e-4 {
					t.blocks[b].KMeanSquare *= 6
				}
			}
		}, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			sc := newScene(8, 1)
			row.touch(sc)
			sc.check(t, row.want...)
		})
	}
}

// A step is told where it was made, on a night of four songs that no other night
// tells of: between the first two, before the last, and within one.
func TestStepPlace(t *testing.T) {
	for _, row := range []struct {
		name    string
		channel string
		db      float32
		song    int
		part    float64 // of the song; 0: 2.5 s before it
	}{
		{"between the first two songs", "Overhead L", 8, 1, 0},
		{"down between the first two songs", "Bass DI", -8, 1, 0},
		{"in the middle of the night", "Overhead L", -8, 2, 0},
		{"before the last song", "Guitar L", -8, 3, 0},
		{"up before the last song", "Overhead R", 8, 3, 0},
		{"within a song", "Guitar L", -10, 2, 0.5},
	} {
		t.Run(row.name, func(t *testing.T) {
			sc := newScene(8, 0)
			at := sc.in(row.song, row.part)
			from, to := at-100, at+100
			if row.part == 0 {
				from, to, at = sc.in(row.song-1, 1), at, at-25
			}
			sc.tape(row.channel).turn(at, row.db)
			f := sc.check(t, want{catalog.GainChange, row.channel, catalog.NoteSeverity})[0]
			if b := int(f.StartFrame / 4800); b < from || b > to {
				t.Errorf("told at %d s, made at %d s, not from %d to %d s", b/10, at/10, from/10, to/10)
			}
		})
	}
}

// Pauses must part by more than they scatter.
func TestPausesScatter(t *testing.T) {
	for _, row := range []struct {
		what   string
		levels []float64 // of four pauses
		want   float64
	}{
		{"steady", []float64{-80, -80.5, -72, -72.3}, 8.1},
		{"one against three that agree", []float64{-80, -72, -73, -72}, 8},
		{"one against three, and somebody talks in one of them", []float64{-73.5, -67.9, -66.3, -56.4}, 0},
		{"they overlap", []float64{-80, -70, -72, -60}, 0},
	} {
		h := &hushes{}
		for k := range row.levels {
			h.pauses = append(h.pauses, pause{100 * k, 100*k + 20})
		}
		bin := 150
		if row.what[:3] == "one" {
			bin = 50
		}
		if got, ok := h.stepOf(row.levels, bin); !ok || math.Abs(got-row.want) > 0.2 {
			t.Errorf("%s: %.1f dB, want %.1f", row.what, got, row.want)
		}
	}
}

// One thing by its name, or two: only where no other night tells.
func TestOneThing(t *testing.T) {
	for _, row := range []struct {
		a, b string
		want bool
	}{
		{"Bass DI", "Bass Mic", true}, {"Kick In", "Kick Out", true}, {"Guitar L", "Guitar R", false}, {"Keys Left", "Keys Right", false},
		{"Lead Vocal", "Vocal 2", false}, {"Hat", "Hat", false}, {"bass di", "BASS mic", true},
	} {
		if got := oneThing(row.a, row.b); got != row.want {
			t.Errorf("%s and %s: %v", row.a, row.b, got)
		}
	}
}
