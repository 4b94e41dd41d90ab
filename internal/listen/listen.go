// Package listen gives one track of a recording to an ear or an eye: as a mono
// WAV file that exists nowhere, cut out of the recorder's files while it is
// read, and as a drawn waveform. Start with [Open] and [Waveform].
//
// The samples are the recording's own, bit for bit. Recordings are opened
// read-only; nothing is written anywhere.
package listen

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// ChangedError says that a recording's file is not what was scanned.
type ChangedError struct{ Path string }

func (e *ChangedError) Error() string { return e.Path + ": not played: changed since it was scanned" }

// Hint says what to do about it.
func (e *ChangedError) Hint() string { return "scan its folder again" }

// AwayError says that a recording's file cannot be opened: mostly a drive that
// is unplugged.
type AwayError struct {
	Path string
	Err  error
}

func (e *AwayError) Error() string { return fmt.Sprintf("%s: not played: %v", e.Path, e.Err) }

// Hint says what to do about it.
func (e *AwayError) Hint() string {
	return "plug in the drive, or tell nightreel with relocate where it is now"
}

func (e *AwayError) Unwrap() error { return e.Err }

// Reader reads a span of one track as a WAV file. It is an io.ReadSeeker, so
// that a web server can give out ranges of it. It is not safe for concurrent
// use.
type Reader struct {
	track    catalog.Track
	rec      catalog.Recording
	segments []catalog.File // of the track, in order of time
	start    int64          // frame of the recording that comes first
	frames   int64
	header   []byte
	bytes    int // of a sample

	at   int64 // place in the WAV file
	open *wavfile.File
	of   int // index of the open segment
	buf  []byte
}

// Open makes a Reader of a track from frame start to frame end of its
// recording, both cut to the recording. Where the track has no files the WAV is
// silent. A track that is not in the catalog is *[catalog.NotFoundError]; files
// are opened, and their errors told, when they are read.
func Open(ctx context.Context, store *catalog.Store, id catalog.TrackID, start, end int64) (*Reader, error) {
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{ID: id})
	if err != nil {
		return nil, err
	}
	if id <= 0 || len(tracks) == 0 {
		return nil, &catalog.NotFoundError{Kind: "track", Name: fmt.Sprint(id), Try: "nightreel tracks lists them"}
	}
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{ID: tracks[0].RecordingID})
	if err != nil {
		return nil, err
	}
	if len(recs) == 0 {
		return nil, &catalog.NotFoundError{Kind: "recording", Name: fmt.Sprint(tracks[0].RecordingID)}
	}
	files, err := store.Files(ctx, catalog.FileFilter{Recording: recs[0].ID})
	if err != nil {
		return nil, err
	}
	r := &Reader{track: tracks[0], rec: recs[0], bytes: recs[0].SampleBytes, of: -1}
	r.start = min(max(start, 0), r.rec.Frames)
	r.frames = max(0, min(end, r.rec.Frames)-r.start)
	r.frames = min(r.frames, (math.MaxUint32-1024)/int64(r.bytes))
	for _, f := range files {
		if f.FirstTrack <= r.track.Number && r.track.Number < f.FirstTrack+f.Channels && f.Frames > 0 {
			r.segments = append(r.segments, f)
		}
	}
	slices.SortStableFunc(r.segments, func(a, b catalog.File) int { return cmp.Compare(a.StartFrame, b.StartFrame) })
	r.header = header(r.rec, r.frames)
	return r, nil
}

// HeaderBytes is how many bytes lie before the samples.
const HeaderBytes = 44

// header is a WAV header of HeaderBytes for mono samples in the recording's own
// coding (format tags 1, PCM, and 3, IEEE float).
func header(r catalog.Recording, frames int64) []byte {
	le := binary.LittleEndian
	tag := uint16(1)
	if r.Encoding == wavfile.Float.String() {
		tag = 3
	}
	size := frames * int64(r.SampleBytes)
	h := append([]byte("RIFF"), 0, 0, 0, 0)
	le.PutUint32(h[4:], uint32(36+size+size%2))
	h = append(h, "WAVEfmt \x10\x00\x00\x00"...)
	h = le.AppendUint16(h, tag)
	h = le.AppendUint16(h, 1)
	h = le.AppendUint32(h, uint32(r.SampleRate))
	h = le.AppendUint32(h, uint32(r.SampleRate*r.SampleBytes))
	h = le.AppendUint16(h, uint16(r.SampleBytes))
	h = le.AppendUint16(h, uint16(8*r.SampleBytes))
	h = append(h, "data"...)
	return le.AppendUint32(h, uint32(size))
}

