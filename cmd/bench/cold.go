package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"text/tabwriter"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"

	"nightreel/internal/stats"
)

// throttle is the slow disk's rate in bytes a second: a good SSD behind USB.
const throttle = 500e6

// cold prints how long a scan takes from a slow disk that is not in the page
// cache, beside a bare read of the same files. The disk is a file system in user
// space that holds reads back; it drops its cache whenever a file is opened.
func (b *bench) cold(ctx context.Context) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "\nat %.0f MB/s\tscan s\tMB/s\tMiB\tof cat\tof the read loop\n", throttle/1e6)
	for _, layout := range []string{"mono", "poly"} {
		dir, slow := b.path(layout), b.path("slow "+layout)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		files, err := b.night(ctx, filepath.Join(dir, "2031-05-02 "+layout), b.channels, b.seconds, layout)
		if err != nil {
			return err
		}
		bytes := int64(0)
		for i, f := range files {
			if st, err := os.Stat(f); err == nil {
				bytes += st.Size()
			}
			files[i] = filepath.Join(slow, f[len(dir):])
		}
		if err := b.coldLayout(ctx, w, self, layout, dir, slow, files, bytes); err != nil {
			return err
		}
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	return w.Flush()
}

func (b *bench) coldLayout(ctx context.Context, w *tabwriter.Writer, self, layout, dir, slow string, files []string, bytes int64) (err error) {
	if err := os.MkdirAll(slow, 0o755); err != nil {
		return err
	}
	server, err := mountSlow(dir, slow)
	if err != nil {
		fmt.Printf("skipping the slow disk: it cannot be mounted: %v\n", err)
		return nil
	}
	defer func() {
		if e := server.Unmount(); err == nil {
			err = e
		}
	}()
	var scan, cat, loop []float64
	var ofCat, ofLoop []float64
	memory := int64(0)
	for range b.rounds {
		one := func(name string, args ...string) (used, error) { return measure(ctx, name, args...) }
		c, err := one("cat", files...)
		if err != nil {
			return err
		}
		if err := remove(b.path("catalog")); err != nil {
			return err
		}
		s, err := one(b.builds[0].path, "--catalog", b.path("catalog"), "scan", slow)
		if err != nil {
			return err
		}
		l, err := one(self, append([]string{"read"}, files...)...)
		if err != nil {
			return err
		}
		scan, cat, loop = append(scan, s.wall), append(cat, c.wall), append(loop, l.wall)
		ofCat, ofLoop = append(ofCat, s.wall/c.wall), append(ofLoop, s.wall/l.wall)
		memory = max(memory, s.memory)
	}
	fmt.Fprintf(w, "%s\t%.2f\t%.0f\t%d\t%.3f\t%.3f\n", layout, stats.Median(scan), float64(bytes)/1e6/stats.Median(scan), memory>>20, stats.Median(ofCat), stats.Median(ofLoop))
	fmt.Fprintf(w, "  cat\t%.2f\t%.0f\n  read loop\t%.2f\t%.0f\n", stats.Median(cat), float64(bytes)/1e6/stats.Median(cat), stats.Median(loop), float64(bytes)/1e6/stats.Median(loop))
	return nil
}

// mountSlow mounts a folder at another path, through a disk limited to throttle.
func mountSlow(dir, at string) (*fuse.Server, error) {
	meter := &bucket{}
	root := &fs.LoopbackRoot{Path: dir}
	root.RootNode = &slowNode{&fs.LoopbackNode{RootData: root}, meter}
	return fs.Mount(at, root.RootNode, &fs.Options{MountOptions: fuse.MountOptions{
		DirectMountStrict: os.Geteuid() == 0, Options: []string{"ro"}, FsName: "slow", MaxReadAhead: 1 << 20, MaxWrite: 1 << 20, MaxBackground: 64,
	}})
}

// slack is how far the slow disk may read ahead, as a disk's own read-ahead
// does: sleeping is not exact.
const slack = 5 * time.Millisecond

// bucket limits all readers together to throttle.
type bucket struct {
	mu   sync.Mutex
	next time.Time // when the bytes given so far have passed
}

func (b *bucket) take(bytes int) {
	b.mu.Lock()
	now := time.Now()
	if late := now.Add(-slack); b.next.Before(late) {
		b.next = late
	}
	b.next = b.next.Add(time.Duration(float64(bytes) / throttle * float64(time.Second)))
	wait := b.next.Sub(now)
	b.mu.Unlock()
	time.Sleep(wait)
}

// slowNode is a file or a folder of the slow disk.
type slowNode struct {
	*fs.LoopbackNode
	meter *bucket
}

// WrapChild makes the content of a slow folder slow too.
func (n *slowNode) WrapChild(_ context.Context, ops fs.InodeEmbedder) fs.InodeEmbedder {
	return &slowNode{ops.(*fs.LoopbackNode), n.meter}
}

func (n *slowNode) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	f, err := os.Open(filepath.Join(n.RootData.Path, n.Path(n.Root())))
	if err != nil {
		return nil, 0, fs.ToErrno(err)
	}
	return &slowFile{f, n.meter}, 0, 0 // without KEEP_CACHE the kernel forgets the file
}

// slowFile is an open file of the slow disk.
type slowFile struct {
	file  *os.File
	meter *bucket
}

func (f *slowFile) Read(_ context.Context, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	n, err := f.file.ReadAt(dest, off)
	if err != nil && err != io.EOF {
		return nil, fs.ToErrno(err)
	}
	f.meter.take(n)
	return fuse.ReadResultData(dest[:n]), 0
}

func (f *slowFile) Release(context.Context) syscall.Errno { return fs.ToErrno(f.file.Close()) }
