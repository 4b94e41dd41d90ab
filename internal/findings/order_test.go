package findings

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"testing"

	"nightreel/catalog"
)

func TestSort(t *testing.T) {
	finding := func(recording int, kind catalog.FindingKind, severity catalog.Severity, start int64) catalog.Finding {
		return catalog.Finding{RecordingID: catalog.RecordingID(recording), Kind: kind, Severity: severity, StartFrame: start}
	}
	want := []catalog.Finding{
		finding(7, catalog.Dead, catalog.FaultSeverity, 0),
		finding(7, catalog.Dropout, catalog.FaultSeverity, 10),
		finding(7, catalog.Dropout, catalog.FaultSeverity, 20),
		finding(7, catalog.Dead, catalog.WarningSeverity, 0),
		finding(7, catalog.Polarity, catalog.WarningSeverity, 0),
		finding(7, catalog.Clipped, catalog.NoteSeverity, 5),
		// Another recording stays behind, however bad.
		finding(3, catalog.Dead, catalog.FaultSeverity, 0),
		finding(3, catalog.UnfinishedFile, catalog.WarningSeverity, 0),
	}
	got := slices.Clone(want)
	slices.Reverse(got[:6])
	slices.Reverse(got[6:])
	Sort(got)
	for i := range want {
		if got[i].Kind != want[i].Kind || got[i].Severity != want[i].Severity || got[i].StartFrame != want[i].StartFrame || got[i].RecordingID != want[i].RecordingID {
			t.Errorf("%d: %+v, want %+v", i, got[i], want[i])
		}
	}
}

// Every kind that package catalog declares has one place among the urgencies: a new
// kind fails here until it has.
func TestEveryKindHasItsUrgency(t *testing.T) {
	tree, err := parser.ParseFile(token.NewFileSet(), "../../catalog/finding.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var declared []catalog.FindingKind
	ast.Inspect(tree, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if typ, ok := spec.Type.(*ast.Ident); ok && typ.Name == "FindingKind" {
			word, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			declared = append(declared, catalog.FindingKind(word))
		}
		return true
	})
	if len(declared) < 15 {
		t.Fatalf("only %d kinds seen in package catalog", len(declared))
	}
	for _, k := range declared {
		count := 0
		for _, u := range urgency {
			if u == k {
				count++
			}
		}
		if count != 1 {
			t.Errorf("%s stands %d times among the urgencies, want once", k, count)
		}
	}
	if len(urgency) != len(declared) {
		t.Errorf("%d urgencies, %d kinds", len(urgency), len(declared))
	}
}

// What is alike stands together where the first of it stands; shared dropouts are
// alike only if they are of the same tracks.
func TestTogether(t *testing.T) {
	finding := func(id catalog.FindingID, track int, kind catalog.FindingKind, tracks ...int) catalog.Finding {
		return catalog.Finding{ID: id, Track: track, Tracks: tracks, Kind: kind, Severity: catalog.WarningSeverity}
	}
	accepted := finding(9, 1, catalog.Clipped)
	accepted.Accepted = true
	got := []catalog.FindingID{}
	for _, f := range Together([]catalog.Finding{
		finding(1, 0, catalog.Dropout, 1, 2), finding(2, 0, catalog.Dropout),
		finding(3, 0, catalog.Dropout, 1, 2),
		finding(4, 1, catalog.Clipped), finding(5, 2, catalog.Clipped), accepted, finding(6, 1, catalog.FlatTop), finding(7, 1, catalog.Clipped),
	}) {
		got = append(got, f.ID)
	}
	if want := []catalog.FindingID{1, 3, 2, 4, 7, 5, 9, 6}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
