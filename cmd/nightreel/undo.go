package main

import (
	"github.com/urfave/cli/v2"

	"nightreel/catalog"
)

func (e *env) undoCommand() *cli.Command {
	return &cli.Command{
		Name:      "undo",
		Usage:     "take back what one command or one click entered; the latest if none is named",
		ArgsUsage: "[STEP]",
		Description: "What the step entered, changed or deleted is again as it was before. nightreel history lists\n" +
			"the steps. Taking back is a step of its own: undo it to bring back what was undone.",
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 1, "at most one step"); err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				step, err := store.Undo(c.Context, c.Args().First())
				if err != nil {
					return err
				}
				for _, f := range step.Facts {
					did := "taken back: "
					if f.Deleted {
						did = "brought back: "
					}
					if err := e.item(did, "%s", f.Words()); err != nil {
						return err
					}
				}
				return e.refresh(c.Context, store, false, nil, nil)
			})
		},
	}
}
