package scan

import (
	"context"
	"maps"
	"slices"
	"time"

	"nightreel/catalog"
)

// files returns the rows of a group's files and of its ghosts.
func (s *scan) files(g *group, ghosts []catalog.File) ([]catalog.File, error) {
	files := slices.Clone(ghosts)
	for _, src := range g.sources {
		f := catalog.File{
			VolumeID: src.volume.ID, Path: src.rel, Root: src.volume.Root, Size: src.size, ModTime: src.mod,
			Segment: src.seg, FirstTrack: src.track, Channels: src.info.Format.Channels,
			StartFrame: src.start, Frames: src.info.Frames, DataOffset: src.info.DataOffset, Unfinished: src.info.Unfinished,
			Repairs: []catalog.Repair{},
		}
		for _, r := range src.info.Repairs {
			f.Repairs = append(f.Repairs, catalog.Repair{Offset: r.Offset, Problem: r.Problem})
		}
		files = append(files, f)
		was, ok := s.known.files[fileKey{src.volume.ID, src.rel}]
		if !ok || was.Size != f.Size || !was.ModTime.Equal(f.ModTime) {
			for _, r := range f.Repairs {
				s.problem(src.path, r.Offset, r.Problem)
			}
		}
	}
	return files, nil
}

// tracks returns the rows of the tracks that the files hold. Names come from
// the sources; those of ghosts are as they were.
func (s *scan) tracks(ctx context.Context, g *group, files []catalog.File, old catalog.Recording) ([]catalog.Track, error) {
	byNumber := map[int]catalog.Track{}
	if old.ID != 0 {
		was, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: old.ID})
		if err != nil {
			return nil, err
		}
		for _, t := range was {
			byNumber[t.Number] = catalog.Track{Number: t.Number, Assumed: t.Assumed, Name: t.Name}
		}
	}
	named := map[int]bool{}
	for _, l := range g.lanes {
		for _, src := range l.sources {
			for i, name := range src.names {
				if name != "" && !named[src.track+i] {
					named[src.track+i] = true
					byNumber[src.track+i] = catalog.Track{Number: src.track + i, Assumed: !src.told, Name: name}
				}
			}
		}
	}
	frames := map[int]int64{}
	for _, f := range files {
		for i := range f.Channels {
			frames[f.FirstTrack+i] = max(frames[f.FirstTrack+i], f.StartFrame+f.Frames)
		}
	}
	var tracks []catalog.Track
	for _, number := range slices.Sorted(maps.Keys(frames)) {
		tracks = append(tracks, catalog.Track{Number: number, Assumed: byNumber[number].Assumed, Name: byNumber[number].Name, Frames: frames[number]})
	}
	return tracks, nil
}

// markers returns the cues of all files once each: recorders write them into
// every track's file.
func (g *group) markers() []catalog.Marker {
	var markers []catalog.Marker
	seen := map[catalog.Marker]bool{}
	for _, src := range g.sources {
		for _, c := range src.info.Meta.Cues {
			m := catalog.Marker{Frame: src.start + c.Frame, Length: c.Length, Label: c.Label}
			if c.Frame >= 0 && c.Frame <= src.info.Frames && !seen[m] {
				seen[m] = true
				markers = append(markers, m)
			}
		}
	}
	slices.SortStableFunc(markers, func(a, b catalog.Marker) int { return int(min(max(a.Frame-b.Frame, -1), 1)) })
	return markers
}

func (g *group) frames() int64 {
	frames := int64(0)
	for _, src := range g.sources {
		frames = max(frames, src.end())
	}
	return frames
}

// startsAt returns the wall clock at the recording's first frame, from the
// earliest file that has one.
func (g *group) startsAt() *time.Time {
	var first *source
	for _, src := range g.sources {
		if src.clock.known && (first == nil || src.start < first.start) {
			first = src
		}
	}
	if first == nil {
		return nil
	}
	t := first.clock.time.Add(-time.Duration(float64(first.start) / float64(g.key.rate) * float64(time.Second)))
	return &t
}

func (g *group) recording(show catalog.Show, old catalog.Recording, tracks []catalog.Track) catalog.Recording {
	r := catalog.Recording{
		ID: old.ID, ShowID: show.ID, Show: show.Key, Rig: g.key.rig, SampleRate: g.key.rate,
		BitDepth: g.key.bits, SampleBytes: g.key.bytes, Encoding: g.key.encoding.String(),
		StartsAt: g.startsAt(), OffsetS: old.OffsetS,
	}
	for _, t := range tracks {
		r.Frames = max(r.Frames, t.Frames)
	}
	return r
}
