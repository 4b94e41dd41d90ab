package main

import (
	"context"
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/health"
	"nightreel/internal/scan"
	"nightreel/internal/songs"
)

func (e *env) scanCommand() *cli.Command {
	return &cli.Command{
		Name:      "scan",
		Usage:     "index recordings, measure them, place songs, judge channels",
		ArgsUsage: "DIR…",
		Description: "Reads every recording below the folders once and keeps what it measured in the catalog.\n" +
			"Files that did not change are not read again; an interrupted scan goes on where it stopped.\n" +
			"The recordings are opened read-only.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "date", Usage: "the show's `DATE` (YYYY-MM-DD), where folders and files do not tell"},
			&cli.StringFlag{Name: "rig", Usage: "the `NAME` of the record rig, where folders and files do not tell"},
			&cli.StringFlag{Name: "venue", Usage: "the show's venue `NAME`"},
			&cli.StringFlag{Name: "name-pattern", Usage: "how file names are made, for example `PATTERN` \"{track} {name}_{segment}\""},
			&cli.BoolFlag{Name: "check", Usage: "read unchanged files too and compare their checksums"},
			&cli.Float64Flag{Name: "clip-level", Usage: "count samples from `DBFS` up as full scale"},
			&cli.BoolFlag{Name: "fail-on-flags", Usage: "exit with status 3 when there are findings or files that could not be read"},
			jsonFlag(),
		},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 1, -1, "at least one folder"); err != nil {
				return err
			}
			day, err := date(c, "date")
			if err != nil {
				return err
			}
			opt := scan.Options{Date: day, Rig: c.String("rig"), Venue: c.String("venue"), NamePattern: c.String("name-pattern"), Check: c.Bool("check")}
			if c.IsSet("clip-level") {
				level := c.Float64("clip-level")
				if level > 0 {
					return &usageError{command: commandPath(c), text: "--clip-level must be 0 dBFS or below"}
				}
				opt.ClipLevelDBFS = &level
			}
			return e.withStore(c, func(store *catalog.Store) error {
				return e.scan(c.Context, store, c.Args().Slice(), opt, c.Bool("json"), c.Bool("fail-on-flags"))
			})
		},
	}
}

// scan reads the folders, then places songs and judges channels of the shows
// it touched.
func (e *env) scan(ctx context.Context, store *catalog.Store, dirs []string, opt scan.Options, asJSON, failOnFlags bool) error {
	var p scan.Progress
	began := time.Now()
	stop := e.watch(asJSON, func() string {
		s := p.Snapshot()
		if s.BytesTotal == 0 {
			return s.Stage
		}
		return fmt.Sprintf("%s: %d of %d files, %s  %s", s.Stage, s.Files, s.FilesTotal, pace(s.Bytes, s.BytesTotal, began), s.Current)
	})
	result, err := scan.Run(ctx, store, dirs, opt, &p)
	stop()
	if err != nil {
		for _, problem := range result.Problems {
			e.warn("%s: %s", problem.File, problem.Problem)
		}
		return err
	}
	flags, takes := 0, 0
	for i, show := range result.Shows {
		if err := e.judge(ctx, store, show.Date); err != nil {
			return err
		}
		if result.Shows[i], err = store.Show(ctx, show.Date); err != nil {
			return err
		}
		flags += result.Shows[i].Flags
		takes += result.Shows[i].Takes
	}
	if asJSON {
		err = e.printJSON(result)
	} else {
		err = e.printScan(result)
	}
	if err == nil && failOnFlags && flags+len(result.Problems) > 0 {
		return &foundError{fmt.Sprintf("%s, %s", count(flags, "finding"), count(len(result.Problems), "file problem"))}
	}
	return err
}

