// Package jackrig is a test bench: a JACK audio server without hardware, and a
// client, written in C against JACK's own library, that captures the audio of
// another client. It needs Debian's packages jackd2 and libjack-jackd2-dev, and
// gcc.
//
// The server runs its dummy driver. In synchronous mode it waits for its clients
// and lets time slip while a machine is busy, so every sample must be right even
// on the slowest machine. In asynchronous mode it loses samples as real hardware
// would.
package jackrig

import (
	"bufio"
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

//go:embed capture.c.txt
var captureC []byte

// Options are the choices of [Start].
type Options struct {
	Rate     int  // Hz; 0 = 48000
	Period   int  // frames; 0 = 256
	Ports    int  // playback ports of the server, the desk's inputs; 0 = 64
	RealTime bool // asynchronous, with real-time priority, like real hardware
	NoWiring bool // clients must not connect themselves
}

// Server is a running audio server, for this process and those it starts.
type Server struct {
	name  string
	cmd   *exec.Cmd
	end   chan struct{}
	build func() (string, error) // compiles the capture client, once
}

// need skips a test whose tools are missing; with CI=true it fails.
func need(t testing.TB, tools ...string) {
	t.Helper()
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err == nil {
			continue
		}
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is missing: .ci/test installs it", tool)
		}
		t.Skipf("%s is missing: .ci/test installs it", tool)
	}
}

// Start starts a server that ends with the test.
func Start(t testing.TB, opt Options) *Server {
	t.Helper()
	need(t, "jackd", "jack_lsp", "gcc")
	// The server has the folder's name, because a package's tests run one after
	// another: JACK has slots for eight servers, and frees the slot of a killed
	// one only for a server of the same name.
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("nightreel-test-%08x", crc32.ChecksumIEEE([]byte(dir)))
	t.Setenv("JACK_DEFAULT_SERVER", name)
	t.Setenv("JACK_NO_AUDIO_RESERVATION", "1")
	or := func(v, otherwise int) string {
		if v == 0 {
			v = otherwise
		}
		return fmt.Sprint(v)
	}
	args := []string{"-n", name}
	if opt.RealTime {
		args = append(args, "-R", "-P", "70")
	} else {
		args = append(args, "-r", "-S", "-t", "5000")
	}
	args = append(args, "-p", "512") // ports: 54 MB of shared memory; containers often have 64
	if opt.NoWiring {
		args = append(args, "-a", "a")
	}
	args = append(args, "-d", "dummy", "-r", or(opt.Rate, 48000), "-p", or(opt.Period, 256), "-C", "2", "-P", or(opt.Ports, 64))
	s := &Server{cmd: exec.Command("jackd", args...), end: make(chan struct{})}
	s.name = name
	bin := filepath.Join(t.TempDir(), "capture")
	s.build = sync.OnceValues(func() (string, error) { return bin, build(bin) })
	var log bytes.Buffer // read only after the process has ended
	s.cmd.Stdout, s.cmd.Stderr = &log, &log
	// The thread that starts the server must live as long as the server does.
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		s.cmd.SysProcAttr = together()
		started <- s.cmd.Start()
		s.cmd.Wait()
		close(s.end)
	}()
	if err = <-started; err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.stop)
	for range 100 {
		answers := exec.Command("jack_lsp").Run() == nil
		select {
		case <-s.end: // a different server of that name answered
			t.Fatalf("jackd ended at once: %s", log.String())
		case <-time.After(100 * time.Millisecond):
		}
		if answers {
			return s
		}
	}
	t.Fatal("jackd does not answer")
	return nil
}

// stop ends the server properly.
func (s *Server) stop() {
	s.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-s.end:
	case <-time.After(5 * time.Second):
		s.Kill()
	}
}

// Kill ends the server at once, as if its interface were unplugged, and removes
// what it leaves.
func (s *Server) Kill() {
	s.cmd.Process.Kill()
	<-s.end
	left, _ := filepath.Glob("/dev/shm/jack_*" + s.name + "_*")
	for _, f := range left {
		os.Remove(f)
	}
	s.forget()
}

// forget frees the slot of a killed server: a server of the same name starts in
// it, and ends properly.
func (s *Server) forget() {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	heir := exec.CommandContext(ctx, "jackd", "-n", s.name, "-r", "-S", "-p", "64", "-d", "dummy")
	if heir.Start() != nil {
		return // the slot stays taken until the next test of this package
	}
	for exec.CommandContext(ctx, "jack_lsp").Run() != nil && ctx.Err() == nil {
		time.Sleep(20 * time.Millisecond)
	}
	heir.Process.Signal(syscall.SIGTERM)
	heir.Wait()
}

// build compiles the capture client.
func build(bin string) error {
	src := bin + ".c"
	if err := os.WriteFile(src, captureC, 0o644); err != nil {
		return err
	}
	out, err := exec.Command("gcc", "-O2", "-o", bin, src, "-ljack", "-lpthread").CombinedOutput()
	if err != nil {
		return fmt.Errorf("the capture client was not built (package libjack-jackd2-dev?): %w: %s", err, out)
	}
	return nil
}

// Capture is a running capture client.
type Capture struct {
	io.Reader // frames as they come: 32-bit floats, little-endian, interleaved

	cmd   *exec.Cmd
	in    io.WriteCloser
	lines chan string
}

// Capture connects the first output ports of a client to a capture client, and
// returns once audio arrives.
func (s *Server) Capture(t testing.TB, client string, channels int) *Capture {
	t.Helper()
	bin, err := s.build()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	c := &Capture{cmd: exec.Command(bin, client, fmt.Sprint(channels)), lines: make(chan string, 16)}
	out, err := c.cmd.StdoutPipe()
	if err == nil {
		c.in, err = c.cmd.StdinPipe()
	}
	var said io.Reader
	if err == nil {
		said, err = c.cmd.StderrPipe()
	}
	if err == nil {
		err = c.cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	c.Reader = bufio.NewReaderSize(out, 1<<20)
	go func() {
		defer close(c.lines)
		for lines := bufio.NewScanner(said); lines.Scan(); {
			c.lines <- lines.Text()
		}
	}()
	t.Cleanup(func() {
		c.in.Close()
		c.cmd.Process.Kill()
		c.cmd.Wait()
	})
	all := []string{}
	for line := range c.lines {
		if line == "ready" {
			return c
		}
		all = append(all, line)
	}
	t.Fatalf("the capture client ended: %s", strings.Join(all, "; "))
	return nil
}

// Saw is a capture client's report.
type Saw struct {
	Frames int64 // captured
	Lost   int64 // frames that were not read from it in time
	Late   int64 // cycles that did not follow the one before
	XRuns  int64 // as reported by the server
}

// Stop asks the client to end. It ends after the remaining audio is read; then
// [Capture.Saw] returns.
func (c *Capture) Stop() { c.in.Close() }

// Saw returns the client's report, once all audio is read.
func (c *Capture) Saw(t testing.TB) (s Saw) {
	t.Helper()
	for line := range c.lines {
		if n, _ := fmt.Sscanf(line, "frames %d lost %d late %d xruns %d", &s.Frames, &s.Lost, &s.Late, &s.XRuns); n == 4 {
			return s
		}
	}
	t.Fatal("the capture client said nothing at its end")
	return s
}
