package tracks

import (
	"context"
	"fmt"
	"io"

	"nightreel/internal/wavfile"
)

// WAV is a span of a track as a mono WAV file, cut out of the recorder's files
// while it is read; nothing is written to a disk. It is an io.ReadSeeker, so that
// a web server can send ranges of it. It is not safe for concurrent use.
type WAV struct {
	ctx           context.Context // io.Reader has no place for it
	track         *Track
	start, frames int64
	header        []byte
	at            int64 // byte of the WAV file that is read next
	samples       []byte
}

// WAV returns the track from frame start to frame end of its recording, cut to
// the recording, as a WAV file. The samples are the recording's own, bit for bit; 24
// bits in 4 bytes are announced as 32, since browsers refuse unused bits. Reads end with ctx.Err() once ctx is cancelled.
func (t *Track) WAV(ctx context.Context, start, end int64) (*WAV, error) {
	w := &WAV{ctx: ctx, track: t}
	w.start, w.frames = t.span(start, end)
	format := Format(t.Recording, 1)
	format.BitDepth = 8 * format.ContainerBytes
	var err error
	w.header, err = wavfile.Header(format, w.frames, wavfile.Meta{})
	return w, err
}

// Check opens the file that the first sample lies in: an error before the first
// byte can still be put in words.
func (w *WAV) Check() error {
	if w.frames == 0 {
		return nil
	}
	files := w.track.reader.Holding(w.track.Track.Number)
	for _, s := range Stretches(files, w.start, w.start+w.frames) {
		if s.File >= 0 {
			return w.track.reader.Check(w.track.Track.Number, s.From, s.From+1)
		}
	}
	return nil
}

// Size returns the length of the WAV file in bytes.
func (w *WAV) Size() int64 {
	size := w.frames * int64(w.track.Recording.SampleBytes)
	return int64(len(w.header)) + size + size%2
}

// Seek implements io.Seeker.
func (w *WAV) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		offset += w.at
	case io.SeekEnd:
		offset += w.Size()
	}
	if offset < 0 {
		return w.at, fmt.Errorf("track %d: cannot seek to byte %d", w.track.Track.Number, offset)
	}
	w.at = offset
	return w.at, nil
}

// Read implements io.Reader. Where nothing was recorded there is silence; if a
// file cannot be read, the samples before the failing one are returned first.
func (w *WAV) Read(p []byte) (int, error) {
	bytes := int64(w.track.Recording.SampleBytes)
	place := w.at - int64(len(w.header))
	switch {
	case len(p) == 0:
		return 0, nil
	case w.at >= w.Size():
		return 0, io.EOF
	case place < 0:
		n := copy(p, w.header[w.at:])
		w.at += int64(n)
		return n, nil
	case place >= w.frames*bytes: // the byte that makes the length even
		p[0] = 0
		w.at++
		return 1, nil
	}
	frame, skip := place/bytes, place%bytes
	want := min(chunkFrames, w.frames-frame, int64(len(p))/bytes+2)
	if w.samples == nil {
		w.samples = make([]byte, chunkFrames*bytes)
	}
	good, err := w.track.Read(w.ctx, w.samples[:want*bytes], w.start+frame)
	samples := w.samples[min(skip, int64(good)*bytes) : int64(good)*bytes]
	n := copy(p, samples)
	w.at += int64(n)
	if n < len(samples) {
		err = nil // it comes after the samples that are still to be fetched
	}
	return n, err
}
