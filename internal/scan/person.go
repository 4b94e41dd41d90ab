package scan

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"nightreel/catalog"
)

// What a person says about shows and rigs is kept as words about files, so that it
// outlives every scan, and the files are grouped anew by it.

// WordError says that something said about shows cannot be done.
type WordError struct{ Text, Try string }

func (e *WordError) Error() string { return e.Text }

// Hint says what to do about it.
func (e *WordError) Hint() string { return e.Try }

// SplitAt says where a show is split: certain recordings go, or all files from a
// time of day on.
type SplitAt struct {
	Recordings []catalog.RecordingID
	Clock      time.Duration // from midnight of the show's date; 0 = by recordings
	Name       string        // of the new show; "" = its start's clock
}

// Split makes two shows of one.
func Split(ctx context.Context, store *catalog.Store, key catalog.ShowKey, at SplitAt, p *Progress) (Result, error) {
	sh, files, err := filesOf(ctx, store, key)
	if err != nil {
		return Result{}, err
	}
	byID := map[catalog.RecordingID]catalog.Recording{}
	for _, r := range sh.Recordings {
		byID[r.ID] = r
	}
	for _, id := range at.Recordings {
		if _, ok := byID[id]; !ok {
			return Result{}, &WordError{fmt.Sprintf("recording %d is none of %s", id, sh.Key), "nightreel shows --json lists them with their ids"}
		}
	}
	reference := sh.Recordings[0]
	if at.Clock > 0 && reference.StartsAt == nil {
		return Result{}, &WordError{fmt.Sprintf("%s: no clock tells when it began", sh.Key), "name the recordings that go: --recording ID"}
	}
	// The files that go, and those that stay, each with its wall clock.
	var went, stayed []catalog.File
	var wentAt, stayedAt *time.Time
	earlier := func(a **time.Time, t time.Time) {
		if *a == nil || t.Before(**a) {
			*a = &t
		}
	}
	for _, f := range files {
		r := byID[f.RecordingID]
		goes := slices.Contains(at.Recordings, f.RecordingID)
		var starts time.Time
		if reference.StartsAt != nil {
			starts = reference.StartsAt.Add(time.Duration((r.OffsetS + r.Seconds(f.StartFrame)) * float64(time.Second)))
		}
		if at.Clock > 0 {
			day, _ := time.Parse(time.DateOnly, string(sh.Date)) // the catalog checks dates
			when := day.Add(at.Clock)
			if when.Before(*reference.StartsAt) {
				when = when.Add(24 * time.Hour) // past midnight
			}
			ends := starts.Add(time.Duration(r.Seconds(f.Frames) * float64(time.Second)))
			goes = !starts.Before(when.Add(-time.Second))
			if !goes && ends.After(when.Add(time.Second)) {
				return Result{}, &WordError{fmt.Sprintf("%s goes on over %s: a show is split between files", f.FullPath(), when.Format(time.TimeOnly)), "name a time between two files, or the recordings that go: --recording ID"}
			}
		}
		if goes {
			went = append(went, f)
		} else {
			stayed = append(stayed, f)
		}
		if r := byID[f.RecordingID]; r.StartsAt != nil {
			own := r.StartsAt.Add(time.Duration(r.Seconds(f.StartFrame) * float64(time.Second)))
			if goes {
				earlier(&wentAt, own)
			} else {
				earlier(&stayedAt, own)
			}
		}
	}
	if len(went) == 0 || len(stayed) == 0 {
		return Result{}, &WordError{fmt.Sprintf("%s: nothing would be left of one of the two shows", sh.Key), "nightreel shows lists its recordings and when they start"}
	}
	name, old := at.Name, sh.Name
	if name == "" && wentAt != nil {
		name = wentAt.Format("15:04")
	}
	if old == "" && stayedAt != nil {
		old = stayedAt.Format("15:04")
	}
	if name == "" || catalog.SameName(name, old) {
		return Result{}, &WordError{fmt.Sprintf("%s: nothing tells what the second show is called", sh.Key), "give it a name: --name NAME"}
	}
	if err := checkName(ctx, store, sh.Date, name); err != nil {
		return Result{}, err
	}
	if err := store.Say(ctx, append(inShow(went, sh.Date, name), inShow(stayed, sh.Date, old)...)); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// Merge makes one show of two, called like the first.
func Merge(ctx context.Context, store *catalog.Store, a, b catalog.ShowKey, p *Progress) (Result, error) {
	first, files, err := filesOf(ctx, store, a)
	if err != nil {
		return Result{}, err
	}
	second, more, err := filesOf(ctx, store, b)
	if err != nil {
		return Result{}, err
	}
	if first.ID == second.ID {
		return Result{}, &WordError{fmt.Sprintf("%s and %s are one show", a, b), ""}
	}
	if err := store.Say(ctx, inShow(append(files, more...), first.Date, first.Name)); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// Rename gives a show a name.
func Rename(ctx context.Context, store *catalog.Store, key catalog.ShowKey, name string, p *Progress) (Result, error) {
	sh, files, err := filesOf(ctx, store, key)
	if err != nil {
		return Result{}, err
	}
	if err := checkName(ctx, store, sh.Date, name); err != nil {
		return Result{}, err
	}
	if err := store.Say(ctx, inShow(files, sh.Date, clean(name))); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// Move gives recordings to another show, which is new where there is none of that
// address.
func Move(ctx context.Context, store *catalog.Store, ids []catalog.RecordingID, to catalog.ShowKey, p *Progress) (Result, error) {
	target, words, err := targetOf(ctx, store, to)
	if err != nil {
		return Result{}, err
	}
	for _, id := range ids {
		r, err := recordingOf(ctx, store, id)
		if err != nil {
			return Result{}, err
		}
		from, files, err := filesOf(ctx, store, r.Show)
		if err != nil {
			return Result{}, err
		}
		for _, f := range files {
			if slices.Contains(ids, f.RecordingID) {
				words = append(words, inShow([]catalog.File{f}, target.Date, target.Name)...)
			} else {
				words = append(words, inShow([]catalog.File{f}, from.Date, from.Name)...)
			}
		}
	}
	if err := store.Say(ctx, words); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// targetOf returns the show of an address with the words that keep its files in
// it, or a new show.
func targetOf(ctx context.Context, store *catalog.Store, to catalog.ShowKey) (catalog.Show, []catalog.Word, error) {
	sh, files, err := filesOf(ctx, store, to)
	if _, none := err.(*catalog.NotFoundError); none {
		name := strings.TrimSpace(strings.TrimPrefix(string(to), string(to.Date())))
		return catalog.Show{Date: to.Date(), Name: name}, nil, checkNewName(name)
	}
	return sh, inShow(files, sh.Date, sh.Name), err
}

// CallRig says what rig a recording is of.
func CallRig(ctx context.Context, store *catalog.Store, id catalog.RecordingID, name string, p *Progress) (Result, error) {
	if name = clean(name); name == "" {
		return Result{}, &WordError{"a rig needs a name", ""}
	}
	if err := sayOf(ctx, store, id, catalog.SaidRig, name); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// SetVenue says where a show was.
func SetVenue(ctx context.Context, store *catalog.Store, key catalog.ShowKey, venue string, p *Progress) (Result, error) {
	_, files, err := filesOf(ctx, store, key)
	if err != nil {
		return Result{}, err
	}
	if err := store.Say(ctx, about(files, catalog.SaidVenue, strings.TrimSpace(venue))); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// ChooseReference says on which recording a show's positions count. Package rigs
// obeys.
func ChooseReference(ctx context.Context, store *catalog.Store, key catalog.ShowKey, id catalog.RecordingID, p *Progress) (Result, error) {
	sh, files, err := filesOf(ctx, store, key)
	if err != nil {
		return Result{}, err
	}
	if !slices.ContainsFunc(sh.Recordings, func(r catalog.Recording) bool { return r.ID == id }) {
		return Result{}, &WordError{fmt.Sprintf("recording %d is none of %s", id, sh.Key), "nightreel shows --json lists them with their ids"}
	}
	words := about(files, catalog.SaidReference, "")
	for _, f := range files {
		if f.RecordingID == id {
			words = append(words, about([]catalog.File{f}, catalog.SaidReference, "yes")...)
		}
	}
	if err := store.Say(ctx, words); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// TakeBack forgets what a person said about a show and its recordings: folders and
// files decide again.
func TakeBack(ctx context.Context, store *catalog.Store, key catalog.ShowKey, p *Progress) (Result, error) {
	_, files, err := filesOf(ctx, store, key)
	if err != nil {
		return Result{}, err
	}
	var words []catalog.Word
	for _, a := range []catalog.WordAbout{catalog.SaidShow, catalog.SaidRig, catalog.SaidVenue, catalog.SaidReference} {
		words = append(words, about(files, a, "")...)
	}
	if err := store.Say(ctx, words); err != nil {
		return Result{}, err
	}
	return regroup(ctx, store, p)
}

// filesOf returns a show and its files.
func filesOf(ctx context.Context, store *catalog.Store, key catalog.ShowKey) (catalog.Show, []catalog.File, error) {
	sh, err := store.Show(ctx, key)
	if err != nil {
		return sh, nil, err
	}
	files, err := store.Files(ctx, catalog.FileFilter{Show: sh.Key})
	if err == nil && len(files) == 0 {
		err = &WordError{fmt.Sprintf("%s has no recordings", sh.Key), ""}
	}
	return sh, files, err
}

func recordingOf(ctx context.Context, store *catalog.Store, id catalog.RecordingID) (catalog.Recording, error) {
	all, err := store.Recordings(ctx, catalog.RecordingFilter{ID: id})
	if err != nil {
		return catalog.Recording{}, err
	}
	if len(all) == 0 {
		return catalog.Recording{}, &catalog.NotFoundError{Kind: "recording", Name: fmt.Sprint(id), Try: "nightreel shows --json lists them with their ids"}
	}
	return all[0], nil
}

// sayOf says something about the files of a recording.
func sayOf(ctx context.Context, store *catalog.Store, id catalog.RecordingID, a catalog.WordAbout, value string) error {
	if _, err := recordingOf(ctx, store, id); err != nil {
		return err
	}
	files, err := store.Files(ctx, catalog.FileFilter{Recording: id})
	if err != nil {
		return err
	}
	return store.Say(ctx, about(files, a, value))
}

func about(files []catalog.File, a catalog.WordAbout, value string) []catalog.Word {
	var words []catalog.Word
	for _, f := range files {
		words = append(words, catalog.Word{Content: f.WordKey(), About: a, Value: value})
	}
	return words
}

// inShow returns the words that files are of a show.
func inShow(files []catalog.File, date catalog.Date, name string) []catalog.Word {
	return about(files, catalog.SaidShow, strings.TrimSpace(string(date)+" "+name))
}

var onlyDigits = regexp.MustCompile(`^\d+$`)

// checkName refuses a name that a show of the date has, or that cannot be one.
func checkName(ctx context.Context, store *catalog.Store, date catalog.Date, name string) error {
	if clean(name) == "" {
		return &WordError{"a show needs a name", `for example "matinee"`}
	}
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	for _, sh := range shows {
		if sh.Date == date && catalog.SameName(sh.Name, name) {
			return &WordError{fmt.Sprintf("%s has a show that is called %q already", date, sh.Name), fmt.Sprintf("to make one of both: nightreel shows merge %q …", sh.Key)}
		}
	}
	return checkNewName(name)
}

func checkNewName(name string) error {
	odd := func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" :.-_'&+()", r)
	}
	if onlyDigits.MatchString(name) || strings.ContainsFunc(name, odd) {
		return &WordError{fmt.Sprintf("%q is no name for a show", name), "use letters and spaces; a number alone is the place of a show without a name"}
	}
	return nil
}
