package main

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// hangingDisk shows a folder at another place. Reads of one file do not come back
// from the moment that hang is called with the offset from which on, until the test
// ends; or fail, if broken is set. reached is closed when the first one is held.
type hangingDisk struct {
	broken  atomic.Bool
	at      string
	from    atomic.Int64 // bytes; -1 = nothing hangs
	file    string       // its base name
	reached chan struct{}
	first   atomic.Bool
	release chan struct{}
}

// mountHanging mounts dir as such a disk.
func mountHanging(t *testing.T, dir, file string) *hangingDisk {
	t.Helper()
	d := &hangingDisk{at: t.TempDir(), file: file, reached: make(chan struct{}), release: make(chan struct{})}
	d.from.Store(-1)
	root := &fs.LoopbackRoot{Path: dir}
	root.RootNode = &hangingNode{&fs.LoopbackNode{RootData: root}, d}
	server, err := fs.Mount(d.at, root.RootNode, &fs.Options{MountOptions: fuse.MountOptions{
		DirectMountStrict: os.Geteuid() == 0, Options: []string{"ro"}, FsName: "hanging", MaxReadAhead: 1 << 12,
	}})
	if err != nil {
		t.Skipf("mounting needs rights that this user has not: %v", err)
	}
	t.Cleanup(func() {
		close(d.release)
		if err := server.Unmount(); err != nil {
			t.Error(err)
		}
	})
	return d
}

func (d *hangingDisk) hang(from int64) { d.from.Store(from) }

type hangingNode struct {
	*fs.LoopbackNode
	disk *hangingDisk
}

func (n *hangingNode) WrapChild(_ context.Context, ops fs.InodeEmbedder) fs.InodeEmbedder {
	return &hangingNode{ops.(*fs.LoopbackNode), n.disk}
}

func (n *hangingNode) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	path := filepath.Join(n.RootData.Path, n.Path(n.Root()))
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, fs.ToErrno(err)
	}
	return &hangingFile{f, n.disk}, fuse.FOPEN_DIRECT_IO, 0
}

type hangingFile struct {
	file *os.File
	disk *hangingDisk
}

func (f *hangingFile) Read(ctx context.Context, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	if from := f.disk.from.Load(); from >= 0 && off >= from && filepath.Base(f.file.Name()) == f.disk.file {
		if f.disk.broken.Load() {
			return nil, syscall.EIO
		}
		if f.disk.first.CompareAndSwap(false, true) {
			close(f.disk.reached)
		}
		select {
		case <-f.disk.release:
		case <-ctx.Done():
			return nil, syscall.EINTR // as a network disk does; Go asks again
		}
	}
	n, err := f.file.ReadAt(dest, off)
	if n == 0 && err != nil && err.Error() != "EOF" {
		return nil, fs.ToErrno(err)
	}
	return fuse.ReadResultData(dest[:n]), 0
}

func (f *hangingFile) Release(context.Context) syscall.Errno { return fs.ToErrno(f.file.Close()) }

