package catalog

import (
	"fmt"
	"testing"
)

// A long tour: 120 shows of 64 tracks on two rigs, 20 takes and 100 findings a
// night, a new input list every tenth night and one for one night every fifth.
func longTour(b *testing.B) *Store {
	b.Helper()
	s := testStore(b)
	ctx := b.Context()
	const rate, shows, tracks = 48000, 120, 64
	for n := range shows {
		date := Date(fmt.Sprintf("2031-%02d-%02d", n/28+1, n%28+1))
		var list []Input
		for i := range tracks {
			list = append(list, Input{Track: i + 1, Channel: fmt.Sprintf("Channel %d", (i+n)%tracks)})
		}
		if n%10 == 0 {
			ok(b, s.SaveInputList(ctx, InputList{From: ShowKey(date), Inputs: list}))
		}
		if n%5 == 0 {
			ok(b, s.SaveInputList(ctx, InputList{From: ShowKey(date), Only: true, Inputs: list[:4]}))
		}
		addRecording(b, s, date, "backup", tracks)
		r := addRecording(b, s, date, MainRig, tracks)
		var takes []Take
		for i := range int64(20) {
			takes = append(takes, Take{Show: ShowKey(date), Song: fmt.Sprintf("Song %d", (int(i)+n)%40), RecordingID: r.ID, StartFrame: i * 300 * rate, EndFrame: (i*300 + 240) * rate, FoundBy: ByMusic, Confidence: 0.5})
		}
		ok(b, s.EditTakes(ctx, nil, takes))
		var findings []Finding
		for i := range int64(100) {
			findings = append(findings, Finding{Track: int(i)%tracks + 1, Kind: Clipped, StartFrame: i * 60 * rate, EndFrame: (i*60 + 1) * rate, Severity: NoteSeverity, Evidence: Evidence{"runs": 1}})
		}
		ok(b, s.ReplaceFindings(ctx, r.ID, findings))
		for i, f := range must(s.Findings(ctx, FindingFilter{Show: ShowKey(date)}))(b) {
			if i%10 == 0 {
				ok(b, s.AcceptFinding(ctx, f.ID, ""))
			}
		}
	}
	return s
}

func BenchmarkLongTour(b *testing.B) {
	s := longTour(b)
	ctx := b.Context()
	for _, c := range []struct {
		name string
		ask  func() (int, error)
		want int
	}{
		{"Shows", func() (int, error) { v, err := s.Shows(ctx, ShowFilter{}); return len(v), err }, 120},
		{"TracksOfAll", func() (int, error) { v, err := s.Tracks(ctx, TrackFilter{}); return len(v), err }, 120 * 128},
		{"TracksOfChannel", func() (int, error) { v, err := s.Tracks(ctx, TrackFilter{Channel: "Channel 3"}); return len(v), err }, 0},
		{"TracksOfShow", func() (int, error) { v, err := s.Tracks(ctx, TrackFilter{Show: "2031-03-01"}); return len(v), err }, 128},
		{"ReadStatesOfAll", func() (int, error) { v, err := s.ReadStates(ctx, ""); return len(v), err }, 240},
		{"ReadStatesOfShow", func() (int, error) { v, err := s.ReadStates(ctx, "2031-03-01"); return len(v), err }, 2},
		{"TakesOfAll", func() (int, error) { v, err := s.Takes(ctx, TakeFilter{}); return len(v), err }, 2400},
		{"TakesOfSong", func() (int, error) { v, err := s.Takes(ctx, TakeFilter{Song: "Song 7"}); return len(v), err }, 60},
		{"TakesOfShow", func() (int, error) { v, err := s.Takes(ctx, TakeFilter{Show: "2031-03-01"}); return len(v), err }, 20},
		{"FindingsOfAll", func() (int, error) { v, err := s.Findings(ctx, FindingFilter{}); return len(v), err }, 12000},
		{"FindingsOfShow", func() (int, error) { v, err := s.Findings(ctx, FindingFilter{Show: "2031-03-01"}); return len(v), err }, 100},
		{"FindingsOfChannel", func() (int, error) {
			v, err := s.Findings(ctx, FindingFilter{Channel: "Channel 3"})
			return len(v), err
		}, 0},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if n, err := c.ask(); err != nil || c.want > 0 && n != c.want {
					b.Fatalf("%d, %v; want %d", n, err, c.want)
				}
			}
		})
	}
}
