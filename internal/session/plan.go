package session

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// itemPlan lists the files of one item. It is made from the catalog alone; the
// recordings are opened when the item is rendered.
type itemPlan struct {
	index   int
	item    catalog.SessionItem
	rec     catalog.Recording
	poly    bool
	name    string // of the item's folder or file
	folder  string // the item's folder, or with poly the one that its file lies in
	part    string // hidden folder in which the item is written
	from    int64  // frame of the recording that is rendered first; negative if the pre-roll begins before the recording
	frames  int64  // of each file
	pre     int64  // frames before the take's start
	files   []catalog.File
	targets []*target
}

// target is one file to be rendered.
type target struct {
	path   string
	format wavfile.Format
	outs   []*out // one a channel
	print  [16]byte
	there  bool // rendered earlier with the same fingerprint
}

// out is one channel of a target.
type out struct {
	catalog.SessionInput
	segments []catalog.File // of its track, in order of time; empty = silent
	raw      wavfile.Format // one channel of the source
	conv     *converter     // nil = copied as it is
}

// renderVersion is part of every file's fingerprint. Raise it when the same
// input is to give other bytes.
const renderVersion = 1

func newItemPlan(ctx context.Context, store *catalog.Store, ses catalog.Session, i int, opt RenderOptions) (*itemPlan, error) {
	it := ses.Items[i]
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{ID: it.Recording})
	if err != nil {
		return nil, err
	}
	if len(recs) == 0 || it.Recording == 0 {
		return nil, &RenderError{fmt.Sprintf("%s (%s): its recording is no longer in the catalog", it.Song, it.Show), "scan the recording again, then build the session again"}
	}
	plan := &itemPlan{index: i, item: it, rec: recs[0], poly: opt.Poly}
	if plan.files, err = store.Files(ctx, catalog.FileFilter{Recording: it.Recording}); err != nil {
		return nil, err
	}
	rate := float64(plan.rec.SampleRate)
	plan.pre = int64(math.Round(opt.PreRollS * rate))
	plan.from = it.StartFrame - plan.pre
	plan.frames = plan.pre + it.EndFrame - it.StartFrame + int64(math.Round(opt.PostRollS*rate))
	name := itemName(i, len(ses.Items), it)
	plan.name, plan.folder = name, filepath.Join(opt.Dir, name)
	plan.part = filepath.Join(opt.Dir, "."+name+".part")
	if opt.Poly {
		plan.folder = opt.Dir
	}
	plan.aim(ses, name, opt.BitDepth)
	return plan, nil
}

// aim lists the files to be rendered.
func (plan *itemPlan) aim(ses catalog.Session, name string, bits int) {
	source := tracks.Format(plan.rec, 1)
	format := source
	if bits != 0 && bits != source.BitDepth {
		format.BitDepth, format.ContainerBytes, format.Encoding = bits, bits/8, wavfile.PCM
	}
	inputs := []catalog.SessionInput{}
	highest := 0
	playing := false
	for _, in := range ses.Inputs {
		highest = max(highest, in.DeskInput)
		if in.Item == plan.index {
			inputs = append(inputs, in)
			playing = playing || in.Status == catalog.Playback
		}
	}
	if !playing {
		return
	}
	slices.SortStableFunc(inputs, func(a, b catalog.SessionInput) int { return a.DeskInput - b.DeskInput })
	if plan.poly {
		format.Channels = len(inputs)
		plan.targets = []*target{{path: filepath.Join(plan.folder, name+".wav"), format: format}}
	}
	for _, in := range inputs {
		o := &out{SessionInput: in, raw: source}
		if in.Status == catalog.Playback {
			o.segments = tracks.Holding(plan.files, in.Track)
		}
		if plan.poly {
			plan.targets[0].outs = append(plan.targets[0].outs, o)
		} else if in.Status == catalog.Playback {
			plan.targets = append(plan.targets, &target{path: filepath.Join(plan.folder, inputName(in, highest)), format: format, outs: []*out{o}})
		}
	}
	mono := format
	mono.Channels = 1
	for _, t := range plan.targets {
		t.print = plan.fingerprint(t)
		for _, o := range t.outs {
			if len(o.segments) > 0 {
				// Every input needs a seed of its own: equal dither on two
				// inputs would add up.
				seed := sha256.Sum256(fmt.Appendf(t.print[:], "%d", o.DeskInput))
				o.conv = newConverter(source, mono, o.TrimDB, [16]byte(seed[:16]))
			}
		}
	}
}

