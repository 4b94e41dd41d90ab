package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"nightreel/catalog"
)

// grouped is one recording and its row in the catalog before it is stored.
type grouped struct {
	*group
	old     catalog.Recording // ID 0 = a new one
	show    int               // index into layout.Shows
	touched bool              // some file of it was found by this scan
	same    bool              // the catalog has exactly this
	saved   catalog.Recording
}

// maxTries limits how often grouping starts again because another scan stored
// first.
const maxTries = 20

// settle groups the files found and those known, and stores the changes. If
// another scan stores first, settle starts again from what that scan stored.
func (s *scan) settle(ctx context.Context, found []*source) ([]*grouped, error) {
	for try := 1; ; try++ {
		all, err := s.try(ctx, found)
		var stale *catalog.StaleError
		if !errors.As(err, &stale) && !errors.Is(err, errKept) || try == maxTries {
			return all, err
		}
	}
}

// try groups once. It computes all changes first and then stores them in one
// transaction, so that a scan may be killed at any time.
func (s *scan) try(ctx context.Context, found []*source) ([]*grouped, error) {
	s.planned, s.layout, s.was = nil, catalog.NewLayout{}, map[*source]*source{}
	s.result.Notes = append(s.result.Notes[:0], s.keeps...)
	s.noteOwn()
	var err error
	if s.known, err = loadKnown(ctx, s.store); err != nil {
		return nil, err
	}
	found = s.readContents(slices.Clone(found))
	if err := s.addVolumes(ctx, found); err != nil {
		return nil, err
	}
	again := make([]*source, len(found))
	for i, src := range found {
		f := newSource(src.path, src.file)
		f.found = true
		again[i] = f
	}
	s.placeFound(again)
	all, err := s.together(ctx, again)
	if err != nil {
		return nil, err
	}
	groups, err := s.group(all)
	if err != nil {
		return nil, err
	}
	plan := s.match(groups)
	s.matchShows(plan)
	if kept, err := s.keepNames(ctx, plan); err != nil {
		return nil, err
	} else if kept {
		return nil, errKept
	}
	var changed []*grouped
	for _, g := range plan {
		r, err := s.change(ctx, g)
		if err != nil {
			return nil, err
		}
		if g.same {
			g.saved = g.old
			continue
		}
		changed = append(changed, g)
		s.layout.Recordings = append(s.layout.Recordings, r)
	}
	s.layout.Empty = s.doubles()
	if len(changed)+len(s.layout.Words)+len(s.layout.Forget)+len(s.layout.Moved)+len(s.layout.Empty) > 0 || s.showsChange() {
		saved, err := s.store.SaveLayout(ctx, s.known.Layout, s.layout)
		if err != nil {
			return nil, err
		}
		for i, g := range changed {
			g.saved = saved[i]
		}
	}
	s.result.Problems = append(s.result.Problems, s.planned...)
	return plan, nil
}

// errKept says that grouping starts again because rigs keep their names.
var errKept = errors.New("rigs keep their names")

// keepNames lets rigs keep their names if the files alone would give them others
// now and an input list of a person is for the name: the recorder of another drive
// must not take a list away. A word about the files keeps the name, like that of a
// caller at the scan. It reports whether there is such a rig that it did not know.
func (s *scan) keepNames(ctx context.Context, plan []*grouped) (kept bool, err error) {
	var lists []catalog.InputList
	for _, g := range plan {
		_, known := s.kept[g.sources[0].path]
		if g.old.ID == 0 || g.old.Rig == g.rig || known || g.rigSaid || g.sources[0].says.rig != "" || g.touched && s.opt.Rig != "" {
			continue
		}
		if lists == nil {
			if lists, err = s.store.InputLists(ctx); err != nil {
				return false, err
			}
		}
		if !slices.ContainsFunc(lists, func(l catalog.InputList) bool { return l.Rig == g.old.Rig && l.For(g.old.Show) }) {
			continue
		}
		if s.kept == nil {
			s.kept = map[string]string{}
		}
		for _, src := range g.sources {
			s.kept[src.path] = g.old.Rig
		}
		s.keeps = append(s.keeps, fmt.Sprintf("%s: rig %q keeps its name, since an input list is for it; its recorder calls itself %q", showName(s.layout.Shows[g.show]), g.old.Rig, g.rig))
		kept = true
	}
	return kept, nil
}

