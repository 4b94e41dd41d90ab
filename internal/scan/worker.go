package scan

import (
	"context"
	"errors"
	"os"
	"time"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// How much a worker reads before it measures, of all tracks of a unit together.
const (
	// readAhead stays in the processor's cache, and is still long enough
	// to keep a disk without heads streaming.
	readAhead = 1 << 19
	// readLong is for disks with heads: of sixteen mono files in step it is 4 MiB
	// of each, which takes longer to read than to get there.
	readLong = 64 << 20
)

// worker measures units one after the other.
type worker struct {
	*measurer
	buf   []byte
	open  map[catalog.FileID]*tracks.Source // of the unit at hand
	shown int64                             // bytes of it that the progress counts
}

// close closes the files that a unit does not need; all for nil.
func (w *worker) close(u *unit) {
	need := map[catalog.FileID]bool{}
	if u != nil {
		for _, s := range u.strips {
			for _, f := range s.files {
				need[f.ID] = true
			}
		}
	}
	for id, f := range w.open {
		if !need[id] {
			f.Close() // read-only: nothing can be lost
			delete(w.open, id)
		}
	}
}

// file opens a file of a recording, or returns it where it is open still.
func (w *worker) file(r catalog.Recording, f catalog.File) (*tracks.Source, error) {
	if open := w.open[f.ID]; open != nil {
		return open, nil
	}
	open, err := tracks.Describe(r, f).Open(tracks.OpenWAV)
	if err != nil {
		return nil, err
	}
	w.open[f.ID] = open
	return open, nil
}

// errStrip says which strip of a unit could not be read; it has been reported.
type errStrip int

func (errStrip) Error() string { return "a file could not be read" }

// measure measures one unit. A strip that cannot be read is left out: its part
// stays unmeasured, and the next scan tries again. It returns false if nothing
// was measured.
func (w *worker) measure(ctx context.Context, u unit) (done, bool) {
	w.close(&u)
	for len(u.strips) > 0 && ctx.Err() == nil {
		d, err := w.unit(ctx, u)
		var failed errStrip
		switch {
		case err == nil:
			return d, true
		case !errors.As(err, &failed):
			return done{}, false // interrupted, or reported
		}
		w.progress.bytes.Add(-w.shown)
		u.strips = append(u.strips[:failed:failed], u.strips[failed+1:]...)
	}
	return done{}, false
}

// unit measures all strips of a unit.
func (w *worker) unit(ctx context.Context, u unit) (done, error) {
	w.shown = 0
	first := u.strips[0]
	from, to := u.own(first, u.part)
	cfg := u.config
	cfg.Channels, cfg.First, cfg.Frames, cfg.RunUp = u.channels(), from, to-from, u.runUp(u.part)
	if u.to > 0 {
		cfg.Channels, cfg.Of, cfg.From = u.to-u.from, cfg.Channels, u.from
	}
	ear, err := newEar(cfg)
	if err != nil {
		w.report(first.files[0], err, true)
		return done{}, err
	}
	cfg.Rows = ear.rows
	m, err := meter.New(cfg)
	if err != nil {
		w.report(first.files[0], err, true)
		return done{}, err
	}
	// All strips' stretches lie alike; only the files differ.
	stretches := make([][]stretch, len(u.strips))
	for i, s := range u.strips {
		stretches[i] = u.stretches(s, u.part)
	}
	var d done
	row := make([]stretch, len(u.strips))
	for k := range stretches[0] {
		for i := range row {
			row[i] = stretches[i][k]
		}
		sums, err := w.stretch(ctx, u, row, m, ear)
		if err != nil {
			return done{}, err
		}
		for i, r := range row {
			if !r.own || r.file == nil || !u.first() {
				continue
			}
			pieces, err := w.pieces(ctx, r, sums[i], int64(u.strips[i].channels*u.recording.SampleBytes))
			if err != nil {
				if ctx.Err() == nil {
					w.report(*r.file, err, false)
				}
				return done{}, errStrip(i)
			}
			d.pieces = append(d.pieces, pieces...)
		}
	}
	parts, features := m.Finish(), ear.features()
	for _, s := range u.strips {
		for _, track := range u.tracks(s) {
			d.parts = append(d.parts, catalog.Part{Track: track, Part: u.part, Data: meter.Encode(parts[0]), Features: features[0]})
			parts, features = parts[1:], features[1:]
		}
	}
	return d, nil
}

// stretch feeds one stretch of every strip to the meter and returns the
// checksums of their bytes if they are the part's own.
func (w *worker) stretch(ctx context.Context, u unit, row []stretch, m *meter.Meter, ear *ear) ([]uint64, error) {
	size := u.recording.SampleBytes // of a track's frame
	hashes := make([]*xxh3.Hasher, len(row))
	for i := range hashes {
		hashes[i] = xxh3.New()
	}
	r := row[0]
	bufs := make([][]byte, len(row))
	for at := r.from; at < r.to; {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		n := int(min(int64(readFrames(u)), r.to-at))
		if need := n * size * u.channels(); len(w.buf) < need {
			w.buf = make([]byte, need)
		}
		free := w.buf
		for i, s := range u.strips {
			length := n * s.channels * size
			bufs[i], free = free[:length:length], free[length:]
		}
		if err := w.fill(u, row, bufs, at, hashes); err != nil {
			return nil, err
		}
		if err := m.Write(n, bufs...); err != nil {
			w.report(u.strips[0].files[0], err, true)
			return nil, err
		}
		if r.own && !m.Decodes() {
			if err := ear.Write(n, bufs...); err != nil {
				w.report(u.strips[0].files[0], err, true)
				return nil, err
			}
		}
		at += int64(n)
	}
	sums := make([]uint64, len(row))
	for i, h := range hashes {
		sums[i] = h.Sum64()
	}
	return sums, nil
}

// readFrames returns how many frames of a unit are read at a time.
func readFrames(u unit) int {
	bytes := readAhead
	if u.pace.long() {
		bytes = readLong
	}
	frame := u.channels() * u.recording.SampleBytes
	length := int(partFrames(u.config.SampleRate))
	return max(1, min(bytes/frame, length))
}

// fill reads the frames from at on of every strip, and adds the part's own to the
// checksums while they are still in the processor's inner cache. Of a disk with
// heads it reads one file after the other, and nobody else does meanwhile.
func (w *worker) fill(u unit, row []stretch, bufs [][]byte, at int64, hashes []*xxh3.Hasher) error {
	files := make([]*tracks.Source, len(row))
	for i, r := range row {
		if r.file == nil {
			continue
		}
		var err error
		if files[i], err = w.file(u.recording, *r.file); err != nil {
			w.report(*r.file, err, true)
			return errStrip(i)
		}
	}
	if u.pace.long() {
		u.pace.heads.Lock()
		defer u.pace.heads.Unlock()
	}
	read, began := 0, time.Now()
	defer func() { u.pace.note(read, time.Since(began)) }()
	for i, r := range row {
		if r.file == nil {
			tracks.Format(u.recording, 1).Silence(bufs[i])
			continue
		}
		w.progress.reading(r.file.FullPath())
		if _, err := files[i].Read(bufs[i], at-r.file.StartFrame); err != nil {
			w.report(*r.file, err, false)
			return errStrip(i)
		}
		read += len(bufs[i])
		w.bytesRead.Add(int64(len(bufs[i])))
		if r.own && u.first() {
			hashes[i].Write(bufs[i])
			w.progress.bytes.Add(int64(len(bufs[i])))
			w.shown += int64(len(bufs[i]))
		}
	}
	return nil
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
		defer wavfile.Ask(f.FullPath())()
		var sum uint64
		raw, err := os.Open(f.FullPath())
		if err == nil {
			defer raw.Close()
			sum, err = sumOf(ctx, raw, offset, length, make([]byte, min(length, sumBuffer)), w.read)
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
