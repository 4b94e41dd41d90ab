package findings

import (
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
)

// TestExplanations has, for every row of the table, a finding that is explained, and
// beside it one that is not.
func TestExplanations(t *testing.T) {
	about := func(kind catalog.FindingKind, start, end int64, tracks ...int) catalog.Finding {
		return catalog.Finding{Kind: kind, Track: tracks[0], Tracks: tracks, StartFrame: start, EndFrame: end}
	}
	shows := func(tonight, other catalog.ShowKey) *evidence.Recording {
		of := func(show catalog.ShowKey) *channelsound.Night {
			return &channelsound.Night{Voices: []channelsound.Voice{{Track: catalog.Track{Show: show, Number: 1}}}}
		}
		return &evidence.Recording{Sound: of(tonight), Tour: []*channelsound.Night{of(other)}}
	}
	const dropout, crackle, dead, went, swap, double, gain = catalog.Dropout, catalog.Crackle, catalog.Dead, catalog.WentSilent, catalog.Swapped, catalog.Duplicate, catalog.GainChange
	swapped, copied := about(swap, 0, 900, 1, 3), about(double, 0, 900, 4, 2)
	tested := map[[2]catalog.FindingKind][2]bool{}
	for _, row := range []struct {
		what string
		f    catalog.Finding
		by   []catalog.Finding
		on   *evidence.Recording
		want bool
	}{
		{"zeros while the contact crackles", about(dropout, 120, 130, 3), []catalog.Finding{about(crackle, 100, 200, 3)}, nil, true},
		{"zeros that began before the crackling", about(dropout, 90, 130, 3), []catalog.Finding{about(crackle, 100, 200, 3)}, nil, false},
		{"zeros on another track", about(dropout, 120, 130, 4), []catalog.Finding{about(crackle, 100, 200, 3)}, nil, false},
		{"a dropout of the whole recorder", about(dropout, 120, 130, 0), []catalog.Finding{about(crackle, 100, 200, 3)}, nil, false},

		{"an exchanged track is dead", about(dead, 0, 900, 1), []catalog.Finding{swapped}, nil, true},
		{"the other exchanged track is dead", about(dead, 0, 900, 3), []catalog.Finding{swapped}, nil, true},
		{"a track beside two exchanged ones is dead", about(dead, 0, 900, 2), []catalog.Finding{swapped}, nil, false},
		{"an exchanged track went silent", about(went, 0, 100, 3), []catalog.Finding{swapped}, nil, true},
		{"a track beside two exchanged ones went silent", about(went, 0, 100, 2), []catalog.Finding{swapped}, nil, false},

		{"the copy alone is dead", about(dead, 0, 900, 4), []catalog.Finding{copied}, nil, true},
		{"both tracks of one signal are dead, and the first is reported", about(dead, 0, 900, 2), []catalog.Finding{copied, about(dead, 0, 900, 4)}, nil, false},
		{"the copy alone went silent", about(went, 0, 100, 4), []catalog.Finding{copied}, nil, true},
		{"the original alone went silent", about(went, 0, 100, 2), []catalog.Finding{copied}, nil, true},
		{"both went silent at once, and the original is reported", about(went, 0, 100, 2), []catalog.Finding{copied, about(went, 5, 100, 4)}, nil, false},
		{"both went silent at once, and the copy is not reported", about(went, 5, 100, 4), []catalog.Finding{copied, about(went, 0, 100, 2)}, nil, true},
		{"both went silent, but not at once", about(went, 0, 100, 2), []catalog.Finding{copied, about(went, 500, 600, 4)}, nil, true},

		{"the gain of an exchanged track differs from other shows", about(gain, 0, 900, 3), []catalog.Finding{swapped}, nil, true},
		{"the gain of an exchanged track was turned in the show", about(gain, 300, 300, 3), []catalog.Finding{swapped}, nil, false},
		{"the gain of the copy", about(gain, 300, 300, 4), []catalog.Finding{copied}, nil, true},
		{"the gain of the original", about(gain, 0, 900, 2), []catalog.Finding{copied}, nil, true},
		{"the gain of a third track", about(gain, 0, 900, 1), []catalog.Finding{copied}, nil, false},
		{"the gain of a dead track", about(gain, 0, 900, 5), []catalog.Finding{about(dead, 0, 900, 5)}, nil, true},
		{"the gain of a track beside a dead one", about(gain, 0, 900, 6), []catalog.Finding{about(dead, 0, 900, 5)}, nil, false},
		{"the gain of a track that went silent", about(gain, 300, 300, 5), []catalog.Finding{about(went, 300, 900, 5)}, nil, true},
		{"the gain of a track beside one that went silent", about(gain, 300, 300, 6), []catalog.Finding{about(went, 300, 900, 5)}, nil, false},
		{"a silence that is explained explains a gain all the same", about(gain, 300, 300, 1), []catalog.Finding{swapped, about(went, 300, 900, 1)}, nil, true},

		{"of two shows that differ this is the first", swapped, nil, shows("2031-05-02", "2031-05-03"), true},
		{"of two shows that differ this is the second", swapped, nil, shows("2031-05-03", "2031-05-02"), false},
		{"hum that nothing explains", about(catalog.Hum, 0, 900, 1), []catalog.Finding{swapped, copied}, nil, false},
	} {
		all := append([]catalog.Finding{row.f}, row.by...)
		n := &known{Recording: row.on}
		if n.Recording == nil {
			n.Recording = &evidence.Recording{}
		}
		var silences []catalog.Finding
		n.silences = func() []catalog.Finding { return silences }
		for _, f := range all {
			if f.Kind == dead || f.Kind == went {
				silences = append(silences, f)
			}
		}
		if got := explained(n, row.f, all); got != row.want {
			t.Errorf("%s: explained %v, want %v", row.what, got, row.want)
		}
		for _, by := range all {
			seen := tested[[2]catalog.FindingKind{row.f.Kind, by.Kind}]
			if row.want {
				seen[1] = true
			} else {
				seen[0] = true
			}
			tested[[2]catalog.FindingKind{row.f.Kind, by.Kind}] = seen
		}
	}
	for _, e := range explanations {
		if tested[[2]catalog.FindingKind{e.kind, e.by}] != [2]bool{true, true} {
			t.Errorf("the row %s by %s is not tested both ways", e.kind, e.by)
		}
	}
}

// Judges may be asked in any order: backwards they find the same.
func TestOrderOfJudgesDoesNotMatter(t *testing.T) {
	sc := newScene(1001, 2)
	r, _ := sc.damaged(rand.New(rand.NewPCG(77, 5)), false)
	want := judged(t, r)
	if len(want) == 0 {
		t.Fatal("nothing was found")
	}
	n := learn(r).complete(r)
	by := make([][]catalog.Finding, len(judges))
	for i := range slices.Backward(judges) {
		by[i] = judges[i].find(n)
	}
	for i := range judges {
		if !sameFindings(by[i], judges[i].find(n)) {
			t.Errorf("the judge %s finds something else when it is asked again", judges[i].name)
		}
	}
	if got, _ := find(n); !sameFindings(got, want) {
		t.Errorf("after all judges were asked backwards: %d findings, want %d", len(got), len(want))
	}
}

func sameFindings(a, b []catalog.Finding) bool {
	return slices.EqualFunc(a, b, func(x, y catalog.Finding) bool {
		return x.Kind == y.Kind && x.Track == y.Track && x.StartFrame == y.StartFrame && x.EndFrame == y.EndFrame && x.Text == y.Text && x.Severity == y.Severity
	})
}
