package songs

import (
	"context"
	"fmt"
	"slices"

	"nightreel/catalog"
)

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
		problem := fmt.Sprintf("%d of %d tracks have not been measured to their end; scan the show again", a.missing, n.ref.Tracks)
		if a.unread {
			problem += " with --check: what is kept of some cannot be read"
		}
		n.result.Problems = append(n.result.Problems, problem)
	}
	if n.list, err = store.SetList(ctx, n.show); err != nil {
		return err
	}
	if n.deleted, err = store.Dismissed(ctx, n.show); err != nil {
		return err
	}
	titles, err := store.EnteredTitles(ctx)
	if err != nil {
		return err
	}
	if n.marks, err = marksOf(ctx, store, n.recordings, titles); err != nil {
		return err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: n.show})
	if err != nil {
		return err
	}
	n.readTakes(takes)
	n.strikeDeleted()
	return nil
}

// strikeDeleted removes the titles from the set list whose take a person
// deleted: these songs were not played, so they must not be placed elsewhere
// either. A deletion no longer counts once a person put the take back.
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

// marksOf returns the meaning of a show's markers, on its reference recording.
// They are the reference's own markers, or those of the first other recording
// that has one with a song's title. titles are the titles that a person entered,
// by key.
func marksOf(ctx context.Context, store *catalog.Store, recordings []catalog.Recording, titles map[string]string) ([]mark, error) {
	known := func(name string) (string, bool) {
		t, ok := titles[catalog.Key(name)]
		return t, ok
	}
	ref := recordings[0]
	for _, r := range recordings {
		markers, err := store.Markers(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		marks := readMarkers(markers, r.SampleRate, known)
		if !slices.ContainsFunc(marks, func(m mark) bool { return m.title != "" }) {
			continue
		}
		for i := range marks {
			m := &marks[i]
			end := r.Map(m.frame+m.length, ref)
			m.frame = r.Map(m.frame, ref)
			m.length = end - m.frame
		}
		return slices.DeleteFunc(marks, func(m mark) bool { return m.frame < 0 || m.frame >= ref.Frames }), nil
	}
	return nil, nil
}

// readTakes reads the show's takes. Those that a person placed are facts; the
// others only show which ids to keep.
func (n *night) readTakes(takes []catalog.Take) {
	n.before = takes
	for _, t := range takes {
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
}

// Marks describes what the markers of a show's recordings imply about its songs,
// a line each. The text changes if and only if that meaning changes.
func Marks(ctx context.Context, store *catalog.Store, recordings []catalog.Recording, titles map[string]string) ([]string, error) {
	if len(recordings) == 0 {
		return nil, nil
	}
	marks, err := marksOf(ctx, store, recordings, titles)
	lines := []string{}
	for _, m := range marks {
		lines = append(lines, fmt.Sprintf("%d %d %s", m.frame, m.length, m.title))
	}
	return lines, err
}
