package main

import (
	"nightreel/internal/compare"
)

// printTone prints for each channel its takes by octave, against the channel's
// own median and but for the level as a whole.
func (e *env) printTone(r compare.ToneComparison, last int) error {
	takes := r.Takes
	if last > 0 && len(takes) > last {
		takes = takes[len(takes)-last:]
	}
	e.sentence("", "%s: %s, sound against each channel's median in dB by octave, its level apart", r.Song, count(len(r.Takes), "take"))
	e.println("")
	if !r.HasTone() {
		return e.sentence("", "The tone of these takes is not known: they are too short, or an earlier nightreel scanned their nights; then nightreel scan DIR reads it.")
	}
	table := newTable("channel", "show", ">level", ">31.5", ">63", ">125", ">250", ">500", ">1k", ">2k", ">4k", ">8k", ">16k")
	table.drop = []string{"16k", "31.5", "8k", "63"}
	for _, ch := range r.Channels {
		name := ch.Channel
		for _, t := range takes {
			for _, v := range ch.Values {
				if v.Take != t.Take {
					continue
				}
				row := []string{name, titled(string(t.Show), t.Nth), signed(float64(v.Louder))}
				for _, d := range v.Octaves() {
					row = append(row, signed(d))
				}
				table.row(row...)
				name = ""
			}
		}
	}
	return e.printTable(table)
}
