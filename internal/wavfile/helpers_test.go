package wavfile

import (
	"bytes"
	"encoding/binary"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// writeFile writes raw frames with a Writer and returns the path.
func writeFile(t testing.TB, o Options, f Format, m Meta, raw []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.wav")
	w, err := o.Create(path, f, m)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFrames(raw); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// readAll opens a file and returns its info and all its frames.
func readAll(t testing.TB, path string) (*Info, []byte) {
	t.Helper()
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	raw := make([]byte, f.Info().Frames*int64(f.Info().Format.FrameBytes()))
	n, err := f.ReadFrames(raw, 0)
	if int64(n) != f.Info().Frames || err != nil && len(raw) > 0 {
		t.Fatalf("ReadFrames = %d, %v; want %d frames", n, err, f.Info().Frames)
	}
	return f.Info(), raw
}

// noise returns frames of arbitrary samples that every tool can carry: float
// within ±1, unused low bits 0.
func noise(f Format, frames int) []byte {
	r := rand.New(rand.NewPCG(1, uint64(f.FrameBytes())))
	src := make([]float64, frames*f.Channels)
	for i := range src {
		src[i] = 2*r.Float64() - 1
	}
	// Both ends of the range, and the smallest step.
	for i, x := range []float64{-1, 1, 0, -1.0 / (1 << 31), 1.0 / (1 << 23)} {
		if i < len(src) {
			src[i] = x
		}
	}
	raw := make([]byte, frames*f.FrameBytes())
	f.Encode(raw, src)
	return raw
}

// tool returns the path of a reference tool. A machine without it skips the
// test, except in CI.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("CI") == "true" {
		t.Fatalf("%s is needed in CI: %v", name, err)
	}
	if err != nil {
		t.Skipf("%s is not installed", name)
	}
	return path
}

func run(t testing.TB, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(name, args...)
	var out, msg bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &msg
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %q: %v\n%s", filepath.Base(name), args, err, msg.Bytes())
	}
	return out.Bytes()
}

// Pieces of files for tests of the walker.

func u16(n int) []byte { return binary.LittleEndian.AppendUint16(nil, uint16(n)) }
func u32(n int64) []byte {
	return binary.LittleEndian.AppendUint32(nil, uint32(n))
}
func u64(n int64) []byte { return binary.LittleEndian.AppendUint64(nil, uint64(n)) }

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// chunk builds a chunk; sized builds one that claims another size.
func chunk(id string, body ...[]byte) []byte { return appendChunk(nil, id, join(body...)) }

func sized(id string, size int64, body ...[]byte) []byte {
	return join([]byte(id), u32(size), join(body...))
}

// riffFile builds a file with the right RIFF size.
func riffFile(chunks ...[]byte) []byte {
	c := join(chunks...)
	return join([]byte("RIFF"), u32(int64(len(c)+4)), []byte("WAVE"), c)
}

// withRIFFSize changes the 32-bit size of the whole.
func withRIFFSize(b []byte, size int64) []byte {
	copy(b[4:], u32(size))
	return b
}

// rf64File builds an RF64 file with the given 64-bit sizes; riffSize < 0 = right.
func rf64File(magic string, riffSize, dataSize int64, chunks ...[]byte) []byte {
	c := join(chunks...)
	if riffSize < 0 {
		riffSize = int64(4 + 36 + len(c))
	}
	return join([]byte(magic), u32(noSize), []byte("WAVE"),
		chunk("ds64", u64(riffSize), u64(dataSize), u64(0), u32(0)), c)
}

var mono16 = Format{SampleRate: 48000, Channels: 1, BitDepth: 16, ContainerBytes: 2}
var stereo24 = Format{SampleRate: 48000, Channels: 2, BitDepth: 24, ContainerBytes: 3}

func fmtChunk(f Format) []byte { return chunk("fmt ", appendFormat(nil, f)) }

func parse(t testing.TB, b []byte) *Info {
	t.Helper()
	in, err := Parse(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return in
}
