package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/linecheck"
	"nightreel/internal/scan"
)

func (e *env) linecheckCommand() *cli.Command {
	return &cli.Command{
		Name:      "linecheck",
		Usage:     "a minute recorded this afternoon against the tour: alive, level, gain, swapped, polarity, hum, tone",
		ArgsUsage: "FILE-or-FOLDER",
		Description: "Play or tap each input in turn, or record the band's own check; a few inputs are enough.\n" +
			"Nothing that is measured is stored. A file with a number in its name is that track; any other is\n" +
			"the channel of its name.\n" +
			"A level is the mean of the peaks, as a meter shows them, in the louder half of the seconds in\n" +
			"which the input was played. It is compared with the median of stretches of the tour of the same\n" +
			"length.\n" +
			"The tone of an input is compared only if it was played for 20 s or more.\n" +
			"With --fail-on-findings the exit status is 3 if an input is not ok.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "date", Usage: "the day whose input list is in force, as `DATE`; the newest list without it"},
			&cli.StringFlag{Name: "rig", Usage: "the record rig's `NAME`", Value: catalog.MainRig},
			&cli.BoolFlag{Name: "fail-on-findings", Usage: "exit with status 3 when an input is not ok"},
			jsonFlag(),
		},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 1, 1, "the file or folder of the line check"); err != nil {
				return err
			}
			day, err := date(c, "date")
			if err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				if err := knownNames(c, store); err != nil {
					return err
				}
				day, err := store.Address(c.Context, day)
				if err != nil {
					return err
				}
				var p scan.Progress
				began := time.Now()
				stop := e.watch(c.Bool("json"), func() string {
					s := p.Snapshot()
					if s.BytesTotal == 0 {
						return s.Stage
					}
					return fmt.Sprintf("%s  %s", pace(s.Bytes, s.BytesTotal, began), fileName(s.Current))
				})
				r, err := linecheck.Check(c.Context, store, c.Args().First(), linecheck.Options{Date: day, Rig: c.String("rig")}, &p)
				stop()
				if err != nil {
					return err
				}
				if c.Bool("json") {
					err = e.printJSON(r)
				} else {
					err = e.printLinecheck(r)
				}
				bad := 0
				for _, in := range r.Inputs {
					if in.Status != linecheck.OK {
						bad++
					}
				}
				if err == nil && bad > 0 && c.Bool("fail-on-findings") {
					return &foundError{count(bad, "input") + " to look at"}
				}
				return err
			})
		},
	}
}

func (e *env) printLinecheck(r linecheck.Report) error {
	if len(r.Inputs) > 0 {
		e.sentence("", "%s: %s", linecheckSummary(r.Inputs), linecheckAgainst(r.Against))
	}
	t := newTable(">track", "channel", "status", ">played", ">level", ">tour", ">differs", ">gain")
	t.drop = []string{"tour", "level"}
	number := func(v *float64, none string) string {
		if v == nil {
			return none
		}
		return rounded("%.1f", *v)
	}
	for _, in := range r.Inputs {
		gain := ""
		if in.Suggest != nil {
			gain = fmt.Sprintf("%+.0f", *in.Suggest)
		}
		differs := "-"
		if in.Difference != nil {
			differs = signed(*in.Difference)
		}
		played := "-"
		if in.Alive {
			played = fmt.Sprintf("%d s", in.Played)
		}
		t.row(fmt.Sprint(in.Track), in.Channel, string(in.Status), played, number(in.Level, "silent"), number(in.Usual, "-"), differs, gain)
	}
	if err := e.printTable(t); err != nil {
		return err
	}
	first := true
	for _, in := range r.Inputs {
		for _, text := range in.Text {
			if first {
				e.println("")
				first = false
			}
			e.sentence("  ", "%s", text)
		}
	}
	if groups := r.AlikeGroups(); len(groups) > 0 {
		var all []string
		for _, g := range groups {
			all = append(all, strings.Join(g[:len(g)-1], ", ")+" and "+g[len(g)-1])
		}
		e.println("")
		e.sentence("", "too alike to hear whether they are exchanged: %s. Tap or name each one while you watch its meter.", strings.Join(all, "; "))
	}
	if len(r.NotRecorded) > 0 {
		e.println("")
		e.sentence("", "not recorded: %s", strings.Join(r.NotRecorded, ", "))
	}
	if len(r.Problems) > 0 {
		e.println("")
	}
	return e.printProblems(r.Problems)
}

// linecheckSummary counts the inputs by what is to be done about them.
func linecheckSummary(inputs []linecheck.Input) string {
	var counts []string
	for _, s := range []struct {
		is   linecheck.Status
		word string
	}{{linecheck.Broken, "broken"}, {linecheck.Unknown, "unknown"}, {linecheck.Look, "to look at"}, {linecheck.OK, "ok"}} {
		n := 0
		for _, in := range inputs {
			if in.Status == s.is {
				n++
			}
		}
		if n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, s.word))
		}
	}
	return count(len(inputs), "input") + ", " + strings.Join(counts, ", ")
}

// linecheckAgainst says which nights the check was compared with.
func linecheckAgainst(nights []catalog.ShowKey) string {
	switch len(nights) {
	case 0:
		return "no other night is known, so levels and floors alone"
	case 1:
		return "against " + string(nights[0])
	}
	return fmt.Sprintf("against %s, %s to %s", count(len(nights), "night"), slices.Min(nights), slices.Max(nights))
}
