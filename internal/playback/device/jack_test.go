package device

import (
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"testing"

	"nightreel/internal/playback"
	"nightreel/internal/playback/jackrig"
	"nightreel/internal/playback/pattern"
)

// counter is a puller that counts frames by the pattern.
type counter struct{ frame int64 }

func (c *counter) Pull(dst []float32, channels int) {
	for i := range dst {
		dst[i] = pattern.Float(c.frame+int64(i/channels), i%channels)
	}
	c.frame += int64(len(dst) / channels)
}

// Every output of the device arrives at its own port, bit for bit, frame after
// frame, for channel counts that a naive use of the library mixes or permutes.
func TestJackIsExact(t *testing.T) {
	for _, channels := range []int{2, 48, 65, 128} {
		server := jackrig.Start(t, jackrig.Options{Ports: channels})
		s, err := Open(playback.SinkRequest{Rate: 48000, Outputs: 1})
		if err != nil {
			t.Fatal(err)
		}
		if i := s.Info(); i.Outputs != channels || i.Rate != 48000 || i.Period != 256 || i.Device != "jack" {
			t.Errorf("opened %+v", i)
		}
		if err := s.Start(&counter{}); err != nil {
			t.Fatal(err)
		}
		c := server.Capture(t, "nightreel", channels)
		raw, row := make([]byte, 4*channels), make([]float32, channels)
		var check pattern.Checker
		for range 48_000 {
			if _, err := io.ReadFull(c, raw); err != nil {
				t.Fatal(err)
			}
			for i := range row {
				row[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
			}
			check.Row(row)
		}
		if len(check.Runs) != 1 || check.Runs[0].Kind != pattern.Exact {
			t.Errorf("%d channels: %v", channels, check.Runs[:min(5, len(check.Runs))])
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		server.Kill()
	}
}

func TestUnfitDevices(t *testing.T) {
	server := jackrig.Start(t, jackrig.Options{Ports: 8, Rate: 44100})
	var unfit *UnfitError
	if _, err := Open(playback.SinkRequest{Rate: 44100, Outputs: 9}); !errors.As(err, &unfit) || unfit.Why != "it has 8 outputs, the patch needs 9" {
		t.Errorf("too few outputs: %v", err)
	}
	if _, err := Open(playback.SinkRequest{Rate: 48000, Outputs: 8}); !errors.As(err, &unfit) || unfit.Why != "it runs at 44100 Hz, the recording at 48000 Hz" {
		t.Errorf("another rate: %v", err)
	}
	var none *NoDeviceError
	if _, err := Open(playback.SinkRequest{Device: "no such thing", Rate: 44100, Outputs: 8}); !errors.As(err, &none) {
		t.Errorf("no such device: %v", err)
	}
	devices := List()
	if len(devices) == 0 || devices[0].Name != "jack" || devices[0].Outputs != 8 || len(devices[0].Rates) != 1 || devices[0].Rates[0] != 44100 {
		t.Errorf("devices %+v", devices)
	}
	// The death of a server is detected.
	s, err := Open(playback.SinkRequest{Rate: 44100, Outputs: 8})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(&counter{}); err != nil {
		t.Fatal(err)
	}
	server.Kill()
	watched := s.(*sink)
	<-watched.gone
	if s.Stats().Lost == "" {
		t.Error("the server's death was not detected")
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// Our own integer codings preserve every 24-bit value if they have room for it.
func TestCodings(t *testing.T) {
	src := []float32{0, 0.5, -1, 1, -1.0 / (1 << 23), 8388607.0 / (1 << 23), 1.5, -1.5, float32(math.NaN())}
	for _, c := range []struct {
		bits  int
		write func([]byte, []float32)
	}{{32, write32}, {24, write24}, {16, write16}} {
		dst := make([]byte, c.bits/8*len(src))
		c.write(dst, src)
		for i, x := range src {
			b := append(make([]byte, 4-c.bits/8), dst[c.bits/8*i:][:c.bits/8]...)
			got := int32(binary.LittleEndian.Uint32(b))
			full := math.MaxInt32 &^ (1<<(32-c.bits) - 1)
			want := int64(math.RoundToEven(float64(x)*math.Ldexp(1, c.bits-1))) << (32 - c.bits)
			switch {
			case x != x:
				want = 0
			case x >= 1:
				want = int64(full)
			case x <= -1:
				want = math.MinInt32
			}
			if want > int64(full) {
				want = int64(full)
			}
			if int64(got) != want {
				t.Errorf("%d bit: %v becomes %d, want %d", c.bits, x, got, want)
			}
		}
	}
}

func TestMain(m *testing.M) {
	// Use only servers that the test starts.
	os.Unsetenv("JACK_DEFAULT_SERVER")
	os.Exit(m.Run())
}