// doubles returns the recordings without files beside which the catalog has the
// same recording with files. Earlier versions left them when two scans of a new
// folder ran at once: both stored the recording, and one of the two kept the files.
func (s *scan) doubles() (ids []catalog.RecordingID) {
	shows := map[catalog.ShowID]catalog.Show{}
	for _, sh := range s.known.Shows {
		shows[sh.ID] = sh
	}
	for _, r := range s.known.Recordings {
		double := func(o catalog.Recording) bool {
			return o.ShowID == r.ShowID && o.Rig == r.Rig && o.SampleRate == r.SampleRate && len(s.known.of[o.ID]) > 0
		}
		if len(s.known.of[r.ID]) == 0 && slices.ContainsFunc(s.known.Recordings, double) {
			ids = append(ids, r.ID)
			s.note("%s: the catalog had rig %q twice, because two scans ran at once; the one without files is removed, and what was entered about it is kept", showName(shows[r.ShowID]), r.Rig)
		}
	}
	return ids
}

// match finds each group's recording in the catalog: the one with most of its
// files, in the same format. If the catalog knows too little about a group's
// files and this scan found none of them, the group stays as it is.
func (s *scan) match(groups []*group) []*grouped {
	type pair struct {
		group, count int
		old          catalog.Recording
	}
	var pairs []pair
	var plan []*grouped
	for i, g := range groups {
		p := &grouped{group: g}
		plan = append(plan, p)
		count := map[catalog.RecordingID]int{}
		for _, src := range g.sources {
			p.touched = p.touched || src.found
			if src.file.RecordingID != 0 {
				count[src.file.RecordingID]++
			}
		}
		for id, n := range count {
			if r, ok := s.known.recordings[id]; ok && g.key.codes(r) {
				pairs = append(pairs, pair{i, n, r})
			}
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(b.count, a.count), cmp.Compare(a.old.ID, b.old.ID), cmp.Compare(a.group, b.group))
	})
	taken := map[catalog.RecordingID]bool{}
	for _, p := range pairs {
		if g := plan[p.group]; g.old.ID == 0 && !taken[p.old.ID] {
			g.old = p.old
			taken[p.old.ID] = true
		}
	}
	return plan
}

// matchShows finds each show's row in the catalog: the one with most of its
// files, or else the one with its name.
func (s *scan) matchShows(plan []*grouped) {
	at := map[label]int{}
	var counts []map[catalog.ShowID]int
	for _, g := range plan {
		i, ok := at[g.key.label]
		if !ok {
			i = len(s.layout.Shows)
			at[g.key.label] = i
			s.layout.Shows = append(s.layout.Shows, catalog.Show{Date: g.key.label.date, Name: g.key.label.name})
			counts = append(counts, map[catalog.ShowID]int{})
		}
		g.show = i
		for _, src := range g.sources {
			if r, ok := s.known.recordings[src.file.RecordingID]; ok {
				counts[i][r.ShowID]++
			}
		}
	}
	type pair struct {
		show, count int
		old         catalog.ShowID
	}
	var pairs []pair
	for i, sh := range s.layout.Shows {
		for _, old := range s.known.Shows {
			n := 2 * counts[i][old.ID]
			if old.Date == sh.Date && old.Name == sh.Name {
				n++
			}
			if n > 0 {
				pairs = append(pairs, pair{i, n, old.ID})
			}
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(b.count, a.count), cmp.Compare(a.old, b.old), cmp.Compare(a.show, b.show))
	})
	taken := map[catalog.ShowID]bool{}
	for _, p := range pairs {
		if sh := &s.layout.Shows[p.show]; sh.ID == 0 && !taken[p.old] {
			sh.ID = p.old
			taken[p.old] = true
		}
	}
	for i := range s.layout.Shows {
		s.layout.Shows[i].Venue = venueOf(plan, i)
	}
}

