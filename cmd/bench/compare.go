package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"nightreel/internal/stats"
	"nightreel/internal/wavfile"
)

// row is a program, with its use of time and memory for a layout in each round.
type row struct {
	what    string
	layout  string
	samples float64 // number of samples that it reads
	run     func(context.Context) (used, error)
	took    []used
}

// compare prints the table of measurements.
func (b *bench) compare(ctx context.Context) error {
	mono, err := b.night(ctx, b.path("2031-05-02 Mono"), b.channels, b.seconds, "mono")
	if err != nil {
		return err
	}
	poly, err := b.night(ctx, b.path("2031-05-02 Poly"), b.channels, b.seconds, "poly")
	if err != nil {
		return err
	}
	rows, err := b.rows(ctx, mono, poly)
	if err != nil {
		return err
	}
	for round := -1; round < b.rounds; round++ { // the first round fills the page cache
		for _, r := range rows {
			if r.what != "cat" && round < 0 {
				continue
			}
			u, err := r.run(ctx)
			if err != nil {
				return err
			}
			if round >= 0 {
				r.took = append(r.took, u)
			}
		}
		fmt.Fprintf(os.Stderr, "round %d of %d\n", round+1, b.rounds)
	}
	b.print(rows)
	return nil
}

func (b *bench) rows(ctx context.Context, mono, poly []string) ([]*row, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	all := float64(b.channels * b.seconds * rate)
	part := min(b.part, len(mono))
	some := all / float64(b.channels) * float64(part) // of the mono files
	var rows []*row
	add := func(what, layout string, samples float64, name string, args ...string) {
		rows = append(rows, &row{what: what, layout: layout, samples: samples,
			run: func(ctx context.Context) (used, error) { return measure(ctx, name, args...) }})
	}
	// one runs a program once per file, one file after another.
	one := func(what string, files []string, samples float64, command func(file string) []string) {
		rows = append(rows, &row{what: what, layout: "mono", samples: samples, run: func(ctx context.Context) (sum used, err error) {
			for _, f := range files {
				c := command(f)
				u, err := measure(ctx, c[0], c[1:]...)
				if err != nil {
					return sum, err
				}
				sum.wall, sum.cpu, sum.memory = sum.wall+u.wall, sum.cpu+u.cpu, max(sum.memory, u.memory)
			}
			return sum, nil
		}})
	}
	for _, l := range []struct {
		layout string
		files  []string
	}{{"mono", mono}, {"poly", poly}} {
		dir := filepath.Dir(l.files[0])
		add("cat", l.layout, all, "cat", l.files...)
		for i, build := range b.builds {
			catalog := b.path(fmt.Sprint("catalog", i))
			rows = append(rows, &row{what: "nightreel scan, " + build.kernel, layout: l.layout, samples: all,
				run: func(ctx context.Context) (used, error) {
					if err := remove(catalog); err != nil {
						return used{}, err
					}
					return measure(ctx, build.path, "--catalog", catalog, "scan", dir)
				}})
		}
		add("read loop", l.layout, all, self, append([]string{"read"}, l.files...)...)
	}
	add("go-audio/wav, peak and RMS", "mono", some, self, append([]string{"decode"}, mono[:part]...)...)
	if sox, err := exec.LookPath("sox"); err == nil {
		one("SoX stats", mono[:part], some, func(f string) []string { return []string{sox, f, "-n", "stats"} })
	}
	if ffmpeg, err := exec.LookPath("ffmpeg"); err == nil {
		one("FFmpeg ebur128, sample and true peak", mono[:part], some, func(f string) []string {
			return []string{ffmpeg, "-nostdin", "-loglevel", "error", "-i", f, "-filter_complex", "ebur128=peak=sample+true:framelog=verbose", "-f", "null", "-"}
		})
	}
	tool := b.path("ebur128")
	source := filepath.Join(moduleDir(ctx), "cmd", "bench", "testdata", "ebur128.c")
	if out, err := exec.CommandContext(ctx, "gcc", "-O2", "-o", tool, source, "-lebur128").CombinedOutput(); err != nil {
		fmt.Printf("skipping libebur128: %v: %s\n", err, out)
		return rows, nil
	}
	command := func(f string, channels int, frames int) []string {
		w, err := wavfile.Open(f)
		if err != nil {
			return []string{tool}
		}
		defer w.Close()
		return []string{tool, f, strconv.Itoa(rate), strconv.Itoa(channels), strconv.FormatInt(w.Info().DataOffset, 10), strconv.Itoa(frames)}
	}
	one("libebur128, all modes", mono[:part], some, func(f string) []string { return command(f, 1, b.seconds*rate) })
	c := command(poly[0], b.channels, b.seconds*rate*part/b.channels)
	add("libebur128, all modes", "poly", some, c[0], c[1:]...)
	return rows, nil
}

func moduleDir(ctx context.Context) string {
	out, _ := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}").Output() // on an error the path is empty; opening the file then reports it
	return strings.TrimSpace(string(out))
}

// remove removes a catalog and SQLite's files beside it.
func remove(catalog string) error {
	for _, s := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(catalog + s); err != nil && !os.IsNotExist(err) {
			return err
		}
	}
	return nil
}

func (b *bench) print(rows []*row) {
	perSample := func(r *row, pick func(used) float64) float64 {
		var x []float64
		for _, u := range r.took {
			x = append(x, pick(u)/r.samples*1e9)
		}
		return stats.Median(x)
	}
	// ratio is the median of the rounds' ratios. A round's programs run close
	// together, so that variations of the machine cancel.
	ratio := func(r, to *row, pick func(used) float64) string {
		if to == nil || len(r.took) != len(to.took) {
			return ""
		}
		var x []float64
		for i := range r.took {
			x = append(x, (pick(r.took[i])/r.samples)/(pick(to.took[i])/to.samples))
		}
		if m := stats.Median(x); m < 0.5 {
			return fmt.Sprintf("1/%.1f", 1/m)
		} else {
			return fmt.Sprintf("%.2f", m)
		}
	}
	find := func(what, layout string) *row {
		for _, r := range rows {
			if r.what == what && r.layout == layout {
				return r
			}
		}
		return nil
	}
	cpu, wall := func(u used) float64 { return u.cpu }, func(u used) float64 { return u.wall }
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nwhat\tlayout\tCPU ns/sample\tof libebur128\tof FFmpeg\twall ns/sample\tof cat\tGB/s\tMiB")
	for _, r := range rows {
		memory := 0.
		for _, u := range r.took {
			memory = max(memory, float64(u.memory)/(1<<20))
		}
		fmt.Fprintf(w, "%s\t%s\t%.3f\t%s\t%s\t%.3f\t%s\t%.2f\t%.0f\n", r.what, r.layout,
			perSample(r, cpu), ratio(r, find("libebur128, all modes", r.layout), cpu),
			ratio(r, find("FFmpeg ebur128, sample and true peak", r.layout), cpu),
			perSample(r, wall), ratio(r, find("cat", r.layout), wall),
			sampleLen/perSample(r, wall), memory)
	}
	w.Flush()
	fmt.Printf("medians of %d rounds; SoX, FFmpeg, go-audio and libebur128 on %d of the %d channels' samples, in one thread\n", b.rounds, min(b.part, b.channels), b.channels)
	if st, err := os.Stat(b.path("catalog0")); err == nil {
		fmt.Printf("catalog: %.3f %% of the audio's bytes\n", 100*float64(st.Size())/(float64(b.channels*b.seconds*rate)*sampleLen))
	}
}
