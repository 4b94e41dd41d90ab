package scan

import (
	"context"
	"errors"
	"io"
	"os"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/wavfile"
)

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
