package session

import (
	"fmt"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// source is one file of a recording, open while an item is rendered. A chunk
// of it is read once and serves all inputs whose tracks it holds.
type source struct {
	file   catalog.File
	wav    *wavfile.File
	buf    []byte // frames at … at+n of the recording
	at, n  int64
	failed error // it could not be opened or read; said once
}

// openSource opens a file and sees that it still is what was scanned.
func openSource(f catalog.File, r catalog.Recording) *source {
	s := &source{file: f}
	w, err := wavfile.Open(f.FullPath())
	if err != nil {
		s.failed = err
		return s
	}
	s.wav = w
	i := w.Info()
	if i.Format.Channels != f.Channels || i.Format.SampleRate != r.SampleRate || i.Format.BitDepth != r.BitDepth ||
		i.Format.ContainerBytes != r.SampleBytes || i.Format.Encoding.String() != r.Encoding || i.DataOffset != f.DataOffset || i.Frames < f.Frames {
		s.failed = &ChangedError{Path: f.FullPath()}
	}
	return s
}

// ChangedError says that a recording is not what was scanned.
type ChangedError struct{ Path string }

func (e *ChangedError) Error() string { return e.Path + ": not rendered: changed since it was scanned" }

// Hint returns what to do about it.
func (e *ChangedError) Hint() string {
	return "scan its folder again and build the session anew; nightreel verify tells which files changed"
}

// load reads the part of the span from … to of the recording's frames that the
// file holds.
func (s *source) load(from, to int64) {
	s.n = 0
	first := max(from, s.file.StartFrame)
	last := min(to, s.file.StartFrame+s.file.Frames)
	if s.failed != nil || first >= last {
		return
	}
	size := int64(s.wav.Info().Format.FrameBytes())
	if need := (last - first) * size; int64(cap(s.buf)) < need {
		s.buf = make([]byte, need)
	}
	s.buf = s.buf[:(last-first)*size]
	n, err := s.wav.ReadFrames(s.buf, first-s.file.StartFrame)
	if err == nil && int64(n) < last-first {
		err = fmt.Errorf("%s: not read: it ends before frame %d", s.file.FullPath(), last-s.file.StartFrame)
	}
	if err != nil {
		s.failed = err
		return
	}
	s.at, s.n = first, last-first
}

// copyTrack copies the samples of one track that the loaded part has of the
// span from … into dst, one sample after the other.
func (s *source) copyTrack(dst []byte, from int64, track, sampleBytes int) {
	first := max(from, s.at)
	last := min(from+int64(len(dst)/sampleBytes), s.at+s.n)
	if first >= last {
		return
	}
	size := s.file.Channels * sampleBytes
	src := s.buf[int(first-s.at)*size+(track-s.file.FirstTrack)*sampleBytes:]
	dst = dst[int(first-from)*sampleBytes : int(last-from)*sampleBytes]
	if size == sampleBytes {
		copy(dst, src)
		return
	}
	for i, at := 0, 0; i < len(dst); i, at = i+sampleBytes, at+size {
		copy(dst[i:i+sampleBytes], src[at:])
	}
}
