package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/scan"
	"nightreel/internal/verdict"
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
			&cli.StringFlag{Name: "date", Usage: "the show's `DATE` (YYYY-MM-DD), if folders and files do not say it"},
			&cli.StringFlag{Name: "rig", Usage: "the `NAME` of the record rig, if folders and files do not say it"},
			&cli.StringFlag{Name: "venue", Usage: "the show's venue `NAME`"},
			&cli.StringFlag{Name: "name-pattern", Usage: "how file names are made, for example `PATTERN` \"{track} {name}_{segment}\""},
			&cli.BoolFlag{Name: "check", Usage: "read unchanged files too and compare their checksums; what differs, or cannot be read in the catalog, is measured again"},
			&cli.Float64Flag{Name: "clip-level", Usage: "count samples from `DBFS` up as full scale", DefaultText: "the largest value"},
			&cli.BoolFlag{Name: "fail-on-findings", Usage: "exit with status 3 when there are findings, or files that could not be read"},
			jsonFlag(),
		},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 1, -1, "at least one folder"); err != nil {
				return err
			}
			var day catalog.Date
			var err error
			if text := c.String("date"); text != "" {
				if day, err = catalog.ParseDate(text); err != nil {
					return &usageError{command: commandPath(c), text: "--date: " + err.Error()}
				}
			}
			opt := scan.Options{Date: day, Rig: c.String("rig"), Venue: c.String("venue"), NamePattern: c.String("name-pattern"), Check: c.Bool("check")}
			if c.IsSet("clip-level") {
				level := c.Float64("clip-level")
				if level > 0 {
					return &usageError{command: commandPath(c), text: "--clip-level must be 0 dBFS or below"}
				}
				opt.ClipLevelDBFS = &level
			}
			return e.withNew(c, func(store *catalog.Store) error {
				return e.scan(c.Context, store, c.Args().Slice(), opt, c.Bool("json"), c.Bool("fail-on-findings"))
			})
		},
	}
}

// scan reads the folders and prints what came of it.
func (e *env) scan(ctx context.Context, store *catalog.Store, dirs []string, opt scan.Options, asJSON, failOnFindings bool) error {
	var p scan.Progress
	began := time.Now()
	stop := e.watch(asJSON, func() string {
		s := p.Snapshot()
		if s.BytesTotal == 0 {
			return s.Stage
		}
		return fmt.Sprintf("%s: %d of %d files, %s  %s", s.Stage, s.Files, s.FilesTotal, pace(s.Bytes, s.BytesTotal, began), fileName(s.Current))
	})
	result, err := scan.Run(ctx, store, dirs, opt, &p)
	stop()
	if err != nil {
		for _, problem := range result.Problems {
			e.warn("%s: %s", problem.File, problem.Problem)
		}
		return err
	}
	e.tell(result.Notes)
	var touched []catalog.ShowKey
	for _, show := range result.Shows {
		touched = append(touched, show.Key)
	}
	findings := 0
	var s state
	err = e.refresh(ctx, store, asJSON, touched, func() error {
		for i, show := range result.Shows {
			if result.Shows[i], err = store.Show(ctx, show.Key); err != nil {
				return err
			}
			findings += result.Shows[i].Findings
		}
		s.shows = result.Shows
		if s.verdicts, err = verdict.Load(ctx, store, s.shows, false); err != nil {
			return err
		}
		if asJSON {
			return e.printJSON(scanDoc{result, showDocs(s)})
		}
		return e.printScan(result, s)
	})
	if err != nil {
		return err
	}
	e.mind(s) // last, so that nothing hides it
	unknown := s.unknown()
	if failOnFindings && findings+len(result.Problems)+len(unknown) > 0 {
		text := fmt.Sprintf("%s, %s", count(findings, "finding"), count(len(result.Problems), "file problem"))
		if len(unknown) > 0 {
			text += "; not known: " + strings.Join(unknown, "; ")
		}
		return &foundError{text}
	}
	if len(result.Unread) > 0 {
		return &unreadError{len(result.Unread)}
	}
	return nil
}

// unreadError says that a scan did not get all that it was to read.
type unreadError struct{ files int }

func (e *unreadError) Error() string {
	return count(e.files, "file") + " could not be read; what was read is kept"
}

