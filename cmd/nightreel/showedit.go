package main

import (
	"fmt"
	"strconv"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/lists"
	"nightreel/internal/scan"
)

// showCommands are the commands by which a person corrects what a scan made of the
// files.
func (e *env) showCommands() []*cli.Command {
	id := &cli.StringSliceFlag{Name: "recording", Usage: "a recording's `ID`; nightreel shows lists them"}
	edit := func(name, usage, arguments string, least, most int, what string, flags []cli.Flag, do func(c *cli.Context, store *catalog.Store) (scan.Result, error)) *cli.Command {
		return &cli.Command{Name: name, Usage: usage, ArgsUsage: arguments, Flags: append(flags, jsonFlag()), Action: func(c *cli.Context) error {
			return e.editShows(c, least, most, what, do)
		}}
	}
	return []*cli.Command{
		edit("split", "make two shows of one", "", 0, 0, "no arguments",
			[]cli.Flag{showFlag("the show, needed"), &cli.StringFlag{Name: "at", Usage: "recordings that start at this `TIME` of day or later become the new show"}, id, &cli.StringFlag{Name: "name", Usage: "the `NAME` of the new show; the time of its start if not given"}},
			splitShow),
		edit("merge", "make one show of two; it keeps the first one's name", "SHOW SHOW", 2, 2, "two shows", nil,
			func(c *cli.Context, store *catalog.Store) (scan.Result, error) {
				return scan.Merge(c.Context, store, catalog.ShowKey(c.Args().Get(0)), catalog.ShowKey(c.Args().Get(1)), nil)
			}),
		edit("rename", "give a show another name", "NAME", 1, 1, "one name", []cli.Flag{showFlag("the show, needed")},
			withShow(func(c *cli.Context, store *catalog.Store, show catalog.ShowKey) (scan.Result, error) {
				return scan.Rename(c.Context, store, show, c.Args().First(), nil)
			})),
		edit("move", "give recordings to another show", "", 0, 0, "no arguments", []cli.Flag{id, &cli.StringFlag{Name: "to", Usage: "the `SHOW`, needed; a new one is made if no show has that address"}},
			func(c *cli.Context, store *catalog.Store) (scan.Result, error) {
				if err := need(c, "to"); err != nil {
					return scan.Result{}, err
				}
				to, err := date(c, "to")
				if err != nil {
					return scan.Result{}, err
				}
				ids, err := recordingIDs(c, 1, -1)
				if err != nil {
					return scan.Result{}, err
				}
				return scan.Move(c.Context, store, ids, to, nil)
			}),
		edit("reference", "choose the recording on which a show's positions count", "", 0, 0, "no arguments", []cli.Flag{showFlag("the show, needed"), id},
			withShow(func(c *cli.Context, store *catalog.Store, show catalog.ShowKey) (scan.Result, error) {
				ids, err := recordingIDs(c, 1, 1)
				if err != nil {
					return scan.Result{}, err
				}
				return scan.ChooseReference(c.Context, store, show, ids[0], nil)
			})),
		edit("rig", "correct the rig of a recording", "NAME", 1, 1, "one name", []cli.Flag{id},
			func(c *cli.Context, store *catalog.Store) (scan.Result, error) {
				ids, err := recordingIDs(c, 1, 1)
				if err != nil {
					return scan.Result{}, err
				}
				return scan.CallRig(c.Context, store, ids[0], c.Args().First(), nil)
			}),
		edit("venue", "enter a show's venue", "NAME", 1, 1, "one name", []cli.Flag{showFlag("the show, needed")},
			withShow(func(c *cli.Context, store *catalog.Store, show catalog.ShowKey) (scan.Result, error) {
				return scan.SetVenue(c.Context, store, show, c.Args().First(), nil)
			})),
		edit("reset", "take back all corrections of a show and its recordings: folders and files decide again", "", 0, 0, "no arguments", []cli.Flag{showFlag("the show, needed")},
			withShow(func(c *cli.Context, store *catalog.Store, show catalog.ShowKey) (scan.Result, error) {
				return scan.TakeBack(c.Context, store, show, nil)
			})),
	}
}

func withShow(do func(*cli.Context, *catalog.Store, catalog.ShowKey) (scan.Result, error)) func(*cli.Context, *catalog.Store) (scan.Result, error) {
	return func(c *cli.Context, store *catalog.Store) (scan.Result, error) {
		show, err := neededShow(c)
		if err != nil {
			return scan.Result{}, err
		}
		return do(c, store, show)
	}
}

func splitShow(c *cli.Context, store *catalog.Store) (scan.Result, error) {
	show, err := neededShow(c)
	if err != nil {
		return scan.Result{}, err
	}
	at := scan.SplitAt{Name: c.String("name")}
	if (c.String("at") == "") == (len(c.StringSlice("recording")) == 0) {
		return scan.Result{}, &usageError{command: commandPath(c), text: "needs either --at TIME or --recording ID"}
	}
	if text := c.String("at"); text != "" {
		s, ok := lists.ParseClock(text)
		if !ok {
			return scan.Result{}, &usageError{command: commandPath(c), text: fmt.Sprintf("--at: %q is not a time of day such as 19:30", text)}
		}
		at.Clock = time.Duration(s * float64(time.Second))
	} else if at.Recordings, err = recordingIDs(c, 1, -1); err != nil {
		return scan.Result{}, err
	}
	return scan.Split(c.Context, store, show, at, nil)
}

// recordingIDs reads --recording.
func recordingIDs(c *cli.Context, least, most int) ([]catalog.RecordingID, error) {
	var ids []catalog.RecordingID
	for _, text := range c.StringSlice("recording") {
		id, err := strconv.ParseInt(text, 10, 64)
		if err != nil || id < 1 {
			return nil, &usageError{command: commandPath(c), text: fmt.Sprintf("--recording: %q is not the id of a recording; nightreel shows lists them", text)}
		}
		ids = append(ids, catalog.RecordingID(id))
	}
	if len(ids) < least || most > 0 && len(ids) > most {
		return nil, &usageError{command: commandPath(c), text: "needs --recording ID" + map[bool]string{true: ", once"}[most == 1]}
	}
	return ids, nil
}

// editShows makes a correction, brings the shows that it touched up to date, and
// prints all shows.
func (e *env) editShows(c *cli.Context, least, most int, what string, do func(*cli.Context, *catalog.Store) (scan.Result, error)) error {
	if err := arguments(c, least, most, what); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		result, err := do(c, store)
		if err != nil {
			return err
		}
		e.tell(result.Notes)
		for _, p := range result.Problems {
			e.warn("%s: %s", p.File, p.Problem)
		}
		var touched []catalog.ShowKey
		for _, show := range result.Shows {
			touched = append(touched, show.Key)
		}
		return e.refresh(c.Context, store, c.Bool("json"), touched, func() error {
			s, err := stateOf(c.Context, store, "")
			if err != nil {
				return err
			}
			if c.Bool("json") {
				return e.printJSON(showDocs(s))
			}
			return e.printShows(s)
		})
	})
}
