// Package wavtest makes WAV files and samples for tests.
package wavtest

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"nightreel/internal/wavfile"
)

// Write writes frames to a WAV file, in place of an existing one, and returns
// the byte at which they begin. It creates missing folders. An error ends the
// test.
func Write(t testing.TB, path string, f wavfile.Format, meta wavfile.Meta, frames []byte) (dataOffset int64) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	w, err := wavfile.Options{Replace: true}.Create(path, f, meta)
	if err == nil {
		err = w.WriteFrames(frames)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	r, err := wavfile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	return r.Info().DataOffset
}

// WriteSamples does what [Write] does with the frames of one channel, given as
// fractions of full scale.
func WriteSamples(t testing.TB, path string, f wavfile.Format, samples []float64) (dataOffset int64) {
	t.Helper()
	return Write(t, path, f, wavfile.Meta{}, Encode(f, samples))
}

// Encode returns the frames of one channel, given as fractions of full scale.
func Encode(f wavfile.Format, samples []float64) []byte {
	b := make([]byte, len(samples)*f.ContainerBytes)
	f.Encode(b, samples)
	return b
}

// Noise returns frames of random samples of one channel: every bit of integers
// is random, floats lie within ±1.
func Noise(f wavfile.Format, frames, seed int) []byte {
	r := rand.New(rand.NewPCG(uint64(seed), 2031))
	b := make([]byte, frames*f.ContainerBytes)
	for i := range frames {
		at := b[i*f.ContainerBytes:]
		switch {
		case f.Encoding == wavfile.Float && f.ContainerBytes == 4:
			binary.LittleEndian.PutUint32(at, math.Float32bits(float32(2*r.Float64()-1)))
		case f.Encoding == wavfile.Float:
			binary.LittleEndian.PutUint64(at, math.Float64bits(2*r.Float64()-1))
		default:
			for k := range f.ContainerBytes {
				at[k] = byte(r.Uint32())
			}
			if f.BitDepth == 24 && f.ContainerBytes == 4 {
				at[0] = 0
			}
		}
	}
	return b
}
