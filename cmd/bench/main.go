// Command bench measures how fast nightreel is, beside other programs on the
// same files in the same run. It is a tool for developers:
//
//	go run ./cmd/bench          the table of measuring, five rounds
//	go run ./cmd/bench growth   how a scan grows with channels and length
//	go run ./cmd/bench nights   how questions grow with the nights of a tour
//	go run ./cmd/bench cold     a scan from a slow disk, beside a bare read
//
// The recordings it makes, some 5.5 GB, lie in a temporary folder that goes
// when it ends. They are made of the demo tour's first night. Seconds depend on
// the machine and on what else it does: the ratios are what counts. All programs
// are run once to fill the page cache, then in turn, round after round.
//
// Beside nightreel run, where they are installed: cat; a loop that only reads;
// a loop with go-audio/wav's decoder that finds peak and RMS; SoX (stats);
// libebur128 (integrated loudness, range, sample and true peak); FFmpeg (filter
// ebur128 with sample and true peak).
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strconv"
	"syscall"

	"nightreel/internal/meter"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run() error {
	var b bench
	flag.IntVar(&b.rounds, "rounds", 5, "rounds; medians are shown")
	flag.IntVar(&b.channels, "channels", 64, "channels of the recordings")
	flag.IntVar(&b.seconds, "seconds", 300, "length of the recordings")
	flag.IntVar(&b.part, "part", 4, "of how many of the channels the slow programs measure")
	dir := flag.String("dir", "", "folder for the recordings; empty = the system's for temporary files")
	flag.Parse()

	// Child processes of this program run one loop each.
	switch flag.Arg(0) {
	case "read":
		return readLoop(flag.Args()[1:])
	case "decode":
		return decodeLoop(flag.Args()[1:])
	case "write":
		return writeNight(flag.Args()[1:])
	case "tour":
		nights, err := strconv.Atoi(flag.Arg(2))
		if err != nil {
			return err
		}
		store, err := makeTour(context.Background(), flag.Arg(1), flag.Arg(1)+".nightreel", 0, nights)
		if store != nil {
			store.Close()
		}
		return err
	case "ask":
		nights, err := strconv.Atoi(flag.Arg(2))
		if err != nil {
			return err
		}
		took, err := askAll(context.Background(), flag.Arg(1), nights)
		if err != nil {
			return err
		}
		return json.NewEncoder(os.Stdout).Encode(took)
	case "", "growth", "nights", "cold":
	default:
		return fmt.Errorf("unknown benchmark %q: choose growth, nights, cold, or none", flag.Arg(0))
	}

	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var err error
	if b.dir, err = os.MkdirTemp(*dir, "nightreel-bench-"); err != nil {
		return err
	}
	defer os.RemoveAll(b.dir)
	names, used := meter.Kernels()
	fmt.Printf("kernels that run here: %v; used: %s\n", names, used)
	var others []string
	if flag.Arg(0) == "" { // the kernels of a lesser processor, or of a build without a C compiler
		others = []string{"AVX2", "plain Go"}
	}
	if err := b.build(ctx, used, others...); err != nil {
		return err
	}
	switch flag.Arg(0) {
	case "growth":
		return b.scans(ctx)
	case "nights":
		return b.tours(ctx)
	case "cold":
		return b.cold(ctx)
	}
	return b.compare(ctx)
}
