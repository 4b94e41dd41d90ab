package findings

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// scene is a night of the invented band with two nights before it.
type scene struct {
	st     *stageNight
	voices []voice
	tapes  []*tape
	past   []*evidence.Recording
}

func newScene(seed uint64, past int) *scene {
	rng := rand.New(rand.NewPCG(2031, seed))
	sc := &scene{voices: band(rng)}
	gains := func() []float64 {
		g := make([]float64, len(sc.voices))
		for i := range g {
			g[i] = 4*rng.Float64() - 2
		}
		return g
	}
	for range past {
		st := newStage(rng, 4+rng.IntN(2))
		sc.past = append(sc.past, night(st, sc.voices, st.perform(sc.voices, gains())))
	}
	sc.st = newStage(rng, 4)
	sc.tapes = sc.st.perform(sc.voices, gains())
	return sc
}

func (sc *scene) tape(name string) *tape {
	for _, t := range sc.tapes {
		if t.name == name {
			return t
		}
	}
	panic(name)
}

func (sc *scene) voice(name string) voice {
	for _, v := range sc.voices {
		if v.name == name {
			return v
		}
	}
	panic(name)
}

// in returns the block at a part of a take.
func (sc *scene) in(take int, part float64) int {
	t := sc.st.takes[take]
	return int((float64(t.Start) + part*float64(t.End-t.Start)) / 4800)
}

func (sc *scene) judge(t testing.TB) []catalog.Finding {
	t.Helper()
	n := night(sc.st, sc.voices, sc.tapes)
	for i, p := range sc.past {
		remember(n, catalog.ShowKey(fmt.Sprintf("2031-04-%02d", i+1)), p)
	}
	return judged(t, n)
}

// judged returns the findings about a recording. No judge may fail.
func judged(t testing.TB, r *evidence.Recording) []catalog.Finding {
	t.Helper()
	found, notJudged := Find(r)
	for _, n := range notJudged {
		t.Error(strings.Join(n.Report(), "\n"))
	}
	return found
}

// want is a finding that a row expects.
type want struct {
	kind     catalog.FindingKind
	channel  string
	severity catalog.Severity
}

func (sc *scene) check(t *testing.T, wants ...want) []catalog.Finding {
	t.Helper()
	findings := sc.judge(t)
	var got []string
	for _, f := range findings {
		name := ""
		if f.Track > 0 {
			name = sc.voices[f.Track-1].name
		}
		got = append(got, fmt.Sprint(f.Kind, " ", name, " ", f.Severity))
		if f.EndFrame < f.StartFrame || len(f.Evidence) == 0 || !strings.HasSuffix(f.Text, ".") || strings.Contains(f.Text, "%!") {
			t.Errorf("malformed finding: %+v", f)
		}
	}
	var expected []string
	for _, w := range wants {
		expected = append(expected, fmt.Sprint(w.kind, " ", w.channel, " ", w.severity))
	}
	if strings.Join(got, "; ") != strings.Join(expected, "; ") {
		t.Errorf("got  %q\nwant %q", got, expected)
		for _, f := range findings {
			t.Log(f.Text)
		}
	}
	return findings
}

// A night with nothing broken has no findings: a spare DI, a guest for one song, a
// voice silent between lines, digitally quiet keys, an acoustic guitar for one
// song, audience microphones, an encore break. With other nights and without.
func TestHealthyNights(t *testing.T) {
	for seed := range uint64(6) {
		for past := range 3 {
			t.Run(fmt.Sprint("seed ", seed, ", nights before ", past), func(t *testing.T) {
				sc := newScene(seed, past)
				if seed%2 == 1 {
					sc.st.takes = nil // nobody told the songs
				}
				sc.check(t)
			})
		}
	}
}
