package health

import (
	"slices"
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

// Every kind of the catalog has its place.
func TestEveryKindHasItsUrgency(t *testing.T) {
	for _, k := range []catalog.FindingKind{catalog.Clipped, catalog.FlatTop, catalog.Dead, catalog.WentSilent, catalog.Dropout, catalog.Crackle,
		catalog.Hum, catalog.DCOffset, catalog.Polarity, catalog.Duplicate, catalog.Swapped, catalog.MissingTrack, catalog.GainChange,
		catalog.UnfinishedFile, catalog.ShortTrack} {
		if !slices.Contains(urgency, k) {
			t.Errorf("%s has none", k)
		}
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
