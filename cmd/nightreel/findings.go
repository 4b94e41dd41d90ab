package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/findings"
)

func (e *env) findingsCommand() *cli.Command {
	return &cli.Command{
		Name:  "findings",
		Usage: "list the findings: what clipped, died, dropped out",
		Flags: []cli.Flag{
			showFlag("only this show"), channelFlag(),
			&cli.StringFlag{Name: "kind", Usage: "only this `KIND` of finding, for example clipped, or 'went silent'"},
			&cli.BoolFlag{Name: "all", Usage: "accepted ones too"},
			&cli.BoolFlag{Name: "fail-on-findings", Usage: "exit with status 3 when there are any that are not accepted, or a show is not wholly read and judged"},
			jsonFlag(),
		},
		Action: func(c *cli.Context) error {
			day, err := date(c, "show")
			if err != nil {
				return err
			}
			filter := catalog.FindingFilter{Channel: c.String("channel")}
			if kind := c.String("kind"); kind != "" {
				if filter.Kind, err = catalog.ParseFindingKind(kind); err != nil {
					var kinds []string
					for _, k := range catalog.FindingKinds {
						kinds = append(kinds, string(k))
					}
					return oneOf(c, "kind", kinds...)
				}
			}
			return e.withResults(c, func(store *catalog.Store) error {
				if filter.Show, err = knownShow(c.Context, store, day); err != nil {
					return err
				}
				if err := knownNames(c, store); err != nil {
					return err
				}
				found, err := store.Findings(c.Context, filter)
				if err != nil {
					return err
				}
				s, err := stateOf(c.Context, store, filter.Show)
				if err != nil {
					return err
				}
				findings.Sort(found)
				return e.printFindings(c, store, found, s)
			})
		},
		Subcommands: []*cli.Command{
			{
				Name:      "accept",
				Usage:     "accept a known finding: no list shows it any more, after another scan either",
				ArgsUsage: "ID…",
				Flags:     []cli.Flag{&cli.StringFlag{Name: "note", Usage: "why, as `TEXT`"}},
				Action: func(c *cli.Context) error {
					return e.editFindings(c, "accepted", func(store *catalog.Store, id catalog.FindingID) error {
						return store.AcceptFinding(c.Context, id, c.String("note"))
					})
				},
			},
			{
				Name:      "reopen",
				Usage:     "open accepted findings again",
				ArgsUsage: "ID…",
				Action: func(c *cli.Context) error {
					return e.editFindings(c, "open again", func(store *catalog.Store, id catalog.FindingID) error {
						return store.UnacceptFinding(c.Context, id)
					})
				},
			},
		},
	}
}

func (e *env) printFindings(c *cli.Context, store *catalog.Store, found []catalog.Finding, s state) error {
	open := 0
	for _, f := range found {
		if !f.Accepted {
			open++
		}
	}
	var err error
	if c.Bool("json") {
		err = e.printJSON(found)
	} else {
		err = e.listFindings(found, open, c.Bool("all"))
	}
	unknown := s.unknown()
	if len(found) == 0 {
		e.empty(store, s, "no findings%s in what was read", asked(c))
	}
	e.mind(s)
	e.sayNotJudged(s, c.App.Version)
	if err == nil && open+len(unknown) > 0 && c.Bool("fail-on-findings") {
		text := count(open, "finding")
		if len(unknown) > 0 {
			text += "; not known: " + strings.Join(unknown, "; ")
		}
		return &foundError{text}
	}
	return err
}

// listFindings prints findings by show and rig, what hurts most first, each with its
// sentence below it. Those that are alike stand below one line.
func (e *env) listFindings(found []catalog.Finding, open int, all bool) error {
	shown := slices.Clone(found)
	if !all {
		shown = slices.DeleteFunc(shown, func(f catalog.Finding) bool { return f.Accepted })
	}
	shown = findings.Together(shown)
	head := ""
	for len(shown) > 0 {
		f, n := shown[0], 1
		for n < len(shown) && findings.Alike(f, shown[n]) {
			n++
		}
		if h := fmt.Sprintf("%s, rig %s", f.Show, f.Rig); h != head {
			head = h
			e.println(wrapped(head, "", e.textWidth()))
		}
		id, place := fmt.Sprint(f.ID), span(f.StartS(), f.EndS())
		if n > 1 {
			id, place = "", count(n, "finding")
		}
		severity := string(f.Severity)
		if f.Accepted {
			severity = "accepted"
		}
		about := fmt.Sprintf("%5s  %-8s %-15s ", id, severity, f.Kind.Words())
		e.println(about + cut(inline(f.About()), e.textWidth()-displayWidth(about)-len(place)-2) + ", " + place)
		for _, f := range shown[:n] {
			text := f.Text
			if f.Note != "" {
				text += " [" + f.Note + "]"
			}
			id := ""
			if n > 1 {
				id = fmt.Sprint(f.ID)
			}
			e.item(fmt.Sprintf("%5s  ", id), "%s", text)
		}
		e.println("")
		shown = shown[n:]
	}
	summary := count(open, "finding")
	if accepted := len(found) - open; accepted > 0 {
		summary += fmt.Sprintf(", %d accepted", accepted)
	}
	err := e.println(summary)
	return err
}

func (e *env) editFindings(c *cli.Context, done string, edit func(*catalog.Store, catalog.FindingID) error) error {
	if err := arguments(c, 1, -1, "the ids of findings"); err != nil {
		return err
	}
	var ids []catalog.FindingID
	for _, arg := range c.Args().Slice() {
		id, err := strconv.ParseInt(arg, 10, 64)
		if err != nil || id < 1 {
			return &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not the id of a finding; nightreel findings lists them", arg)}
		}
		ids = append(ids, catalog.FindingID(id))
	}
	return e.withStore(c, func(store *catalog.Store) error {
		for _, id := range ids {
			if err := edit(store, id); err != nil {
				return err
			}
		}
		return e.printf("%s %s\n", count(len(ids), "finding"), done)
	})
}
