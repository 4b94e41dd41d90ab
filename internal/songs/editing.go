package songs

import (
	"context"
	"fmt"
	"strings"

	"nightreel/catalog"
)

// edit is a show while a person corrects its takes.
type edit struct {
	date  catalog.ShowKey
	ref   catalog.Recording
	takes []catalog.Take // on the reference recording
	keep  bool           // no other take may go
}

func newEdit(ctx context.Context, store *catalog.Store, date catalog.ShowKey) (edit, error) {
	show, err := store.Show(ctx, date)
	if err != nil {
		return edit{}, err
	}
	if len(show.Recordings) == 0 {
		return edit{}, fmt.Errorf("show %s: it has no recording to place takes on", date)
	}
	e := edit{date: date, ref: show.Recordings[0]}
	if e.takes, err = store.Takes(ctx, catalog.TakeFilter{Show: date}); err != nil {
		return edit{}, err
	}
	for i := range e.takes {
		t := &e.takes[i]
		for _, r := range show.Recordings {
			if r.ID == t.RecordingID {
				t.StartFrame, t.EndFrame = r.Map(t.StartFrame, e.ref), r.Map(t.EndFrame, e.ref)
			}
		}
		t.RecordingID, t.SampleRate = e.ref.ID, e.ref.SampleRate
	}
	return e, nil
}

// editOf returns a take, on the reference recording, with its show.
func editOf(ctx context.Context, store *catalog.Store, id catalog.TakeID) (catalog.Take, edit, error) {
	if id <= 0 { // the filter would take 0 for "all"
		return catalog.Take{}, edit{}, noTake(id)
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{ID: id})
	if err != nil {
		return catalog.Take{}, edit{}, err
	}
	if len(takes) == 0 {
		return catalog.Take{}, edit{}, noTake(id)
	}
	e, err := newEdit(ctx, store, takes[0].Show)
	if err != nil {
		return catalog.Take{}, edit{}, err
	}
	for _, t := range e.takes {
		if t.ID == id {
			return t, e, nil
		}
	}
	return catalog.Take{}, edit{}, noTake(id)
}

func noTake(id catalog.TakeID) error {
	return &catalog.NotFoundError{Kind: "take", Name: fmt.Sprint(id), Try: "nightreel takes lists them"}
}

// title returns the title of the song that a name or alias belongs to; a new
// name is its own title.
func (e edit) title(ctx context.Context, store *catalog.Store, name string) (string, error) {
	name = strings.TrimSpace(name)
	if catalog.Key(name) == "" {
		return "", fmt.Errorf("show %s: a take needs a song's title", e.date)
	}
	all, err := store.Songs(ctx)
	if err != nil {
		return "", err
	}
	for _, s := range all {
		for _, known := range append([]string{s.Title}, s.Aliases...) {
			if catalog.SameName(known, name) {
				return s.Title, nil
			}
		}
	}
	return name, nil
}

// person returns a take as a person's, between two frames of the reference
// recording.
func (e edit) person(t catalog.Take, start, end int64) catalog.Take {
	t.RecordingID, t.SampleRate = e.ref.ID, e.ref.SampleRate
	t.StartFrame, t.EndFrame = start, end
	t.FoundBy, t.Confidence = catalog.ByPerson, 1
	return t
}

// save checks the new takes, cuts finders' takes that overlap them, stores all
// in one transaction and returns the new takes as stored.
func (e edit) save(ctx context.Context, store *catalog.Store, remove []catalog.TakeID, takes ...catalog.Take) ([]catalog.Take, error) {
	gone := map[catalog.TakeID]bool{}
	for _, id := range remove {
		gone[id] = true
	}
	for _, t := range takes {
		if t.StartFrame < 0 || t.StartFrame >= t.EndFrame || t.EndFrame > e.ref.Frames {
			return nil, e.outside(t.Song, t.StartS(), t.EndS())
		}
		gone[t.ID] = true
	}
	changed := append([]catalog.Take{}, takes...)
	for _, t := range takes {
		overlap := &OverlapError{Song: t.Song, Show: e.date, StartS: t.StartS(), EndS: t.EndS()}
		for _, old := range e.takes {
			if !gone[old.ID] && old.FoundBy == catalog.ByPerson && old.StartFrame < t.EndFrame && t.StartFrame < old.EndFrame {
				overlap.With = append(overlap.With, old)
			}
		}
		if len(overlap.With) > 0 {
			return nil, overlap
		}
	}
	var vanish []catalog.Take
	for _, old := range e.takes {
		if gone[old.ID] || old.FoundBy == catalog.ByPerson {
			continue
		}
		n := night{ref: e.ref, show: e.date}
		for _, t := range takes {
			n.found = append(n.found, candidate{title: t.Song, start: t.StartFrame, end: t.EndFrame})
		}
		if !n.accept(candidate{title: old.Song, start: old.StartFrame, end: old.EndFrame}) {
			remove, vanish = append(remove, old.ID), append(vanish, old)
			continue
		}
		c := n.found[len(n.found)-1]
		if c.start != old.StartFrame || c.end != old.EndFrame {
			old.StartFrame, old.EndFrame = c.start, c.end
			changed = append(changed, old)
		}
	}
	if e.keep && len(vanish) > 0 {
		return nil, &VanishError{takes[0].Song, e.date, takes[0].StartS(), takes[0].EndS(), vanish}
	}
	if err := store.EditTakes(ctx, remove, changed); err != nil {
		return nil, err
	}
	return e.stored(ctx, store, takes)
}

// outside returns the error for a span that does not lie within the recording.
func (e edit) outside(title string, startS, endS float64) error {
	return fmt.Errorf("show %s: could not place %q from %s to %s: a start and a later end within the recording are needed, which lasts %s", e.date, title, catalog.ClockTenths(startS), catalog.ClockTenths(endS), catalog.ClockTenths(e.ref.Seconds(e.ref.Frames)))
}

// stored reads takes back: known ones by id, new ones by their position.
func (e edit) stored(ctx context.Context, store *catalog.Store, takes []catalog.Take) ([]catalog.Take, error) {
	all, err := store.Takes(ctx, catalog.TakeFilter{Show: e.date})
	if err != nil {
		return nil, err
	}
	out := make([]catalog.Take, 0, len(takes))
	for _, t := range takes {
		for _, s := range all {
			if s.ID == t.ID || t.ID == 0 && s.FoundBy == catalog.ByPerson && s.StartFrame == t.StartFrame && s.EndFrame == t.EndFrame && catalog.SameName(s.Song, t.Song) {
				out = append(out, s)
				break
			}
		}
	}
	if len(out) != len(takes) {
		return nil, fmt.Errorf("show %s: a take vanished while it was stored", e.date)
	}
	return out, nil
}