// judge places a show's songs and judges its channels. Both work from the
// catalog alone and may be done again at any time.
func (e *env) judge(ctx context.Context, store *catalog.Store, show catalog.Date) error {
	placed, err := songs.Place(ctx, store, show)
	if err != nil {
		return err
	}
	for _, title := range placed.NotPlaced {
		e.warn("%s: no place was found for %q of the set list; nightreel takes set places it by hand", show, title)
	}
	for _, problem := range placed.Problems {
		e.warn("%s: %s", show, problem)
	}
	return health.Judge(ctx, store, show, health.Options{})
}

// judgeFrom does so for every show from a date on: what a new input list may
// change.
func (e *env) judgeFrom(ctx context.Context, store *catalog.Store, from catalog.Date, only bool) error {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	for _, show := range shows {
		if show.Date < from || only && show.Date != from {
			continue
		}
		if err := e.judge(ctx, store, show.Date); err != nil {
			return err
		}
	}
	return nil
}

func (e *env) printScan(r scan.Result) error {
	if err := e.printShows(r.Shows); err != nil {
		return err
	}
	speed := ""
	if r.Seconds > 0 && r.BytesRead > 0 {
		speed = fmt.Sprintf(" in %.1f s, %s/s", r.Seconds, size(int64(float64(r.BytesRead)/r.Seconds)))
	}
	if _, err := fmt.Fprintf(e.stdout, "%s read, %s%s\n", count(r.FilesRead, "file"), size(r.BytesRead), speed); err != nil {
		return err
	}
	if len(r.Problems) > 0 {
		fmt.Fprintf(e.stdout, "\n%s:\n", count(len(r.Problems), "problem"))
	}
	for _, p := range r.Problems {
		at := ""
		if p.Offset > 0 {
			at = fmt.Sprintf(" (at byte %d)", p.Offset)
		}
		if _, err := fmt.Fprintf(e.stdout, "  %s: %s%s\n", p.File, p.Problem, at); err != nil {
			return err
		}
	}
	return nil
}

func (e *env) verifyCommand() *cli.Command {
	return &cli.Command{
		Name:        "verify",
		Usage:       "check files against the checksums kept at the scan",
		Description: "Exit status 3 when a file changed, is missing or could not be read.",
		Flags:       []cli.Flag{showFlag("only this show"), jsonFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			day, err := date(c, "show")
			if err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				if day != "" {
					if _, err := store.Show(c.Context, day); err != nil {
						return err
					}
				}
				var p scan.Progress
				began := time.Now()
				stop := e.watch(c.Bool("json"), func() string {
					s := p.Snapshot()
					return fmt.Sprintf("%d of %d files, %s  %s", s.Files, s.FilesTotal, pace(s.Bytes, s.BytesTotal, began), s.Current)
				})
				files, err := scan.Verify(c.Context, store, day, &p)
				stop()
				if err != nil {
					return err
				}
				bad := 0
				t := newTable("status", "file")
				for _, f := range files {
					if f.Status != "ok" {
						bad++
						t.row(string(f.Status), f.File)
					}
				}
				if c.Bool("json") {
					err = e.printJSON(files)
				} else if err = t.print(e.stdout); err == nil {
					_, err = fmt.Fprintf(e.stdout, "%d of %s ok\n", len(files)-bad, count(len(files), "file"))
				}
				if err == nil && bad > 0 {
					return &foundError{count(bad, "file") + " not as scanned"}
				}
				return err
			})
		},
	}
}

func (e *env) relocateCommand() *cli.Command {
	return &cli.Command{
		Name:      "relocate",
		Usage:     "say that a drive or folder is somewhere else now",
		ArgsUsage: "OLD NEW",
		Flags:     []cli.Flag{jsonFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 2, 2, "the old place and the new one"); err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				moved, err := scan.Relocate(c.Context, store, c.Args().Get(0), c.Args().Get(1))
				if err != nil {
					return err
				}
				if c.Bool("json") {
					return e.printJSON(moved)
				}
				for _, v := range moved {
					if _, err := fmt.Fprintf(e.stdout, "%s is at %s now\n", v.Name, v.Root); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
}