// venueOf returns the venue that most files of a show give. Files whose venue
// a person gave come first.
func venueOf(plan []*grouped, show int) string {
	said, told := map[string]int{}, map[string]int{}
	for _, g := range plan {
		if g.show != show {
			continue
		}
		for _, src := range g.sources {
			said[src.words[catalog.SaidVenue]]++
			told[src.says.venue]++
		}
	}
	delete(said, "")
	delete(told, "")
	return cmp.Or(mostOf(said), mostOf(told))
}

// showsChange reports whether a show's name or venue differs from the
// catalog's.
func (s *scan) showsChange() bool {
	was := map[catalog.ShowID]catalog.Show{}
	for _, sh := range s.known.Shows {
		was[sh.ID] = sh
	}
	return slices.ContainsFunc(s.layout.Shows, func(sh catalog.Show) bool {
		old, ok := was[sh.ID]
		return !ok || old.Date != sh.Date || old.Name != sh.Name || old.Venue != sh.Venue
	})
}

// change returns the catalog's changes for one recording.
func (s *scan) change(ctx context.Context, g *grouped) (catalog.NewRecording, error) {
	files := s.files(g.group)
	tracks := g.tracks(files)
	markers := g.markers()
	r := catalog.NewRecording{Recording: g.recording(g.old, tracks), Show: g.show, Files: files, Tracks: tracks, Markers: markers}
	show := s.layout.Shows[g.show]
	g.same = g.old.ID != 0 && show.ID == g.old.ShowID && sameRecording(g.old, r.Recording) && s.stored(g.old, files, tracks, markers)
	if !g.touched && !g.same && s.unseen(g) {
		// The catalog knows too little about these files to group them again.
		g.same = true
		if g.old.ID == 0 {
			g.old = s.known.recordings[g.sources[0].file.RecordingID]
		}
		return r, nil
	}
	s.tellMissing(g)
	if g.old.ID == 0 {
		for _, f := range files { // from other recordings: measured again, all of it
			if f.ID == 0 {
				continue
			}
			changed, err := s.changedBytes(ctx, f)
			if err != nil {
				return r, err
			}
			r.Drops = append(r.Drops, catalog.Drop{File: f.ID, FromByte: -1, Changed: changed})
		}
		return r, nil
	}
	if g.old.Rig != r.Rig && !g.rigSaid {
		s.note("%s: rig %q is called %q now, since that is what tells it from the other rigs; lists for rig %q are not for it any more", showName(show), g.old.Rig, r.Rig, g.old.Rig)
	}
	r.Renumber = s.renumber(g, files)
	drops, err := s.changes(ctx, g, files, r.Renumber)
	if err != nil {
		return r, err
	}
	for _, d := range drops {
		r.Drops = append(r.Drops, d.rows()...)
	}
	r.Drops = append(r.Drops, s.ends(g, tracks, r.Renumber)...)
	g.same = g.same && len(r.Drops) == 0
	return r, nil
}

func showName(sh catalog.Show) string {
	if sh.Name == "" {
		return string(sh.Date)
	}
	return string(sh.Date) + " " + sh.Name
}

// unseen reports whether a group has no file that was seen since the catalog
// keeps headers.
func (s *scan) unseen(g *grouped) bool {
	return !slices.ContainsFunc(g.sources, func(src *source) bool { return src.old == nil })
}

// tellMissing reports the files of a recording that are gone although their
// drive is connected and other files of the recording were found.
func (s *scan) tellMissing(g *grouped) {
	for _, src := range g.sources {
		if g.touched && !src.found && missing(src.file) {
			s.planned = append(s.planned, Problem{File: src.path, Problem: "missing; what was measured of it is kept"})
		}
	}
}

func sameRecording(a, b catalog.Recording) bool {
	starts := a.StartsAt == nil && b.StartsAt == nil || a.StartsAt != nil && b.StartsAt != nil && a.StartsAt.Equal(*b.StartsAt)
	return starts && a.Rig == b.Rig && a.Frames == b.Frames && a.Chosen == b.Chosen
}

