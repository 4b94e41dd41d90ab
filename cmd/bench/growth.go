package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"text/tabwriter"

	"nightreel/internal/stats"
)

// scans prints how a scan's cost grows with channels and length.
func (b *bench) scans(ctx context.Context) error {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nmono channels\tminutes\tCPU ns/sample\twall ns/sample\tMiB\tcatalog % of audio")
	for _, size := range [][2]int{{8, 1}, {16, 1}, {32, 1}, {64, 1}, {128, 1}, {8, 5}, {8, 20}, {8, 60}} {
		dir := b.path("2031-05-02 Growth")
		if _, err := b.night(ctx, dir, size[0], size[1]*60, "mono"); err != nil {
			return err
		}
		samples := float64(size[0] * size[1] * 60 * rate)
		var cpu, wall []float64
		memory := int64(0)
		for range b.rounds {
			if err := remove(b.path("catalog")); err != nil {
				return err
			}
			u, err := measure(ctx, b.builds[0].path, "--catalog", b.path("catalog"), "scan", dir)
			if err != nil {
				return err
			}
			cpu, wall, memory = append(cpu, u.cpu), append(wall, u.wall), max(memory, u.memory)
		}
		st, err := os.Stat(b.path("catalog"))
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%d\t%d\t%.3f\t%.3f\t%d\t%.3f\n", size[0], size[1], stats.Median(cpu)/samples*1e9, stats.Median(wall)/samples*1e9, memory>>20,
			100*float64(st.Size())/(samples*sampleLen))
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	return w.Flush()
}

// tours prints how the cost of questions grows with the nights of a tour.
func (b *bench) tours(ctx context.Context) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "\nms, medians; %d channels, %d songs a night\tnights\topen", tourChannels, tourSongs)
	for _, q := range questions("") {
		fmt.Fprint(w, "\t", q.what)
	}
	fmt.Fprintln(w, "\tscan, nothing new\tplacing and judging a new night\tcatalog MB")
	dir, path := b.path("tour"), b.path("tour.nightreel")
	made := 0
	for _, nights := range []int{1, 10, 40, 120} {
		fmt.Fprintf(os.Stderr, "making nights %d to %d, %d channels × %d min each\n", made+1, nights, tourChannels, tourMinutes)
		store, err := makeTour(ctx, dir, path, made, nights) // each step adds nights to the same tour
		if store != nil {
			store.Close()
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "placing and judging them, then asking\n")
		// The first scan judges the new nights.
		judging, err := measure(ctx, b.builds[0].path, "--catalog", path, "scan", dir)
		if err != nil {
			return err
		}
		each := judging.wall * 1e3 / float64(nights-made)
		made = nights
		took := map[string][]float64{}
		for range b.rounds {
			out, err := exec.CommandContext(ctx, self, "ask", path, strconv.Itoa(nights)).Output()
			if err != nil {
				return err
			}
			var one map[string]float64
			if err := json.Unmarshal(out, &one); err != nil {
				return err
			}
			u, err := measure(ctx, b.builds[0].path, "--catalog", path, "scan", dir)
			if err != nil {
				return err
			}
			one["scan"] = u.wall * 1e3
			for k, v := range one {
				took[k] = append(took[k], v)
			}
		}
		fmt.Fprintf(w, "\t%d\t%.1f", nights, stats.Median(took["open"]))
		for _, q := range questions("") {
			fmt.Fprintf(w, "\t%.1f", stats.Median(took[q.what]))
		}
		st, err := os.Stat(path)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "\t%.0f\t%.0f\t%d\n", stats.Median(took["scan"]), each, st.Size()>>20)
	}
	return w.Flush()
}
