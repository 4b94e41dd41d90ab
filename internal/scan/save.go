package scan

import (
	"context"
	"fmt"
	"maps"
	"os"
	"slices"
	"time"

	"nightreel/catalog"
)

// save brings one recording's files, tracks and markers into the catalog,
// forgets what was measured of audio that changed, and returns what is still to
// be measured.
//
// The order makes it safe to be killed anywhere: first what is not true any
// more is dropped, then sizes and times are stored. The other way round the
// next scan would take the old measurement for the new file's.
func (s *scan) save(ctx context.Context, g *group) (*job, error) {
	old := s.existing(g)
	if old.ID == 0 {
		var err error
		if old, err = s.renamed(ctx, g); err != nil {
			return nil, err
		}
	}
	s.settleRig(g, old)
	show, err := s.store.EnsureShow(ctx, catalog.Show{Date: g.key.date, Venue: g.venue})
	if err != nil {
		return nil, err
	}
	s.touched[show.ID] = true

	ghosts := s.ghosts(g, old)
	files, err := s.files(g, ghosts)
	if err != nil {
		return nil, err
	}
	tracks, err := s.tracks(ctx, g, files, old)
	if err != nil {
		return nil, err
	}
	markers := g.markers()
	r := g.recording(show, old, tracks)

	same := old.ID != 0 && sameRecording(old, r)
	if old.ID != 0 {
		drops, err := s.changes(ctx, g, files, old)
		if err != nil {
			return nil, err
		}
		if err := s.drop(ctx, old, drops); err != nil {
			return nil, err
		}
		stored, err := s.stored(ctx, old, files, tracks, markers)
		if err != nil {
			return nil, err
		}
		dropped, err := s.dropUnreadable(ctx, old)
		if err != nil {
			return nil, err
		}
		same = same && len(drops) == 0 && stored && !dropped
	}
	if !same {
		if r, err = s.store.SaveRecording(ctx, r, files, tracks, markers); err != nil {
			return nil, err
		}
		if err := s.sweep(ctx, g, r.ID); err != nil {
			return nil, err
		}
	}
	j, err := s.job(ctx, r, same)
	s.known.recordings[r.ID], s.known.of[r.ID] = r, files // for the groups to come
	return j, err
}

// existing returns the catalog's recording that most of a group's files are of,
// or a zero one.
func (s *scan) existing(g *group) catalog.Recording {
	votes := map[catalog.RecordingID]int{}
	for _, src := range g.sources {
		if f, ok := s.known.files[fileKey{src.volume.ID, src.rel}]; ok {
			votes[f.RecordingID]++
		}
	}
	best := catalog.RecordingID(0)
	for _, id := range slices.Sorted(maps.Keys(votes)) {
		if best == 0 || votes[id] > votes[best] {
			best = id
		}
	}
	return s.known.recordings[best]
}

// renamed finds the recording of a group whose files are all at another place:
// the same show, form and length, its old files gone, the first file's
// beginning the same. So a renamed folder keeps its takes.
func (s *scan) renamed(ctx context.Context, g *group) (catalog.Recording, error) {
	first := g.lanes[0].sources[0]
	for _, id := range slices.Sorted(maps.Keys(s.known.recordings)) {
		r, files := s.known.recordings[id], s.known.of[id]
		if r.Show.Date() != g.key.date || !g.key.codes(r) || len(files) != len(g.sources) {
			continue
		}
		here := func(f catalog.File) bool { _, err := os.Stat(f.FullPath()); return err == nil }
		if slices.ContainsFunc(files, here) {
			continue
		}
		at := slices.IndexFunc(files, func(f catalog.File) bool { return f.FirstTrack == first.track && f.Size == first.size })
		if at < 0 {
			continue
		}
		if same, err := sameBeginning(ctx, s.store, files[at], first.path); same || err != nil {
			return r, err
		}
	}
	return catalog.Recording{}, nil
}

// settleRig keeps the rig that a known recording has where nothing tells
// another, and tells two rigs apart that both would be main for want of a name.
func (s *scan) settleRig(g *group, old catalog.Recording) {
	if g.rigTold {
		return
	}
	if old.ID != 0 {
		g.key.rig = old.Rig
		return
	}
	taken := map[string]bool{}
	clash := false
	for id, r := range s.known.recordings {
		if r.Show.Date() != g.key.date {
			continue
		}
		// Another rate is another recording of the same rig.
		taken[r.Rig] = true
		clash = clash || r.Rig == g.key.rig && r.SampleRate == g.key.rate && s.beside(g, r, s.known.of[id])
	}
	if !clash {
		return
	}
	name := originator(g.sources[0])
	for n := 2; name == "" || taken[name]; n++ {
		name = fmt.Sprintf("rig %d", n)
	}
	g.key.rig = name
}

