package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// showRef returns the name of a show in facts: its date, a space and its name.
// It is not the show's address, which changes when the date gets another show.
func showRef(date Date, name string) string {
	return strings.TrimSpace(string(date) + " " + name)
}

// showOfRef returns the id of the show that a fact names, 0 if there is none.
func showOfRef(ctx context.Context, q querier, ref string) (ShowID, error) {
	date := ShowKey(ref).Date()
	var id ShowID
	err := q.QueryRowContext(ctx, "SELECT id FROM shows WHERE date = ? AND name = ?", date, strings.TrimPrefix(strings.TrimPrefix(ref, string(date)), " ")).Scan(&id)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("could not read the catalog: %w", err)
	}
	return id, nil
}

// refOfShow returns the name of a show in facts.
func refOfShow(ctx context.Context, q querier, id ShowID) (string, error) {
	var date Date
	var name string
	if err := q.QueryRowContext(ctx, "SELECT date, name FROM shows WHERE id = ?", id).Scan(&date, &name); err != nil {
		return "", fmt.Errorf("could not read the catalog: %w", err)
	}
	return showRef(date, name), nil
}

// fileRef identifies the point that a fact's frames count from: the first sample
// of a file. So frames stay right when the recording gets other files, or goes
// to another rig or another show.
type fileRef struct {
	// Sum is the checksum of the file's first stretch of audio, "" if the file
	// has not been read. It identifies the file on every machine.
	Sum string `json:"sum,omitempty"`
	// Path is the file's path below its volume, with slashes, "" for a recording
	// without files.
	Path string `json:"path,omitempty"`
	Show string `json:"show"` // as showRef writes it
	Rig  string `json:"rig"`
	Rate int    `json:"rate"` // Hz
}

// name returns the part of a reference that a digest may hold.
func (r fileRef) name() string {
	switch {
	case r.Sum != "":
		return "sum " + r.Sum
	case r.Path != "":
		return "path " + r.Show + "/" + r.Path
	}
	return "rig " + r.Show + "/" + r.Rig
}

// location is the position in this catalog that a fileRef resolves to.
type location struct {
	recording RecordingID // 0: not in this catalog
	show      ShowID
	start     int64 // frame of the recording at which the file starts
	rate      int   // Hz
}

// frame converts a frame that counts from the file's first sample, at the rate
// of the reference's recording, to a frame of this catalog's recording.
func (p location) frame(n int64, ref fileRef) int64 {
	if ref.Rate != p.rate && ref.Rate > 0 {
		n = int64(math.Round(float64(n) * float64(p.rate) / float64(ref.Rate)))
	}
	return p.start + n
}

// foundFile is a file that a reference may resolve to.
type foundFile struct {
	location
	path, sum, rig string
	show           string // as showRef writes it
}

// firstPiece is the checksum of the first stretch of audio of a file f.
const firstPiece = "coalesce((SELECT printf('%016x', p.sum) || '-' || p.length FROM pieces p WHERE p.file_id = f.id AND p.offset = f.data_offset), '')"

const (
	foundFiles = "SELECT r.id, r.show_id, f.start_frame, r.sample_rate, f.path, r.rig, s.date, s.name, " + firstPiece + " FROM files f JOIN recordings r ON r.id = f.recording_id JOIN shows s ON s.id = r.show_id"
	foundOrder = " ORDER BY s.date, s.name, r.rig, f.path, r.id"
)

func readFound(row scanner) (f foundFile, err error) {
	var date Date
	var name string
	err = row.Scan(&f.recording, &f.location.show, &f.start, &f.rate, &f.path, &f.rig, &date, &name, &f.sum)
	f.show = showRef(date, name)
	return f, err
}

