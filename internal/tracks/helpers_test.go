package tracks

import (
	"fmt"
	"os"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

const rate = 48_000

// formats are all codings that a recorder may use, of one channel.
var formats = []wavfile.Format{
	{SampleRate: rate, Channels: 1, BitDepth: 8, ContainerBytes: 1},
	{SampleRate: rate, Channels: 1, BitDepth: 16, ContainerBytes: 2},
	{SampleRate: rate, Channels: 1, BitDepth: 24, ContainerBytes: 3},
	{SampleRate: rate, Channels: 1, BitDepth: 24, ContainerBytes: 4},
	{SampleRate: rate, Channels: 1, BitDepth: 32, ContainerBytes: 4},
	{SampleRate: rate, Channels: 1, BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float},
	{SampleRate: rate, Channels: 1, BitDepth: 64, ContainerBytes: 8, Encoding: wavfile.Float},
}

var pcm24 = formats[2]

func name(f wavfile.Format) string {
	return fmt.Sprintf("%d bit %s in %d bytes", f.BitDepth, f.Encoding, f.ContainerBytes)
}

// tape is a recording on the disk.
type tape struct {
	t      *testing.T
	dir    string
	rec    catalog.Recording
	format wavfile.Format // of one channel
	files  []catalog.File
	tracks [][]byte // what reading must return of tracks 1, 2, …, silence in the gaps
}

func newTape(t *testing.T, f wavfile.Format, tracks, frames int) *tape {
	t.Helper()
	tp := &tape{t: t, dir: t.TempDir(), format: f, rec: catalog.Recording{ID: 1, SampleRate: f.SampleRate, BitDepth: f.BitDepth,
		SampleBytes: f.ContainerBytes, Encoding: f.Encoding.String(), Frames: int64(frames)}}
	for range tracks {
		silent := make([]byte, frames*f.ContainerBytes)
		f.Silence(silent)
		tp.tracks = append(tp.tracks, silent)
	}
	return tp
}

// add writes a file that holds some tracks from frame start on.
func (tp *tape) add(first, channels, start, frames int) *catalog.File {
	tp.t.Helper()
	f, size := tp.format, tp.format.ContainerBytes
	f.Channels = channels
	raw := make([]byte, frames*f.FrameBytes())
	for c := range channels {
		x := wavtest.Noise(tp.format, frames, 1000*len(tp.files)+first+c)
		copy(tp.tracks[first+c-1][start*size:], x)
		for i := range frames {
			copy(raw[i*f.FrameBytes()+c*size:], x[i*size:(i+1)*size])
		}
	}
	file := catalog.File{ID: catalog.FileID(len(tp.files) + 1), Root: tp.dir, Path: fmt.Sprintf("%02d.wav", len(tp.files)+1),
		FirstTrack: first, Channels: channels, StartFrame: int64(start), Frames: int64(frames)}
	file.DataOffset = wavtest.Write(tp.t, file.FullPath(), f, wavfile.Meta{}, raw)
	st, err := os.Stat(file.FullPath())
	ok(tp.t, err)
	file.Size, file.ModTime = st.Size(), st.ModTime()
	tp.files = append(tp.files, file)
	return &tp.files[len(tp.files)-1]
}

// want returns what reading frames of a track must return; outside of the
// recording that is silence.
func (tp *tape) want(track, from, frames int) []byte {
	size := tp.format.ContainerBytes
	b := make([]byte, frames*size)
	tp.format.Silence(b)
	for i := range frames {
		if at := from + i; at >= 0 && at < int(tp.rec.Frames) {
			copy(b[i*size:(i+1)*size], tp.tracks[track-1][at*size:])
		}
	}
	return b
}

func (tp *tape) reader(open OpenFunc) *Reader {
	r := newReader(tp.rec, tp.files, open)
	tp.t.Cleanup(func() { r.Close() })
	return r
}

// open returns a track as [Open] does, without a catalog.
func (tp *tape) open(track int) *Track {
	r := tp.reader(OpenWAV)
	r.single = true
	return &Track{Track: catalog.Track{Number: track}, Recording: tp.rec, reader: r}
}

// disk opens files and counts; at byte bad it fails with err.
type disk struct {
	opened, open, reads int
	bad                 int64
	err                 error
}

func (d *disk) openFile(path string) (Handle, error) {
	h, err := OpenWAV(path)
	if err != nil {
		return nil, err
	}
	d.opened++
	d.open++
	return &counted{h, d, path}, nil
}

type counted struct {
	Handle
	disk *disk
	path string
}

func (c *counted) Close() error {
	c.disk.open--
	return c.Handle.Close()
}

func (c *counted) ReadFrames(dst []byte, frame int64) (int, error) {
	c.disk.reads++
	i := c.Info()
	size := int64(i.Format.FrameBytes())
	if at := i.DataOffset + frame*size; c.disk.err != nil && at+int64(len(dst)) > c.disk.bad {
		good := max(0, c.disk.bad-at) / size
		if n, err := c.Handle.ReadFrames(dst[:good*size], frame); good > 0 && err != nil {
			return n, err
		}
		return int(good), &wavfile.Error{Path: c.path, Doing: "not read", Offset: max(at, c.disk.bad), Err: c.disk.err}
	}
	return c.Handle.ReadFrames(dst, frame)
}

func ok(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
