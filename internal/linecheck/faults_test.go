package linecheck

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
)

// lineChecks are the ways to play one: in turn for some seconds each, or all at
// once for a minute of a song.
var lineChecks = []struct {
	name string
	play func(r *rand.Rand) map[string][]stroke
}{
	{"in turn, 2.5 s each", func(r *rand.Rand) map[string][]stroke { return inTurn(r, 2.5) }},
	{"in turn, 1.3 s each", func(r *rand.Rand) map[string][]stroke { return inTurn(r, 1.3) }},
	{"in turn, 5 s each", func(r *rand.Rand) map[string][]stroke { return inTurn(r, 5) }},
	{"all at once", func(r *rand.Rand) map[string][]stroke { return atOnce(r, 60) }},
}

func checked(t *testing.T, store *catalog.Store, inputs [][]float64) map[string]Input {
	t.Helper()
	dir := t.TempDir()
	wav(t, dir, inputs)
	report, err := Check(t.Context(), store, dir, Options{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]Input{}
	for _, in := range report.Inputs {
		got[in.Channel] = in
	}
	return got
}

func of(name string) int {
	return slices.IndexFunc(stageInputs, func(in stageInput) bool { return in.name == name })
}

// A line check of a healthy stage reports nothing. With planted faults it
// reports those, and nothing about other inputs.
func TestFaults(t *testing.T) {
	store := stageTour(t)
	t.Run("gains", func(t *testing.T) { gains(t, store) })
	for k, check := range lineChecks {
		if raceEnabled && k > 0 {
			break // skip the other ways in short tests: they are slow
		}
		r := rand.New(rand.NewPCG(uint64(k), 77))
		clean := recorded(r, check.play(r), 60)
		t.Run(check.name, func(t *testing.T) {
			for name, in := range checked(t, store, clean) {
				if in.Status != OK || in.Alive != (name != "Spare") || in.Suggest != nil || len(in.Text) > 0 {
					t.Errorf("clean: %s is %s, alive %v, gain %v: %v", name, in.Status, in.Alive, show(in.Suggest), in.Text)
				}
			}
			// Faults on different inputs do not affect each other, so they are
			// planted together.
			bad := make([][]float64, len(clean))
			for i := range clean {
				bad[i] = slices.Clone(clean[i])
			}
			for i := range bad[of("Kick Out")] {
				bad[of("Kick Out")][i] *= -1
			}
			for i := range bad[of("Tom")] {
				bad[of("Tom")][i] = math.Pow(10, -87./20) * r.NormFloat64()
			}
			const hum = -46
			for i := range bad[of("Guitar")] {
				at := float64(i) / stageRate
				for h, db := range map[float64]float64{1: 0, 2: -6, 3: -4, 5: -12} {
					bad[of("Guitar")][i] += math.Sqrt2 * math.Pow(10, (hum+db)/20) * math.Sin(2*math.Pi*50*h*at+h)
				}
			}
			bad[of("Bass")], bad[of("Keys")] = bad[of("Keys")], bad[of("Bass")]
			got := checked(t, store, bad)
			if in := got["Kick Out"]; !in.Turned || in.Status != Look {
				t.Errorf("inverted polarity: %+v", in)
			}
			if in := got["Tom"]; in.Alive || in.Status != Broken {
				t.Errorf("dead: %+v", in)
			}
			// Within a song four lines may be a drone.
			if in := got["Guitar"]; k < len(lineChecks)-1 && (in.Hum == nil || math.Abs(*in.Hum-(hum+2.3)) > 2) {
				t.Errorf("hum: %+v, level %s", in, show(in.Hum))
			}
			if in, other := got["Bass"], got["Keys"]; in.Swapped != "Keys" || other.Swapped != "Bass" {
				t.Errorf("exchanged: %+v and %+v", in, other)
			}
			for _, name := range []string{"Kick In", "Snare", "Over L", "Over R", "Lead Voice", "Second Voice", "Click", "Spare"} {
				if in := got[name]; in.Status != OK {
					t.Errorf("faults elsewhere: %s is %s: %v", name, in.Status, in.Text)
				}
			}
		})
	}
}

// gains checks that a changed gain is reported, and by how much.
func gains(t *testing.T, store *catalog.Store) {
	for _, k := range []int{0, len(lineChecks) - 1} {
		check := lineChecks[k]
		if raceEnabled && k > 0 {
			break
		}
		r := rand.New(rand.NewPCG(uint64(k), 78))
		clean := recorded(r, check.play(r), 60)
		for round, by := range []float64{8, -8, 4, -4} {
			t.Run(fmt.Sprintf("%s, %+g dB", check.name, by), func(t *testing.T) {
				bad := make([][]float64, len(clean))
				for i := range clean {
					bad[i] = slices.Clone(clean[i])
					if i%2 == round%2 {
						scale(bad[i], by)
					}
				}
				told, planted := 0, 0
				for name, in := range checked(t, store, bad) {
					turned := of(name)%2 == round%2 && name != "Spare"
					if turned {
						planted++
					}
					switch {
					case !turned && (in.Suggest != nil || in.Status != OK):
						t.Errorf("%s was not turned: %s, gain %s, %v", name, in.Status, show(in.Suggest), in.Text)
					case turned && in.Suggest != nil:
						told++
						within := 2.0
						if strings.HasPrefix(name, "Over") {
							within = 4 // it picks up the drums one by one
						}
						if math.Abs(*in.Suggest+by) > within {
							t.Errorf("%s: suggests gain %+g, want %+g: level %s, usual %s (%s to %s)", name, *in.Suggest, -by, show(in.Level), show(in.Usual), show(in.Low), show(in.High))
						}
					case turned && math.Abs(by) > 5 && !strings.Contains(strings.Join(in.Text, " "), "on the tour"):
						t.Errorf("%s: a change of %+g dB is not reported: level %s, usual %s (%s to %s)", name, by, show(in.Level), show(in.Usual), show(in.Low), show(in.High))
					}
				}
				t.Logf("%d of %d reported", told, planted)
				// A player's own loudness varies by 4 dB.
				least := 2
				if math.Abs(by) > 5 {
					least = planted - 1
				}
				if told < least {
					t.Errorf("%d of %d reported", told, planted)
				}
			})
		}
	}
}

func show(v *float64) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprintf("%+.1f", *v)
}
