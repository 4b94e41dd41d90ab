package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/compare"
)

func (e *env) levelsCommand() *cli.Command {
	return &cli.Command{
		Name:  "levels",
		Usage: "the level figures of every channel in every take",
		Flags: []cli.Flag{songFlag(), showFlag("only this show"), channelFlag(), &cli.StringFlag{Name: "rig", Usage: "only this record rig's `NAME`"}, jsonFlag(), csvFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			if err := notBoth(c, "csv", "json"); err != nil {
				return err
			}
			day, err := date(c, "show")
			if err != nil {
				return err
			}
			return e.withResults(c, func(store *catalog.Store) error {
				show, err := knownShow(c.Context, store, day)
				if err != nil {
					return err
				}
				if err := knownNames(c, store); err != nil {
					return err
				}
				levels, err := compare.Levels(c.Context, store, compare.Filter{Song: c.String("song"), Show: show, Channel: c.String("channel"), Rig: c.String("rig")})
				if err != nil {
					return err
				}
				s, err := stateOf(c.Context, store, show)
				if err != nil {
					return err
				}
				if len(levels) == 0 {
					e.empty(store, s, "no levels%s: there is no take of it; nightreel takes lists the takes", asked(c))
				}
				e.mind(s)
				switch {
				case c.Bool("json"):
					return e.printJSON(levelDocs(levels, s))
				case c.Bool("csv"):
					return compare.WriteLevelsCSV(e.stdout, levels)
				}
				t := newTable(append([]string{">take", "show", "song", "rig", ">track", "channel"}, figureHeads...)...)
				t.same, t.drop = []string{"rig", "show", "song", "take"}, figureDrop
				for _, l := range levels {
					t.row(append([]string{fmt.Sprint(l.Take), string(l.Show), titled(l.Song, l.Nth), l.Rig, fmt.Sprint(l.Track), l.Channel}, figureCells(l.Figures)...)...)
				}
				return e.printTable(t)
			})
		},
	}
}

// levelDoc is a level's document with whether its recording was wholly read.
type levelDoc struct {
	compare.TakeLevel
	Read bool `json:"read"`
}

func levelDocs(levels []compare.TakeLevel, s state) []levelDoc {
	type rig struct {
		show catalog.ShowKey
		name string
	}
	unread := map[rig]bool{}
	for i, sh := range s.shows {
		for _, r := range sh.Recordings {
			if !s.verdicts[i].Reads[r.ID].Whole() {
				unread[rig{sh.Key, r.Rig}] = true
			}
		}
	}
	docs := []levelDoc{}
	for _, l := range levels {
		docs = append(docs, levelDoc{l, !unread[rig{l.Show, l.Rig}]})
	}
	return docs
}

func (e *env) compareCommand() *cli.Command {
	return &cli.Command{
		Name:      "compare",
		Usage:     "one song along the tour: every night against the channel's own median",
		ArgsUsage: "TITLE",
		Description: "Differences are of the RMS level, in dB against the channel's median over all takes of\n" +
			"the song; those marked ! stand out from the channel's usual spread.",
		Flags: []cli.Flag{
			songFlag(), channelFlag(),
			&cli.IntFlag{Name: "last", Usage: "show the last `N` takes in the table", Value: 8},
			&cli.BoolFlag{Name: "tone", Usage: "compare the sound in one-third octaves instead of the level"},
			jsonFlag(), csvFlag(),
		},
		Action: func(c *cli.Context) error {
			if err := addressed(c, "song", "one song"); err != nil {
				return err
			}
			if err := need(c, "song"); err != nil {
				return err
			}
			if err := notBoth(c, "csv", "json"); err != nil {
				return err
			}
			if c.Int("last") < 0 {
				return &usageError{command: commandPath(c), text: "--last must be 0 (all) or more"}
			}
			return e.withResults(c, func(store *catalog.Store) error {
				if c.Bool("tone") {
					result, err := compare.Tone(c.Context, store, c.String("song"), c.String("channel"))
					switch {
					case err != nil:
						return err
					case c.Bool("json"):
						return e.printJSON(result)
					case c.Bool("csv"):
						return result.WriteCSV(e.stdout)
					}
					return e.printTone(result, c.Int("last"))
				}
				result, err := compare.Song(c.Context, store, c.String("song"), compare.Options{Channel: c.String("channel")})
				if err != nil {
					return err
				}
				switch {
				case c.Bool("json"):
					return e.printJSON(result)
				case c.Bool("csv"):
					return result.WriteCSV(e.stdout)
				}
				return e.printComparison(result, c.Int("last"))
			})
		},
	}
}

// printComparison prints channels × takes, then what changed and what was
// noted.
func (e *env) printComparison(r compare.Comparison, last int) error {
	takes := r.Takes
	if last > 0 && len(takes) > last {
		e.sentence("", "%s: the last %d of %s; medians are over all", r.Song, last, count(len(takes), "take"))
		takes = takes[len(takes)-last:]
	} else {
		e.sentence("", "%s: %s", r.Song, count(len(takes), "take"))
	}
	e.println("")
	head := []string{"channel", ">median RMS"}
	for _, t := range takes {
		head = append(head, ">"+titled(string(t.Show), t.Nth))
	}
	table := newTable(head...)
	table.fixed = 2
	lengths := []string{"(length)", ""}
	for _, t := range takes {
		lengths = append(lengths, catalog.Clock(t.LengthS)+" ")
	}
	table.row(lengths...)
	for _, ch := range r.Channels {
		row := []string{ch.Channel, decibels(ch.Median.RMS)}
		for _, t := range takes {
			row = append(row, deviation(ch, t.Take))
		}
		table.row(row...)
	}
	if err := e.printTable(table); err != nil {
		return err
	}
	if len(r.Changes) > 0 {
		e.println("\nlargest changes since the night before:")
	}
	for _, ch := range r.Changes {
		text := signed(float64(ch.ChangeDB)) + " dB"
		if ch.ChangeDB < -200 {
			text = "now silent"
		}
		if ch.GainChangeDB != nil && *ch.GainChangeDB != 0 {
			text += fmt.Sprintf(" (its preamp %+g dB)", *ch.GainChangeDB)
		}
		e.item(fmt.Sprintf("  %s  ", ch.Show), "%s: %s since %s", ch.Channel, text, ch.Since)
	}
	if len(r.Notes) > 0 {
		e.println("\nnotes:")
	}
	for _, n := range r.Notes {
		if err := e.item(fmt.Sprintf("  %s  ", n.Show), "%s", n.Text); err != nil {
			return err
		}
	}
	return nil
}

// deviation words how far a channel was off its median in a take. The mark is
// a column of its own, so that the digits stay in line.
func deviation(ch compare.Channel, take catalog.TakeID) string {
	for _, v := range ch.Values {
		if v.Take != take {
			continue
		}
		mark := " "
		if v.Outlier {
			mark = "!"
		}
		if strings.HasPrefix(decibels(v.RMS), "silent") {
			return "silent" + mark
		}
		return signed(float64(v.Delta)) + mark
	}
	return "- "
}
