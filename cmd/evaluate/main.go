// Evaluate measures how well nightreel hears, on nights whose truth is known.
// It is for developers: task evaluate runs it.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"

	"nightreel/internal/evaluate"
)

func main() {
	tours := flag.Int("tours", 5, "tours of each part")
	nights := flag.Int("nights", 5, "nights of each tour")
	talks := flag.Int("talks", 10, "nights of talk and tuning of each part")
	held := flag.Bool("held", true, "look at the part that tuning never saw, too")
	why := flag.Bool("why", false, "say what went wrong, in the tuning part")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	parts := []evaluate.Part{evaluate.Tuning}
	if *held {
		parts = append(parts, evaluate.Held)
	}
	for _, part := range parts {
		r, err := evaluate.Songs(ctx, part, *tours, *nights, *talks, func(s string) { fmt.Fprintln(os.Stderr, s) })
		if err != nil {
			fmt.Fprintln(os.Stderr, "evaluate:", err)
			os.Exit(1)
		}
		for _, t := range []struct {
			name string
			*evaluate.Tally
		}{{"first night, set list", &r.First}, {"set list, earlier nights as found", &r.Listed}, {"the same, later nights known too", &r.Again},
			{"set list, earlier nights confirmed", &r.Confirmed}, {"no set list, two confirmed nights", &r.Unlisted}, {"no song played", &r.Talk}} {
			fmt.Printf("%s, %s: %s\n", part, t.name, t)
			if *why && part == evaluate.Tuning {
				for _, w := range t.Wrong {
					fmt.Println("   ", w)
				}
			}
		}
	}
}