// refOf returns the reference to the first file of a recording.
func (w *writing) refOf(ctx context.Context, id RecordingID) (fileRef, location, error) {
	var ref fileRef
	at := location{recording: id}
	var date Date
	var name string
	err := w.QueryRowContext(ctx, "SELECT s.id, s.date, s.name, r.rig, r.sample_rate FROM recordings r JOIN shows s ON s.id = r.show_id WHERE r.id = ?", id).
		Scan(&at.show, &date, &name, &ref.Rig, &at.rate)
	if errors.Is(err, sql.ErrNoRows) {
		return ref, at, recordingGone(id)
	}
	ref.Show, ref.Rate = showRef(date, name), at.rate
	if err == nil {
		err = w.QueryRowContext(ctx, "SELECT f.path, f.start_frame, "+firstPiece+" FROM files f WHERE f.recording_id = ? ORDER BY f.first_track, f.segment, f.path LIMIT 1", id).
			Scan(&ref.Path, &at.start, &ref.Sum)
		if errors.Is(err, sql.ErrNoRows) {
			err = nil
		}
	}
	if err != nil {
		return ref, at, fmt.Errorf("could not read the catalog: %w", err)
	}
	return ref, at, nil
}

// resolve returns what a reference resolves to, the first of these:
//
//   - a file of that path in that show, or in another of its date, unless its
//     audio is known to differ
//   - a file with that audio elsewhere
//   - for a recording that had no files, the rig of that name
func (w *writing) resolve(ctx context.Context, ref fileRef) (location, error) {
	if at, ok := w.refs[ref]; ok {
		return at, nil
	}
	at, err := w.look(ctx, ref)
	if err != nil {
		return at, fmt.Errorf("could not read the catalog: %w", err)
	}
	w.refs[ref] = at
	return at, nil
}

// locate decodes a fact about a span of a recording into body, and returns the
// position that ref, a field of body, resolves to. If the fact is a deletion, or
// the file is not in this catalog, locate deletes the subject's row of the table,
// and the position's recording is 0.
func (w *writing) locate(ctx context.Context, f Fact, table string, body any, ref *fileRef) (at location, err error) {
	there, err := f.read(body)
	if err != nil {
		return at, err
	}
	if there {
		if at, err = w.resolve(ctx, *ref); err != nil {
			return at, err
		}
	}
	if at.recording == 0 {
		_, err = exec(ctx, w, "DELETE FROM "+table+" WHERE subject = ?", f.Subject)
	}
	return at, err
}

func (w *writing) look(ctx context.Context, ref fileRef) (at location, err error) {
	best := -1
	consider := func(f foundFile) (inShow bool) {
		sameSum := f.sum != "" && f.sum == ref.Sum
		samePath := f.path == ref.Path && ShowKey(f.show).Date() == ShowKey(ref.Show).Date()
		changed := f.sum != "" && ref.Sum != "" && !sameSum // used only if there is no better file
		if !sameSum && !samePath {
			return false
		}
		score := 16*b2i(sameSum) + 8*b2i(samePath && !changed) + 4*b2i(f.show == ref.Show) + 2*b2i(samePath) + b2i(f.rig == ref.Rig)
		if score > best { // files are in order of content: the first of equals wins
			at, best = f.location, score
		}
		return samePath && !changed && f.show == ref.Show
	}
	if ref.Path != "" {
		here, err := list(ctx, w, foundFiles+" WHERE f.volume_id IN (SELECT id FROM volumes) AND f.path = ?"+foundOrder, []any{ref.Path}, readFound)
		if err != nil {
			return at, err
		}
		sure := 0
		for _, f := range here {
			sure += b2i(consider(f))
		}
		if sure == 1 || ref.Sum == "" {
			return at, nil
		}
	}
	if ref.Sum != "" {
		if err := w.readSums(ctx); err != nil {
			return at, err
		}
		for _, f := range w.sums[ref.Sum] {
			consider(f)
		}
		return at, nil
	}
	show, err := showOfRef(ctx, w, ref.Show)
	if err != nil {
		return at, err
	}
	err = w.QueryRowContext(ctx, "SELECT r.id, r.show_id, r.sample_rate FROM recordings r JOIN shows s ON s.id = r.show_id WHERE r.show_id = ?1 AND (r.rig = ?2 OR ?2 = '') ORDER BY "+recordingOrder+" LIMIT 1", show, ref.Rig).
		Scan(&at.recording, &at.show, &at.rate)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return at, err
}