// fingerprint returns a hash of everything that a rendered file's bytes depend
// on. It is stored in the file, so that a later render recognises the file.
func (plan *itemPlan) fingerprint(t *target) [16]byte {
	h := sha256.New()
	fmt.Fprintf(h, "%d|%+v|%d|%d|%d|%s|%s|%d\n", renderVersion, t.format, plan.from, plan.frames, plan.pre, plan.item.Show, plan.item.Song, plan.item.EndFrame)
	for _, o := range t.outs {
		fmt.Fprintf(h, "%d|%s|%s|%s|%d|%v|%+v\n", o.DeskInput, o.Channel, o.Status, o.Rig, o.Track, o.TrimDB, o.raw)
		for _, f := range o.segments {
			fmt.Fprintf(h, "%s|%d|%d|%d|%d|%d|%d|%d\n", f.Path, f.Size, f.ModTime.UnixNano(), f.FirstTrack, f.Channels, f.StartFrame, f.Frames, f.DataOffset)
		}
	}
	return [16]byte(h.Sum(nil)[:16])
}

// look checks which files are already on the disk, and returns the bytes of
// audio and the number of files still to be written.
func (plan *itemPlan) look(opt RenderOptions) (bytes int64, files int, err error) {
	for _, t := range plan.targets {
		there, err := os.Stat(t.path)
		if err == nil && plan.isSource(there) {
			// A render that was scanned has become a recording, and recordings
			// are never overwritten.
			return 0, 0, &ExistsError{Path: t.path}
		}
		if err := t.look(opt.Overwrite); err != nil {
			return 0, 0, err
		}
		if !t.there {
			bytes += plan.frames * int64(t.format.FrameBytes())
			files++
		}
	}
	return bytes, files, nil
}

// isSource reports whether a file is one of the recording's.
func (plan *itemPlan) isSource(there os.FileInfo) bool {
	for _, f := range plan.files {
		if st, err := os.Stat(f.FullPath()); err == nil && os.SameFile(st, there) {
			return true
		}
	}
	return false
}

func (t *target) look(overwrite bool) error {
	_, err := os.Lstat(t.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: not rendered: %w", t.path, err)
	}
	f, err := wavfile.Open(t.path)
	if err != nil {
		return &ExistsError{Path: t.path}
	}
	defer f.Close()
	info := f.Info()
	x := info.Meta.Bext
	if x == nil || x.Originator != wavfile.OwnOriginator || !isPrint(x.OriginatorReference) {
		return &ExistsError{Path: t.path}
	}
	t.there = x.OriginatorReference == hex.EncodeToString(t.print[:]) && info.Format == t.format && !info.Unfinished
	if !t.there && !overwrite {
		return &ExistsError{Path: t.path, Ours: true}
	}
	return nil
}

// isPrint reports whether s could be a fingerprint.
func isPrint(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 16
}

// gaps lists the spans of the rendered frames, within the recording, in which a
// track holds no audio.
func (plan *itemPlan) gaps(o *out) []string {
	words := []string{}
	for _, s := range tracks.Stretches(o.segments, max(0, plan.from), min(plan.from+plan.frames, plan.rec.Frames)) {
		if s.File < 0 {
			words = append(words, fmt.Sprintf("nothing was recorded from %s to %s; the file is silent there", catalog.ClockTenths(plan.rec.Seconds(s.From)), catalog.ClockTenths(plan.rec.Seconds(s.To))))
		}
	}
	return words
}

// rolls returns by how much pre-roll and post-roll reach beyond the recording,
// or "".
func (plan *itemPlan) rolls() string {
	words := []string{}
	if plan.from < 0 {
		words = append(words, fmt.Sprintf("the recording starts %.1f s into the pre-roll", plan.rec.Seconds(-plan.from)))
	}
	if over := plan.from + plan.frames - plan.rec.Frames; over > 0 {
		words = append(words, fmt.Sprintf("the recording ends %.1f s before the post-roll does", plan.rec.Seconds(over)))
	}
	if len(words) == 0 {
		return ""
	}
	return strings.Join(words, ", ") + "; the files are silent there, so that all stay aligned"
}
