package evaluate

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

// SongsReport is how well songs were found.
type SongsReport struct {
	First     Tally // with a set list, no earlier night known
	Listed    Tally // with a set list, after earlier nights that no person confirmed
	Again     Tally // all of these, placed again after the later nights
	One       Tally // with a set list, after a first night that a person confirmed and other nights as found
	Confirmed Tally // with a set list, after earlier nights that a person confirmed
	Unlisted  Tally // without a set list, after two confirmed nights or more
	Alone     Tally // without a set list, no other night known: songs can be found, titles cannot
	Talk      Tally // nights without a song
	Oracle    OracleReport
}

// Songs finds the songs of tours, night after night as a user would, and
// compares them with what was played.
func Songs(ctx context.Context, half Half, tours, nights, talks int, progress func(string)) (*SongsReport, error) {
	m, err := newMaterial(ctx, half)
	if err != nil {
		return nil, err
	}
	r := &SongsReport{}
	// The next tour is made while this one is counted: rendering songs takes
	// longest, and the synthesiser has only one thread.
	type made struct {
		tour *tour
		err  error
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	start := func(i int) <-chan made {
		done := make(chan made, 1)
		go func() {
			t, err := m.newTour(ctx, uint64(i+1), nights)
			done <- made{t, err}
		}()
		return done
	}
	var next <-chan made
	for i := range tours {
		now := next
		if i == 0 {
			now = start(0)
		}
		if i+1 < tours {
			next = start(i + 1)
		}
		t := <-now
		if t.err != nil {
			return nil, t.err
		}
		progress(fmt.Sprintf("%s: tour %d of %d", half, i+1, tours))
		r.Oracle.tour(t.tour)
		if err := r.tour(ctx, t.tour); err != nil {
			return nil, err
		}
	}
	for i := range talks {
		t, err := m.newTalk(ctx, uint64(i+1))
		if err != nil {
			return nil, err
		}
		if err := r.talk(ctx, t); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// tour runs three passes. The first places every night by its set list, corrects
// nothing, and places all again. The second confirms the first night. The third
// confirms each night before the next: with its set list and, from the third
// night on, without.
func (r *SongsReport) tour(ctx context.Context, t *tour) error {
	if err := r.asFound(ctx, t); err != nil {
		return err
	}
	if err := r.one(ctx, t); err != nil {
		return err
	}
	if err := r.alone(ctx, t); err != nil {
		return err
	}
	return r.confirmed(ctx, t)
}

// asFound places every night by its set list, corrects nothing, and places all
// again.
func (r *SongsReport) asFound(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	known := map[string]bool{}
	for i, n := range t.nights {
		if err := t.add(ctx, store, i, known); err != nil {
			return err
		}
		tally := &r.Listed
		if i == 0 {
			tally = &r.First
		}
		if err := tally.place(ctx, store, i, n, n.list, known); err != nil {
			return err
		}
	}
	for i, n := range t.nights {
		if err := refresh.Songs(ctx, store, nightDate(i)); err != nil {
			return err
		}
		takes, err := store.Takes(ctx, catalog.TakeFilter{Show: nightDate(i)})
		if err != nil {
			return err
		}
		r.Again.count(nightDate(i), n.played, takes, known)
	}
	return nil
}

// alone places each night as if there were no other, and no list.
func (r *SongsReport) alone(ctx context.Context, t *tour) error {
	for i, n := range t.nights {
		store, done, err := newCatalog(ctx)
		if err != nil {
			return err
		}
		if err = fill(ctx, store, t.setup, n, nightDate(i)); err == nil {
			err = r.Alone.place(ctx, store, i, n, nil, nil)
		}
		done()
		if err != nil {
			return err
		}
	}
	return nil
}

// add stores a night in a catalog and adds its titles to the known ones.
func (t *tour) add(ctx context.Context, store *catalog.Store, i int, known map[string]bool) error {
	for _, title := range t.nights[i].list {
		known[title] = true
	}
	return fill(ctx, store, t.setup, t.nights[i], nightDate(i))
}

// one confirms the first night, and no other.
func (r *SongsReport) one(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	known := map[string]bool{}
	for i, n := range t.nights {
		if err := t.add(ctx, store, i, known); err != nil {
			return err
		}
		if i == 0 {
			err = confirm(ctx, store, nightDate(i), n.played)
			for _, p := range n.played {
				known[p.Song] = true
			}
		} else {
			err = r.One.place(ctx, store, i, n, n.list, known)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *SongsReport) confirmed(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	known := map[string]bool{}
	for i, n := range t.nights {
		if err := fill(ctx, store, t.setup, n, nightDate(i)); err != nil {
			return err
		}
		if i >= 2 {
			if err := r.Unlisted.place(ctx, store, i, n, nil, known); err != nil {
				return err
			}
		}
		if i >= 1 {
			withList := maps.Clone(known)
			for _, title := range n.list {
				withList[title] = true
			}
			if err := r.Confirmed.place(ctx, store, i, n, n.list, withList); err != nil {
				return err
			}
		}
		if err := confirm(ctx, store, nightDate(i), n.played); err != nil {
			return err
		}
		for _, p := range n.played {
			known[p.Song] = true
		}
	}
	return nil
}

// place places a night, with a set list or without, and counts.
func (t *Tally) place(ctx context.Context, store *catalog.Store, i int, n *night, list []string, known map[string]bool) error {
	var entries []catalog.SetListEntry
	for _, title := range list {
		entries = append(entries, catalog.SetListEntry{Song: title})
	}
	if err := store.SaveSetList(ctx, nightDate(i), entries); err != nil {
		return err
	}
	if err := refresh.Songs(ctx, store, nightDate(i)); err != nil {
		return err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: nightDate(i)})
	if err != nil {
		return err
	}
	t.count(nightDate(i), n.played, takes, known)
	return nil
}

// confirm does what a person does who confirmed the night: every take is as it
// was played.
func confirm(ctx context.Context, store *catalog.Store, date catalog.ShowKey, played []Played) error {
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		return err
	}
	var remove []catalog.TakeID
	for _, t := range takes {
		remove = append(remove, t.ID)
	}
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{Show: date})
	if err != nil {
		return err
	}
	var save []catalog.Take
	for _, p := range played {
		save = append(save, catalog.Take{Show: date, Song: p.Song, RecordingID: recs[0].ID, StartFrame: recs[0].Frame(p.StartS), EndFrame: recs[0].Frame(p.EndS), FoundBy: catalog.ByPerson, Confidence: 1})
	}
	return store.EditTakes(ctx, remove, save)
}

func (r *SongsReport) talk(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	if err := fill(ctx, store, t.setup, t.nights[0], nightDate(0)); err != nil {
		return err
	}
	if err := refresh.Songs(ctx, store, nightDate(0)); err != nil {
		return err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: nightDate(0)})
	if err != nil {
		return err
	}
	r.Talk.count(nightDate(0), nil, takes, nil)
	return nil
}

// newCatalog makes a catalog that done deletes.
func newCatalog(ctx context.Context) (store *catalog.Store, done func(), err error) {
	dir, err := os.MkdirTemp("", "nightreel-evaluate-catalog-")
	if err != nil {
		return nil, nil, err
	}
	store, err = catalog.Open(ctx, filepath.Join(dir, "catalog.db"))
	if err != nil {
		os.RemoveAll(dir)
		return nil, nil, err
	}
	return store, func() { store.Close(); os.RemoveAll(dir) }, nil
}

func nightDate(i int) catalog.ShowKey {
	return catalog.ShowKey(time.Date(2031, 5, 2, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i).Format("2006-01-02"))
}