// Hint says what to do about it.
func (e *unreadError) Hint() string {
	return "the problems above name them; check the drive, its cable and your right to read it, and scan again"
}

// scanDoc is a scan's document, with what is known of its shows.
type scanDoc struct {
	scan.Result
	Shows []showDoc `json:"shows"`
}

func (e *env) printScan(r scan.Result, s state) error {
	if err := e.printProblems(r.Problems); err != nil { // first, so that what came of the scan is what stays in sight
		return err
	}
	if len(r.Problems) > 0 {
		e.println("")
	}
	if err := e.printShows(s); err != nil {
		return err
	}
	speed := ""
	if r.Seconds > 0 && r.BytesRead > 0 {
		speed = fmt.Sprintf(" in %.1f s, %s/s", r.Seconds, size(int64(float64(r.BytesRead)/r.Seconds)))
	}
	return e.printf("%s read, %s%s\n", count(r.FilesRead, "file"), size(r.BytesRead), speed)
}

func (e *env) verifyCommand() *cli.Command {
	return &cli.Command{
		Name:  "verify",
		Usage: "check files against the checksums kept at the scan",
		Description: "A file that changed is reported, also after another scan measured it again, until verify accept\n" +
			"accepts it. Exit status 3 when a file changed, is missing or could not be read.",
		Flags:  []cli.Flag{showFlag("only this show"), jsonFlag()},
		Action: e.verify,
		Subcommands: []*cli.Command{{
			Name:      "accept",
			Usage:     "accept a changed file as it was last measured",
			ArgsUsage: "FILE…",
			Flags:     []cli.Flag{&cli.StringFlag{Name: "note", Usage: "why, as `TEXT`"}},
			Action: func(c *cli.Context) error {
				if err := arguments(c, 1, -1, "the files that changed"); err != nil {
					return err
				}
				return e.withStore(c, func(store *catalog.Store) error {
					if err := scan.Accept(c.Context, store, c.Args().Slice(), c.String("note")); err != nil {
						return err
					}
					return e.printf("%s accepted\n", count(c.Args().Len(), "changed file"))
				})
			},
		}},
	}
}

func (e *env) verify(c *cli.Context) error {
	day, err := date(c, "show")
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		show, err := knownShow(c.Context, store, day)
		if err != nil {
			return err
		}
		var p scan.Progress
		began := time.Now()
		stop := e.watch(c.Bool("json"), func() string {
			s := p.Snapshot()
			return fmt.Sprintf("%d of %d files, %s  %s", s.Files, s.FilesTotal, pace(s.Bytes, s.BytesTotal, began), fileName(s.Current))
		})
		files, err := scan.Verify(c.Context, store, show, &p)
		stop()
		if err != nil {
			return err
		}
		return e.printVerified(c, store, show, files)
	})
}

func (e *env) printVerified(c *cli.Context, store *catalog.Store, show catalog.ShowKey, files []scan.Verified) error {
	bad := 0
	t := newTable("status", "/file", "~")
	for _, f := range files {
		if f.Status != scan.OK {
			bad++
			t.row(string(f.Status), f.File, f.Problem)
		}
	}
	var err error
	if c.Bool("json") {
		err = e.printJSON(files)
	} else if err = e.printTable(t); err == nil && len(files) > 0 {
		err = e.printf("%d of %s ok\n", len(files)-bad, count(len(files), "file"))
	}
	switch {
	case err != nil:
		return err
	case len(files) == 0 && show != "":
		return &nothingError{fmt.Sprintf("nothing to verify: no file of %s is in the catalog", show), "nightreel scan DIR reads the recordings below a folder"}
	case len(files) == 0:
		return &nothingError{fmt.Sprintf("nothing to verify: there is no file in %s yet", store.Path()), "nightreel scan DIR reads the recordings below a folder"}
	case bad > 0:
		return &foundError{count(bad, "file") + " not as scanned"}
	}
	return nil
}

// nothingError says that there was nothing to do a command's work on.
type nothingError struct{ text, hint string }

func (e *nothingError) Error() string { return e.text }
func (e *nothingError) Hint() string  { return e.hint }

func (e *env) relocateCommand() *cli.Command {
	return &cli.Command{
		Name:      "relocate",
		Usage:     "correct where a drive or folder is",
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
					if err := e.printf("%s is at %s now\n", v.Name, v.Root); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
}
