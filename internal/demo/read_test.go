package demo

import (
	"context"
	"math"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"nightreel/internal/wavfile"
)

// corpus is a tour on disk with its truth.
type corpus struct {
	dir   string
	truth *Truth
	read  map[string]map[int][]float64 // cached recordings, by folder
}

// small is made once for all tests that only read it.
var small = sync.OnceValues(func() (corpus, error) {
	truth, err := Make(context.Background(), smallDir, Options{Scale: Small})
	return corpus{smallDir, truth, map[string]map[int][]float64{}}, err
})

func smallTour(t *testing.T) corpus {
	t.Helper()
	c, err := small()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// show returns the show of a date.
func (c corpus) show(date string) Show {
	for _, s := range c.truth.Shows {
		if s.Date == date {
			return s
		}
	}
	panic("no show " + date)
}

// inputs returns the input list in force on a night.
func (c corpus) inputs(date string) []Input {
	var in []Input
	for _, l := range c.truth.InputLists {
		if l.From <= date && !l.Only {
			in = append([]Input(nil), l.Inputs...)
		}
	}
	for _, l := range c.truth.InputLists {
		if l.Only && l.From == date {
			for _, row := range l.Inputs {
				in[row.Track-1] = row
			}
		}
	}
	return in
}

// tracks reads a whole recording back: the samples by track number, found by the
// files' names and the input list. The samples are shared: do not change them.
func (c corpus) tracks(t *testing.T, date string, r Recording) map[int][]float64 {
	t.Helper()
	if all, ok := c.read[r.Folder]; ok {
		return all
	}
	all := map[int][]float64{}
	c.read[r.Folder] = all
	for _, name := range r.Files {
		f, err := wavfile.Open(filepath.Join(c.dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		fm, frames := f.Info().Format, f.Info().Frames
		raw := make([]byte, frames*int64(fm.FrameBytes()))
		if n, err := f.ReadFrames(raw, 0); err != nil || int64(n) != frames {
			t.Fatalf("%s: %d of %d frames: %v", name, n, frames, err)
		}
		x := make([]float64, frames*int64(fm.Channels))
		fm.Decode(x, raw)
		if fm.Channels > 1 {
			for ch := range fm.Channels {
				for i := ch; i < len(x); i += fm.Channels {
					all[ch+1] = append(all[ch+1], x[i])
				}
			}
			continue
		}
		number := 0
		base := path.Base(name)
		for _, in := range c.inputs(date) {
			if strings.HasPrefix(base, pad(in.Track)+" ") || strings.HasPrefix(base, "TRK"+pad(in.Track)+"_") ||
				strings.HasPrefix(base, in.Channel+"_") {
				number = in.Track
			}
		}
		if number == 0 {
			t.Fatalf("%s: no track of that name", name)
		}
		all[number] = append(all[number], x...)
	}
	return all
}

func pad(n int) string { return string([]byte{'0' + byte(n/10), '0' + byte(n%10)}) }

// rms returns the root mean square in dBFS, −Inf for no samples.
func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x)))
}

// peak returns the largest magnitude.
func peak(x []float64) float64 {
	p := 0.0
	for _, v := range x {
		p = max(p, math.Abs(v))
	}
	return p
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// cut returns the samples from one second to another, limited to the length of
// x.
func cut(x []float64, rate int, from, to float64) []float64 {
	n := len(x)
	a := min(n, max(0, int(from*float64(rate))))
	b := min(n, max(a, int(to*float64(rate))))
	return x[a:b]
}

// runs returns the number of samples in runs of at least n for which ok holds.
func runs(x []float64, n int, ok func(float64) bool) int {
	total, run := 0, 0
	for i := 0; i <= len(x); i++ {
		if i < len(x) && ok(x[i]) {
			run++
			continue
		}
		if run >= n {
			total += run
		}
		run = 0
	}
	return total
}
