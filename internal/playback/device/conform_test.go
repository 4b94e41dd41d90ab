package device

import (
	"encoding/binary"
	"io"
	"math"
	"sync"
	"testing"

	"nightreel/internal/playback"
	"nightreel/internal/playback/jackrig"
	"nightreel/internal/playback/sinktest"
)

// The device sink passes the suite on a real audio server, captured by an
// independent client.
func TestJackSink(t *testing.T) {
	server := jackrig.Start(t, jackrig.Options{Ports: 8})
	sinktest.Run(t, func(t *testing.T) sinktest.Sink {
		s, err := Open(playback.SinkRequest{Device: "jack", Rate: sinktest.Rate, Outputs: sinktest.Channels})
		if err != nil {
			t.Fatal(err)
		}
		j := &jackSink{Sink: s, t: t, server: server}
		return sinktest.Sink{Sink: j, Heard: j.heard}
	})
}

// jackSink wires the capture client once the device runs.
type jackSink struct {
	playback.Sink
	t       *testing.T
	server  *jackrig.Server
	capture *jackrig.Capture
	frames  []float32
	read    sync.WaitGroup
}

func (j *jackSink) Start(p playback.Puller) error {
	if err := j.Sink.Start(p); err != nil {
		return err
	}
	j.capture = j.server.Capture(j.t, "nightreel", sinktest.Channels)
	j.read.Go(func() {
		raw, err := io.ReadAll(j.capture)
		if err != nil {
			j.t.Error(err)
		}
		for ; len(raw) >= 4; raw = raw[4:] {
			j.frames = append(j.frames, math.Float32frombits(binary.LittleEndian.Uint32(raw)))
		}
	})
	return nil
}

func (j *jackSink) heard() []float32 {
	j.capture.Stop()
	j.read.Wait()
	if saw := j.capture.Saw(j.t); saw.Lost > 0 {
		j.t.Errorf("the capture client saw %+v", saw)
	}
	return j.frames
}

// miniaudio's own null device has two outputs and a sleep for a clock. It shows
// that opening, the callback and closing pass the suite without an audio server.
func TestLibraryNullSink(t *testing.T) {
	sinktest.Run(t, func(t *testing.T) sinktest.Sink {
		f := found{backend: backend{"null", backendNull, false}}
		f.Name = "library null"
		s, err := open(f, playback.SinkRequest{Rate: sinktest.Rate, Outputs: sinktest.Channels})
		if err != nil {
			t.Fatal(err)
		}
		return sinktest.Record(s)
	})
}
