package songs

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// Placed is what [Place] did to a show.
type Placed struct {
	Takes   []catalog.Take `json:"takes"` // all of the show's now, in order of start
	Added   int            `json:"added"`
	Moved   int            `json:"moved"` // those that kept their id and changed
	Removed int            `json:"removed"`
	// NotPlaced lists titles of the set list that no take was found for.
	NotPlaced []string `json:"not_placed"`
	// Unnamed lists stretches of music, as long as a song, without a title.
	Unnamed []Span `json:"unnamed"`
	// Problems says what stood in the way, a sentence each.
	Problems []string `json:"problems"`
}

// Span is a part of the show's reference recording, in seconds.
type Span struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Place finds the takes of a show and stores them on its reference recording,
// the first of [catalog.Store.Recordings]. In this order of trust they come
// from a person, from markers with labels, from the set list's times, and from
// aligning the other titles of the set list with the stretches in which the
// band plays. A night with neither markers nor a set list gets its songs
// numbered. Takes never overlap; where two would, the less trusted gives way.
//
// A person's takes are left as they are, and what a person deleted does not
// come back. Placing again changes nothing as long as nothing else changed,
// and keeps the id of the take of a song wherever that song still stands.
//
// A show that is not in the catalog is *[catalog.NotFoundError]. A show without
// a recording has no takes.
func Place(ctx context.Context, store *catalog.Store, date catalog.Date) (Placed, error) {
	for {
		placed, done, err := place(ctx, store, date)
		if done || err != nil {
			return placed, err
		}
	}
}

// place does what Place does once; done is false if somebody changed the show's
// takes meanwhile.
func place(ctx context.Context, store *catalog.Store, date catalog.Date) (placed Placed, done bool, err error) {
	show, err := store.Show(ctx, date)
	if err != nil {
		return Placed{}, false, err
	}
	result := Placed{Takes: []catalog.Take{}, NotPlaced: []string{}, Unnamed: []Span{}, Problems: []string{}}
	if len(show.Recordings) == 0 {
		return result, true, nil
	}
	n := night{date: date, ref: show.Recordings[0], recordings: show.Recordings, result: &result}
	if err := n.read(ctx, store); err != nil {
		return Placed{}, false, err
	}
	n.marked(n.marks)
	n.timed()
	n.aligned()
	if len(n.list) == 0 && len(n.marks) == 0 {
		n.numbered()
	}
	n.unnamed()
	if done, err = n.store(ctx, store); err != nil || !done {
		return Placed{}, false, err
	}
	return result, true, n.keepAnchors(ctx, store)
}

// learnFrom is the confidence from which a take tells how long its song is.
const learnFrom = 0.7

// candidate is a take that might be placed.
type candidate struct {
	title      string
	nth        int   // which take of the song a person's is; 0 for others
	start, end int64 // frames of the reference recording
	by         catalog.FoundBy
	confidence float64
}

// night is all that is known of a show while its takes are placed.
type night struct {
	date       catalog.Date
	ref        catalog.Recording
	recordings []catalog.Recording
	activity   activity
	band       []chroma // what is played, by second; nil where that was not measured
	music      []stretch
	list       []catalog.SetListEntry
	marks      []mark
	deleted    []catalog.Dismissal
	titles     map[string]string  // by key of a title or alias
	lengths    map[string]float64 // blocks of a song on other nights, by key
	before     []catalog.Take     // the show's takes as they were
	persons    []candidate        // a person's, on the reference
	found      []candidate        // placed so far, the most trusted first
	refs       []reference        // takes that songs are known by
	likes      []likeness         // what the night has of each of them
	clusters   []cluster          // the songs that these are of
	anchors    []anchor           // what the set list says about the takes
	pauses     []float32          // how loud tracks are in pauses; see readPauses
	pauseChord chroma             // and what they play there
	result     *Placed
}