// beside tells whether a group and a recording hold the same tracks at the same
// time, as far as is known.
func (s *scan) beside(g *group, r catalog.Recording, files []catalog.File) bool {
	tracks := slices.ContainsFunc(files, func(f catalog.File) bool {
		return slices.ContainsFunc(g.lanes, func(l *lane) bool {
			return l.track < f.FirstTrack+f.Channels && f.FirstTrack < l.track+l.channels
		})
	})
	starts := g.startsAt()
	if !tracks || starts == nil || r.StartsAt == nil {
		return tracks
	}
	ends := starts.Add(time.Duration(float64(g.frames()) / float64(g.key.rate) * float64(time.Second)))
	theirEnd := r.StartsAt.Add(time.Duration(r.Seconds(r.Frames) * float64(time.Second)))
	return starts.Before(theirEnd) && r.StartsAt.Before(ends)
}

// ghosts returns the files that a recording had and that this scan did not
// find: on another drive, out of the scanned folders, unreadable or gone. A
// scan never forgets what was measured of them, unless a new file has their
// place.
func (s *scan) ghosts(g *group, old catalog.Recording) []catalog.File {
	found := map[fileKey]bool{}
	for _, src := range g.sources {
		found[fileKey{src.volume.ID, src.rel}] = true
	}
	var ghosts []catalog.File
	var matched *source
	var was catalog.File
	for _, f := range s.known.of[old.ID] {
		if !found[fileKey{f.VolumeID, f.Path}] {
			ghosts = append(ghosts, f)
		}
	}
	for _, src := range g.sources {
		if f, ok := s.known.files[fileKey{src.volume.ID, src.rel}]; ok && f.RecordingID == old.ID {
			matched, was = src, f
			break
		}
	}
	if len(ghosts) == 0 || matched == nil {
		return nil
	}
	// Where the first segment is the one not found, the others keep their place.
	shift, segments := was.StartFrame-matched.start, was.Segment-matched.seg
	back := int64(0)
	for _, src := range g.sources {
		src.start += shift
		src.seg = max(src.seg+segments, 0)
		back = max(back, -src.start)
	}
	for _, src := range g.sources {
		src.start += back
		if f, ok := s.known.files[fileKey{src.volume.ID, src.rel}]; ok && f.RecordingID == old.ID && f.StartFrame == src.start {
			src.seg = f.Segment
		}
	}
	ghosts = slices.DeleteFunc(ghosts, func(f catalog.File) bool {
		return slices.ContainsFunc(g.sources, func(src *source) bool {
			return src.track < f.FirstTrack+f.Channels && f.FirstTrack < src.track+src.info.Format.Channels &&
				src.start < f.StartFrame+back+f.Frames && f.StartFrame+back < src.end()
		})
	})
	for i := range ghosts {
		ghosts[i].StartFrame += back
		_, err := os.Stat(ghosts[i].Root)
		if _, gone := os.Stat(ghosts[i].FullPath()); err == nil && os.IsNotExist(gone) {
			s.problem(ghosts[i].FullPath(), 0, "missing; what was measured of it is kept")
		}
	}
	return ghosts
}

func sameRecording(a, b catalog.Recording) bool {
	starts := a.StartsAt == nil && b.StartsAt == nil || a.StartsAt != nil && b.StartsAt != nil && a.StartsAt.Equal(*b.StartsAt)
	a.StartsAt, b.StartsAt = nil, nil
	b.Tracks, b.Files = a.Tracks, a.Files // counted by the store
	return starts && a == b
}

// stored tells whether the catalog has exactly these rows already.
func (s *scan) stored(ctx context.Context, old catalog.Recording, files []catalog.File, tracks []catalog.Track, markers []catalog.Marker) (bool, error) {
	if len(files) != len(s.known.of[old.ID]) {
		return false, nil
	}
	for _, f := range files {
		was, ok := s.known.files[fileKey{f.VolumeID, f.Path}]
		if !ok || was.RecordingID != old.ID || was.Size != f.Size || !was.ModTime.Equal(f.ModTime) || was.Segment != f.Segment ||
			!sameLayout(was, f) || was.Frames != f.Frames || was.Unfinished != f.Unfinished || !slices.Equal(was.Repairs, f.Repairs) {
			return false, nil
		}
	}
	theirs, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: old.ID})
	if err != nil {
		return false, err
	}
	marked, err := s.store.Markers(ctx, old.ID)
	if err != nil {
		return false, err
	}
	return slices.EqualFunc(tracks, theirs, func(a, b catalog.Track) bool {
		return a.Number == b.Number && a.Assumed == b.Assumed && a.Name == b.Name && a.Frames == b.Frames
	}) && slices.EqualFunc(markers, marked, func(a, b catalog.Marker) bool {
		return a.Frame == b.Frame && a.Length == b.Length && a.Label == b.Label
	}), nil
}

// sweep forgets recordings that lost their last file to this one.
func (s *scan) sweep(ctx context.Context, g *group, id catalog.RecordingID) error {
	for _, src := range g.sources {
		f, ok := s.known.files[fileKey{src.volume.ID, src.rel}]
		if !ok || f.RecordingID == id {
			continue
		}
		left, err := s.store.Files(ctx, catalog.FileFilter{Recording: f.RecordingID})
		if err != nil {
			return err
		}
		if len(left) == 0 {
			if err := s.store.DeleteRecording(ctx, f.RecordingID); err != nil {
				return err
			}
		}
	}
	return nil
}
