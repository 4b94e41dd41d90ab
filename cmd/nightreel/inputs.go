package main

import (
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
)

func (e *env) inputsCommand() *cli.Command {
	return &cli.Command{
		Name:  "inputs",
		Usage: "the input list: which channel is on which track, and how its preamp is set",
		Subcommands: []*cli.Command{
			{
				Name:      "import",
				Usage:     "put an input list in force from a show on, or for one show",
				ArgsUsage: "FILE",
				Description: "FILE is a table with a heading line; columns are known by their heading, in any order:\n" +
					"track, channel, gain (dB), group, notes. Comma, semicolon or tab.",
				Flags:  inputListFlags(),
				Action: e.importInputs,
			},
			{
				Name:   "list",
				Usage:  "list the input lists: from when on, or for which show, and for which rig",
				Flags:  []cli.Flag{jsonFlag()},
				Action: e.listInputLists,
			},
			{
				Name:   "delete",
				Usage:  "delete an input list; the one before it is in force again",
				Flags:  inputListFlags(),
				Action: e.deleteInputs,
			},
			{
				Name:      "show",
				Usage:     "print the input list in force on a night",
				ArgsUsage: "SHOW",
				Flags:     []cli.Flag{showFlag("the night"), &cli.StringFlag{Name: "rig", Usage: "for this record rig's `NAME`", Value: catalog.MainRig}, jsonFlag(), csvFlag()},
				Action:    e.printInputs,
			},
		},
	}
}

// inputListFlags name an input list.
func inputListFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "from", Usage: "in force from this show's `DATE` on"},
		showFlag("for that night only, laid over the list in force"),
		&cli.StringFlag{Name: "rig", Usage: "for this record rig's `NAME` only"},
	}
}

// namedInputList returns the list that the options name, without inputs.
func namedInputList(c *cli.Context) (list catalog.InputList, err error) {
	from, err := date(c, "from")
	if err != nil {
		return list, err
	}
	only, err := date(c, "show")
	if err != nil {
		return list, err
	}
	if (from == "") == (only == "") {
		return list, &usageError{command: commandPath(c), text: "needs either --from DATE or --show DATE"}
	}
	return catalog.InputList{From: from + only, Only: only != "", Rig: c.String("rig")}, nil // one of the two is empty
}

// inForce words when a list is in force, and for which rig.
func inForce(l catalog.InputList) string {
	text := "from " + string(l.From) + " on"
	if l.Only {
		text = "for " + string(l.From) + " only"
	}
	if l.Rig != "" {
		text += ", rig " + l.Rig
	}
	return text
}

func (e *env) importInputs(c *cli.Context) error {
	if err := arguments(c, 1, 1, "one file, or - for standard input"); err != nil {
		return err
	}
	list, err := namedInputList(c)
	if err != nil {
		return err
	}
	if list.Inputs, err = readFile(c.Args().First(), lists.ReadInputs); err != nil {
		return err
	}
	return e.withNew(c, func(store *catalog.Store) error {
		if err := e.newRig(c, store); err != nil {
			return err
		}
		if err := store.SaveInputList(c.Context, list); err != nil {
			return err
		}
		if err := e.refreshFrom(c, store, list); err != nil {
			return err
		}
		return e.printf("%s in force %s\n", count(len(list.Inputs), "input"), inForce(list))
	})
}

// refreshFrom brings up to date what follows from an input list, the shows that it is in
// force on first.
func (e *env) refreshFrom(c *cli.Context, store *catalog.Store, list catalog.InputList) error {
	shows, err := store.Shows(c.Context, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	var concerned []catalog.ShowKey
	for _, show := range shows {
		if show.Key >= list.From && (!list.Only || show.Key == list.From) {
			concerned = append(concerned, show.Key)
		}
	}
	return e.refresh(c.Context, store, false, concerned, nil)
}

func (e *env) listInputLists(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments"); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		all, err := store.InputLists(c.Context)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			e.say("no input list yet; nightreel inputs import FILE --from DATE reads one")
		}
		if c.Bool("json") {
			return e.printJSON(all)
		}
		t := newTable("in force", ">inputs")
		for _, l := range all {
			t.row(inForce(l), fmt.Sprint(len(l.Inputs)))
		}
		return e.printTable(t)
	})
}

func (e *env) deleteInputs(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments"); err != nil {
		return err
	}
	list, err := namedInputList(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		all, err := store.InputLists(c.Context)
		if err != nil {
			return err
		}
		for _, l := range all {
			if l.From == list.From && l.Only == list.Only && l.Rig == list.Rig {
				if err := store.SaveInputList(c.Context, list); err != nil { // without inputs
					return err
				}
				e.sentence("", "the input list %s is deleted; nightreel undo brings it back", inForce(list))
				return e.refreshFrom(c, store, list)
			}
		}
		return &catalog.NotFoundError{Kind: "input list", Name: inForce(list), Try: "nightreel inputs list shows them"}
	})
}

// newRig warns of a rig in --rig that has no recording yet: the list may come
// before the scan, or the name may be mistyped.
func (e *env) newRig(c *cli.Context, store *catalog.Store) error {
	var unknown *catalog.NotFoundError
	err := knownNames(c, store)
	if errors.As(err, &unknown) {
		e.warn("no recording is of rig %s yet; %s", c.String("rig"), unknown.Hint())
		return nil
	}
	return err
}

func (e *env) printInputs(c *cli.Context) error {
	if err := addressed(c, "show", "one show"); err != nil {
		return err
	}
	if err := notBoth(c, "csv", "json"); err != nil {
		return err
	}
	day, err := neededShow(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		day, err := store.Address(c.Context, day)
		if err != nil {
			return err
		}
		all, err := store.InputLists(c.Context)
		if err != nil {
			return err
		}
		if err := knownNames(c, store); err != nil {
			return err
		}
		inputs := catalog.InForce(all, day, c.String("rig"))
		if len(inputs) == 0 {
			e.say("no input list is in force%s; nightreel inputs import FILE --from DATE reads one", asked(c))
		}
		switch {
		case c.Bool("json"):
			return e.printJSON(inputs)
		case c.Bool("csv"):
			return lists.WriteInputs(e.stdout, inputs)
		}
		t := newTable(">track", "channel", ">gain dB", "group", "~notes")
		for _, in := range inputs {
			t.row(fmt.Sprint(in.Track), in.Channel, gain(in.GainDB), in.Group, in.Notes)
		}
		return e.printTable(t)
	})
}

// gain writes a preamp gain that may not be known.
func gain(db *float64) string {
	if db == nil {
		return "-"
	}
	return fmt.Sprintf("%g", *db)
}