// A command that waits for a disk that does not answer ends after Ctrl-C, and says
// which file it waited for; session play ends on quit, too.
func TestADiskThatHangsHoldsNobody(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a disk that hangs")
	}
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour := filepath.Join(dir, "tour")
	const night = "2031-05-02 Harbour Hall, Tidewick"
	const file = "01 Kick In.wav"
	nightreel := self(t) // the player is started by the program's own path
	for _, c := range []struct {
		about string
		from  int64 // bytes
		args  []string
		stdin string // "": Ctrl-C
		waits string // for this in what it prints, before it is interrupted
	}{
		{"scan, in the audio", 300_000, []string{"scan"}, "", ""},
		{"verify", 300_000, []string{"verify"}, "", ""},
		{"linecheck", 0, []string{"linecheck", "--date", "2031-05-09"}, "", ""},
		{"session play, Ctrl-C", 100_000, []string{"session", "play", "--device", "null", "--cautions-read"}, "", "does not answer"},
		{"session play, quit", 100_000, []string{"session", "play", "--device", "null", "--cautions-read"}, "quit\n", "does not answer"},
	} {
		t.Run(c.about, func(t *testing.T) {
			disk := mountHanging(t, tour, file)
			catalog := filepath.Join(t.TempDir(), "c.nightreel")
			if c.args[0] != "scan" {
				must(t, catalog, "scan", disk.at)
			}
			if c.args[0] == "session" {
				must(t, catalog, "inputs", "import", filepath.Join(tour, "inputs.csv"), "--from", "2031-01-01")
				must(t, catalog, "desk", "import", filepath.Join(tour, "desk-foh.csv"), "--name", "FOH")
				must(t, catalog, "takes", "set", "--show", "2031-05-02", "--song", "One", "--start", "2", "--end", "20", "--yes")
				must(t, catalog, "session", "build", "--desk", "FOH", "--song", "One")
			}
			args := c.args
			if args[0] == "scan" || args[0] == "linecheck" {
				args = append(args, filepath.Join(disk.at, night))
			}
			disk.hang(c.from)
			cmd := exec.Command(nightreel, append([]string{"--catalog", catalog}, args...)...)
			var out said
			cmd.Stdout, cmd.Stderr = &out, &out
			in, err := cmd.StdinPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			ended := make(chan error, 1)
			go func() { ended <- cmd.Wait() }()
			kill := time.AfterFunc(20*time.Second, func() { _ = cmd.Process.Kill() })
			defer kill.Stop()
			select {
			case <-disk.reached:
			case err := <-ended:
				t.Fatalf("it ended before it read the file: %v\n%s", err, out.String())
			}
			for !strings.Contains(out.String(), c.waits) {
				select {
				case err := <-ended:
					t.Fatalf("it ended without %q: %v\n%s", c.waits, err, out.String())
				case <-time.After(20 * time.Millisecond):
				}
			}
			if c.stdin != "" {
				_, err = in.Write([]byte(c.stdin))
			} else {
				err = cmd.Process.Signal(os.Interrupt)
			}
			if err != nil {
				t.Fatal(err)
			}
			began := time.Now()
			err = <-ended
			t.Logf("ended after %v: %v", time.Since(began).Round(10*time.Millisecond), err)
			exit, ok := err.(*exec.ExitError)
			if err != nil && (!ok || !exit.Exited()) {
				t.Errorf("it did not end by itself: %v", err)
			}
			if !strings.Contains(out.String(), file) || !strings.Contains(out.String(), "does not answer") {
				t.Errorf("it does not name %s: %s", file, out.String())
			}
		})
	}
}

// A scan that a disk did not give all files ends with status 1 and names them; what
// it could read is kept.
func TestAScanThatReadNotAllSaysSo(t *testing.T) {
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	const file = "01 Kick In.wav"
	for _, from := range []int64{0, 300_000} {
		disk := mountHanging(t, filepath.Join(dir, "tour"), file)
		catalog := filepath.Join(t.TempDir(), "c.nightreel")
		disk.broken.Store(true)
		disk.hang(from)
		for _, want := range []int{1, 3} {
			args := []string{"scan", "--json", disk.at}
			if want == 3 {
				args = append(args, "--fail-on-findings")
			}
			cmd := program(t, catalog, args...)
			var stderr strings.Builder
			cmd.Stderr = &stderr
			out, err := cmd.Output()
			var result struct {
				Shows  []struct{ Date string } `json:"shows"`
				Unread []string                `json:"unread"`
			}
			if jerr := json.Unmarshal(out, &result); jerr != nil {
				t.Fatalf("%v: %v\n%s", err, jerr, stderr.String())
			}
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.ExitCode() != want || len(result.Shows) != 4 || len(result.Unread) != 1 || filepath.Base(result.Unread[0]) != file {
				t.Errorf("from byte %d: %v, want status %d; %+v\n%s", from, err, want, result, stderr.String())
			}
			if want == 1 && !strings.Contains(stderr.String(), "1 file could not be read") {
				t.Errorf("from byte %d: it says %s", from, stderr.String())
			}
		}
		disk.hang(-1)
		must(t, catalog, "scan", disk.at)
	}
}
