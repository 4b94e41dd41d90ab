package catalog

import (
	"fmt"
	"reflect"
	"testing"
)

// If a track's number is assumed, its name decides the channel, in tracks and in
// findings.
func TestAssumedNumbersGiveWayToNames(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	show := must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	r := must(s.SaveRecording(ctx, Recording{ShowID: show.ID, Rig: MainRig, SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 480000}, nil, []Track{
		{Number: 1, Assumed: true, Name: "BASS_DI", Frames: 480000},
		{Number: 2, Assumed: true, Name: "Kick", Frames: 480000},
		{Number: 3, Assumed: true, Name: "Alto", Frames: 480000},
		{Number: 4, Assumed: true, Frames: 480000},
		{Number: 5, Name: "Kick", Frames: 480000},
		{Number: 9, Name: "Choir", Frames: 480000},
	}, nil))(t)
	channels := func() (all []string) {
		t.Helper()
		for _, tr := range must(s.Tracks(ctx, TrackFilter{Recording: r.ID}))(t) {
			all = append(all, fmt.Sprintf("%d %s by line %d", tr.Number, tr.Channel, tr.Input.Track))
		}
		return all
	}
	if got, want := channels(), []string{"1 BASS_DI by line 0", "2 Kick by line 0", "3 Alto by line 0", "4 Track 4 by line 0", "5 Kick by line 0", "9 Choir by line 0"}; !reflect.DeepEqual(got, want) {
		t.Errorf("without a list %q, want %q", got, want)
	}
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-01", Inputs: inputs(t, "1 Kick, 2 Snare, 3 Bass DI, 4 Hat, 5 Tom")}))
	if got, want := channels(), []string{"1 Bass DI by line 3", "2 Kick by line 1", "3 Alto by line 0", "4 Hat by line 4", "5 Tom by line 5", "9 Choir by line 0"}; !reflect.DeepEqual(got, want) {
		t.Errorf("with a list %q, want %q", got, want)
	}

	finding := func(track int, kind FindingKind, e Evidence) Finding {
		return Finding{Track: track, Kind: kind, EndFrame: 48000, Severity: FaultSeverity, Evidence: e}
	}
	shared := func(tracks ...int) Finding {
		f := finding(0, Dropout, Evidence{"runs": 1, "samples": 2})
		f.Tracks = tracks
		return f
	}
	ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{
		finding(0, Dropout, nil),
		shared(2, 3),
		finding(1, Clipped, nil), finding(2, MissingTrack, nil), finding(5, Clipped, nil),
	}))
	about := func(f FindingFilter) (all []string) {
		t.Helper()
		for _, fl := range must(s.Findings(ctx, f))(t) {
			all = append(all, fmt.Sprintf("%s %d %s", fl.Kind, len(fl.Evidence), fl.Channel))
		}
		return all
	}
	for channel, want := range map[string][]string{
		"":        {"dropout 0 ", "dropout 2 ", "clipped 0 Bass DI", "missing_track 0 Snare", "clipped 0 Tom"},
		"bass di": {"dropout 0 ", "clipped 0 Bass DI"},
		"Snare":   {"missing_track 0 Snare"},
		"Kick":    {"dropout 0 ", "dropout 2 "},
		"Tom":     {"dropout 0 ", "clipped 0 Tom"},
	} {
		if got := about(FindingFilter{Show: "2031-05-02", Channel: channel}); !reflect.DeepEqual(got, want) {
			t.Errorf("findings of %q: %q, want %q", channel, got, want)
		}
	}
}
