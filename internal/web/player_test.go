package web_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"nightreel/internal/playback"
	"nightreel/internal/tracks"
	"nightreel/internal/web"
)

// withPlayer makes this test binary the player.
func withPlayer(o *web.Options) {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	o.Player = []string{self, playback.PlayerCommand}
	o.Devices = func(context.Context) []string { return []string{desk} }
}

// troubleEnv names a folder for the player of a test: where a file "device"
// comes into it, the sound device is gone until the file is; where a file
// "disk" does, recordings cannot be read.
const troubleEnv = "NIGHTREEL_TEST_TROUBLE"

func trouble(name string) bool {
	_, err := os.Stat(filepath.Join(os.Getenv(troubleEnv), name))
	return os.Getenv(troubleEnv) != "" && err == nil
}

// desk is a device that counts as one that is heard, though it is not.
const desk = "test desk"

// losable is the sink without sound, of a device that can be pulled out.
type losable struct{ playback.Sink }

func (l losable) Stats() playback.SinkStats {
	s := l.Sink.Stats()
	if trouble("device") {
		s.Lost = "the sound device was pulled out"
	}
	return s
}

func openSink(req playback.SinkRequest) (playback.Sink, error) {
	if trouble("device") {
		return nil, &playback.OpenError{Why: "there is no such device any more", Help: "plug it in"}
	}
	if req.Device == desk {
		req.Device = playback.Silent
	}
	sink, known, err := playback.OpenBuiltin(req)
	if !known && err == nil {
		err = &playback.OpenError{Why: "there is no device " + req.Device, Help: "null makes no sound"}
	}
	if err != nil {
		return nil, err
	}
	return losable{sink}, nil
}

// failing is a recording on a drive that can be pulled out.
type failing struct{ tracks.Handle }

func (f failing) ReadFrames(b []byte, frame int64) (int, error) {
	if trouble("disk") {
		return 0, errors.New("input/output error")
	}
	return f.Handle.ReadFrames(b, frame)
}

func openFile(path string) (tracks.Handle, error) {
	if trouble("disk") {
		return nil, errors.New("input/output error")
	}
	rec, err := tracks.OpenWAV(path)
	if err != nil {
		return nil, err
	}
	return failing{rec}, nil
}
