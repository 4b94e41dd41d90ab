package songs

import (
	"context"
	"fmt"
	"strings"

	"nightreel/catalog"
)

// SetRequest says where a person puts a take.
type SetRequest struct {
	Show catalog.ShowKey
	Song string // title or alias; a new title makes a new song
	// Nth says which of the song's takes that night is corrected, from 1; 0
	// means 1. One more than the song has adds a take.
	Nth int
	// StartS and EndS are seconds from the first frame of the show's reference
	// recording.
	StartS, EndS float64
	// Keep refuses to place the take if another one would go for it.
	Keep bool
}

// VanishError says that takes would go if another were placed as asked.
type VanishError struct {
	Song         string
	Show         catalog.ShowKey
	StartS, EndS float64
	Gone         []catalog.Take
}

func (e *VanishError) Error() string {
	return fmt.Sprintf("show %s: %q was not placed from %s to %s: %s would go for it", e.Show, e.Song, catalog.ClockTenths(e.StartS), catalog.ClockTenths(e.EndS), describe(e.Gone))
}

// Hint says what to do about it.
func (e *VanishError) Hint() string {
	return "correct the times, or add --yes; nightreel undo takes it back"
}

// describe names takes with their places.
func describe(takes []catalog.Take) string {
	words := make([]string, len(takes))
	for i, t := range takes {
		words[i] = fmt.Sprintf("take %d of %q (%s to %s)", t.ID, t.Song, catalog.ClockTenths(t.StartS()), catalog.ClockTenths(t.EndS()))
	}
	return strings.Join(words, " and ")
}

// OverlapError reports that a take would overlap takes that a person placed.
type OverlapError struct {
	Song         string
	Show         catalog.ShowKey
	StartS, EndS float64
	With         []catalog.Take
}

func (e *OverlapError) Error() string {
	return fmt.Sprintf("show %s: could not place %q from %s to %s: it would overlap %s, placed by hand", e.Show, e.Song, catalog.ClockTenths(e.StartS), catalog.ClockTenths(e.EndS), describe(e.With))
}

// Hint says what to do about it.
func (e *OverlapError) Hint() string { return "move or delete the other take first" }

// Set places a take by hand, or corrects the one that is there. It reads no
// audio: figures follow from what was measured.
//
// Overlapping takes that a finder placed are cut to what is left of them. They
// are removed if less than half is left, or if they are of the same song; with
// [SetRequest.Keep], Set then fails with *[VanishError]. If a person placed the
// overlapping take, Set fails with *[OverlapError].
func Set(ctx context.Context, store *catalog.Store, r SetRequest) (catalog.Take, error) {
	e, err := newEdit(ctx, store, r.Show)
	if err != nil {
		return catalog.Take{}, err
	}
	title, err := e.title(ctx, store, r.Song)
	if err != nil {
		return catalog.Take{}, err
	}
	nth := max(1, r.Nth)
	t := catalog.Take{Show: r.Show, Song: title, Entered: r.Song}
	count := 0
	for _, old := range e.takes {
		if catalog.SameName(old.Song, title) {
			if count++; old.Nth == nth {
				t = old
				if old.FoundBy != catalog.ByPerson {
					t.Entered = r.Song // drop the finder's spelling: no person entered it
				}
			}
		}
	}
	if t.ID == 0 && nth > count+1 {
		return catalog.Take{}, fmt.Errorf("show %s: could not set take %d of %q: it has %d", r.Show, nth, title, count)
	}
	// Written so that NaN fails, and checked before the conversion: a far time
	// would overflow a frame.
	if last := e.ref.Seconds(e.ref.Frames); !(r.StartS >= 0 && r.StartS < r.EndS && r.EndS <= last+1) {
		return catalog.Take{}, e.outside(title, r.StartS, r.EndS)
	}
	e.keep = r.Keep
	saved, err := e.save(ctx, store, nil, e.person(t, e.ref.Frame(r.StartS), e.ref.Frame(r.EndS)))
	if err != nil {
		return catalog.Take{}, err
	}
	return saved[0], nil
}

