package scan

import (
	"cmp"
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"

	"nightreel/catalog"
)

// grouped is one recording on its way into the catalog.
type grouped struct {
	*group
	old     catalog.Recording // ID 0 = a new one
	show    int               // index into layout.Shows
	touched bool              // some file of it was found by this scan
	same    bool              // the catalog has exactly this
	saved   catalog.Recording
}

// maxTries is how often grouping begins anew because another scan was faster.
const maxTries = 20

// settle groups the files found and those known, and stores what changes. Another
// scan may do the same at the same time: whoever stores first is right, and the
// other one begins anew with what the first one stored.
func (s *scan) settle(ctx context.Context, found []*source) ([]*grouped, error) {
	for try := 1; ; try++ {
		all, err := s.try(ctx, found)
		var stale *catalog.StaleError
		if !errors.As(err, &stale) || try == maxTries {
			return all, err
		}
	}
}

// try groups once. Nothing is stored before all is worked out, and then in one
// transaction: first what is not true any more is dropped, so that a scan may be
// killed anywhere.
func (s *scan) try(ctx context.Context, found []*source) ([]*grouped, error) {
	s.planned, s.layout, s.was = nil, catalog.NewLayout{}, map[*source]*source{}
	s.result.Notes = s.result.Notes[:0]
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
	if len(changed)+len(s.layout.Words)+len(s.layout.Forget)+len(s.layout.Moved) > 0 || s.showsChange() {
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

// match finds for each group the recording that the catalog has of it: that which
// has most of its files, in the same form. Groups of files of which the catalog
// knows too little, and none of which was found now, stay as they are.
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

// matchShows finds for each show the row that the catalog has of it: that which
// has most of its files, else the one of its name.
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

// venueOf returns the venue that most files of a show tell, those before all of
// which a person told it.
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

// showsChange tells whether a show has another name or venue than in the catalog.
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

// change works out what has to change in the catalog for one recording.
func (s *scan) change(ctx context.Context, g *grouped) (catalog.NewRecording, error) {
	files := s.files(g.group)
	tracks := g.tracks(files)
	markers := g.markers()
	r := catalog.NewRecording{Recording: g.recording(g.old, tracks), Show: g.show, Files: files, Tracks: tracks, Markers: markers}
	show := s.layout.Shows[g.show]
	g.same = g.old.ID != 0 && show.ID == g.old.ShowID && sameRecording(g.old, r.Recording) && s.stored(g.old, files, tracks, markers)
	if !g.touched && !g.same && s.unseen(g) {
		// What is known of these files is too little to group them anew.
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

// unseen tells whether none of a group's files was seen since the catalog keeps
// headers.
func (s *scan) unseen(g *grouped) bool {
	return !slices.ContainsFunc(g.sources, func(src *source) bool { return src.old == nil })
}

// tellMissing says which files of a recording, of which others were found, are
// gone though their drive is there.
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

// stored tells whether the catalog has exactly these rows already.
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

// renumber finds the tracks of a recording that have another number now because
// another file came, so that what was measured of them stays theirs.
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

// ends returns what was measured at the ends of tracks that end elsewhere now: the
// last part is a whole one where the track goes on.
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