// readSums reads each file's first checksum, and indexes the files by it.
func (w *writing) readSums(ctx context.Context) error {
	if w.sums != nil {
		return nil
	}
	all, err := list(ctx, w, foundFiles+foundOrder, nil, readFound)
	if err != nil {
		return err
	}
	w.sums = map[string][]foundFile{}
	for _, f := range all {
		if f.sum != "" {
			w.sums[f.sum] = append(w.sums[f.sum], f)
		}
	}
	return nil
}

// refFor returns the reference to a recording for a fact that corrects another
// one. It keeps the former reference if that resolves to the same recording, so
// that a renamed rig, or a file that was read meanwhile, is no edit.
func (w *writing) refFor(ctx context.Context, id RecordingID, before *fileRef) (fileRef, location, error) {
	if before != nil {
		if at, err := w.resolve(ctx, *before); err != nil || at.recording == id {
			return *before, at, err
		}
	}
	return w.refOf(ctx, id)
}

// renameShows writes a person's facts about shows again under the shows' new
// names, all at once, because two shows may exchange their names: set lists
// (appended to an existing one), notes, and the input lists that begin with a
// show.
func (w *writing) renameShows(ctx context.Context, names map[string]string) error {
	if len(names) == 0 {
		return nil
	}
	if err := w.renameSetLists(ctx, names); err != nil {
		return err
	}
	notes, err := standing(ctx, w, FactNote, "")
	if err != nil {
		return err
	}
	for _, f := range notes {
		var n noteBody
		there, err := f.read(&n)
		if err != nil {
			return err
		}
		if is, renamed := names[n.Show]; there && renamed {
			n.Show = is
			if err := w.put(ctx, FactNote, f.Subject, n); err != nil {
				return err
			}
		}
	}
	return w.renameInputLists(ctx, names)
}

func (w *writing) renameSetLists(ctx context.Context, names map[string]string) error {
	all, err := standing(ctx, w, FactSetList, "")
	if err != nil {
		return err
	}
	now, next := map[string]setListBody{}, map[string]setListBody{}
	for _, f := range all {
		var l setListBody
		if _, err := f.read(&l); err != nil {
			return err
		}
		now[f.Subject] = l
	}
	for _, was := range slices.Sorted(maps.Keys(names)) {
		is := names[was]
		if len(now[was].Entries) == 0 {
			continue
		}
		if _, begun := next[is]; !begun {
			if _, leaves := names[is]; !leaves {
				next[is] = now[is]
			}
		}
		next[is] = setListBody{append(slices.Clone(next[is].Entries), now[was].Entries...)}
		if _, taken := next[was]; !taken {
			next[was] = setListBody{}
		}
	}
	for _, ref := range slices.Sorted(maps.Keys(next)) {
		var body any
		if len(next[ref].Entries) > 0 {
			body = next[ref]
		}
		if err := w.put(ctx, FactSetList, ref, body); err != nil {
			return err
		}
	}
	return nil
}

// renameInputLists moves the lists that begin with a named show. A list that
// begins with a date stays with the date.
func (w *writing) renameInputLists(ctx context.Context, names map[string]string) error {
	all, err := standing(ctx, w, FactInputList, "")
	if err != nil {
		return err
	}
	moved := []InputList{}
	for _, f := range all {
		var l InputList
		there, err := f.read(&l)
		if err != nil {
			return err
		}
		is, renamed := names[string(l.From)]
		if !there || !renamed || l.From == ShowKey(l.From.Date()) {
			continue
		}
		if err := w.put(ctx, FactInputList, f.Subject, nil); err != nil {
			return err
		}
		l.From = ShowKey(is)
		moved = append(moved, l)
	}
	for _, l := range moved {
		subject, body := inputListFact(l)
		if err := w.put(ctx, FactInputList, subject, body); err != nil {
			return err
		}
	}
	return nil
}
