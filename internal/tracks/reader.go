package tracks

import (
	"context"
	"fmt"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// Reader reads tracks of one recording. It keeps open the files that it has
// read, and of each the frames that it read last: tracks of the same file that
// are read for the same span cost one read. It is not safe for concurrent use.
type Reader struct {
	rec     catalog.Recording
	files   []catalog.File
	open    OpenFunc
	single  bool                   // one track is read: one file at a time is enough
	holding map[int][]catalog.File // by track
	used    map[catalog.FileID]*used
}

// used is a file that has been read.
type used struct {
	source *Source
	err    error  // it failed; it is not tried again
	at, n  int64  // the frames of the file that are in buf
	buf    []byte // whole frames
}

// NewReader makes a reader of a recording and its files. Files are opened when
// they are needed. Close it in the end.
func NewReader(r catalog.Recording, files []catalog.File) *Reader {
	return newReader(r, files, OpenWAV)
}

func newReader(r catalog.Recording, files []catalog.File, open OpenFunc) *Reader {
	return &Reader{rec: r, files: files, open: open, holding: map[int][]catalog.File{}, used: map[catalog.FileID]*used{}}
}

// Holding returns the files that hold a track, in order of time. It must not be
// changed.
func (r *Reader) Holding(track int) []catalog.File {
	files, known := r.holding[track]
	if !known {
		files = Holding(r.files, track)
		r.holding[track] = files
	}
	return files
}

// Check opens the files that a track's frames from … to lie in, and returns the
// first error.
func (r *Reader) Check(track int, from, to int64) error {
	files := r.Holding(track)
	for _, s := range Stretches(files, from, to) {
		if s.File < 0 {
			continue
		}
		if u := r.use(files[s.File]); u.err != nil {
			return u.err
		}
	}
	return nil
}

// Info returns what the header of a file says; nil if the file was not needed yet,
// or failed.
func (r *Reader) Info(f catalog.File) *wavfile.Info {
	if u := r.used[f.ID]; u != nil && u.source != nil {
		return u.source.handle.Info()
	}
	return nil
}

// Read fills dst with the samples of a track from the given frame of the
// recording on, in the recording's own coding. Where nothing was recorded,
// before the first file, after the last or between two, there is digital
// silence.
//
// It returns how many samples of dst are good: all of them, or fewer and an
// error; after them dst is silent. Errors: *[ChangedError],
// *[UnreadableError], ctx.Err().
func (r *Reader) Read(ctx context.Context, dst []byte, track int, from int64) (int, error) {
	mono := Format(r.rec, 1)
	if err := mono.Check(); err != nil {
		return 0, fmt.Errorf("recording %d: not read: %w", r.rec.ID, err)
	}
	size := int64(mono.ContainerBytes)
	frames := int64(len(dst)) / size
	mono.Silence(dst)
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	files := r.Holding(track)
	for _, s := range Stretches(files, from, from+frames) {
		if s.File < 0 {
			continue
		}
		f := files[s.File]
		first, count, to := s.From-f.StartFrame, s.To-s.From, dst[(s.From-from)*size:]
		u := r.load(f, first, first+count)
		good := u.holds(first, count)
		if good > 0 {
			apart := int64(f.Channels) * size
			pick(to[:good*size], u.buf[(first-u.at)*apart+int64(track-f.FirstTrack)*size:], int(size), int(apart))
		}
		if good < count {
			return int(s.From - from + good), u.err
		}
	}
	return int(frames), nil
}

// use opens a file.
func (r *Reader) use(f catalog.File) *used {
	u := r.used[f.ID]
	if u == nil {
		for id, other := range r.used {
			if r.single && other.err == nil {
				other.source.Close() // read-only: nothing can be lost
				delete(r.used, id)
			}
		}
		u = &used{}
		u.source, u.err = Describe(r.rec, f).Open(r.open)
		r.used[f.ID] = u
	}
	return u
}

// holds returns how many of the frames from first on are in buf, count at most.
func (u *used) holds(first, count int64) int64 {
	if first < u.at {
		return 0
	}
	return min(max(0, u.at+u.n-first), count)
}

// load reads frames from … to of a file, if they are not there yet. If there are
// fewer, err says why.
func (r *Reader) load(f catalog.File, from, to int64) *used {
	u := r.use(f)
	if u.err != nil || u.holds(from, to-from) == to-from {
		return u
	}
	bytes := int(to-from) * f.Channels * r.rec.SampleBytes
	if cap(u.buf) < bytes {
		u.buf = make([]byte, bytes)
	}
	u.buf = u.buf[:bytes]
	n, err := u.source.Read(u.buf, from)
	u.at, u.n, u.err = from, int64(n), err
	return u
}

// pick copies samples of some bytes, which lie so many bytes apart, one behind
// the other.
func pick(dst, src []byte, bytes, apart int) {
	if bytes == apart {
		copy(dst, src)
		return
	}
	for i, at := 0, 0; i < len(dst); i, at = i+bytes, at+apart {
		copy(dst[i:i+bytes], src[at:])
	}
}

// Close closes the files. The reader may be used again afterwards, and then tries
// the files that failed again.
func (r *Reader) Close() error {
	var err error
	for id, u := range r.used {
		if u.source != nil {
			if e := u.source.Close(); err == nil {
				err = e
			}
		}
		delete(r.used, id)
	}
	return err
}
