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
	"nightreel/internal/wavfile"
)

// readAhead bounds the bytes that are read of all source files in one go. Much
// at a time keeps a spinning disk from seeking among 64 files: at 48 kHz and 24
// bit this is 3.6 s of 64 tracks.
const readAhead = 32 << 20

// job is an item while it is rendered.
type job struct {
	*itemPlan
	sources  map[catalog.FileID]*source
	writing  []*writing
	problems []string
}

// writing is a target while it is rendered. w is nil for a file that was there
// already and is only gone through to count what its trim clips.
type writing struct {
	*target
	w      *wavfile.Writer
	mono   []byte // one channel of the source
	conv   []byte // one channel, converted
	frame  []byte // all channels, interleaved
	failed error  // a source failed
}

// render writes the item's files, all side by side, so that a polyphonic
// recording is read once. total is increased by the bytes of audio that came
// under their final names.
func (plan *itemPlan) render(ctx context.Context, p *Progress, total *int64) (files []RenderedFile, problems []string, err error) {
	if len(plan.targets) == 0 {
		return nil, []string{plan.title() + ": no desk input is on playback, so there is nothing to render"}, nil
	}
	j := &job{itemPlan: plan, sources: map[catalog.FileID]*source{}}
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
	// What an interrupted render left behind.
	if err := os.RemoveAll(j.part); err != nil {
		return fmt.Errorf("%s: could not remove what an earlier render left: %w", j.part, err)
	}
	for _, t := range j.targets {
		if t.there && !t.mayClip() {
			continue
		}
		w := &writing{target: t}
		for _, o := range t.outs {
			j.openSources(w, o)
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

func (j *job) openSources(w *writing, o *out) {
	if o.Status == catalog.Playback && !w.there {
		for _, gap := range j.gaps(o) {
			j.sayOf(o, gap)
		}
	}
	for _, f := range o.segments {
		if f.StartFrame >= j.from+j.frames || f.StartFrame+f.Frames <= j.from {
			continue
		}
		s := j.sources[f.ID]
		if s == nil {
			s = openSource(f, j.rec)
			j.sources[f.ID] = s
		}
		j.blame(w, o, s)
	}
}

// blame fails a file whose source failed, and says so once.
func (j *job) blame(w *writing, o *out, s *source) {
	if s.failed == nil || w.failed != nil {
		return
	}
	w.failed = s.failed
	if w.there {
		return // it is whole; only its clipped samples stay uncounted
	}
	text := s.failed.Error()
	if j.poly {
		text += "; the whole file of this item is left out"
	}
	j.sayOf(o, text)
}

// mayClip tells whether the conversion of any channel can take samples to full
// scale or beyond: a float source may lie above it, and a small cut does not
// make room for the dither.
func (t *target) mayClip() bool {
	for _, o := range t.outs {
		if o.conv != nil && (o.TrimDB > -0.01 || o.raw.Encoding == wavfile.Float) {
			return true
		}
	}
	return false
}

// run goes through the item's frames once.
func (j *job) run(ctx context.Context, p *Progress) error {
	frameBytes := 0
	for _, s := range j.sources {
		frameBytes += s.file.Channels * j.rec.SampleBytes
	}
	chunk := int64(max(4096, min(1<<18, readAhead/max(1, frameBytes))))
	for at := int64(0); at < j.frames; at += chunk {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := min(chunk, j.frames-at)
		for _, s := range j.sources {
			s.load(j.from+at, j.from+at+n)
		}
		for _, w := range j.writing {
			if err := j.write(w, j.from+at, int(n)); err != nil {
				return err
			}
			if w.w != nil {
				p.bytes.Add(n * int64(w.format.FrameBytes()))
			}
		}
	}
	return nil
}

// write writes n frames from frame from of the recording on.
func (j *job) write(w *writing, from int64, n int) error {
	for _, o := range w.outs {
		for _, f := range o.segments {
			if s := j.sources[f.ID]; s != nil {
				j.blame(w, o, s)
			}
		}
	}
	if w.failed != nil {
		return nil
	}
	size := w.format.ContainerBytes
	w.frame = grown(w.frame, n*w.format.FrameBytes())
	for c, o := range w.outs {
		samples := j.samples(w, o, from, n)
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

// samples returns n samples of a channel in the target's coding. Where nothing
// was recorded they are digital silence, without dither.
func (j *job) samples(w *writing, o *out, from int64, n int) []byte {
	target := w.format
	target.Channels = 1
	if o.conv == nil {
		w.mono = silence(w.mono, n, target)
		j.collect(w.mono, o, from, target.ContainerBytes)
		return w.mono
	}
	w.conv = silence(w.conv, n, target)
	w.mono = grown(w.mono, n*o.raw.ContainerBytes)
	j.collect(w.mono, o, from, o.raw.ContainerBytes)
	for _, f := range o.segments {
		s := j.sources[f.ID]
		if s == nil || s.n == 0 {
			continue
		}
		a, b := max(from, s.at)-from, min(from+int64(n), s.at+s.n)-from
		if prev := j.covered(o, f, from); a < prev {
			a = prev
		}
		if a < b {
			o.conv.convert(w.conv[int(a)*target.ContainerBytes:int(b)*target.ContainerBytes], w.mono[int(a)*o.raw.ContainerBytes:int(b)*o.raw.ContainerBytes])
		}
	}
	return w.conv
}

// collect copies what was loaded of the channel's track into dst. Of segments
// that overlap the earlier one counts.
func (j *job) collect(dst []byte, o *out, from int64, size int) {
	for _, f := range o.segments {
		s := j.sources[f.ID]
		if s == nil || s.n == 0 {
			continue
		}
		skip := max(0, min(j.covered(o, f, from), int64(len(dst)/size)))
		s.copyTrack(dst[int(skip)*size:], from+skip, o.Track, size)
	}
}

// covered returns the frames after from that the segments before f have.
func (j *job) covered(o *out, f catalog.File, from int64) int64 {
	end := from
	for _, g := range o.segments {
		if g.ID == f.ID {
			break
		}
		end = max(end, g.StartFrame+g.Frames)
	}
	return end - from
}

// finish gives the files their names.
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
			return fmt.Errorf("%s: could not be given its name: %w", j.folder, err)
		}
		return syncFolder(filepath.Dir(j.folder))
	}
	for _, w := range j.writing {
		if w.w == nil || w.failed != nil {
			continue
		}
		if err := os.Rename(filepath.Join(j.part, filepath.Base(w.path)), w.path); err != nil {
			return fmt.Errorf("%s: could not be given its name: %w", w.path, err)
		}
	}
	return syncFolder(j.folder)
}

// close ends whatever is still open; what was not finished is removed.
func (j *job) close() {
	for _, s := range j.sources {
		if s.wav != nil {
			s.wav.Close() // read-only: nothing can be lost
		}
	}
	for _, w := range j.writing {
		if w.w != nil {
			w.w.Abort() // the folder goes with it
		}
	}
	os.RemoveAll(j.part) // tried again by the next render
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

// silence returns b as n samples of digital silence.
func silence(b []byte, n int, f wavfile.Format) []byte {
	b = grown(b, n*f.ContainerBytes)
	zero := byte(0)
	if f.ContainerBytes == 1 {
		zero = 0x80 // 8-bit PCM is unsigned
	}
	for i := range b {
		b[i] = zero
	}
	return b
}

// syncFolder makes new names survive a power cut. File systems that cannot sync
// a folder are let be.
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