// Split makes two takes of one, at atS seconds from the reference recording's
// first frame. The first keeps the id and the title; the second gets title2, or
// the same title if title2 is "". From then on both count as placed by a person.
func Split(ctx context.Context, store *catalog.Store, take catalog.TakeID, atS float64, title2 string) ([]catalog.Take, error) {
	t, e, err := editOf(ctx, store, take)
	if err != nil {
		return nil, err
	}
	at := e.ref.Frame(atS)
	if at <= t.StartFrame || at >= t.EndFrame {
		return nil, fmt.Errorf("take %d of %q on %s: could not split it at %s: that is not within %s to %s", t.ID, t.Song, t.Show, catalog.ClockTenths(atS), catalog.ClockTenths(t.StartS()), catalog.ClockTenths(t.EndS()))
	}
	if title2 == "" {
		title2 = t.Song
	}
	entered := title2
	if title2, err = e.title(ctx, store, title2); err != nil {
		return nil, err
	}
	second := e.person(catalog.Take{Show: t.Show, Song: title2, Entered: entered}, at, t.EndFrame)
	return e.save(ctx, store, nil, e.person(t, t.StartFrame, at), second)
}

// Merge joins two takes of a night: from the start of the earlier to the end of
// the later, with the earlier's id and title. It refuses takes with another take
// between them, because that one would vanish.
func Merge(ctx context.Context, store *catalog.Store, a, b catalog.TakeID) (catalog.Take, error) {
	first, e, err := editOf(ctx, store, a)
	if err != nil {
		return catalog.Take{}, err
	}
	second, _, err := editOf(ctx, store, b)
	switch {
	case err != nil:
		return catalog.Take{}, err
	case a == b:
		return catalog.Take{}, fmt.Errorf("take %d of %q on %s: could not merge it with itself", a, first.Song, first.Show)
	case first.Show != second.Show:
		return catalog.Take{}, fmt.Errorf("takes %d and %d: could not merge takes of two nights, %s and %s", a, b, first.Show, second.Show)
	}
	if second.StartFrame < first.StartFrame {
		first, second = second, first
	}
	for _, t := range e.takes {
		if t.ID != first.ID && t.ID != second.ID && t.StartFrame >= first.StartFrame && t.StartFrame < second.StartFrame {
			return catalog.Take{}, fmt.Errorf("takes %d and %d on %s: could not merge them: take %d of %q (%s to %s) lies between; merge neighbours, or delete that one first",
				a, b, first.Show, t.ID, t.Song, catalog.ClockTenths(t.StartS()), catalog.ClockTenths(t.EndS()))
		}
	}
	saved, err := e.save(ctx, store, []catalog.TakeID{second.ID}, e.person(first, first.StartFrame, max(first.EndFrame, second.EndFrame)))
	if err != nil {
		return catalog.Take{}, err
	}
	return saved[0], nil
}

// Rename gives a take another song's title. Its boundaries stay.
func Rename(ctx context.Context, store *catalog.Store, take catalog.TakeID, title string) (catalog.Take, error) {
	t, e, err := editOf(ctx, store, take)
	if err != nil {
		return catalog.Take{}, err
	}
	if t.Song, err = e.title(ctx, store, title); err != nil {
		return catalog.Take{}, err
	}
	t.Entered = title
	saved, err := e.save(ctx, store, nil, e.person(t, t.StartFrame, t.EndFrame))
	if err != nil {
		return catalog.Take{}, err
	}
	return saved[0], nil
}

// Delete removes a take and remembers that, so that [Place] does not bring it
// back. The recording is untouched.
func Delete(ctx context.Context, store *catalog.Store, take catalog.TakeID) error {
	return store.DismissTake(ctx, take)
}
