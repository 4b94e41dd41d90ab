// Evaluate measures how well nightreel finds songs and faults, on nights whose
// truth is known. It is for developers: task evaluate runs it.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"nightreel/catalog"
	"nightreel/internal/evaluate"
)

func main() {
	tours := flag.Int("tours", 5, "tours of each half")
	nights := flag.Int("nights", 5, "nights of each tour")
	talks := flag.Int("talks", 10, "nights of talk and tuning of each half")
	tuning := flag.Bool("tuning", true, "use the half of the material that tuning may use")
	held := flag.Bool("held", true, "also use the half that tuning never used")
	broken := flag.Int("broken", 12, "tours of four nights with faults in them, of each half")
	kinds := flag.String("kinds", "", "plant only these kinds of faults, separated by commas")
	only := flag.String("only", "", "songs or faults alone; or sensitivity: what the counts of faults do when a threshold moves")
	why := flag.Bool("why", false, "list the mistakes, in the tuning half")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM) // so that temporary folders are removed
	defer stop()
	var halves []evaluate.Half
	if *tuning {
		halves = append(halves, evaluate.Tuning)
	}
	if *held {
		halves = append(halves, evaluate.Held)
	}
	said := func(s string) { fmt.Fprintln(os.Stderr, s) }
	if *only == "sensitivity" {
		s, err := evaluate.Sense(ctx, evaluate.Tuning, *broken, said)
		if err != nil {
			fmt.Fprintln(os.Stderr, "evaluate:", err)
			os.Exit(1)
		}
		fmt.Print(s)
		return
	}
	for _, half := range halves {
		reasons := *why && half == evaluate.Tuning
		if *only != "faults" {
			if err := songs(ctx, half, *tours, *nights, *talks, reasons, said); err != nil {
				fmt.Fprintln(os.Stderr, "evaluate:", err)
				os.Exit(1)
			}
		}
		if *only != "songs" {
			if err := faults(ctx, half, *broken, *kinds, reasons, said); err != nil {
				fmt.Fprintln(os.Stderr, "evaluate:", err)
				os.Exit(1)
			}
		}
	}
}

func songs(ctx context.Context, half evaluate.Half, tours, nights, talks int, reasons bool, said func(string)) error {
	r, err := evaluate.Songs(ctx, half, tours, nights, talks, said)
	if err != nil {
		return err
	}
	for _, t := range []struct {
		name string
		*evaluate.Tally
	}{{"first night, set list", &r.First}, {"set list, earlier nights as found", &r.Listed}, {"the same, later nights known too", &r.Again},
		{"set list, the first night confirmed", &r.One}, {"set list, earlier nights confirmed", &r.Confirmed}, {"no set list, two confirmed nights", &r.Unlisted},
		{"no set list, no other night", &r.Alone}, {"no song played", &r.Talk}} {
		fmt.Printf("%s, %s: %s\n", half, t.name, t)
		if reasons {
			list(t.Wrong)
		}
	}
	fmt.Printf("%s, %s\n", half, &r.Oracle)
	goals(half, r.Goals())
	return nil
}

func faults(ctx context.Context, half evaluate.Half, tours int, kinds string, reasons bool, said func(string)) error {
	opt := evaluate.FaultOptions{Tours: tours}
	for _, k := range strings.FieldsFunc(kinds, func(r rune) bool { return r == ',' }) {
		opt.Kinds = append(opt.Kinds, catalog.FindingKind(k))
	}
	r, err := evaluate.Faults(ctx, half, opt, said)
	if err != nil {
		return err
	}
	fmt.Printf("%s, faults: %s", half, r)
	goals(half, r.Goals())
	if reasons {
		list(r.Why)
	}
	return nil
}

func goals(half evaluate.Half, all []evaluate.Goal) {
	fmt.Printf("%s, goals:\n", half)
	for _, g := range all {
		fmt.Println("   ", g)
	}
	fmt.Println()
}

func list(lines []string) {
	for _, l := range lines {
		fmt.Println("   ", l)
	}
}
