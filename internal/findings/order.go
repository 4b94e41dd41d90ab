package findings

import (
	"cmp"
	"slices"

	"nightreel/catalog"
)

// urgency lists the kinds by what they would do to tomorrow's show if nobody did
// anything: first what leaves a channel without its sound, then what spoils it,
// then what playback and the archive have to know. Chosen: common practice.
var urgency = []catalog.FindingKind{
	catalog.Dead, catalog.WentSilent, catalog.Swapped, catalog.Crackle, catalog.MissingTrack, catalog.ShortTrack, catalog.Duplicate,
	catalog.Dropout, catalog.Hum, catalog.Clipped, catalog.FlatTop, catalog.Polarity, catalog.DCOffset, catalog.GainChange, catalog.UnfinishedFile,
}

// severities in order of consequence.
var severities = []catalog.Severity{catalog.FaultSeverity, catalog.WarningSeverity, catalog.NoteSeverity}

// Compare orders findings of one recording by what would hurt tomorrow's show: by
// severity, then by kind, then by time and track.
func Compare(a, b catalog.Finding) int {
	rank := func(f catalog.Finding) int {
		if i := slices.Index(urgency, f.Kind); i >= 0 {
			return i
		}
		return len(urgency)
	}
	return cmp.Or(
		cmp.Compare(slices.Index(severities, a.Severity), slices.Index(severities, b.Severity)),
		cmp.Compare(rank(a), rank(b)), cmp.Compare(a.StartFrame, b.StartFrame), cmp.Compare(a.Track, b.Track), cmp.Compare(a.ID, b.ID))
}

// Sort orders findings by [Compare] within each recording; recordings stay where
// they are.
func Sort(findings []catalog.Finding) {
	for from := 0; from < len(findings); {
		to := from
		for to < len(findings) && findings[to].RecordingID == findings[from].RecordingID {
			to++
		}
		slices.SortStableFunc(findings[from:to], Compare)
		from = to
	}
}

// Alike reports whether two findings are of one kind and severity on the same
// tracks, both open or both accepted: a channel that clipped in one song and in
// another.
func Alike(a, b catalog.Finding) bool {
	return a.RecordingID == b.RecordingID && a.Kind == b.Kind && a.Severity == b.Severity && a.Accepted == b.Accepted &&
		a.Track == b.Track && slices.Equal(a.Tracks, b.Tracks)
}

// Together moves findings up to the first that they are alike; otherwise the
// order stays.
func Together(findings []catalog.Finding) []catalog.Finding {
	var groups [][]catalog.Finding
	for _, f := range findings {
		if i := slices.IndexFunc(groups, func(g []catalog.Finding) bool { return Alike(g[0], f) }); i >= 0 {
			groups[i] = append(groups[i], f)
		} else {
			groups = append(groups, []catalog.Finding{f})
		}
	}
	return slices.Concat(groups...)
}
