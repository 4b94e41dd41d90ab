package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
)

func (e *env) deskCommand() *cli.Command {
	return &cli.Command{
		Name:  "desk",
		Usage: "desks and their patches: which channel comes in where",
		Subcommands: []*cli.Command{
			{
				Name:      "import",
				Usage:     "read a desk's patch",
				ArgsUsage: "FILE",
				Description: "FILE is a table with a heading line: desk input, channel, and if known gain (tonight's\n" +
					"preamp gain in dB) and output (the playback output that feeds the input; the same number\n" +
					"if not given).",
				Flags: []cli.Flag{&cli.StringFlag{Name: "name", Usage: "the desk's `NAME`, needed"}},
				Action: func(c *cli.Context) error {
					if err := arguments(c, 1, 1, "one file, or - for standard input"); err != nil {
						return err
					}
					if err := need(c, "name"); err != nil {
						return err
					}
					desk := catalog.Desk{Name: c.String("name")}
					var err error
					if desk.Inputs, err = readFile(c.Args().First(), lists.ReadDesk); err != nil {
						return err
					}
					return e.withNew(c, func(store *catalog.Store) error {
						if err := store.SaveDesk(c.Context, desk); err != nil {
							return err
						}
						return e.printf("desk %s has %s\n", desk.Name, count(len(desk.Inputs), "input"))
					})
				},
			},
			{
				Name:      "list",
				Aliases:   []string{"show"},
				Usage:     "list the desks and their inputs",
				ArgsUsage: "[NAME]",
				Flags:     []cli.Flag{&cli.StringFlag{Name: "name", Usage: "only the desk of this `NAME`"}, jsonFlag()},
				Action:    e.listDesks,
			},
			{
				Name:      "delete",
				Usage:     "delete a desk's patch; playback sessions that were built for it stay",
				ArgsUsage: "NAME",
				Flags:     []cli.Flag{&cli.StringFlag{Name: "name", Usage: "the desk's `NAME`"}},
				Action: func(c *cli.Context) error {
					if err := addressed(c, "name", "the name of one desk"); err != nil {
						return err
					}
					if err := need(c, "name"); err != nil {
						return err
					}
					return e.withStore(c, func(store *catalog.Store) error {
						d, err := store.DeleteDesk(c.Context, c.String("name"))
						if err != nil {
							return err
						}
						return e.sentence("", "desk %s is deleted; nightreel undo brings it back", d.Name)
					})
				},
			},
		},
	}
}

func (e *env) listDesks(c *cli.Context) error {
	if err := addressed(c, "name", "the name of one desk"); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		desks, err := store.Desks(c.Context)
		if err != nil {
			return err
		}
		if name := c.String("name"); name != "" {
			desk, err := store.Desk(c.Context, name)
			if err != nil {
				return err
			}
			desks = []catalog.Desk{desk}
		}
		if len(desks) == 0 {
			e.say("no desk yet; nightreel desk import FILE --name NAME reads a desk's patch")
		}
		if c.Bool("json") {
			return e.printJSON(desks)
		}
		t := newTable("desk", ">input", "channel", ">gain dB", ">output")
		for _, d := range desks {
			for _, in := range d.Inputs {
				t.row(d.Name, fmt.Sprint(in.Input), in.Channel, gain(in.GainDB), fmt.Sprint(in.Output))
			}
		}
		return e.printTable(t)
	})
}
