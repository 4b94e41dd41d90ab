package session

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"nightreel/catalog"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// readAhead bounds the bytes that are read of all source files in one turn.
// Large reads keep a spinning disk from seeking among 64 files: at 48 kHz and 24
// bit this is 3.6 s of 64 tracks.
const readAhead = 32 << 20

// job is an item while it is rendered.
type job struct {
	*itemPlan
	reader   *tracks.Reader
	writing  []*writing
	problems []string
}

// writing is a target while it is rendered. If the file already exists, w is nil
// and the samples are only read to count what the trim clips.
type writing struct {
	*target
	w      *wavfile.Writer
	mono   []byte // one channel of the source
	conv   []byte // one channel, converted
	frame  []byte // all channels, interleaved
	failed error  // a file of the recording failed
}

// render writes the item's files, all side by side, so that a polyphonic
// recording is read once. It adds to total the bytes of audio that got their
// final names.
func (plan *itemPlan) render(ctx context.Context, p *Progress, total *int64) (files []RenderedFile, problems []string, err error) {
	if len(plan.targets) == 0 {
		return nil, []string{plan.title() + ": no desk input is on playback, so there is nothing to render"}, nil
	}
	j := &job{itemPlan: plan, reader: tracks.NewReader(plan.rec, plan.files)}
	defer j.close()
	if s := plan.rolls(); s != "" {
		j.say(s)
	}
	if err := j.open(); err != nil {
		return nil, j.problems, err
	}
	if len(j.writing) > 0 {
		if err := j.run(ctx, p); err != nil {
			return nil, j.problems, err
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, j.problems, err
	}
	if err := j.finish(); err != nil {
		return nil, j.problems, err
	}
	for _, t := range plan.targets {
		if f, ok := j.result(t); ok {
			files = append(files, f)
			if !t.there {
				*total += plan.frames * int64(t.format.FrameBytes())
			}
		}
	}
	if names := plan.others(); len(names) > 0 {
		j.say(fmt.Sprintf("its folder also holds %s, which this session did not render: %s", count(len(names), "file"), strings.Join(names, ", ")))
	}
	return files, j.problems, nil
}

func (plan *itemPlan) title() string { return fmt.Sprintf("%s (%s)", plan.item.Song, plan.item.Show) }

func (j *job) say(text string) { j.problems = append(j.problems, j.title()+": "+text) }

func (j *job) sayOf(o *out, text string) {
	j.say(fmt.Sprintf("desk input %d %s: %s", o.DeskInput, o.Channel, text))
}

// open opens the recordings and begins the files.
func (j *job) open() error {
	// Remove the leftovers of an interrupted render.
	if err := os.RemoveAll(j.part); err != nil {
		return fmt.Errorf("%s: could not remove the leftovers of an earlier render: %w", j.part, err)
	}
	for _, t := range j.targets {
		if t.there && !t.mayClip() {
			continue
		}
		w := &writing{target: t}
		for _, o := range t.outs {
			j.check(w, o)
		}
		j.writing = append(j.writing, w)
	}
	for _, w := range j.writing {
		if w.there || w.failed != nil {
			continue
		}
		if err := os.MkdirAll(j.part, 0o777); err != nil {
			return fmt.Errorf("%s: could not make the folder: %w", j.part, err)
		}
		var err error
		if w.w, err = wavfile.Create(filepath.Join(j.part, filepath.Base(w.path)), w.format, j.meta(w.target)); err != nil {
			return err
		}
	}
	return nil
}

// check opens the files that an output is cut from.
func (j *job) check(w *writing, o *out) {
	if o.Status == catalog.Playback && !w.there {
		for _, gap := range j.gaps(o) {
			j.sayOf(o, gap)
		}
	}
	if o.Status == catalog.Playback {
		j.blame(w, o, j.reader.Check(o.Track, j.from, j.from+j.frames))
	}
}

// blame marks a file as failed because its recording cannot be read, and reports
// that once.
func (j *job) blame(w *writing, o *out, err error) {
	if err == nil || w.failed != nil {
		return
	}
	w.failed = err
	if w.there {
		return // the existing file is whole; only its clipped samples stay uncounted
	}
	text := err.Error()
	if j.poly {
		text += "; the whole file of this item is left out"
	}
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) && hinter.Hint() != "" {
		text += "; " + hinter.Hint()
	}
	j.sayOf(o, text)
}

// mayClip reports whether the conversion of any channel can take samples to full
// scale or beyond. A float source may already be above it, and a small reduction
// does not make room for the dither.
func (t *target) mayClip() bool {
	for _, o := range t.outs {
		if o.conv != nil && (o.TrimDB > -0.01 || o.raw.Encoding == wavfile.Float) {
			return true
		}
	}
	return false
}

// run reads the item's frames once and writes all targets.
func (j *job) run(ctx context.Context, p *Progress) error {
	chunk := int64(max(4096, min(1<<18, readAhead/max(1, j.frameBytes()))))
	for at := int64(0); at < j.frames; at += chunk {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := min(chunk, j.frames-at)
		for _, w := range j.writing {
			if err := j.write(ctx, w, j.from+at, int(n)); err != nil {
				return err
			}
			if w.w != nil {
				p.bytes.Add(n * int64(w.format.FrameBytes()))
			}
		}
	}
	return nil
}

