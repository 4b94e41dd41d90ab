package catalog

import (
	"fmt"
	"math"
	"reflect"
	"testing"
)

func TestFindingsKeepIDsAndAcceptance(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 4)
	const sec = 48000
	at := func(track int, kind FindingKind, from, to int64) Finding {
		return Finding{Track: track, Kind: kind, StartFrame: from * sec, EndFrame: to * sec, Severity: WarningSeverity, Text: "text"}
	}
	ids := func() (ids []FindingID) {
		t.Helper()
		for _, f := range must(s.Findings(ctx, FindingFilter{Recording: r.ID}))(t) {
			ids = append(ids, f.ID)
		}
		return ids
	}
	found := []Finding{at(1, Clipped, 10, 20), at(1, Clipped, 20, 30), at(2, Dead, 0, 60)}
	ok(t, s.ReplaceFindings(ctx, r.ID, found))
	before := ids()

	for name, again := range map[string][]Finding{
		"the same":                 found,
		"in another order":         {found[2], found[1], found[0]},
		"moved a little":           {at(1, Clipped, 11, 19), at(1, Clipped, 21, 35), at(2, Dead, 0, 50)},
		"grown onto its neighbour": {at(1, Clipped, 10, 21), at(1, Clipped, 20, 30), at(2, Dead, 0, 60)},
	} {
		ok(t, s.ReplaceFindings(ctx, r.ID, again))
		if got := ids(); !reflect.DeepEqual(got, before) {
			t.Errorf("%s: ids %v, want %v", name, got, before)
		}
	}

	// A new finding listed before an old one takes no id that is or was in use.
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{at(1, FlatTop, 1, 2), at(1, Clipped, 10, 20), at(2, Dead, 0, 60)}))
	got := ids()
	if len(got) != 3 || got[0] <= before[2] || got[1] != before[0] || got[2] != before[2] {
		t.Errorf("ids %v after %v", got, before)
	}

	dead := before[2]
	ok(t, s.AcceptFinding(ctx, dead, "no bass tonight"))
	ok(t, s.AcceptFinding(ctx, dead, "the bass is a keyboard tonight"))
	check := func(when string, accepted bool) {
		t.Helper()
		f := must(s.Findings(ctx, FindingFilter{Kind: Dead}))(t)
		if len(f) != 1 || f[0].Accepted != accepted || accepted != (f[0].Note == "the bass is a keyboard tonight") {
			t.Errorf("%s: %+v, want accepted %v", when, f, accepted)
		}
		open := 3
		if accepted {
			open = 2
		}
		if n := must(s.Show(ctx, "2031-05-02"))(t).Findings; n != open {
			t.Errorf("%s: %d open findings of the show, want %d", when, n, open)
		}
	}
	check("accepted", true)
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{at(2, Dead, 0, 55), at(3, Dropout, 1, 1), at(4, Clipped, 0, 60)}))
	check("after a rescan", true)
	ok(t, s.DeleteRecording(ctx, r.ID))
	r = addRecording(t, s, "2031-05-02", MainRig, 4)
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{at(2, Dead, 0, 55), at(3, Dropout, 1, 1), at(4, Clipped, 0, 60)}))
	check("deleted and scanned again", true)
	backup := addRecording(t, s, "2031-05-02", "backup", 4)
	ok(t, s.ReplaceFindings(ctx, backup.ID, []Finding{at(2, Dead, 0, 55)}))
	for _, f := range must(s.Findings(ctx, FindingFilter{Recording: backup.ID}))(t) {
		if f.Accepted {
			t.Error("accepted on the other rig, too")
		}
	}
	ok(t, s.ReplaceFindings(ctx, backup.ID, nil))
	ok(t, s.UnacceptFinding(ctx, must(s.Findings(ctx, FindingFilter{Kind: Dead}))(t)[0].ID))
	check("taken back", false)

	// If two acceptances cover one finding, the latest counts.
	for _, span := range []Finding{at(4, Clipped, 0, 10), at(4, Clipped, 9, 30)} {
		ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{span}))
		ok(t, s.AcceptFinding(ctx, must(s.Findings(ctx, FindingFilter{Kind: Clipped}))(t)[0].ID, fmt.Sprintf("to %d s", span.EndFrame/sec)))
	}
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{at(4, Clipped, 0, 30)}))
	if f := must(s.Findings(ctx, FindingFilter{Kind: Clipped}))(t); f[0].Note != "to 30 s" {
		t.Errorf("the last word is %q", f[0].Note)
	}

	wantNotFound(t, s.AcceptFinding(ctx, 9999, ""), "finding")
	wantNotFound(t, s.AcceptFinding(ctx, 0, ""), "finding")
	wantNotFound(t, s.UnacceptFinding(ctx, 0), "finding")
	wantNotFound(t, s.ReplaceFindings(ctx, 9999, nil), "recording")
}

