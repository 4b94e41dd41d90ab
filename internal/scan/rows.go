package scan

import (
	"maps"
	"slices"
	"time"

	"nightreel/catalog"
)

// files returns the rows of a group's files, and tells of what was read around in
// those that are new.
func (s *scan) files(g *group) []catalog.File {
	var files []catalog.File
	for _, src := range g.sources {
		f := src.file
		f.Segment, f.FirstTrack, f.StartFrame = src.seg, src.track, src.start
		files = append(files, f)
		was := s.was[src]
		if src.found && (was == nil || was.file.Size != f.Size || !was.file.ModTime.Equal(f.ModTime)) {
			for _, r := range f.Repairs {
				s.planned = append(s.planned, Problem{File: src.path, Offset: r.Offset, Problem: r.Problem})
			}
		}
	}
	return files
}

// tracks returns the rows of the tracks that the files hold.
func (g *group) tracks(files []catalog.File) []catalog.Track {
	byNumber := map[int]catalog.Track{}
	for _, l := range g.lanes {
		for _, src := range l.sources {
			for i, name := range src.names {
				t, ok := byNumber[src.track+i]
				if !ok || t.Name == "" && name != "" {
					byNumber[src.track+i] = catalog.Track{Number: src.track + i, Assumed: !src.told, Name: name}
				}
			}
		}
	}
	for _, f := range files {
		for i := range f.Channels {
			t := byNumber[f.FirstTrack+i]
			t.Number, t.Frames = f.FirstTrack+i, max(t.Frames, f.StartFrame+f.Frames)
			if t.Name == "" {
				t.Assumed = false // known by its number or not at all
			}
			byNumber[f.FirstTrack+i] = t
		}
	}
	var tracks []catalog.Track
	for _, number := range slices.Sorted(maps.Keys(byNumber)) {
		tracks = append(tracks, byNumber[number])
	}
	return tracks
}

// markers returns the cues of all files once each: recorders write them into
// every track's file.
func (g *group) markers() []catalog.Marker {
	var markers []catalog.Marker
	seen := map[catalog.Marker]bool{}
	for _, src := range g.sources {
		for _, c := range src.header.Cues {
			m := catalog.Marker{Frame: src.start + c.Frame, Length: c.Length, Label: c.Label}
			if c.Frame >= 0 && c.Frame <= src.frames() && !seen[m] {
				seen[m] = true
				markers = append(markers, m)
			}
		}
	}
	slices.SortStableFunc(markers, func(a, b catalog.Marker) int { return int(min(max(a.Frame-b.Frame, -1), 1)) })
	return markers
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

func (g *group) recording(old catalog.Recording, tracks []catalog.Track) catalog.Recording {
	r := catalog.Recording{
		ID: old.ID, Rig: g.rig, SampleRate: g.key.rate,
		BitDepth: g.key.bits, SampleBytes: g.key.bytes, Encoding: g.key.encoding.String(),
		StartsAt: g.startsAt(), OffsetS: old.OffsetS,
	}
	for _, t := range tracks {
		r.Frames = max(r.Frames, t.Frames)
	}
	for _, src := range g.sources {
		r.Chosen = r.Chosen || src.words[catalog.SaidReference] != ""
	}
	return r
}