// frameBytes returns the bytes of one frame over all files that the item is cut
// from.
func (j *job) frameBytes() int {
	seen := map[catalog.FileID]bool{}
	bytes := 0
	for _, w := range j.writing {
		for _, o := range w.outs {
			for _, f := range o.segments {
				if !seen[f.ID] && f.StartFrame < j.from+j.frames && f.StartFrame+f.Frames > j.from {
					seen[f.ID] = true
					bytes += f.Channels * j.rec.SampleBytes
				}
			}
		}
	}
	return bytes
}

// write writes n frames of the recording, beginning with frame from.
func (j *job) write(ctx context.Context, w *writing, from int64, n int) error {
	if w.failed != nil {
		return nil
	}
	size := w.format.ContainerBytes
	w.frame = grown(w.frame, n*w.format.FrameBytes())
	for c, o := range w.outs {
		samples, err := j.samples(ctx, w, o, from, n)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			j.blame(w, o, err)
			return nil
		}
		if len(w.outs) == 1 {
			w.frame = samples
			break
		}
		for i, at := 0, c*size; i < len(samples); i, at = i+size, at+w.format.FrameBytes() {
			copy(w.frame[at:at+size], samples[i:])
		}
	}
	if w.w == nil {
		return nil
	}
	return w.w.WriteFrames(w.frame)
}

// samples returns n samples of a channel in the target's coding. Gaps in the
// recording are digital silence, without dither.
func (j *job) samples(ctx context.Context, w *writing, o *out, from int64, n int) ([]byte, error) {
	target := w.format
	target.Channels = 1
	if o.conv != nil || len(o.segments) == 0 {
		w.conv = grown(w.conv, n*target.ContainerBytes)
		target.Silence(w.conv)
	}
	if len(o.segments) == 0 {
		return w.conv, nil
	}
	size := o.raw.ContainerBytes
	w.mono = grown(w.mono, n*size)
	if _, err := j.reader.Read(ctx, w.mono, o.Track, from); err != nil || o.conv == nil {
		return w.mono, err
	}
	for _, s := range tracks.Stretches(o.segments, from, from+int64(n)) {
		if s.File >= 0 {
			a, b := int(s.From-from), int(s.To-from)
			o.conv.convert(w.conv[a*target.ContainerBytes:b*target.ContainerBytes], w.mono[a*size:b*size])
		}
	}
	return w.conv, nil
}

// finish renames the files to their final names.
func (j *job) finish() error {
	moved := 0
	for _, w := range j.writing {
		if w.w == nil {
			continue
		}
		if w.failed != nil {
			if err := w.w.Abort(); err != nil {
				return err
			}
			continue
		}
		if err := w.w.Close(); err != nil {
			return err
		}
		moved++
	}
	if moved == 0 {
		return nil
	}
	if _, err := os.Lstat(j.folder); errors.Is(err, fs.ErrNotExist) {
		if err := os.Rename(j.part, j.folder); err != nil {
			return fmt.Errorf("%s: could not rename the finished file: %w", j.folder, err)
		}
		return syncFolder(filepath.Dir(j.folder))
	}
	for _, w := range j.writing {
		if w.w == nil || w.failed != nil {
			continue
		}
		if err := os.Rename(filepath.Join(j.part, filepath.Base(w.path)), w.path); err != nil {
			return fmt.Errorf("%s: could not rename the finished folder: %w", w.path, err)
		}
	}
	return syncFolder(j.folder)
}

// close closes what is still open and removes unfinished files.
func (j *job) close() {
	j.reader.Close() // read-only: nothing can be lost
	for _, w := range j.writing {
		if w.w != nil {
			w.w.Abort() // the folder is removed below
		}
	}
	os.RemoveAll(j.part) // if that fails, the next render tries again
}

// result describes a file that is there now.
func (j *job) result(t *target) (RenderedFile, bool) {
	f := RenderedFile{Path: t.path, Item: j.index, Frames: j.frames, BitIdentical: true, Skipped: t.there}
	if !j.poly {
		f.DeskInput, f.Channel, f.TrimDB = t.outs[0].DeskInput, t.outs[0].Channel, t.outs[0].TrimDB
	}
	for _, w := range j.writing {
		if w.target == t && w.failed != nil && !t.there {
			return f, false
		}
	}
	for _, o := range t.outs {
		if j.poly {
			f.Channels = append(f.Channels, Voice{DeskInput: o.DeskInput, Channel: o.Channel, Status: o.Status, TrimDB: o.TrimDB})
		}
		if o.conv == nil {
			continue
		}
		f.BitIdentical = false
		f.ClippedSamples += o.conv.clipped
		if o.conv.clipped > 0 {
			j.sayOf(o, fmt.Sprintf("%s cut to full scale (trim %+.1f dB)", count(int(o.conv.clipped), "sample"), o.TrimDB))
		}
		if o.conv.over > 0 {
			j.sayOf(o, fmt.Sprintf("%s beyond full scale (trim %+.1f dB); the float file keeps them, a converter will not", count(int(o.conv.over), "sample"), o.TrimDB))
		}
	}
	return f, true
}

// grown returns b with length n.
func grown(b []byte, n int) []byte {
	if cap(b) < n {
		return make([]byte, n)
	}
	return b[:n]
}

// syncFolder makes new names survive a power cut. It ignores file systems that
// cannot sync a folder.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("%s: not synced: %w", dir, err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("%s: not synced: %w", dir, err)
	}
	return nil
}
