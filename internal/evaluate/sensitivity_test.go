package evaluate

import (
	"errors"
	"math"
	"testing"

	"nightreel/internal/evidence"
)

// Each threshold moves alone, by 20 %, one step or 20 % of its decibels, never beyond
// what it can mean, and is back where it was afterwards, also after an error.
func TestThresholdsMoveOneByOne(t *testing.T) {
	limits := struct {
		DB    float64 `unit:"dB"`
		Level float64 `unit:"dBFS"`
		Share float64 `unit:"share"`
		Ratio float64 `unit:"ratio"`
		Few   int     `unit:"lines"`
		Many  int     `unit:"runs"`
	}{DB: 10, Level: -80, Share: 0.9, Ratio: 2, Few: 3, Many: 100}
	before := limits
	all := evidence.ThresholdsOf("x", &limits)
	var seen []float64
	moves, err := move(all, Counts{Found: 7}, func(th evidence.Threshold) (Counts, error) {
		seen = append(seen, th.Value())
		changed := 0
		for _, o := range evidence.ThresholdsOf("x", &before) {
			for _, now := range all {
				if now.Name == o.Name && now.Value() != o.Value() {
					changed++
				}
			}
		}
		if changed != 1 {
			t.Errorf("%d thresholds differ while %s moves", changed, th.Name)
		}
		if th.Name == "Few" && th.Value() == 2 {
			return Counts{Found: 8, False: 1}, nil
		}
		return Counts{Found: 7}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{8, 12, -64, -96, 0.72, 1, math.Pow(2, 0.8), math.Pow(2, 1.2), 2, 4, 80, 120}
	for i := range want {
		if i >= len(seen) || math.Abs(seen[i]-want[i]) > 1e-9 {
			t.Fatalf("moved to %v, want %v", seen, want)
		}
	}
	for _, m := range moves {
		if m.Counted() != (m.Name == "Few") || m.Values[1] != m.Value() || m.Counts[1] != (Counts{Found: 7}) {
			t.Errorf("%+v", m)
		}
	}
	if _, err := move(all, Counts{}, func(evidence.Threshold) (Counts, error) { return Counts{}, errors.New("broken") }); err == nil {
		t.Error("no error")
	}
	if limits != before {
		t.Errorf("afterwards %+v, before %+v", limits, before)
	}
}
