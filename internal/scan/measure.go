package scan

import (
	"context"
	"errors"
	"io"
	"os"
	"sync"
	"time"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/wavfile"
)

// job is what there is to measure of one recording.
type job struct {
	recording catalog.Recording
	config    meter.Config // but for the part's own fields
	lanes     []*strip
}

// strip is a run of stored files that hold the same tracks, with the parts of
// it that are to be measured.
type strip struct {
	*job
	files    []catalog.File // in order of place
	tracks   []catalog.TrackID
	channels int
	frames   int64 // end of the last file, in frames of the recording
	parts    []int
}

// unit is the work that is measured and stored as one.
type unit struct {
	*strip
	part int
}

// done is a measured unit.
type done struct {
	parts  []catalog.Part
	pieces []catalog.Piece
}

// job reads back what was stored of a recording and finds out which parts of it
// are missing.
func (s *scan) job(ctx context.Context, r catalog.Recording) (*job, error) {
	files, err := s.store.Files(ctx, catalog.FileFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	keys, err := s.store.PartKeys(ctx, catalog.PartFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	type key struct {
		track catalog.TrackID
		part  int
	}
	have := map[key]bool{}
	for _, p := range keys {
		have[key{p.Track, p.Part}] = true
	}
	ids := map[int]catalog.TrackID{}
	for _, t := range tracks {
		ids[t.Number] = t.ID
	}
	j := &job{recording: r, config: meter.Config{
		SampleRate: r.SampleRate,
		Type:       sampleType(r),
		ClipLevel:  s.opt.clipLevel(r.BitDepth, r.SampleBytes, r.Encoding == wavfile.PCM.String()),
	}}
	byTracks := map[[2]int]*strip{}
	for _, f := range files { // in order of first track and segment
		at := [2]int{f.FirstTrack, f.Channels}
		l := byTracks[at]
		if l == nil {
			l = &strip{job: j, channels: f.Channels}
			for i := range f.Channels {
				l.tracks = append(l.tracks, ids[f.FirstTrack+i])
			}
			byTracks[at] = l
			j.lanes = append(j.lanes, l)
		}
		l.files = append(l.files, f)
		l.frames = max(l.frames, f.StartFrame+f.Frames)
	}
	length := partFrames(r.SampleRate)
	for _, l := range j.lanes {
		for part := range int((l.frames + length - 1) / length) {
			for _, id := range l.tracks {
				if !have[key{id, part}] {
					l.parts = append(l.parts, part)
					break
				}
			}
		}
	}
	return j, nil
}

func sampleType(r catalog.Recording) meter.SampleType {
	if r.Encoding == wavfile.Float.String() {
		if r.SampleBytes == 8 {
			return meter.Float64
		}
		return meter.Float32
	}
	return []meter.SampleType{meter.Uint8, meter.Int16, meter.Int24, meter.Int32}[min(max(r.SampleBytes, 1), 4)-1]
}

// silence is the byte that digital silence is made of.
func (j *job) silence() byte {
	if j.config.Type == meter.Uint8 {
		return 0x80
	}
	return 0
}

// span returns a part's own frames.
func (u unit) span() (from, to int64) {
	length := partFrames(u.config.SampleRate)
	from = int64(u.part) * length
	return from, min(from+length, u.frames)
}

// bytes returns the bytes of audio in a part's own frames.
func (u unit) bytes() int64 {
	from, to := u.span()
	frames := int64(0)
	for _, f := range u.files {
		frames += max(0, min(to, f.StartFrame+f.Frames)-max(from, f.StartFrame))
	}
	return frames * int64(u.channels*u.recording.SampleBytes)
}

// measure measures all parts that are missing. Units are handed out in order,
// so that each file is read from front to back; one goroutine writes what comes
// out to the catalog.
func (s *scan) measure(ctx context.Context, jobs []*job) error {
	var units []unit
	total := int64(0)
	for _, j := range jobs {
		for _, l := range j.lanes {
			for _, part := range l.parts {
				u := unit{l, part}
				units = append(units, u)
				total += u.bytes()
			}
		}
	}
	s.progress.bytesTotal.Store(s.progress.bytes.Load() + total)
	s.progress.files.Store(s.progress.filesTotal.Load() - int64(filesIn(units)))
	if len(units) == 0 {
		return ctx.Err()
	}

	work, results := make(chan unit), make(chan done)
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	m := &measurer{scan: s, failed: map[catalog.FileID]bool{}, left: map[catalog.FileID]int{}}
	for _, u := range units {
		for _, f := range u.reads() {
			m.left[f.ID]++
		}
	}
	var workers sync.WaitGroup
	for range min(s.opt.Workers, len(units)) {
		workers.Go(func() {
			w := worker{measurer: m, buf: make([]byte, readBuffer)}
			defer w.close()
			for u := range work {
				d, ok := w.measure(ctx, u)
				if ok {
					results <- d
				}
				m.finished(u)
			}
		})
	}
	go func() {
		for _, u := range units {
			select {
			case work <- u:
				continue
			case <-ctx.Done():
			}
			break
		}
		close(work)
		workers.Wait()
		close(results)
	}()
	if err := s.keep(ctx, results); err != nil {
		cancel(err)
		for range results {
		} // the workers are waiting to hand over
		return err
	}
	s.result.FilesRead += m.filesRead
	s.result.Problems = append(s.result.Problems, m.problems...)
	return context.Cause(ctx)
}

func filesIn(units []unit) int {
	files := map[catalog.FileID]bool{}
	for _, u := range units {
		for _, f := range u.reads() {
			files[f.ID] = true
		}
	}
	return len(files)
}

// The writer commits when so much has gathered: rarely enough to cost nothing,
// often enough to lose little.
const (
	keepParts = 512
	keepEvery = time.Second
)

// keep stores what the workers hand over until they are done. A cancelled
// context does not stop it: what is finished is kept.
func (s *scan) keep(ctx context.Context, results <-chan done) error {
	ctx = context.WithoutCancel(ctx)
	var held done
	last := time.Now()
	flush := func() error {
		if len(held.parts) == 0 {
			return nil
		}
		err := s.store.PutParts(ctx, held.parts, held.pieces)
		held.parts, held.pieces = held.parts[:0], held.pieces[:0]
		last = time.Now()
		return err
	}
	for d := range results {
		held.parts, held.pieces = append(held.parts, d.parts...), append(held.pieces, d.pieces...)
		if len(held.parts) >= keepParts || time.Since(last) >= keepEvery {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// measurer is what the workers of one scan share.
type measurer struct {
	*scan
	mu        sync.Mutex
	failed    map[catalog.FileID]bool // cannot be opened; said once
	left      map[catalog.FileID]int  // units that are still to read of a file
	filesRead int
	problems  []Problem
}

// finished counts the files of which no more units are to come.
func (m *measurer) finished(u unit) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, f := range u.reads() {
		if m.left[f.ID]--; m.left[f.ID] == 0 {
			m.progress.files.Add(1)
			if !m.failed[f.ID] {
				m.filesRead++
			}
		}
	}
}

// reads returns the files that a part's own frames lie in.
func (u unit) reads() []catalog.File {
	from, to := u.span()
	var files []catalog.File
	for _, f := range u.files {
		if f.StartFrame < to && f.StartFrame+f.Frames > from {
			files = append(files, f)
		}
	}
	return files
}

// report notes that a file could not be read; once for one that cannot be
// opened.
func (m *measurer) report(f catalog.File, err error, fatal bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.failed[f.ID] {
		return
	}
	m.failed[f.ID] = fatal
	m.problems = append(m.problems, problemOf(f.FullPath(), err))
}

// readBuffer is the bytes that a worker reads at a time: long enough to keep a
// disk streaming, short enough to stay in the processor's outer cache.
const readBuffer = 1 << 20

// worker measures units one after the other.
type worker struct {
	*measurer
	buf  []byte
	open *wavfile.File // the file read last
	id   catalog.FileID
}

func (w *worker) close() {
	if w.open != nil {
		w.open.Close() // read-only: nothing can be lost
		w.open, w.id = nil, 0
	}
}

// errMoved says that a file is not the one that was found a moment ago.
var errMoved = errors.New("the file changed while it was being scanned")

// file opens a file, or returns it where it is open still.
func (w *worker) file(f catalog.File) (*wavfile.File, error) {
	if w.id == f.ID {
		return w.open, nil
	}
	w.close()
	r, err := wavfile.Open(f.FullPath())
	if err != nil {
		return nil, err
	}
	if i := r.Info(); i.DataOffset != f.DataOffset || i.Frames < f.Frames || i.Format.Channels != f.Channels {
		r.Close()
		return nil, errMoved
	}
	w.open, w.id = r, f.ID
	return r, nil
}

// measure measures one unit. It returns false where it could not: the part
// stays unmeasured, and the next scan tries again.
func (w *worker) measure(ctx context.Context, u unit) (done, bool) {
	from, to := u.span()
	cfg := u.config
	cfg.Channels, cfg.First, cfg.Frames = u.channels, from, to-from
	if from > 0 {
		cfg.RunUp = meter.RunUpFrames(cfg.SampleRate)
	}
	m, err := meter.New(cfg)
	if err != nil {
		w.report(u.files[0], err, true)
		return done{}, false
	}
	end := min(to+int64(meter.RunOutFrames(cfg.SampleRate)), u.frames)
	var d done
	for _, r := range u.stretches(from-int64(cfg.RunUp), end) {
		sum, ok := w.stretch(ctx, u, r, m)
		if !ok {
			return done{}, false
		}
		if !r.own || r.file == nil {
			continue
		}
		pieces, err := w.pieces(ctx, r, sum, int64(u.channels*u.recording.SampleBytes))
		if err != nil {
			if ctx.Err() == nil {
				w.report(*r.file, err, false)
			}
			return done{}, false
		}
		d.pieces = append(d.pieces, pieces...)
	}
	for i, p := range m.Finish() {
		d.parts = append(d.parts, catalog.Part{Track: u.tracks[i], Part: u.part, Data: meter.Encode(p)})
	}
	return d, true
}

// stretch is a run of frames that lies in one file, or in none, and is either
// all a part's own or all run-up or run-out.
type stretch struct {
	file     *catalog.File // nil = nothing was recorded here
	from, to int64         // frames of the recording
	own      bool
}

// stretches cuts a run of frames at the ends of files and of the part.
func (u unit) stretches(from, to int64) []stretch {
	ownFrom, ownTo := u.span()
	var all []stretch
	for at := from; at < to; {
		next := to
		for _, edge := range []int64{ownFrom, ownTo} {
			if edge > at {
				next = min(next, edge)
			}
		}
		r := stretch{from: at, own: at >= ownFrom && at < ownTo}
		for i := range u.files {
			f := &u.files[i]
			switch {
			case f.StartFrame > at:
				next = min(next, f.StartFrame)
			case f.StartFrame+f.Frames > at && r.file == nil:
				r.file = f
				next = min(next, f.StartFrame+f.Frames)
			}
		}
		r.to = next
		all = append(all, r)
		at = next
	}
	return all
}

// stretch feeds one stretch to the meter and returns the checksum of its bytes
// if they are the part's own.
func (w *worker) stretch(ctx context.Context, u unit, r stretch, m *meter.Meter) (sum uint64, ok bool) {
	size := u.channels * u.recording.SampleBytes
	buf := w.buf[:len(w.buf)/size*size]
	var file *wavfile.File
	if r.file == nil {
		for i := range buf {
			buf[i] = u.silence()
		}
	} else {
		w.progress.reading(r.file.FullPath())
		var err error
		if file, err = w.file(*r.file); err != nil {
			w.report(*r.file, err, true)
			return 0, false
		}
	}
	h := xxh3.New()
	for at := r.from; at < r.to; {
		if ctx.Err() != nil {
			return 0, false
		}
		b := buf[:min(int64(len(buf)/size), r.to-at)*int64(size)]
		if file != nil {
			n, err := file.ReadFrames(b, at-r.file.StartFrame)
			if err == nil && n*size < len(b) {
				err = io.ErrUnexpectedEOF
			}
			if err != nil {
				w.report(*r.file, err, false)
				w.close()
				return 0, false
			}
			w.bytesRead.Add(int64(len(b)))
			if r.own {
				h.Write(b)
				w.progress.bytes.Add(int64(len(b)))
			}
		}
		n := len(b) / size
		if err := m.Write(n, b); err != nil {
			w.report(u.files[0], err, true)
			return 0, false
		}
		at += int64(n)
	}
	return h.Sum64(), true
}

// pieces returns the checksums of a stretch of a file's audio, and with it
// those of the header before the file's first frame and of what follows its
// last one: so parts and checksums come together or not at all.
func (w *worker) pieces(ctx context.Context, r stretch, sum uint64, frameBytes int64) ([]catalog.Piece, error) {
	f := r.file
	from := f.DataOffset + (r.from-f.StartFrame)*frameBytes
	to := f.DataOffset + (r.to-f.StartFrame)*frameBytes
	pieces := []catalog.Piece{{File: f.ID, Offset: from, Length: to - from, Sum: sum}}
	edge := func(offset, length int64) error {
		if length <= 0 {
			return nil
		}
		var sum uint64
		raw, err := os.Open(f.FullPath())
		if err == nil {
			defer raw.Close()
			sum, err = sumOf(ctx, raw, offset, length, w.buf, w.read)
		}
		if err != nil {
			return &wavfile.Error{Path: f.FullPath(), Doing: "not read", Offset: offset, Err: err}
		}
		pieces = append(pieces, catalog.Piece{File: f.ID, Offset: offset, Length: length, Sum: sum})
		return nil
	}
	if r.from == f.StartFrame {
		if err := edge(0, f.DataOffset); err != nil {
			return nil, err
		}
	}
	if r.to == f.StartFrame+f.Frames {
		if err := edge(to, f.Size-to); err != nil {
			return nil, err
		}
	}
	return pieces, nil
}
