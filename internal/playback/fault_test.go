package playback

import (
	"math"
	"runtime"
	"testing"

	"nightreel/internal/playback/pattern"
)

// pullNow pulls n frames whether the reader is ready or not, as a device does.
func (r *rigUp) pullNow(n int) []float32 {
	out := make([]float32, n*r.channels)
	for at := 0; at < n; at += r.block {
		r.Pull(out[at*r.channels:min(n, at+r.block)*r.channels], r.channels)
	}
	return out
}

// If a disk stops answering, the audio that was read is played to its end and
// faded out over its last frames. Then there is silence, and the status reports
// it. When the disk answers again, playback fades in with the next frame. No
// frame is wrong, repeated or left out.
func TestDiskStandsStill(t *testing.T) {
	f := &fault{hold: make(chan struct{})}
	release := make(chan struct{})
	go func() { // the disk answers every read until release is taken
		for {
			select {
			case f.hold <- struct{}{}:
			case <-release:
				<-release
			}
		}
	}()
	r := newRig(t, tapeProgram(2, tapeItem{start: 0, end: 1_000_000, segments: []int64{0, 1_100_000}}), f.open)
	standing := false
	t.Cleanup(func() { // before the rig's cleanup, which waits for its reader
		if standing {
			release <- struct{}{}
		}
	})
	r.do(Command{Do: Play})
	out := r.pull(20_000)
	r.exact("before", out, fade, 20_000, fade)
	release <- struct{}{} // from here on reads hang
	standing = true
	// The reader still delivers the read that was under way.
	out = out[:0]
	for f.busy.Load() > 0 || f.wait.Load() == 0 {
		if ring := r.rings[0]; ring.ready.Load()-ring.taken.Load() > 10_000 {
			out = append(out, r.pullNow(r.block)...)
		}
		runtime.Gosched()
	}
	var check pattern.Checker
	out = append(out, r.pullNow(300_000)...) // more than the ring holds
	for f := 0; f < len(out); f += 2 {
		check.Row(out[f : f+2])
	}
	runs := check.Runs
	if len(runs) != 3 || runs[0].Kind != pattern.Exact || runs[0].Frame != 20_000 || runs[1].Kind != pattern.Other || runs[1].Length > fade || runs[2].Kind != pattern.Silent {
		t.Fatalf("while the disk stands still: %v", runs)
	}
	last := runs[1].At + runs[1].Length // number of the tape's frames that came out
	for f := runs[1].At; f < last; f++ {
		if x, full := out[2*f], patternF(20_000+f, 0); math.Abs(float64(x)) > math.Abs(float64(full)) || x*full < 0 {
			t.Fatalf("frame %d of the fade is %v, the recording's is %v", f, x, full)
		}
	}
	s := r.Status()
	if s.State != Waiting || s.Underruns != 1 || len(s.Problems) != 1 {
		t.Errorf("while the disk stands still: %+v", s)
	}
	release <- struct{}{} // it answers again
	standing = false
	next := 20_000 + last + 1 // the fade's last frame has a gain of 0, and is silent
	for waited := 0; ; waited++ {
		if r.rings[0].ready.Load()-r.rings[0].taken.Load() > 48_000 {
			break
		}
		<-r.news
	}
	out = r.pull(20_000)
	at := r.sync(out, next+fade) - fade
	r.quiet("before it goes on", out, 0, at)
	r.exact("after it goes on", out, at+fade, 20_000, next+fade)
	if s := r.Status(); s.State != Playing || len(s.Problems) != 0 {
		t.Errorf("after it goes on: %+v", s)
	}
}

// If a file cannot be read, its output fades out, and the others play on, every
// sample exact. When the file can be read again, its output fades in.
func TestFileFails(t *testing.T) {
	f := &fault{}
	p := tapeProgram(3, tapeItem{start: 0, end: 4_000_000, segments: []int64{0, 4_000_000}})
	r := newRig(t, p, f.open)
	r.do(Command{Do: Play})
	r.exact("before", r.pull(10_000), fade, 10_000, fade)
	broken := p.Items[0].Voices[1].Sources[0].Path
	f.fail.Store(&broken)
	at := int64(10_000)
	state, silent := 0, 0 // 0 playing, 1 failed, 2 back
	for block := 0; block < 3000 && state < 2; block++ {
		out := r.pull(256)
		for k := range int64(256) {
			for _, c := range []int{0, 2} {
				if x, want := out[int(k)*3+c], patternF(at+k, c); x != want {
					t.Fatalf("frame %d, output %d, beside the one that failed: %v, want %v", at+k, c+1, x, want)
				}
			}
			x, full := float64(out[int(k)*3+1]), float64(patternF(at+k, 1))
			if math.Abs(x) > math.Abs(full) || x*full < 0 {
				t.Fatalf("frame %d of the output that failed: %v, the recording has %v", at+k, x, full)
			}
			switch {
			case state == 0 && x == 0 && full != 0:
				state = 1
			case state == 1 && x == 0:
				silent++
			case state == 1 && x == full && silent > 0:
				state = 2
			}
		}
		if silent == 20_000 || silent > 20_000 && f.fail.Load() != nil {
			if s := r.Status(); len(s.Problems) != 1 || s.Underruns != 0 || s.State != Playing {
				t.Errorf("while it fails: %+v", s)
			}
			f.fail.Store(nil)
		}
		at += 256
	}
	if state != 2 {
		t.Fatalf("the output that failed is in state %d, %d frames silent", state, silent)
	}
	r.exact("after", r.pull(5000), fade, 5000, at+fade)
	if s := r.Status(); len(s.Problems) != 0 {
		t.Errorf("after: %+v", s.Problems)
	}
}

func TestFilesMissingFromTheStart(t *testing.T) {
	f := &fault{}
	p := tapeProgram(2, twoSongs...)
	broken := p.Items[0].Voices[1].Sources[0].Path
	f.fail.Store(&broken)
	r := newRig(t, p, f.open)
	r.do(Command{Do: Play})
	out := r.pull(10_000)
	for k := fade; k < 10_000; k++ {
		if out[2*k] != patternF(100_000+int64(k), 0) || out[2*k+1] != 0 {
			t.Fatalf("frame %d: %v, %v", k, out[2*k], out[2*k+1])
		}
	}
	if s := r.Status(); len(s.Problems) != 1 {
		t.Errorf("%+v", s.Problems)
	}
	all := "tape"
	f.fail.Store(&all)
	if _, err := NewEngine(p, f.open); err == nil {
		t.Error("an engine opened without any file")
	}
}

// A file that changed since the scan is not played.
func TestChangedFile(t *testing.T) {
	p := tapeProgram(1, tapeItem{start: 0, end: 100_000, segments: []int64{0, 100_000}})
	p.Items[0].Voices[0].Sources[0].DataOffset = 46
	if _, err := NewEngine(p, openTape); err == nil {
		t.Error("a changed file is played")
	}
}
