package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

// bench is one run of this program.
type bench struct {
	dir                             string
	rounds, channels, seconds, part int
	builds                          []build
}

// build is nightreel with one kernel.
type build struct{ kernel, path string }

func (b *bench) path(name string) string { return filepath.Join(b.dir, name) }

// build builds nightreel with the kernel that is used here, and with others.
func (b *bench) build(ctx context.Context, used string, others ...string) error {
	kernels := []string{used}
	for _, k := range others {
		if k != used {
			kernels = append(kernels, k)
		}
	}
	for i, k := range kernels {
		path := b.path(fmt.Sprint("nightreel", i))
		cmd := exec.CommandContext(ctx, "go", "build", "-o", path, "-ldflags", "-X 'nightreel/internal/meter.only="+k+"'", "nightreel/cmd/nightreel")
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("building nightreel: %w\n%s", err, out)
		}
		b.builds = append(b.builds, build{k, path})
	}
	return nil
}

// used is the time and memory that a process took.
type used struct {
	wall, cpu float64 // seconds
	memory    int64   // bytes, maximum resident size
}

// measure runs a program, discards its output and returns the time and memory
// that it took.
func measure(ctx context.Context, name string, args ...string) (used, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	var said tail
	cmd.Stderr = &said
	began := time.Now()
	err := cmd.Run()
	u := used{wall: time.Since(began).Seconds()}
	if err != nil {
		return u, fmt.Errorf("%s: %w\n%s", name, err, said)
	}
	u.cpu = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	if r, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		u.memory = r.Maxrss << 10 // Linux counts KiB
	}
	return u, nil
}

// tail keeps the end of the data written to it.
type tail []byte

func (t *tail) Write(p []byte) (int, error) {
	*t = append(*t, p...)
	if len(*t) > 2000 {
		*t = slices.Clone((*t)[len(*t)-2000:])
	}
	return len(p), nil
}

// readLoop reads files a mebibyte at a time.
func readLoop(files []string) error {
	buf := make([]byte, 1<<20)
	for _, path := range files {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		for err == nil {
			_, err = f.Read(buf)
		}
		f.Close()
		if err != io.EOF {
			return err
		}
	}
	return nil
}

// decodeLoop finds peak and sum of squares with go-audio/wav's decoder.
func decodeLoop(files []string) error {
	for _, path := range files {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		d := wav.NewDecoder(f)
		d.ReadInfo()
		buf := &audio.IntBuffer{Data: make([]int, 1<<16), Format: d.Format()}
		peak, sum := make([]int, d.NumChans), make([]float64, d.NumChans)
		for {
			n, err := d.PCMBuffer(buf)
			if err != nil {
				f.Close()
				return err
			}
			if n == 0 {
				break
			}
			for i, v := range buf.Data[:n] {
				c := i % len(peak)
				peak[c] = max(peak[c], v, -v)
				sum[c] += float64(v) * float64(v)
			}
		}
		f.Close()
		fmt.Fprintln(io.Discard, peak, sum)
	}
	return nil
}
