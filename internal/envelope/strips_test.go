package envelope_test

import (
	"math"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

// night stores one recording of two tracks: track 1 rises by a step every second
// from −60 dBFS, track 2 is silent and ends after 40 s of 150 s.
func night(t *testing.T) (*catalog.Store, catalog.Recording) {
	t.Helper()
	store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	const rate = 48000
	show, err := store.EnsureShow(t.Context(), catalog.Show{Date: "2031-05-02"})
	if err != nil {
		t.Fatal(err)
	}
	r, err := store.SaveRecording(t.Context(), catalog.Recording{ShowID: show.ID, Rig: "main", SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 150 * rate},
		nil, []catalog.Track{{Number: 1, Frames: 150 * rate}, {Number: 2, Frames: 40 * rate}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	measure(t, store, r, 0)
	return store, r
}

func measure(t *testing.T, store *catalog.Store, r catalog.Recording, raise float64) {
	t.Helper()
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		t.Fatal(err)
	}
	parts := []catalog.Part{}
	for _, track := range tracks {
		blocks := int(track.Frames / int64(meter.BlockFrames(r.SampleRate)))
		for part := 0; part*meter.PartBlocks < blocks; part++ {
			var p meter.Part
			for i := part * meter.PartBlocks; i < min(blocks, (part+1)*meter.PartBlocks); i++ {
				b := meter.Block{Zeros: 4800}
				if track.Number == 1 {
					peak := float32(math.Pow(10, (float64(i/10)*0.3+raise-60)/20))
					b = meter.Block{Peak: peak, TruePeak: peak, MeanSquare: peak * peak / 4}
				}
				p.Blocks = append(p.Blocks, b)
			}
			parts = append(parts, catalog.Part{Track: track.ID, Part: part, Data: meter.Encode(p)})
		}
	}
	if err := store.PutParts(t.Context(), parts, nil); err != nil {
		t.Fatal(err)
	}
}

func TestStrips(t *testing.T) {
	store, r := night(t)
	for _, columns := range []int{15, 30, 150, 1500, 4000} { // coarse, fine, and finer than a block
		for pass := range 2 { // computed, then cached
			strips, err := envelope.Strips(t.Context(), store, r, 0, r.Frames, columns)
			if err != nil || len(strips) != 2 {
				t.Fatalf("%d strips, %v", len(strips), err)
			}
			for c := range columns {
				// The loudest second that the column touches.
				second := math.Ceil(float64(c+1)*150/float64(columns)-1e-9) - 1
				want := envelope.Code(math.Pow(10, (second*0.3-60)/20))
				if got := strips[0].Columns[2*c]; got != want {
					t.Fatalf("%d columns, pass %d: column %d has peak %d, want %d", columns, pass, c, got, want)
				}
				if rms := strips[0].Columns[2*c+1]; rms == 0 || rms >= want {
					t.Fatalf("%d columns: column %d has RMS %d beside peak %d", columns, c, rms, want)
				}
				silent := byte(0) // nothing was recorded
				if float64(c)*150/float64(columns) < 40 {
					silent = 1
				}
				if got := strips[1].Columns[2*c]; got != silent {
					t.Fatalf("%d columns: column %d of the silent track is %d, want %d", columns, c, got, silent)
				}
			}
		}
	}
}

func TestStripsFollowTheMeasurement(t *testing.T) {
	store, r := night(t)
	peak := func() byte {
		strips, err := envelope.Strips(t.Context(), store, r, 0, r.Frames, 10)
		if err != nil {
			t.Fatal(err)
		}
		return strips[0].Columns[0]
	}
	before := peak()
	measure(t, store, r, 6) // measured again, 6 dB louder
	if after := peak(); after != before+12 {
		t.Errorf("peak %d after the track was measured again, want %d", after, before+12)
	}
}

func TestCode(t *testing.T) {
	for _, c := range []struct {
		amplitude float64
		want      byte
	}{{0, 1}, {math.NaN(), 1}, {1e-9, 1}, {0.5, 243}, {1, 255}, {4, 255}} {
		if got := envelope.Code(c.amplitude); got != c.want {
			t.Errorf("Code(%v) = %d, want %d", c.amplitude, got, c.want)
		}
	}
}

// A byte gives the level to a quarter of a decibel.
func TestLevel(t *testing.T) {
	for db := -126.0; db <= 0; db += 0.1 {
		if got := levelOf(envelope.Code(math.Pow(10, db/20))); math.Abs(got-db) > 0.2501 {
			t.Errorf("%.1f dBFS is read as %.1f", db, got)
		}
	}
	for _, code := range []byte{0, 1} {
		if got := levelOf(code); !math.IsInf(got, -1) {
			t.Errorf("code %d is %v dBFS", code, got)
		}
	}
}

// levelOf returns the level, in dBFS, of a strip's byte; negative infinity for
// silence and for a byte without a measurement.
func levelOf(code byte) float64 {
	if code <= 1 {
		return math.Inf(-1)
	}
	return float64(int(code)-255) / 2
}
