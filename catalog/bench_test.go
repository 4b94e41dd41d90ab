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

// A tour of 60 nights of 64 files with 4,000 takes that a person placed, each
// corrected four times.
func corrected(b *testing.B) *Store {
	b.Helper()
	s := testStore(b)
	ctx := b.Context()
	const rate, shows, takes, corrections = 48000, 60, 67, 4
	vol := must(s.AddVolume(ctx, Volume{Name: "A", Root: "/a"}))(b)
	for n := range shows {
		sh := must(s.EnsureShow(ctx, Show{Date: Date(fmt.Sprintf("2031-%02d-%02d", n/28+1, n%28+1))}))(b)
		files, tracks, pieces := []File{}, []Track{}, []Piece{}
		for i := range 64 {
			files = append(files, File{VolumeID: vol.ID, Path: fmt.Sprintf("%s/main/%02d.wav", sh.Key, i), FirstTrack: i + 1, Channels: 1, Frames: 7200 * rate, DataOffset: 44})
			tracks = append(tracks, Track{Number: i + 1, Frames: 7200 * rate})
		}
		r := must(s.SaveRecording(ctx, Recording{ShowID: sh.ID, Rig: MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 7200 * rate}, files, tracks, nil))(b)
		for i, f := range must(s.Files(ctx, FileFilter{Recording: r.ID}))(b) {
			for k := range int64(120) {
				pieces = append(pieces, Piece{File: f.ID, Offset: 44 + k<<23, Length: 1 << 23, Sum: uint64(n*64+i)<<10 + uint64(k)})
			}
		}
		ok(b, s.PutParts(ctx, nil, pieces))
		list := []SetListEntry{}
		for i := range 25 {
			list = append(list, SetListEntry{Song: fmt.Sprintf("Song %d", (i+n)%40)})
		}
		ok(b, s.SaveSetList(ctx, sh.Key, list))
		all := []Take{}
		for i := range int64(takes) {
			all = append(all, Take{Show: sh.Key, Song: fmt.Sprintf("Song %d", (int(i)+n)%40), RecordingID: r.ID, StartFrame: i * 100 * rate, EndFrame: (i*100 + 80) * rate, FoundBy: ByPerson, Confidence: 1})
		}
		ok(b, s.EditTakes(ctx, nil, all))
		for c := range int64(corrections) {
			all = must(s.Takes(ctx, TakeFilter{Show: sh.Key}))(b)
			for i := range all {
				all[i].EndFrame += c + 1
			}
			ok(b, s.EditTakes(ctx, nil, all))
		}
	}
	return s
}

func BenchmarkFacts(b *testing.B) {
	s := corrected(b)
	ctx := b.Context()
	facts, _ := factsOf(b, s)
	b.Logf("%d facts", len(facts))
	b.Run("Reproject", func(b *testing.B) {
		for b.Loop() {
			ok(b, s.Reproject(ctx))
		}
	})
	b.Run("ReprojectFromNothing", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			forget(b, s)
			b.StartTimer()
			ok(b, s.Reproject(ctx))
		}
	})
	show := must(s.Shows(ctx, ShowFilter{}))(b)[30]
	take := must(s.Takes(ctx, TakeFilter{Show: show.Key}))(b)[10]
	list := must(s.SetList(ctx, show.Key))(b)
	b.Run("MoveABoundary", func(b *testing.B) {
		for b.Loop() {
			take.EndFrame ^= 1
			must(s.SaveTake(ctx, take))(b)
		}
	})
	b.Run("RenameATake", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			take.Song, take.Entered = fmt.Sprintf("Song %d", i%40), ""
			take = must(s.SaveTake(ctx, take))(b)
		}
	})
	b.Run("SaveASetList", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			list[3].Song, list[3].Entered = fmt.Sprintf("Song %d", i%40), ""
			ok(b, s.SaveSetList(ctx, show.Key, list))
		}
	})
	b.Run("SaveARecording", func(b *testing.B) {
		r := show.Recordings[0]
		files := must(s.Files(ctx, FileFilter{Recording: r.ID}))(b)
		tracks := must(s.Tracks(ctx, TrackFilter{Recording: r.ID}))(b)
		for b.Loop() {
			must(s.SaveRecording(ctx, r, files, tracks, nil))(b)
		}
	})
}
