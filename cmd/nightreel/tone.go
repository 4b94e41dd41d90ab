package main

import (
	"fmt"
	"math"

	"nightreel/internal/compare"
)

// printTone prints for each channel its takes by octave, against the channel's
// own median and but for the level as a whole.
func (e *env) printTone(r compare.ToneComparison, last int) error {
	takes := r.Takes
	if last > 0 && len(takes) > last {
		takes = takes[len(takes)-last:]
	}
	fmt.Fprintf(e.stdout, "%s: %s, sound against each channel's median in dB by octave, its level apart\n\n", r.Song, count(len(r.Takes), "take"))
	if !r.HasTone() {
		_, err := fmt.Fprintln(e.stdout, "nothing is known of the sound of these nights: they were scanned before it was kept")
		return err
	}
	table := newTable("channel", "show", ">level", ">31.5", ">63", ">125", ">250", ">500", ">1k", ">2k", ">4k", ">8k", ">16k")
	for _, ch := range r.Channels {
		name := ch.Channel
		for _, t := range takes {
			for _, v := range ch.Values {
				if v.Take != t.Take {
					continue
				}
				show := string(t.Show)
				if t.Nth > 1 {
					show += fmt.Sprintf(" (%d)", t.Nth)
				}
				row := []string{name, show, tone(float64(v.Louder))}
				for _, d := range v.Octaves() {
					row = append(row, tone(d))
				}
				table.row(row...)
				name = ""
			}
		}
	}
	return table.print(e.stdout)
}

func tone(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "-"
	}
	return signed(db)
}
