package playback

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"reflect"
	"testing"

	"nightreel/catalog"
)

// A program plays a track over its files, of which two overlap and two leave a
// gap, each frame from one file only; it is the same after the pipe to the
// player's process.
func TestProgramOfOverlappingFiles(t *testing.T) {
	const frames = 200_000
	ctx, dir := t.Context(), t.TempDir()
	store, err := catalog.Open(ctx, filepath.Join(dir, "catalog.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-02"})
	if err != nil {
		t.Fatal(err)
	}
	vol, err := store.AddVolume(ctx, catalog.Volume{Name: "drive", Root: dir})
	if err != nil {
		t.Fatal(err)
	}
	var files []catalog.File
	for i, span := range [][2]int64{{0, 60_000}, {50_000, 100_000}, {100_500, frames}} {
		name := tapePath(0, 2, span[1]-span[0], 24, 48000, span[0])
		files = append(files, catalog.File{VolumeID: vol.ID, Path: name, Segment: i, FirstTrack: 1, Channels: 2,
			StartFrame: span[0], Frames: span[1] - span[0], DataOffset: 44})
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: "main", SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames},
		files, []catalog.Track{{Number: 1, Frames: frames}, {Number: 2, Frames: frames}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	ses := catalog.Session{Items: []catalog.SessionItem{{Show: "2031-05-02", Song: "Slow Lantern", Recording: rec.ID, Rig: "main", StartFrame: 1000, EndFrame: frames - 1000}}}
	for c := range 2 {
		ses.Inputs = append(ses.Inputs, catalog.SessionInput{DeskInput: c + 1, Channel: "Kick", Rig: "main", Track: c + 1, Status: catalog.Playback})
	}
	made, err := NewProgram(ctx, store, ses, ProgramOptions{})
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(made)
	if err != nil {
		t.Fatal(err)
	}
	p := &Program{}
	if err := json.NewDecoder(bytes.NewReader(text)).Decode(p); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(p, made) {
		t.Errorf("after the pipe: %+v, was %+v", p, made)
	}
	for _, v := range p.Items[0].Voices {
		for k := 1; k < len(v.Sources); k++ {
			if a, b := v.Sources[k-1], v.Sources[k]; a.To > b.From {
				t.Errorf("output %d: frames %d to %d come from two files", v.Output, b.From, a.To)
			}
		}
	}
	for i := range p.Items[0].Voices { // tapes have no folder
		for k := range p.Items[0].Voices[i].Sources {
			s := &p.Items[0].Voices[i].Sources[k]
			s.Path = filepath.Base(s.Path)
		}
	}
	src := newSource(p, openTape)
	defer src.close()
	dst, bad := make([]float32, 2*(frames-2000)), make([]bool, 2)
	src.read(dst, position{0, 0}, bad, false)
	for f := range int64(frames - 2000) {
		for c := range 2 {
			want := patternF(1000+f, c)
			if at := 1000 + f; at >= 100_000 && at < 100_500 {
				want = 0
			}
			if x := dst[2*f+int64(c)]; x != want {
				t.Fatalf("frame %d, output %d: %v, want %v", f, c+1, x, want)
			}
		}
	}
	if bad[0] || bad[1] {
		t.Error("a file could not be read")
	}
}
