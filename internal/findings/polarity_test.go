package findings

import (
	"fmt"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
)

// turnsOf returns what one night says of five voices of which some are turned
// over against tonight: 0 and 1 stand close together, the others farther off.
func turnsOf(show catalog.ShowKey, over ...int) since {
	s := since{show: show, has: []bool{true, true, true, true, true}}
	sign := map[int]float64{}
	for _, v := range over {
		sign[v] = -1
	}
	for a := range 5 {
		for b := a + 1; b < 5; b++ {
			heard := 0.3
			if a == 0 && b == 1 {
				heard = 0.8
			}
			if sign[a] != sign[b] {
				heard = -heard
			}
			s.turns = append(s.turns, turn{a: a, b: b, weight: heard})
		}
	}
	return s
}

// without takes the turns of some voices out of what a night says.
func (s since) without(voices ...int) since {
	for _, v := range voices {
		var kept []turn
		for _, t := range s.turns {
			if t.a != v && t.b != v {
				kept = append(kept, t)
			}
		}
		s.turns = kept
	}
	return s
}

// Nights are counted for each voice; where they are as many, the latest decides.
func TestOutvoted(t *testing.T) {
	for _, row := range []struct {
		what    string
		tonight catalog.ShowKey
		nights  []since
		want    string // voice, nights the other way, nights as tonight
	}{
		{"as always", "2031-05-03", []since{turnsOf("2031-05-01"), turnsOf("2031-05-02")}, ""},
		{"turned tonight", "2031-05-03", []since{turnsOf("2031-05-01", 3), turnsOf("2031-05-02", 3)}, "3: 2, 0;"},
		{"turned tonight, by the other night", "2031-05-02", []since{turnsOf("2031-05-01", 3)}, "3: 1, 0;"},
		{"turned on the next night, or tonight", "2031-05-01", []since{turnsOf("2031-05-02", 3)}, ""},
		{"a line check, by the only night", "9999-12-31", []since{turnsOf("2031-05-02", 3)}, "3: 1, 0;"},
		{"two other nights, each with another cable turned", "2031-05-01", []since{turnsOf("2031-05-02", 4), turnsOf("2031-05-04", 1)}, ""},
		{"the same, from the first of them", "2031-05-02", []since{turnsOf("2031-05-01", 4), turnsOf("2031-05-04", 1, 4)}, "4: 2, 0;"},
		{"one night alone hears it, and others have it", "2031-05-03", []since{turnsOf("2031-05-01", 3), turnsOf("2031-05-02").without(3)}, ""},
		{"two of three", "2031-05-04", []since{turnsOf("2031-05-01", 3), turnsOf("2031-05-02", 3), turnsOf("2031-05-03")}, "3: 2, 1;"},
		{"two of three, and the latest is of the other two", "2031-05-03", []since{turnsOf("2031-05-01", 3), turnsOf("2031-05-02"), turnsOf("2031-05-04", 3)}, ""},
		{"half of the other nights", "2031-05-05", []since{turnsOf("2031-05-01", 3), turnsOf("2031-05-02", 3), turnsOf("2031-05-03"), turnsOf("2031-05-04")}, ""},
		{"three of four, on an early night", "2031-05-01", []since{turnsOf("2031-05-02", 2), turnsOf("2031-05-03", 2), turnsOf("2031-05-04", 2), turnsOf("2031-05-05")}, "2: 3, 1;"},
		{"two cables", "2031-05-03", []since{turnsOf("2031-05-01", 0, 3), turnsOf("2031-05-02", 0, 3)}, "0: 2, 0;3: 2, 0;"},
	} {
		got := ""
		for _, v := range outvoted(row.tonight, row.nights) {
			got += fmt.Sprintf("%d: %d, %d;", v.voice, v.nights, v.alike)
		}
		if got != row.want {
			t.Errorf("%s: %q, want %q", row.what, got, row.want)
		}
	}
}

// A pair that stands close outvotes two that hear each other from afar.
func TestTurned(t *testing.T) {
	for _, row := range []struct {
		close float64
		want  string
	}{
		{0.8, "map[]"}, {0.6, "map[]"}, {0.5, "map[1:true]"}, {0.2, "map[1:true]"}, {-0.8, "map[1:true]"},
	} {
		turns := []turn{{0, 1, row.close}, {1, 2, -0.3}, {1, 3, -0.3}, {2, 3, 0.3}, {0, 2, 0.3}, {0, 3, 0.3}}
		if got := fmt.Sprint(turned(turns)); got != row.want {
			t.Errorf("%g: %s, want %s", row.close, got, row.want)
		}
	}
}

// What a pair weighs: by its shape, and by the lesser of what the nights hear.
func TestTurnOf(t *testing.T) {
	c := func(r ...float64) *channelsound.Curve {
		var c channelsound.Curve
		for i, v := range r {
			c.R[channelsound.Reach+i] = v
		}
		return &c
	}
	for _, row := range []struct {
		what string
		c, d *channelsound.Curve
		want float64
	}{
		{"as it was", c(0.8), c(0.4), 0.4},
		{"turned", c(0.8), c(-0.3), -0.3},
		{"one of the two hardly hears it", c(0.8), c(-0.17), 0},
		{"another shape", c(0.5, 0.5), c(0.5, -0.5), 0},
		{"turned, at another lag", c(0.5, 0.49), c(0, -0.5), 0},
		{"nothing to hear", c(0.5), nil, 0},
	} {
		if got := turnOf(row.c, row.d); got < row.want-1e-9 || got > row.want+1e-9 {
			t.Errorf("%s: %g, want %g", row.what, got, row.want)
		}
	}
}