// read gathers what the catalog holds.
func (n *night) read(ctx context.Context, store *catalog.Store) error {
	a, err := listen(ctx, store, n.ref)
	if err != nil {
		return err
	}
	if err := keepLoudness(ctx, store, n.ref, a.kept); err != nil {
		return err
	}
	n.music = a.stretches()
	n.activity = a
	if a.missing > 0 {
		n.result.Problems = append(n.result.Problems, fmt.Sprintf("%d of %d tracks have not been measured to their end; scan the show again", a.missing, n.ref.Tracks))
	}
	all, err := store.Songs(ctx)
	if err != nil {
		return err
	}
	n.titles = map[string]string{}
	for _, s := range all {
		n.titles[catalog.Key(s.Title)] = s.Title
		for _, alias := range s.Aliases {
			n.titles[catalog.Key(alias)] = s.Title
		}
	}
	if n.list, err = store.SetList(ctx, n.date); err != nil {
		return err
	}
	if n.deleted, err = store.Dismissed(ctx, n.date); err != nil {
		return err
	}
	if err := n.readMarks(ctx, store); err != nil {
		return err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return err
	}
	n.readTakes(takes)
	n.strikeDeleted()
	return n.recognise(ctx, store, takes)
}

// strikeDeleted takes the titles off the set list whose take a person deleted:
// they were not played, so they must not be looked for elsewhere either. What
// a person put back since is not deleted any more.
func (n *night) strikeDeleted() {
	n.deleted = slices.DeleteFunc(n.deleted, func(d catalog.Dismissal) bool {
		return slices.ContainsFunc(n.persons, func(p candidate) bool {
			return forbids(d, p.title, catalog.ByPerson, n.ref.Seconds(p.start), n.ref.Seconds(p.end))
		})
	})
	for _, d := range n.deleted {
		if i := listed(d, n.list, n.ref.Seconds(n.ref.Frames)); i >= 0 {
			n.list = slices.Delete(n.list, i, i+1)
		}
	}
}

// readMarks reads the markers of the reference recording, or of the first
// other one that has any with a song's title.
func (n *night) readMarks(ctx context.Context, store *catalog.Store) error {
	known := func(name string) (string, bool) {
		t, ok := n.titles[catalog.Key(name)]
		return t, ok
	}
	for _, r := range n.recordings {
		markers, err := store.Markers(ctx, r.ID)
		if err != nil {
			return err
		}
		marks := readMarkers(markers, r.SampleRate, known)
		if !slices.ContainsFunc(marks, func(m mark) bool { return m.title != "" }) {
			continue
		}
		for i := range marks {
			m := &marks[i]
			end := r.Map(m.frame+m.length, n.ref)
			m.frame = r.Map(m.frame, n.ref)
			m.length = end - m.frame
		}
		n.marks = slices.DeleteFunc(marks, func(m mark) bool { return m.frame < 0 || m.frame >= n.ref.Frames })
		return nil
	}
	return nil
}

// readTakes parts the tour's takes into this show's, a person's among them,
// and the lengths of songs on other nights.
func (n *night) readTakes(takes []catalog.Take) {
	lengths := map[string][]float64{}
	for _, t := range takes {
		if t.Show != n.date {
			// What was itself only guessed is no evidence: a wrong length learned
			// here would mislead every night after.
			if t.Confidence >= learnFrom {
				key := catalog.Key(t.Song)
				lengths[key] = append(lengths[key], (t.EndS()-t.StartS())*meter.BlocksPerSecond)
			}
			continue
		}
		n.before = append(n.before, t)
		if t.FoundBy != catalog.ByPerson {
			continue
		}
		from := n.ref
		for _, r := range n.recordings {
			if r.ID == t.RecordingID {
				from = r
			}
		}
		n.persons = append(n.persons, candidate{title: t.Song, nth: t.Nth, start: from.Map(t.StartFrame, n.ref), end: from.Map(t.EndFrame, n.ref), by: t.FoundBy, confidence: t.Confidence})
	}
	n.found = slices.Clone(n.persons)
	n.lengths = map[string]float64{}
	for key, l := range lengths {
		n.lengths[key] = median(l)
	}
}

