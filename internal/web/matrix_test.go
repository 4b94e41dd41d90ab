package web

import (
	"slices"
	"testing"

	"nightreel/catalog"
)

// TestMatrixShowsDeviationsOnly: what an input gets in most songs stands in its
// row once, a cell says how its song differs.
func TestMatrixShowsDeviationsOnly(t *testing.T) {
	play := func(item, input, track int, trim float64) catalog.SessionInput {
		return catalog.SessionInput{Item: item, DeskInput: input, Channel: "C", Rig: "main", Track: track, TrimDB: trim, Status: catalog.Playback}
	}
	away := func(item, input int, s catalog.InputStatus) catalog.SessionInput {
		return catalog.SessionInput{Item: item, DeskInput: input, Channel: "C", Status: s}
	}
	backup := play(2, 1, 3, 0)
	backup.Rig = "backup"
	ses := catalog.Session{Items: make([]catalog.SessionItem, 3), Inputs: []catalog.SessionInput{
		play(0, 1, 1, 2), play(1, 1, 1, 2), backup,
		away(0, 2, catalog.Missing), away(1, 2, catalog.Missing), play(2, 2, 2, -3.5),
		away(0, 3, catalog.Stage), away(1, 3, catalog.Stage), away(2, 3, catalog.Missing),
		play(0, 4, 4, 0), play(1, 4, 4, -6), play(2, 4, 5, 0)}}
	want := [][]string{{"", "", "backup, track 3, trim 0"}, {"✕ missing", "✕ missing", ""}, {"", "", "✕ missing"}, {"", "−6", "track 5"}}
	rows := matrix(ses)
	if len(rows) != len(want) {
		t.Fatalf("%d rows", len(rows))
	}
	for i, row := range rows {
		got := []string{}
		for _, c := range row.Cells {
			got = append(got, c.Words)
		}
		if !slices.Equal(got, want[i]) {
			t.Errorf("input %d says %q, want %q", row.DeskInput, got, want[i])
		}
	}
}
