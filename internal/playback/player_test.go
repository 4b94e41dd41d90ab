package playback

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/playback/pattern"
	"nightreel/internal/wavfile"
)

// The test binary is its own player, as the program is.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == PlayerCommand {
		err := Serve(context.Background(), os.Stdin, os.Stdout, func(req SinkRequest) (Sink, error) {
			s, known, err := OpenBuiltin(req)
			if !known {
				return nil, fmt.Errorf("there is no device %q", req.Device)
			}
			return s, err
		}, openTape)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	config, err := os.MkdirTemp("", "nightreel-config-") // folder of the desk's lock
	if err != nil {
		panic(err)
	}
	os.Setenv("XDG_CONFIG_HOME", config)
	code := m.Run()
	os.RemoveAll(config)
	os.Exit(code)
}

// stored stores a session that matches a program in a new catalog.
func stored(t *testing.T, p *Program) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "catalog.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	ses := catalog.Session{Desk: p.Desk}
	for _, in := range p.Inputs {
		ses.Inputs = append(ses.Inputs, catalog.SessionInput{DeskInput: in.DeskInput, Output: in.Output, Channel: in.Channel, Status: catalog.Playback})
	}
	if ses, err = store.SaveSession(t.Context(), ses); err != nil {
		t.Fatal(err)
	}
	p.Session = ses.ID
	return store
}

// until waits for a status.
func until(t *testing.T, p *Player, what string, is func(Status) bool) Status {
	t.Helper()
	ch, cancel := p.Subscribe()
	defer cancel()
	for st := range ch {
		if is(st) {
			return st
		}
	}
	t.Fatalf("the player ended before %s: %v, %+v", what, p.Err(), p.Status())
	return Status{}
}

// climb raises the overall level in strokes.
func climb(t *testing.T, p *Player, db float64) {
	t.Helper()
	for st := p.Status(); st.LevelDB < db; {
		to := min(db, st.LevelDB+StrokeDB)
		if err := p.Do(t.Context(), Command{Do: Level, DB: &to}); err != nil {
			t.Fatal(err)
		}
		st = until(t, p, "the level", func(s Status) bool { return s.LevelDB == to })
	}
}

// A player process runs through a whole afternoon, is killed, and starts again
// at the same position.
func TestPlayer(t *testing.T) {
	prog := tapeProgram(3, twoSongs...)
	store := stored(t, prog)
	ctx := t.Context()
	out := filepath.Join(t.TempDir(), "out.wav")
	start := func(opt Options) *Player {
		t.Helper()
		opt.Command = []string{os.Args[0], PlayerCommand}
		p, err := Start(ctx, store, prog, opt)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	p := start(Options{Device: "file:" + out})
	if err := p.Do(ctx, Command{Do: Play}); !errors.As(err, new(*RefusedError)) {
		t.Errorf("play before the cautions: %v", err)
	}
	climb(t, p, 0)
	for _, c := range []Command{
		{Do: Acknowledge}, {Do: Trim, Input: 2, DB: ptr(-6.0)}, {Do: Mute, Input: 3, On: true},
		{Do: AtEnd, Then: "stop"}, {Do: Play},
	} {
		if err := p.Do(ctx, c); err != nil {
			t.Fatal(err)
		}
	}
	// At the end of the first song it stops, and is cued at the second.
	until(t, p, "the end", func(s Status) bool { return s.State == Stopped && s.Item == 1 })
	if err := p.Do(ctx, Command{Do: Locate, AtS: ptr(1.5)}); err != nil {
		t.Fatal(err)
	}
	if err := p.Tick(ctx, 2, true); err != nil {
		t.Fatal(err)
	}
	until(t, p, "the tick", func(s Status) bool { return s.Inputs[1].Back })
	end, err := p.Close(ctx)
	if err != nil || !end.Fed || len(end.Open()) != 2 {
		t.Errorf("ending %+v, %v", end, err)
	}
	f, err := wavfile.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	raw := make([]byte, 100*12)
	if _, err := f.ReadFrames(raw, 100_000); err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 300)
	f.Info().Format.Decode(x, raw)
	if at := pattern.FrameOf(float32(x[0]), 0); at < 200_000-filePeriod || at > 200_000+filePeriod || x[2] != 0 || x[299] != 0 {
		t.Errorf("the file's frame 100000 is the recording's %d, the muted output has %v", at, x[2])
	}

	// Started again it is silent, at the same position, at the starting level.
	p = start(Options{Device: "null"})
	st := until(t, p, "the state", func(s Status) bool { return s.Item == 1 })
	if st.State != Unarmed || st.AtS != 1.5 || st.AtEnd != "stop" || st.LevelDB != StartLevelDB || st.Inputs[1].TrimDB != -6 || !st.Inputs[2].Muted || !st.Inputs[1].Back {
		t.Errorf("started again: %+v", st)
	}
	p.cmd.Process.Kill()
	<-p.Done()
	if p.Err() == nil || p.Status().State != Lost {
		t.Errorf("killed: %v, %+v", p.Err(), p.Status())
	}
	if err := p.Do(ctx, Command{Do: Play}); err == nil {
		t.Error("a dead player plays")
	}
	if _, err := p.Close(ctx); err != nil {
		t.Error(err)
	}
	if _, err := Start(ctx, store, prog, Options{Device: "nowhere", Command: []string{os.Args[0], PlayerCommand}}); err == nil || err.Error() != `there is no device "nowhere"` {
		t.Errorf("no device: %v", err)
	}
}