func TestFindingFilterAndChannels(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	for _, d := range []Date{"2031-05-02", "2031-05-03"} {
		r := addRecording(t, s, d, MainRig, 2)
		ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{
			{Track: 2, Kind: Clipped, EndFrame: 1, Severity: NoteSeverity},
			{Track: 9, Kind: MissingTrack, Severity: FaultSeverity},
			{Track: 12, Kind: MissingTrack, Severity: FaultSeverity},
			{Track: 0, Kind: UnfinishedFile, Severity: NoteSeverity, Evidence: Evidence{"n": 2, "x": math.Inf(-1)}},
		}))
	}
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: []Input{{Track: 2, Channel: "Bass"}, {Track: 9, Channel: "Choir"}}}))
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-03", Only: true, Inputs: []Input{{Track: 2, Channel: "Choir"}}}))
	count := func(f FindingFilter) int { t.Helper(); return len(must(s.Findings(ctx, f))(t)) }
	for _, c := range []struct {
		name string
		f    FindingFilter
		want int
	}{
		{"all", FindingFilter{}, 8},
		{"a show", FindingFilter{Show: "2031-05-03"}, 4},
		{"a kind", FindingFilter{Kind: MissingTrack}, 4},
		{"a channel, one of its tracks missing", FindingFilter{Channel: "choir"}, 2},
		{"a channel on one night", FindingFilter{Channel: "Bass"}, 1},
		{"a track without a name", FindingFilter{Channel: "Track 12"}, 2},
		{"nothing", FindingFilter{Show: "2031-01-01"}, 0},
	} {
		if got := count(c.f); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
	f := must(s.Findings(ctx, FindingFilter{Kind: UnfinishedFile, Show: "2031-05-02"}))(t)[0]
	if f.Channel != "" || f.Evidence["n"] != 2 || !math.IsNaN(f.Evidence["x"]) {
		t.Errorf("not about a track: %+v", f)
	}
}

// Dropouts that different tracks share at one time are separate findings: each
// keeps its id, and is accepted alone.
func TestSharedFindingsStayApart(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 4)
	shared := func(from, to int64, tracks ...int) Finding {
		return Finding{Kind: Dropout, Tracks: tracks, StartFrame: from, EndFrame: to, Severity: FaultSeverity, Evidence: Evidence{"runs": 2}}
	}
	ids := func() map[string]FindingID {
		t.Helper()
		by := map[string]FindingID{}
		for _, f := range must(s.Findings(ctx, FindingFilter{Recording: r.ID}))(t) {
			by[fmt.Sprint(f.Tracks)] = f.ID
		}
		return by
	}
	open := func() (all []string) {
		t.Helper()
		for _, f := range must(s.Findings(ctx, FindingFilter{Recording: r.ID}))(t) {
			if !f.Accepted {
				all = append(all, fmt.Sprint(f.Tracks))
			}
		}
		return all
	}
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{shared(0, 900), shared(100, 500, 1, 2), shared(200, 600, 3, 4)}))
	before := ids()
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{shared(200, 700, 3, 4), shared(0, 900), shared(100, 500, 1, 2)}))
	if got := ids(); !reflect.DeepEqual(got, before) {
		t.Errorf("in another order: ids %v, want %v", got, before)
	}
	ok(t, s.AcceptFinding(ctx, before["[1 2]"], "known"))
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{shared(0, 900), shared(100, 500, 1, 2), shared(200, 600, 3, 4)}))
	if got, want := open(), []string{"[]", "[3 4]"}; !reflect.DeepEqual(got, want) {
		t.Errorf("open are %q, want %q", got, want)
	}
	ok(t, s.UnacceptFinding(ctx, before["[1 2]"]))
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{shared(100, 500, 1, 2)}))
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{shared(100, 500, 1, 2, 5)}))
	if got, want := ids(), map[string]FindingID{"[1 2 5]": before["[1 2]"]}; !reflect.DeepEqual(got, want) {
		t.Errorf("one more track: ids %v, want %v", got, want)
	}
}