// stored reports whether the catalog already has exactly these rows.
func (s *scan) stored(old catalog.Recording, files []catalog.File, tracks []catalog.Track, markers []catalog.Marker) bool {
	if len(files) != len(s.known.of[old.ID]) {
		return false
	}
	for _, f := range files {
		was, ok := s.known.files[f.ID]
		if !ok || was.RecordingID != old.ID || was.VolumeID != f.VolumeID || was.Path != f.Path || was.Size != f.Size || !was.ModTime.Equal(f.ModTime) || was.Segment != f.Segment ||
			!sameLayout(was, f) || was.Frames != f.Frames || was.Unfinished != f.Unfinished || !slices.Equal(was.Repairs, f.Repairs) ||
			was.Content != f.Content || !sameHeader(was.Header, f.Header) {
			return false
		}
	}
	return slices.EqualFunc(tracks, s.known.Tracks[old.ID], func(a, b catalog.Track) bool {
		return a.Number == b.Number && a.Assumed == b.Assumed && a.Name == b.Name && a.Frames == b.Frames
	}) && slices.EqualFunc(markers, s.known.Markers[old.ID], func(a, b catalog.Marker) bool {
		return a.Frame == b.Frame && a.Length == b.Length && a.Label == b.Label
	})
}

func sameHeader(a, b *catalog.FileHeader) bool {
	if a == nil || b == nil {
		return a == b
	}
	starts := a.StartsAt == nil && b.StartsAt == nil || a.StartsAt != nil && b.StartsAt != nil && a.StartsAt.Equal(*b.StartsAt)
	return starts && a.Exact == b.Exact && a.Originator == b.Originator && slices.Equal(a.Tracks, b.Tracks) && slices.Equal(a.Cues, b.Cues)
}

// renumber returns the tracks of a recording that get another number because
// of a new file, so that they keep their measurements.
func (s *scan) renumber(g *grouped, files []catalog.File) map[int]int {
	to, from := map[int]int{}, map[int]int{}
	unsure := map[int]bool{}
	differ := false
	for _, f := range files {
		was, ok := s.known.files[f.ID]
		if !ok || was.RecordingID != g.old.ID || was.Channels != f.Channels {
			continue
		}
		for i := range f.Channels {
			a, b := was.FirstTrack+i, f.FirstTrack+i
			if n, ok := to[a]; ok && n != b {
				unsure[a] = true
			}
			if n, ok := from[b]; ok && n != a {
				unsure[a], unsure[n] = true, true
			}
			to[a], from[b] = b, a
			differ = differ || a != b
		}
	}
	if !differ {
		return nil
	}
	for a, b := range to {
		if unsure[a] || a == b {
			delete(to, a)
		}
	}
	return to
}

// ends returns the measured last parts of tracks whose length changed. They
// must be dropped: where a track now goes on, its last part becomes a whole
// one.
func (s *scan) ends(g *grouped, tracks []catalog.Track, renumbered map[int]int) (drops []catalog.Drop) {
	was := map[int]int64{}
	for _, t := range s.known.Tracks[g.old.ID] {
		number := t.Number
		if to, ok := renumbered[number]; ok {
			number = to
		}
		was[number] = t.Frames
	}
	for _, t := range tracks {
		if frames, ok := was[t.Number]; ok && frames != t.Frames {
			from, _ := touching(g.key.rate, min(frames, t.Frames), max(frames, t.Frames))
			drops = append(drops, catalog.Drop{Track: t.Number, From: from, To: math.MaxInt32})
		}
	}
	return drops
}

// addVolumes adds a volume for each scanned folder around which there is none.
func (s *scan) addVolumes(ctx context.Context, found []*source) error {
	for _, src := range found {
		around := func(v catalog.Volume) bool { _, ok := below(v.Root, src.path); return ok }
		if slices.ContainsFunc(s.known.Volumes, around) {
			continue
		}
		v, err := s.store.AddVolume(ctx, catalog.Volume{Name: filepath.Base(src.file.Root), Root: src.file.Root})
		if err != nil {
			if s.known.Volumes, err = s.store.Volumes(ctx); err != nil || slices.ContainsFunc(s.known.Volumes, around) {
				continue // another scan was faster
			}
			return err
		}
		s.known.Volumes = append(s.known.Volumes, v)
	}
	return nil
}
