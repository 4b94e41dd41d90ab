package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/compare"
)

func (e *env) showsCommand() *cli.Command {
	return &cli.Command{
		Name:  "shows",
		Usage: "list the shows and their recordings, and correct what a scan made of them",
		Description: "A show's address is its date, with its name behind it where the date has several:\n" +
			"2031-08-01, or \"2031-08-01 matinee\". The show's positions count on the recording marked *.",
		Flags:       []cli.Flag{jsonFlag()},
		Subcommands: e.showCommands(),
		Action: func(c *cli.Context) error {
			if c.Args().Present() {
				return parentAction(c.Command.Subcommands)(c)
			}
			return e.withStore(c, func(store *catalog.Store) error {
				shows, err := store.Shows(c.Context, catalog.ShowFilter{})
				if err != nil {
					return err
				}
				if c.Bool("json") {
					return e.printJSON(shows)
				}
				if len(shows) == 0 {
					fmt.Fprintf(e.stderr, "no shows yet; nightreel scan DIR reads the recordings below a folder\n")
				}
				return e.printShows(shows)
			})
		},
	}
}

func (e *env) printShows(shows []catalog.Show) error {
	t := newTable("show", "venue", ">id", "rig", "format", ">tracks", ">files", ">length", "starts", ">takes", ">findings")
	for _, s := range shows {
		takes, findings := fmt.Sprint(s.Takes), fmt.Sprint(s.Findings)
		show, venue := string(s.Key), s.Venue
		if venue == "" {
			venue = s.Name
		}
		for _, r := range s.Recordings {
			starts := ""
			if r.StartsAt != nil {
				starts = r.StartsAt.Format("15:04:05")
			}
			rig := r.Rig
			if r.Reference && len(s.Recordings) > 1 {
				rig += " *"
			}
			t.row(show, venue, fmt.Sprint(r.ID), rig, format(r), fmt.Sprint(r.Tracks), fmt.Sprint(r.Files), catalog.Clock(r.Seconds(r.Frames)), starts, takes, findings)
			show, venue, takes, findings = "", "", "", "" // said once a show
		}
	}
	return t.print(e.stdout)
}

// format words how a recording's samples are coded, "48 kHz 24 bit".
func format(r catalog.Recording) string {
	text := fmt.Sprintf("%g kHz %d bit", float64(r.SampleRate)/1000, r.BitDepth)
	if r.Float() {
		text += " float"
	}
	return text
}

func (e *env) tracksCommand() *cli.Command {
	return &cli.Command{
		Name:  "tracks",
		Usage: "list the tracks of a night with their figures",
		Flags: []cli.Flag{showFlag("the show, needed"), jsonFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			day, err := neededShow(c)
			if err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				if _, err := store.Show(c.Context, day); err != nil {
					return err
				}
				tracks, err := compare.Tracks(c.Context, store, day)
				if err != nil {
					return err
				}
				if c.Bool("json") {
					return e.printJSON(tracks)
				}
				t := newTable(append([]string{"rig", ">track", "channel", "recorded as", ">length"}, figureHeads...)...)
				for _, tr := range tracks {
					t.row(append([]string{tr.Rig, fmt.Sprint(tr.Track), tr.Channel, tr.Name, catalog.Clock(tr.DurationS)}, figureCells(tr.Figures)...)...)
				}
				return t.print(e.stdout)
			})
		},
	}
}