// Track returns the track that is read.
func (r *Reader) Track() catalog.Track { return r.track }

// Size returns the length of the WAV file in bytes, its pad byte included.
func (r *Reader) Size() int64 {
	size := r.frames * int64(r.bytes)
	return int64(len(r.header)) + size + size%2
}

// Seek implements io.Seeker.
func (r *Reader) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		offset += r.at
	case io.SeekEnd:
		offset += r.Size()
	}
	if offset < 0 {
		return r.at, fmt.Errorf("track %d: cannot seek to byte %d", r.track.Number, offset)
	}
	r.at = offset
	return r.at, nil
}

// chunkFrames is how much is read at once, about a fifth of a second.
const chunkFrames = 8192

// Read implements io.Reader. Where nothing was recorded there is silence.
func (r *Reader) Read(p []byte) (int, error) {
	if r.at >= r.Size() {
		return 0, io.EOF
	}
	if r.at < int64(len(r.header)) {
		n := copy(p, r.header[r.at:])
		r.at += int64(n)
		return n, nil
	}
	place := r.at - int64(len(r.header))
	frame, skip := place/int64(r.bytes), int(place%int64(r.bytes))
	if frame >= r.frames { // the pad byte
		p[0] = 0
		r.at++
		return 1, nil
	}
	want := min(chunkFrames, r.frames-frame, int64(len(p)/r.bytes)+2)
	samples := make([]byte, int(want)*r.bytes)
	if err := r.samples(samples, r.start+frame); err != nil {
		return 0, err
	}
	n := copy(p, samples[skip:])
	r.at += int64(n)
	return n, nil
}

// Check opens the file that the first sample is in, and so tells whether the
// recording is there.
func (r *Reader) Check() error {
	for i, f := range r.segments {
		if f.StartFrame < r.start+r.frames && r.start < f.StartFrame+f.Frames {
			return r.use(i)
		}
	}
	return nil
}

// Close closes the file that is open.
func (r *Reader) Close() error {
	if r.open == nil {
		return nil
	}
	err := r.open.Close()
	r.open, r.of = nil, -1
	return err
}

// samples fills dst with the track's samples from a frame of the recording on.
func (r *Reader) samples(dst []byte, from int64) error {
	if r.rec.BitDepth == 8 && r.bytes == 1 {
		for i := range dst {
			dst[i] = 128 // the middle of unsigned samples
		}
	}
	to := from + int64(len(dst)/r.bytes)
	for i, f := range r.segments {
		first, last := max(from, f.StartFrame), min(to, f.StartFrame+f.Frames)
		if first >= last {
			continue
		}
		if err := r.use(i); err != nil {
			return err
		}
		size := f.Channels * r.bytes
		need := int(last-first) * size
		if cap(r.buf) < need {
			r.buf = make([]byte, need)
		}
		n, err := r.open.ReadFrames(r.buf[:need], first-f.StartFrame)
		if err == nil && int64(n) < last-first {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return &AwayError{Path: f.FullPath(), Err: err}
		}
		src := r.buf[(r.track.Number-f.FirstTrack)*r.bytes:]
		out := dst[int(first-from)*r.bytes : int(last-from)*r.bytes]
		for i, at := 0, 0; i < len(out); i, at = i+r.bytes, at+size {
			copy(out[i:i+r.bytes], src[at:])
		}
	}
	return nil
}

// use opens a segment and sees that it still is what was scanned.
func (r *Reader) use(i int) error {
	if r.of == i {
		return nil
	}
	if err := r.Close(); err != nil {
		return err
	}
	f := r.segments[i]
	w, err := wavfile.Open(f.FullPath())
	if err != nil {
		return &AwayError{Path: f.FullPath(), Err: err}
	}
	info := w.Info()
	if info.Format.Channels != f.Channels || info.Format.SampleRate != r.rec.SampleRate || info.Format.ContainerBytes != r.bytes ||
		info.Format.Encoding.String() != r.rec.Encoding || info.DataOffset != f.DataOffset || info.Frames < f.Frames {
		w.Close()
		return &ChangedError{Path: f.FullPath()}
	}
	r.open, r.of = w, i
	return nil
}