// accept places a candidate where nothing more trusted lies. Of one that is
// cut in pieces the longest is kept, if it is half of the whole. One that
// touches a take of the same song is that take, placed elsewhere.
func (n *night) accept(c candidate) bool {
	c.start, c.end = max(0, c.start), min(c.end, n.ref.Frames)
	whole := c.end - c.start
	for _, f := range n.found {
		switch {
		case f.end <= c.start || f.start >= c.end:
		case catalog.SameName(f.title, c.title):
			return false
		case f.start-c.start > c.end-f.end:
			c.end = f.start
		default:
			c.start = f.end
		}
	}
	if c.end <= c.start || 2*(c.end-c.start) < whole {
		return false
	}
	for _, d := range n.deleted {
		if forbids(d, c.title, c.by, n.ref.Seconds(c.start), n.ref.Seconds(c.end)) {
			return false
		}
	}
	if t, ok := n.titles[catalog.Key(c.title)]; ok {
		c.title = t
	}
	n.found = append(n.found, c)
	return true
}

// frame returns the first frame of a block.
func (n *night) frame(block int) int64 {
	return min(n.ref.Frames, int64(block)*int64(meter.BlockFrames(n.ref.SampleRate)))
}

// block returns the block that starts nearest to a frame.
func (n *night) block(frame int64) int {
	size := int64(meter.BlockFrames(n.ref.SampleRate))
	return int((frame + size/2) / size)
}

// store makes the show's takes what was found, unless they changed meanwhile.
func (n *night) store(ctx context.Context, store *catalog.Store) (done bool, err error) {
	found := slices.DeleteFunc(slices.Clone(n.found), func(c candidate) bool { return c.by == catalog.ByPerson })
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(a.start, b.start) })
	remove, save := n.difference(found)
	for _, t := range save {
		if t.ID == 0 {
			n.result.Added++
		} else {
			n.result.Moved++
		}
	}
	n.result.Removed = len(remove)
	if len(remove)+len(save) > 0 {
		if done, err := store.EditTakesFrom(ctx, n.date, n.before, remove, save); err != nil || !done {
			return false, err
		}
	}
	n.result.Takes, err = store.Takes(ctx, catalog.TakeFilter{Show: n.date})
	return err == nil, err
}

// difference matches what was found with the takes that are there: the same
// song in the same turn is the same take; a take that got its title now is the
// numbered one that it overlaps.
func (n *night) difference(found []candidate) (remove []catalog.TakeID, save []catalog.Take) {
	old := slices.DeleteFunc(slices.Clone(n.before), func(t catalog.Take) bool { return t.FoundBy == catalog.ByPerson })
	takes := make([]catalog.Take, len(found))
	claim := func(i int, same func(t catalog.Take) bool) {
		if takes[i].ID != 0 {
			return
		}
		if k := slices.IndexFunc(old, same); k >= 0 {
			takes[i].ID = old[k].ID
			old = slices.Delete(old, k, k+1)
		}
	}
	overlaps := func(c candidate, t catalog.Take) bool {
		return t.RecordingID == n.ref.ID && t.StartFrame < c.end && c.start < t.EndFrame
	}
	// Where one of several takes of a song is gone, those that stand still
	// must not be taken for each other: first who has not left the spot.
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return catalog.SameName(t.Song, c.title) && overlaps(c, t) })
	}
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return catalog.SameName(t.Song, c.title) })
	}
	for i, c := range found {
		claim(i, func(t catalog.Take) bool { return isNumbered(t.Song, n.date) && overlaps(c, t) })
	}
	for _, t := range old {
		remove = append(remove, t.ID)
	}
	for i, c := range found {
		t := catalog.Take{ID: takes[i].ID, Show: n.date, Song: c.title, RecordingID: n.ref.ID, StartFrame: c.start, EndFrame: c.end, FoundBy: c.by, Confidence: c.confidence}
		unchanged := slices.ContainsFunc(n.before, func(b catalog.Take) bool {
			return b.ID == t.ID && b.Song == t.Song && b.RecordingID == t.RecordingID && b.StartFrame == t.StartFrame && b.EndFrame == t.EndFrame && b.FoundBy == t.FoundBy && b.Confidence == t.Confidence
		})
		if !unchanged {
			save = append(save, t)
		}
	}
	return remove, save
}

// numberedTitle names a song whose title nobody knows yet. The date is in it
// since the third song of two nights need not be one song.
func numberedTitle(number int, date catalog.Date) string {
	return fmt.Sprintf("Song %d, %s", number, date)
}

func isNumbered(title string, date catalog.Date) bool {
	return strings.HasPrefix(title, "Song ") && strings.HasSuffix(title, ", "+string(date))
}
