package health

import (
	"slices"
	"testing"

	"nightreel/catalog"
)

func TestSort(t *testing.T) {
	flag := func(recording int, kind catalog.FlagKind, severity catalog.Severity, start int64) catalog.Flag {
		return catalog.Flag{RecordingID: catalog.RecordingID(recording), Kind: kind, Severity: severity, StartFrame: start}
	}
	want := []catalog.Flag{
		flag(7, catalog.Dead, catalog.FaultSeverity, 0),
		flag(7, catalog.Dropout, catalog.FaultSeverity, 10),
		flag(7, catalog.Dropout, catalog.FaultSeverity, 20),
		flag(7, catalog.Dead, catalog.WarningSeverity, 0),
		flag(7, catalog.Polarity, catalog.WarningSeverity, 0),
		flag(7, catalog.Clipped, catalog.NoteSeverity, 5),
		// Another recording stays behind, however bad.
		flag(3, catalog.Dead, catalog.FaultSeverity, 0),
		flag(3, catalog.UnfinishedFile, catalog.WarningSeverity, 0),
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
	for _, k := range []catalog.FlagKind{catalog.Clipped, catalog.FlatTop, catalog.Dead, catalog.WentSilent, catalog.Dropout, catalog.Crackle,
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
	flag := func(id catalog.FlagID, track int, kind catalog.FlagKind, e catalog.Evidence) catalog.Flag {
		return catalog.Flag{ID: id, Track: track, Kind: kind, Severity: catalog.WarningSeverity, Evidence: e}
	}
	accepted := flag(9, 1, catalog.Clipped, nil)
	accepted.Accepted = true
	got := []catalog.FlagID{}
	for _, f := range Together([]catalog.Flag{
		flag(1, 0, catalog.Dropout, catalog.Evidence{"track_1": 1, "track_2": 2}), flag(2, 0, catalog.Dropout, nil),
		flag(3, 0, catalog.Dropout, catalog.Evidence{"track_1": 1, "track_2": 2}),
		flag(4, 1, catalog.Clipped, nil), flag(5, 2, catalog.Clipped, nil), accepted, flag(6, 1, catalog.FlatTop, nil), flag(7, 1, catalog.Clipped, nil),
	}) {
		got = append(got, f.ID)
	}
	if want := []catalog.FlagID{1, 3, 2, 4, 7, 5, 9, 6}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
