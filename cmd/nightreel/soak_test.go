package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/playback"
	"nightreel/internal/playback/jackrig"
	"nightreel/internal/playback/pattern"
	"nightreel/internal/wavfile"
)

// The soak run: an afternoon's load on the player, as long as NIGHTREEL_SOAK
// says ("30m"). It is no test of the suite; run it by hand:
//
//	NIGHTREEL_SOAK=30m go test ./cmd/nightreel -run TestSoak -v -timeout 2h
//
// NIGHTREEL_SOAK_CHANNELS (64), NIGHTREEL_SOAK_PERIOD (256),
// NIGHTREEL_SOAK_LOAD=no leaves the machine idle, NIGHTREEL_SOAK_REALTIME=yes
// uses the asynchronous server, where late blocks cost samples: the capture
// client, in C, counts those that it missed itself.
func TestSoak(t *testing.T) {
	length, err := time.ParseDuration(os.Getenv("NIGHTREEL_SOAK"))
	if err != nil {
		t.Skip("NIGHTREEL_SOAK is not set")
	}
	channels, period := 64, 256
	for name, n := range map[string]*int{"NIGHTREEL_SOAK_CHANNELS": &channels, "NIGHTREEL_SOAK_PERIOD": &period} {
		if v := os.Getenv(name); v != "" {
			if *n, err = strconv.Atoi(v); err != nil {
				t.Fatal(err)
			}
		}
	}
	realTime := os.Getenv("NIGHTREEL_SOAK_REALTIME") == "yes"
	program := self(t)
	store, ses := soakSession(t, channels)
	server := jackrig.Start(t, jackrig.Options{Period: period, Ports: channels, RealTime: realTime})
	prog, err := playback.NewProgram(t.Context(), store, ses, playback.ProgramOptions{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := playback.Start(t.Context(), store, prog, playback.Options{Device: "jack", Acknowledged: true, Command: []string{program, playback.PlayerCommand}})
	if err != nil {
		t.Fatal(err)
	}
	c := server.Capture(t, "nightreel", channels)
	if os.Getenv("NIGHTREEL_SOAK_LOAD") != "no" {
		burden(t, program)
	}
	heard := make(chan *pattern.Checker)
	go listenTo(c, channels, heard)
	do := func(c playback.Command) {
		t.Helper()
		if err := p.Do(t.Context(), c); err != nil {
			t.Error(err)
		}
	}
	for p.Status().LevelDB < playback.MaxLevelDB {
		level := min(playback.MaxLevelDB, p.Status().LevelDB+playback.StrokeDB)
		do(playback.Command{Do: playback.Level, DB: &level})
		time.Sleep(2 * playback.StatusInterval)
	}
	time.Sleep(time.Second)
	before := used(t, p.PID())
	do(playback.Command{Do: playback.Play})
	began := time.Now()
	ctx, stop := signal.NotifyContext(t.Context(), os.Interrupt) // ends it early, with its figures
	defer stop()
	jumps := afternoon(ctx, p, do, length)
	do(playback.Command{Do: playback.Pause})
	took := time.Since(began)
	cpu := used(t, p.PID()) - before
	time.Sleep(time.Second)
	st := p.Status()
	own, shared := memoryOf(t, p.PID())
	if _, err := p.Close(t.Context()); err != nil {
		t.Error(err)
	}
	c.Stop()
	check := <-heard
	saw := c.Saw(t)
	counts := judge(t, check, realTime)
	t.Logf("%s on the clock, %s of audio, %d channels, period %d, real-time server %v", took.Round(time.Second), time.Duration(st.PlayedS*1e9).Round(time.Second), channels, period, realTime)
	t.Logf("captured %d frames; %s", check.Frames(), counts)
	t.Logf("%d jumps asked for; disk waits %d, late blocks %d (the C client: %d late, %d xruns, %d frames lost), longest callback %.2f ms", jumps, st.Underruns, st.LateBlocks, saw.Late, saw.XRuns, saw.Lost, st.MaxCallbackMS)
	t.Logf("the player's process: %.1f %% of a core for a second of audio, %.0f MiB of memory, and %.0f MiB that JACK shares", 100*cpu.Seconds()/(st.PlayedS-1), float64(own)/(1<<20), float64(shared)/(1<<20))
	if st.Underruns > 0 || saw.Lost > 0 {
		t.Error("samples were missing")
	}
}

// The soak's session: two songs over the ends of files.
const (
	soakRate    = 48_000
	soakSegment = 60 * soakRate
	soakFrames  = 240 * soakRate
	soakStart1  = 10 * soakRate
	soakEnd1    = 130 * soakRate
	soakStart2  = 150 * soakRate
	soakEnd2    = 220 * soakRate
	soakLoopA   = 45 * soakRate // from the first song's start; the end of a file lies between
	soakLoopB   = 53 * soakRate
	soakFade    = soakRate / 100
)

// soakSession writes a recording of the pattern, mono files in segments, and
// makes a session of it.
func soakSession(t *testing.T, channels int) (*catalog.Store, catalog.Session) {
	t.Helper()
	dir := t.TempDir()
	ctx := t.Context()
	store, err := catalog.Open(ctx, filepath.Join(dir, "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	vol, err := store.AddVolume(ctx, catalog.Volume{Name: "drive", Root: dir})
	must(err)
	show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-02"})
	must(err)
	format := wavfile.Format{SampleRate: soakRate, Channels: 1, BitDepth: 24, ContainerBytes: 3}
	files, tracks := []catalog.File{}, []catalog.Track{}
	raw := make([]byte, 3*soakRate)
	for ch := range channels {
		tracks = append(tracks, catalog.Track{Number: ch + 1, Name: fmt.Sprintf("Channel %d", ch+1), Frames: soakFrames})
		for seg := range soakFrames / soakSegment {
			name := fmt.Sprintf("TRK%03d_%04d.wav", ch+1, seg+1)
			w, err := wavfile.Create(filepath.Join(dir, name), format, wavfile.Meta{})
			must(err)
			for at := seg * soakSegment; at < (seg+1)*soakSegment; at += soakRate {
				for f := range soakRate {
					v := pattern.Sample(int64(at+f), ch)
					raw[3*f], raw[3*f+1], raw[3*f+2] = byte(v), byte(v>>8), byte(v>>16)
				}
				must(w.WriteFrames(raw))
			}
			must(w.Close())
			f, err := wavfile.Open(filepath.Join(dir, name))
			must(err)
			files = append(files, catalog.File{VolumeID: vol.ID, Path: name, Segment: seg, FirstTrack: ch + 1, Channels: 1, StartFrame: int64(seg) * soakSegment, Frames: soakSegment, DataOffset: f.Info().DataOffset})
			f.Close()
		}
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Show: show.Key, Rig: "main", SampleRate: soakRate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: soakFrames}, files, tracks, nil)
	must(err)
	ses := catalog.Session{Desk: "foh"}
	for i, span := range [][2]int64{{soakStart1, soakEnd1}, {soakStart2, soakEnd2}} {
		ses.Items = append(ses.Items, catalog.SessionItem{Show: show.Key, Song: fmt.Sprintf("Song %d", i+1), Recording: rec.ID, Rig: "main", SampleRate: soakRate, StartFrame: span[0], EndFrame: span[1]})
		for ch := range channels {
			ses.Inputs = append(ses.Inputs, catalog.SessionInput{Item: i, DeskInput: ch + 1, Output: ch + 1, Channel: tracks[ch].Name, Rig: "main", Track: ch + 1, Status: catalog.Playback})
		}
	}
	ses, err = store.SaveSession(ctx, ses)
	must(err)
	return store, ses
}

// afternoon plays for a time: jumps, rounds of a loop, a change of song, over
// and over. It returns how many jumps it asked for. Time is that of the audio,
// which the synchronous server lets slip on a busy machine; it ends in any case
// when one and a half times as long has passed on the clock.
func afternoon(ctx context.Context, p *playback.Player, do func(playback.Command), length time.Duration) (jumps int) {
	played := func() float64 { return p.Status().PlayedS }
	began, latest := played(), time.Now().Add(length*3/2)
	at := func(item int, s float64) {
		do(playback.Command{Do: playback.Locate, Item: &item, AtS: &s})
		jumps++
	}
	over := func() bool {
		return played()-began >= length.Seconds() || time.Now().After(latest) || ctx.Err() != nil
	}
	listen := func(seconds float64) {
		for until := played() + seconds; played() < until && time.Now().Before(latest) && ctx.Err() == nil; {
			time.Sleep(playback.StatusInterval)
		}
	}
	from, to := float64(soakLoopA)/soakRate, float64(soakLoopB)/soakRate
	for !over() {
		at(0, 40)
		do(playback.Command{Do: playback.LoopOn, FromS: &from, ToS: &to})
		listen(35) // 13 s, then nearly three rounds
		do(playback.Command{Do: playback.LoopOff})
		at(0, 112)
		listen(15) // over the change of song
		for k := range 10 {
			at(k%2, float64(3+5*k))
			listen(0.5)
		}
	}
	return jumps
}

// burden loads every core, and scans a demo tour again and again.
func burden(t *testing.T, program string) {
	t.Helper()
	dir := t.TempDir()
	tour := filepath.Join(dir, "tour")
	if _, err := demo.Make(t.Context(), tour, demo.Options{Scale: demo.Small}); err != nil {
		t.Fatal(err)
	}
	// What burns the cores takes whatever is left, so that nothing idles.
	loops := []string{fmt.Sprintf(`while :; do rm -f %[1]s/c.nightreel*; NIGHTREEL_CATALOG=%[1]s/c.nightreel %[2]s scan %[3]s >/dev/null 2>&1; done`, dir, program, tour)}
	for range runtime.NumCPU() {
		loops = append(loops, "exec nice -n 19 sh -c 'while :; do :; done'")
	}
	for _, l := range loops {
		cmd := exec.Command("sh", "-c", l)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	}
}

// listenTo checks what a capture client hears, to its end.
func listenTo(c *jackrig.Capture, channels int, heard chan<- *pattern.Checker) {
	in := bufio.NewReaderSize(c, 1<<20)
	raw, row := make([]byte, 4*channels), make([]float32, channels)
	check := &pattern.Checker{}
	for {
		if _, err := io.ReadFull(in, raw); err != nil {
			heard <- check
			return
		}
		for i := range row {
			row[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
		}
		check.Row(row)
	}
}

// judge goes through what was heard: from silence through one fade into the
// pattern, and from there on every frame exact but for fades of the right
// length at places where the program jumps, to silence at the end.
func judge(t *testing.T, check *pattern.Checker, realTime bool) string {
	t.Helper()
	exact, loops, songs, jumps, wrong, gaps := int64(0), 0, 0, 0, 0, 0
	runs := check.Runs
	complain := func(i int) {
		if wrong++; wrong <= 5 {
			t.Errorf("between %v and %v: %v", runs[i-1], runs[min(i+1, len(runs)-1)], runs[i])
		}
	}
	for i, r := range runs {
		if r.Kind == pattern.Exact {
			exact += r.Length
		}
		if i == 0 || i >= len(runs)-2 {
			continue // silence before, the last fade and silence after
		}
		last := runs[i-1]
		switch {
		case r.Kind == pattern.Other && i == 1:
		case r.Kind == pattern.Other && r.Length == soakFade && last.Kind == pattern.Exact && runs[i+1].Kind == pattern.Exact:
			out, in := last.Frame+last.Length, runs[i+1].Frame-soakFade
			switch {
			case out == soakStart1+soakLoopB && in == soakStart1+soakLoopA:
				loops++
			case out == soakEnd1 && in == soakStart2:
				songs++
			default:
				jumps++ // wherever a person pressed; it must lead to a whole second
				if (in-soakStart1)%soakRate != 0 && (in-soakStart2)%soakRate != 0 {
					complain(i)
				}
			}
		case r.Kind == pattern.Exact && last.Kind == pattern.Other:
		case realTime: // a cycle that somebody missed: a hole, or a block half done
			gaps++
		default:
			complain(i)
		}
	}
	return fmt.Sprintf("%d exact on every channel, %d rounds of a loop, %d changes of song, %d jumps, %d blocks spoilt by late cycles, %d wrong", exact, loops, songs, jumps, gaps, wrong)
}

// used returns the processor time that a process has used.
func used(t *testing.T, pid int) time.Duration {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	f := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+1:]))
	user, _ := strconv.ParseInt(f[11], 10, 64)
	system, _ := strconv.ParseInt(f[12], 10, 64)
	return time.Duration(user+system) * time.Second / 100 // USER_HZ
}

// memoryOf returns in bytes what a process holds of its own, and what it shares
// with the audio server: JACK's clients see all of the server's memory.
func memoryOf(t *testing.T, pid int) (own, shared int64) {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		name, rest, _ := strings.Cut(line, ":")
		kib, _ := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 64)
		switch name {
		case "RssAnon", "RssFile":
			own += kib << 10
		case "RssShmem":
			shared = kib << 10
		}
	}
	return own, shared
}
