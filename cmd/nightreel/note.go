package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
)

func (e *env) noteCommand() *cli.Command {
	return &cli.Command{
		Name:  "note",
		Usage: "notes about a night, such as a new rig; compare shows them where they fall",
		Subcommands: []*cli.Command{
			{
				Name:      "add",
				Usage:     "write a note",
				ArgsUsage: "TEXT",
				Flags:     []cli.Flag{showFlag("the show, needed")},
				Action: func(c *cli.Context) error {
					if err := arguments(c, 1, 1, "one text (in quotes)"); err != nil {
						return err
					}
					day, err := neededShow(c)
					if err != nil {
						return err
					}
					if strings.TrimSpace(c.Args().First()) == "" {
						return &usageError{command: commandPath(c), text: "needs a text that is not empty"}
					}
					return e.withStore(c, func(store *catalog.Store) error {
						n, err := store.AddNote(c.Context, day, c.Args().First())
						if err == nil {
							err = e.item(string(n.Show)+"  ", "%s", n.Text)
						}
						return err
					})
				},
			},
			{
				Name:    "list",
				Aliases: []string{"show"},
				Usage:   "list the notes",
				Flags:   []cli.Flag{showFlag("only this show"), jsonFlag()},
				Action:  e.listNotes,
			},
			{
				Name:      "delete",
				Usage:     "delete a note",
				ArgsUsage: "ID",
				Action: func(c *cli.Context) error {
					if err := arguments(c, 1, 1, "the note's id"); err != nil {
						return err
					}
					id, err := strconv.ParseInt(c.Args().First(), 10, 64)
					if err != nil || id < 1 {
						return &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not the id of a note; nightreel note list lists them", c.Args().First())}
					}
					return e.withStore(c, func(store *catalog.Store) error {
						n, err := store.DeleteNote(c.Context, catalog.NoteID(id))
						if err != nil {
							return err
						}
						return e.sentence("", "%s: %q is deleted; nightreel undo brings it back", n.Show, inline(n.Text))
					})
				},
			},
		},
	}
}

func (e *env) listNotes(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments"); err != nil {
		return err
	}
	day, err := date(c, "show")
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		show, err := knownShow(c.Context, store, day)
		if err != nil {
			return err
		}
		notes, err := store.Notes(c.Context, show)
		if err != nil {
			return err
		}
		if len(notes) == 0 {
			e.say("no notes%s; nightreel note add TEXT --show DATE writes one", asked(c))
		}
		if c.Bool("json") {
			return e.printJSON(notes)
		}
		t := newTable(">id", "show", "~note")
		for _, n := range notes {
			t.row(fmt.Sprint(n.ID), string(n.Show), n.Text)
		}
		return e.printTable(t)
	})
}
