package songs

import (
	"context"
	"fmt"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
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
