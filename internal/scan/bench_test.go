package scan

import (
	"fmt"
	"testing"
	"time"

	"nightreel/catalog"
)

// BenchmarkGroup groups sixty nights of two rigs of 64 files in three segments,
// which a scan does whatever it found.
func BenchmarkGroup(b *testing.B) {
	var files []catalog.File
	for night := range 60 {
		day := time.Date(2031, 5, 2+night, 20, 0, 0, 0, time.UTC)
		for _, rig := range []string{"main", "backup"} {
			for segment := range 3 {
				for track := range 64 {
					at := day.Add(time.Duration(segment) * time.Hour)
					files = append(files, catalog.File{
						Root: "/rec", Path: fmt.Sprintf("%s Hall %d/%s/TRK%02d_%04d.wav", day.Format(time.DateOnly), night, rig, track+1, segment+1),
						Size: 1 << 30, Channels: 1, Frames: 3600 * 48000, SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm",
						Header: &catalog.FileHeader{StartsAt: &at, Exact: true}, Content: fmt.Sprint(night, rig, segment, track),
					})
				}
			}
		}
	}
	for b.Loop() {
		s := &scan{store: nil, progress: &Progress{}, was: map[*source]*source{}}
		s.known.Files = files
		all, err := s.together(b.Context(), nil)
		if err != nil {
			b.Fatal(err)
		}
		groups, err := s.group(all)
		if err != nil || len(groups) != 120 {
			b.Fatal(len(groups), err)
		}
	}
}
