package findings

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
)

// Whichever judge panics, all others report the same findings as without the panic,
// and NotJudged names the judge, its kinds, the error and the calls that led to it.
func TestJudgeThatPanicsLeavesTheOthersFindings(t *testing.T) {
	sc := newScene(1001, 2)
	r, _ := sc.damaged(rand.New(rand.NewPCG(77, 5)), false)
	whole := judged(t, r)
	for _, j := range slices.Clone(judges) {
		t.Run(j.name, func(t *testing.T) {
			PlantPanic(t, j.name)
			var others []catalog.Finding
			for _, f := range whole {
				if !slices.Contains(j.kinds, f.Kind) {
					others = append(others, f)
				}
			}
			found, notJudged := Find(r)
			found = slices.DeleteFunc(found, func(f catalog.Finding) bool { return slices.Contains(j.kinds, f.Kind) }) // short and holes share a kind
			if !sameFindings(found, others) {
				t.Errorf("%d findings of other kinds, want %d", len(found), len(others))
			}
			if len(notJudged) != 1 {
				t.Fatalf("not judged: %v", notJudged)
			}
			n := notJudged[0]
			if n.Judge != j.name || !slices.Equal(n.Kinds, j.kinds) || !strings.Contains(n.Error, "index out of range") {
				t.Errorf("not judged: %+v", n)
			}
			if len(n.Stack) < 2 || !strings.HasPrefix(n.Stack[0], "findings.plantedPanic export_test.go:") || len(n.Stack) > mostCalls {
				t.Errorf("stack: %q", n.Stack)
			}
			if _, again := Find(r); !reflect.DeepEqual(again, notJudged) {
				t.Errorf("the second time: %v, the first time: %v", again, notJudged)
			}
		})
	}
}

// If what several judges need cannot be worked out, these fail for the same reason, and
// those that do not need it judge.
func TestJudgesFailTogetherOnlyWithWhatTheyNeed(t *testing.T) {
	sc := newScene(1001, 2)
	r, _ := sc.damaged(rand.New(rand.NewPCG(77, 5)), false)
	n := learn(r)
	n.stage = derived(func() *stage { plantedPanic(n, len(n.Tracks)); return nil })
	n.doubtful()
	_, notJudged := find(n.complete(r))
	var failed []string
	for _, f := range notJudged {
		failed = append(failed, f.Judge)
		if f.Error != notJudged[0].Error || !slices.Equal(f.Stack, notJudged[0].Stack) || !strings.HasPrefix(f.Stack[0], "findings.plantedPanic ") {
			t.Errorf("%s", strings.Join(f.Report(), "\n"))
		}
	}
	slices.Sort(failed)
	if want := []string{"dropouts", "gains", "silent"}; !slices.Equal(failed, want) {
		t.Errorf("failed: %q", failed)
	}
}

// A line check goes on as well, without what the judge that panics would report.
func TestLineCheckGoesOnWhenAJudgePanics(t *testing.T) {
	line := heardNight(map[string]float64{"Vocal": -52}, "Vocal", "Kick")
	for _, name := range []string{"swapped", "polarity", "hum"} {
		t.Run(name, func(t *testing.T) {
			PlantPanic(t, name)
			found, notJudged := Line(line, nil, nil, false)
			if want := map[bool]int{true: 0, false: 1}[name == "hum"]; len(found) != want || len(notJudged) != 1 || notJudged[0].Judge != name {
				t.Errorf("%d findings, want %d; not judged: %v", len(found), want, notJudged)
			}
		})
	}
	if _, _, notJudged := Exchanged(line, []*channelsound.Night{nil}); len(notJudged) != 1 {
		t.Errorf("of a tour without a night, not judged: %v", notJudged)
	}
}

// Every kind of finding has a judge that says so, and no judge reports another kind.
func TestJudgesNameTheirKinds(t *testing.T) {
	var all []catalog.FindingKind
	for _, j := range judges {
		all = append(all, j.kinds...)
	}
	for _, kind := range urgency {
		if !slices.Contains(all, kind) {
			t.Errorf("no judge of %s", kind)
		}
	}
	for seed := range uint64(4) {
		sc := newScene(1000+seed, 2)
		r, _ := sc.damaged(rand.New(rand.NewPCG(77, seed)), false)
		n := learn(r).complete(r)
		for _, j := range judges {
			for _, f := range j.find(n) {
				if !slices.Contains(j.kinds, f.Kind) {
					t.Errorf("the judge %s reported %s", j.name, f.Kind)
				}
			}
		}
	}
}
