package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/playback/jackrig"
	"nightreel/internal/wavfile"
)

// self puts this test binary into a folder under the program's name, by which
// it is the program.
func self(t *testing.T) string {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "nightreel")
	if os.Link(exe, name) == nil {
		return name
	}
	b, err := os.ReadFile(exe)
	if err == nil {
		err = os.WriteFile(name, b, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// typist is a running session play that takes lines.
type typist struct {
	t   *testing.T
	cmd *exec.Cmd
	in  io.WriteCloser
	out said
}

// said is what a program printed so far.
type said struct {
	mu    sync.Mutex
	text  strings.Builder
	fresh chan struct{}
}

func (s *said) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	select {
	case s.fresh <- struct{}{}:
	default:
	}
	return s.text.Write(b)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// waits waits until the program has printed a text.
func (p *typist) waits(text string) {
	p.t.Helper()
	for !strings.Contains(p.out.String(), text) {
		select {
		case <-p.out.fresh:
		case <-p.t.Context().Done():
			p.t.Fatal("the test is over")
		case <-time.After(30 * time.Second):
			p.t.Fatalf("%q does not come: %s", text, p.out.String())
		}
	}
}

func playSession(t *testing.T, program string, args ...string) *typist {
	t.Helper()
	p := &typist{t: t, cmd: exec.Command(program, append([]string{"session", "play", "--plain"}, args...)...)}
	p.out.fresh = make(chan struct{}, 1)
	p.cmd.Stdout, p.cmd.Stderr = &p.out, &p.out
	var err error
	if p.in, err = p.cmd.StdinPipe(); err == nil {
		err = p.cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.in.Close(); p.cmd.Wait() })
	return p
}

func (p *typist) types(lines ...string) {
	p.t.Helper()
	if _, err := fmt.Fprintln(p.in, strings.Join(lines, "\n")); err != nil {
		p.t.Fatalf("%v: %s", err, p.out.String())
	}
}

// climbs raises the overall level to whole dB, stroke by stroke.
func (p *typist) climbs(to int) {
	p.t.Helper()
	for level := int(playback.StartLevelDB) + 1; level <= to; level++ {
		p.types(fmt.Sprintf("level %d", level))
		there := fmt.Sprintf("level %d.0 dB", level)
		for !strings.Contains(p.out.String(), there) {
			p.types("status")
			select {
			case <-p.out.fresh:
			case <-time.After(30 * time.Second):
				p.t.Fatalf("%q does not come: %s", there, p.out.String())
			}
		}
	}
}

// leaves ends the input and returns the exit status.
func (p *typist) leaves() int {
	p.in.Close()
	p.cmd.Wait()
	return p.cmd.ProcessState.ExitCode()
}

// rendered reads what session render wrote of an item: the frames of each desk
// input, nil for one that does not play.
func rendered(t *testing.T, dir string, inputs int) [][]float64 {
	t.Helper()
	all := make([][]float64, inputs)
	files, err := filepath.Glob(filepath.Join(dir, "*.wav"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s: %v, %v", dir, files, err)
	}
	for _, name := range files {
		var n int
		fmt.Sscanf(filepath.Base(name), "%d", &n)
		f, err := wavfile.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		raw := make([]byte, f.Info().Frames*int64(f.Info().Format.FrameBytes()))
		if _, err := f.ReadFrames(raw, 0); err != nil {
			t.Fatal(err)
		}
		all[n-1] = make([]float64, f.Info().Frames)
		f.Info().Format.Decode(all[n-1], raw)
		f.Close()
	}
	return all
}

// The whole way: a demo session is played by the program through a real audio
// server, and what an independent client of that server captures is compared
// with what session render writes, which is bit-identical to the recordings
// where the trim is 0. Loops, the ends of files and the change of song are on
// the way.
func TestPlayThroughAnAudioServer(t *testing.T) {
	if testing.Short() {
		t.Skip("another process plays: nothing for the race detector")
	}
	const rate, inputs, fade = 12_000, 16, 120
	server := jackrig.Start(t, jackrig.Options{Rate: rate, Period: 256, Ports: inputs})
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour := filepath.Join(dir, "tour")
	work := t.TempDir()
	t.Setenv("NIGHTREEL_CATALOG", filepath.Join(work, "c.nightreel"))
	program := self(t)
	for _, args := range [][]string{
		{"scan", tour}, {"inputs", "import", filepath.Join(tour, "inputs.csv"), "--from", "2031-05-02"},
		{"setlist", "import", filepath.Join(tour, "2031-05-02 Harbour Hall, Tidewick", "setlist.txt"), "--show", "2031-05-02"},
		{"desk", "import", filepath.Join(tour, "desk-foh.csv"), "--name", "foh"},
		{"takes", "set", "--show", "2031-05-02", "--song", "One", "--start", "2", "--end", "6", "--yes"},
		{"takes", "set", "--show", "2031-05-05", "--song", "Two", "--start", "12", "--end", "16", "--yes"},
		{"session", "build", "--desk", "foh", "--song", "One", "--song", "Two"},
		{"session", "render", filepath.Join(work, "render")},
	} {
		if out, err := exec.Command(program, args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v: %s", args, err, out)
		}
	}
	songs := [][][]float64{
		rendered(t, filepath.Join(work, "render", "01 One (2031-05-02)"), inputs),
		rendered(t, filepath.Join(work, "render", "02 Two (2031-05-05)"), inputs),
	}
	// A trim is rendered with dither, so that those inputs differ by up to 1.5
	// LSB of the recording's 24 and 16 bit; trim 0 has to be exact.
	doc, err := exec.Command(program, "session", "show", "--json").Output()
	if err != nil {
		t.Fatal(err)
	}
	tolerance := tolerances(t, doc, inputs)

	p := playSession(t, program, "--cautions-read", "--device", "jack")
	p.waits("stopped") // before, the device's ports come and go
	p.climbs(0)
	c := server.Capture(t, "nightreel", inputs)
	p.types("loop 1 2", "wait 0.3", "play")
	// A player that says nothing would keep the capture client silent for ever.
	patience := time.AfterFunc(time.Minute, func() { c.Stop() })
	defer patience.Stop()
	row := make([]byte, 4*inputs)
	frames := 0
	next := func() (x [inputs]float64) {
		if _, err := io.ReadFull(c, row); err != nil {
			t.Fatalf("%v: %s", err, p.out.String())
		}
		for i := range x {
			x[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(row[4*i:])))
		}
		frames++
		return x
	}
	is := func(x [inputs]float64, song, frame int) bool {
		for i, v := range x {
			want := 0.0
			if songs[song][i] != nil {
				want = songs[song][i][frame]
			}
			if math.Abs(v-want) > tolerance[song][i] {
				return false
			}
		}
		return true
	}
	x := next()
	for x == [inputs]float64{} {
		x = next()
	}
	// The first frames fade in; find where it stands by what follows.
	for range 2 * fade {
		x = next()
	}
	song, at := 0, -1
	for f := range 4 * fade {
		if is(x, 0, f) {
			at = f
			break
		}
	}
	if at < 0 {
		t.Fatal("what is played is not the song")
	}
	rounds, compared, exact := 0, 0, 0
	for {
		if !is(x, song, at) {
			t.Fatalf("captured frame %d: song %d, frame %d: %v", frames, song+1, at, x)
		}
		compared++
		for i, tol := range tolerance[song] {
			if tol == 0 && songs[song][i] != nil {
				exact++
			}
		}
		x = next()
		at++
		switch {
		case song == 0 && at == 2*rate && !is(x, 0, at):
			// By what is heard, not by the clock: the server lets time slip on a
			// busy machine.
			if rounds++; rounds == 2 {
				p.types("loop off")
			}
			for range fade {
				x = next()
			}
			at = rate + fade
		case song == 0 && at == 4*rate:
			for range fade {
				x = next()
			}
			song, at = 1, fade
		}
		if song == 1 && at == 4*rate {
			break
		}
	}
	for range 2 * fade {
		next()
	}
	for range rate / 4 {
		if x = next(); x != [inputs]float64{} {
			t.Fatal("not silent after the end")
		}
	}
	if rounds < 2 {
		t.Errorf("%d rounds of the loop", rounds)
	}
	t.Logf("%d frames compared, %d samples bit for bit, %d rounds of the loop", compared, exact, rounds)
	c.Stop()
	io.Copy(io.Discard, c)
	if saw := c.Saw(t); saw.Lost != 0 || saw.Late != 0 {
		t.Errorf("the capture client saw %+v", saw)
	}

	// The server dies while it plays: said at once, and the list is open.
	p.types("item 1", "play", "wait playing")
	server.Kill()
	p.types("wait lost", "play", "status")
	if status := p.leaves(); status != statusFound {
		t.Errorf("exit status %d: %s", status, p.out.String())
	}
	for _, want := range []string{"gone: it has asked for no audio", "[ ]      1  Kick In", "not ticked back to the stage"} {
		if !strings.Contains(p.out.String(), want) {
			t.Errorf("%q is not in:\n%s", want, p.out.String())
		}
	}
}

// tolerances returns by how much each input of each song may differ from what
// was rendered: not at all without a trim, by dither and rounding with one.
func tolerances(t *testing.T, doc []byte, inputs int) [][]float64 {
	t.Helper()
	var ses catalog.Session
	if err := json.Unmarshal(doc, &ses); err != nil {
		t.Fatal(err)
	}
	all := make([][]float64, len(ses.Items))
	for i := range all {
		all[i] = make([]float64, inputs)
	}
	for _, in := range ses.Inputs {
		if in.DeskInput <= inputs && in.TrimDB != 0 {
			all[in.Item][in.DeskInput-1] = 2.0 / (1 << 15)
		}
	}
	return all
}
