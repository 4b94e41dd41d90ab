package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

func (e *env) refreshCommand() *cli.Command {
	return &cli.Command{
		Name:  "refresh",
		Usage: "bring songs and findings up to date",
		Description: "Every command that changes something does this by itself. An interrupted one is\n" +
			"finished here, or by the next command that changes something.",
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				return e.refresh(c.Context, store, false, nil, nil)
			})
		},
	}
}

func (e *env) resultsCommand() *cli.Command {
	return &cli.Command{
		Name:  "results",
		Usage: "print all that was computed, as text",
		Description: "Two catalogs that hold the same recordings, lists and corrections print the same\n" +
			"text, whatever the order in which they were entered, and on whatever machine.",
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				if err := e.refresh(c.Context, store, false, nil, nil); err != nil {
					return err
				}
				return refresh.Dump(c.Context, store, e.stdout)
			})
		},
	}
}

// refresh brings results up to date after facts changed. As soon as those of
// the shows in first are, it prints their warnings and calls answer, which may be
// nil; then it goes on with the shows that the change made stale.
func (e *env) refresh(ctx context.Context, store *catalog.Store, asJSON bool, first []catalog.ShowKey, answer func() error) error {
	var p refresh.Progress
	stop := e.watch(asJSON, p.Doing)
	defer func() { stop() }()
	report, err := refresh.Tour(ctx, store, refresh.Options{First: first, Progress: &p, Answered: func(refresh.Report) error {
		stop()
		defer func() { stop = e.watch(asJSON, p.Doing) }()
		warnings, err := refresh.Warnings(ctx, store, first)
		for _, w := range warnings {
			e.warn("%s", w)
		}
		if err == nil && answer != nil {
			err = answer()
		}
		return err
	}})
	stop()
	e.tell(report.Learned)
	return err
}
