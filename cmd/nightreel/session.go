package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/google/renameio/v2"
	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/session"
)

func (e *env) sessionCommand() *cli.Command {
	idFlag := &cli.Int64Flag{Name: "id", Usage: "the session's `ID`", DefaultText: "the newest"}
	return &cli.Command{
		Name:  "session",
		Usage: "playback sessions: takes, patch and trims, ready to feed a desk",
		Subcommands: []*cli.Command{
			{
				Name:  "build",
				Usage: "choose takes and patch them to a desk's inputs",
				Flags: []cli.Flag{
					&cli.StringFlag{Name: "desk", Usage: "the desk's `NAME`, needed"},
					&cli.StringSliceFlag{Name: "song", Usage: "`TITLE` of a song; may be given again, in playing order"},
					showFlag("that night's whole set, where no song is given"),
					&cli.StringFlag{Name: "pick", Usage: "which take of each song, `WHICH`: latest, cleanest, typical, loudest or a date", Value: "latest"},
					&cli.StringFlag{Name: "rig", Usage: "the record rig's `NAME` to play from", DefaultText: "main"},
					&cli.StringSliceFlag{Name: "only", Usage: "a `CHANNEL` or group to play back; all others stay on the stage"},
					&cli.BoolFlag{Name: "beyond", Usage: fmt.Sprintf("trims beyond %d dB are meant", catalog.AskTrimDB)},
					&cli.StringSliceFlag{Name: "except", Usage: "a `CHANNEL` or group that stays on the stage"},
					jsonFlag(),
				},
				Action: e.buildSession,
			},
			{
				Name:   "list",
				Usage:  "list the sessions",
				Flags:  []cli.Flag{jsonFlag()},
				Action: e.listSessions,
			},
			{
				Name:      "show",
				Usage:     "print a session: what every desk input gets",
				ArgsUsage: "[ID]",
				Flags:     []cli.Flag{idFlag, jsonFlag()},
				Action: func(c *cli.Context) error {
					if err := addressed(c, "id", "the id of a session"); err != nil {
						return err
					}
					return e.withSession(c, func(_ *catalog.Store, ses catalog.Session) error {
						return e.printSession(c, ses)
					})
				},
			},
			{
				Name:      "render",
				Usage:     "write a session's audio, one file an input or one file a take",
				ArgsUsage: "[ID] DIR",
				Description: "Files whose trim is 0 are bit-identical to the recording. Run again, it goes on where it was\n" +
					"stopped.",
				Flags: []cli.Flag{
					idFlag,
					&cli.BoolFlag{Name: "poly", Usage: "one polyphonic file a take"},
					&cli.Float64Flag{Name: "pre-roll", Usage: "`SECONDS` before the take"},
					&cli.Float64Flag{Name: "post-roll", Usage: "`SECONDS` after the take"},
					&cli.IntFlag{Name: "bits", Usage: "`BITS` a sample: 16, 24 or 32", DefaultText: "as the recording"},
					&cli.BoolFlag{Name: "overwrite", Usage: "replace files that an earlier render made of something else"},
					jsonFlag(),
				},
				Action: e.renderSession,
			},
			{
				Name:      "sheet",
				Usage:     "write the sheet: what to switch to playback, and back to the stage",
				ArgsUsage: "[ID] FILE",
				Description: "A page to print where FILE ends in .html, a table where it ends in .csv; - prints the table.\n" +
					"An earlier sheet in FILE is replaced, any other file only with --overwrite.",
				Flags:  []cli.Flag{idFlag, &cli.BoolFlag{Name: "overwrite", Usage: "replace FILE even if it is no sheet"}},
				Action: e.sessionSheet,
			},
			{
				Name:        "delete",
				Usage:       "delete a session; what was rendered of it stays",
				ArgsUsage:   "ID",
				Description: "Refused while inputs that it fed are not ticked back to the stage.",
				Flags:       []cli.Flag{idFlag},
				Action:      e.deleteSession,
			},
			e.playCommand(idFlag),
			e.backCommand(idFlag),
		},
	}
}

// idFirst lets a session's id stand before the other argument, and returns that one.
func idFirst(c *cli.Context, what string) (string, error) {
	most := 2
	if c.IsSet("id") {
		most = 1
	}
	if err := arguments(c, 1, most, what); err != nil {
		return "", err
	}
	if c.Args().Len() == 2 {
		if err := c.Set("id", c.Args().First()); err != nil {
			return "", &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not the id of a session; nightreel session list lists them", c.Args().First())}
		}
	}
	return c.Args().Get(c.Args().Len() - 1), nil
}

func (e *env) deleteSession(c *cli.Context) error {
	if err := addressed(c, "id", "the id of a session"); err != nil {
		return err
	}
	if err := need(c, "id"); err != nil {
		return err
	}
	return e.withSession(c, func(store *catalog.Store, ses catalog.Session) error {
		if err := store.DeleteSession(c.Context, ses.ID); err != nil {
			return err
		}
		return e.sentence("", "session %d is deleted; nightreel undo brings it back, with another id", ses.ID)
	})
}

func (e *env) listSessions(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments"); err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		all, err := store.Sessions(c.Context)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			e.say("no playback session yet; nightreel session build --desk NAME --song TITLE makes one")
		}
		if c.Bool("json") {
			return e.printJSON(all)
		}
		t := newTable(">id", "built", "desk", "~takes")
		for _, s := range all {
			var takes []string
			for _, item := range s.Items {
				takes = append(takes, fmt.Sprintf("%s (%s)", item.Song, item.Show))
			}
			t.row(fmt.Sprint(s.ID), s.CreatedAt.Local().Format("2006-01-02 15:04"), s.Desk, strings.Join(takes, ", "))
		}
		return e.printTable(t)
	})
}

// withSession opens the catalog and fetches the session that --id names.
func (e *env) withSession(c *cli.Context, f func(*catalog.Store, catalog.Session) error) error {
	return e.withStore(c, func(store *catalog.Store) error {
		ses, err := store.Session(c.Context, catalog.SessionID(c.Int64("id")))
		if err != nil {
			return err
		}
		return f(store, ses)
	})
}

func (e *env) buildSession(c *cli.Context) error {
	if err := arguments(c, 0, 0, "no arguments; songs are given with --song"); err != nil {
		return err
	}
	if err := need(c, "desk"); err != nil {
		return err
	}
	if _, err := catalog.ParseShowKey(c.String("pick")); err != nil {
		if err := oneOf(c, "pick", append(session.Picks(), "a date as YYYY-MM-DD")...); err != nil {
			return err
		}
	}
	day, err := date(c, "show")
	if err != nil {
		return err
	}
	if len(c.StringSlice("song")) == 0 && day == "" {
		return &usageError{command: commandPath(c), text: "needs --song TITLE, or --show DATE for a night's whole set"}
	}
	return e.withResults(c, func(store *catalog.Store) error {
		ses, err := session.Build(c.Context, store, session.Request{
			Desk: c.String("desk"), Songs: c.StringSlice("song"), Show: day, Pick: c.String("pick"), Rig: c.String("rig"),
			Only: c.StringSlice("only"), Except: c.StringSlice("except"), Beyond: c.Bool("beyond"),
		})
		if err != nil {
			return err
		}
		return e.printSession(c, ses)
	})
}

func (e *env) printSession(c *cli.Context, ses catalog.Session) error {
	if c.Bool("json") {
		return e.printJSON(ses)
	}
	e.sentence("", "session %d for desk %s", ses.ID, ses.Desk)
	for i, item := range ses.Items {
		e.println("")
		e.item(fmt.Sprintf("%d. ", i+1), "%s, %s, rig %s, %s long: %s", item.Song, item.Show, item.Rig, catalog.Clock(item.EndS-item.StartS), item.Why)
		t := newTable(">input", "channel", "from", ">track", ">trim dB", "~why")
		t.drop = []string{"track"}
		for _, in := range ses.Inputs {
			if in.Item != i {
				continue
			}
			track, trim := "", ""
			if in.Status == catalog.Playback {
				track, trim = fmt.Sprint(in.Track), signed(in.TrimDB)
			}
			t.row(fmt.Sprint(in.DeskInput), in.Channel, string(in.Status), track, trim, in.Why)
		}
		if err := e.printTable(t); err != nil {
			return err
		}
	}
	if len(ses.Problems) > 0 {
		e.println("\nmind:")
	}
	for _, p := range ses.Problems {
		if err := e.item("  ", "%s", p); err != nil {
			return err
		}
	}
	return nil
}

func (e *env) renderSession(c *cli.Context) error {
	dir, err := idFirst(c, "one folder")
	if err != nil {
		return err
	}
	if err := atLeast(c, 0, "pre-roll", "post-roll"); err != nil {
		return err
	}
	if bits := c.Int("bits"); c.IsSet("bits") && bits != 16 && bits != 24 && bits != 32 {
		return &usageError{command: commandPath(c), text: fmt.Sprintf("--bits must be 16, 24 or 32, not %d", bits)}
	}
	return e.withSession(c, func(store *catalog.Store, ses catalog.Session) error {
		var p session.Progress
		began := time.Now()
		stop := e.watch(c.Bool("json"), func() string {
			s := p.Snapshot()
			return fmt.Sprintf("take %d of %d, %s  %s", s.Item, s.Items, pace(s.Bytes, s.BytesTotal, began), fileName(s.Current))
		})
		rendered, err := session.Render(c.Context, store, ses, session.RenderOptions{
			Dir: dir, Poly: c.Bool("poly"), PreRollS: c.Float64("pre-roll"), PostRollS: c.Float64("post-roll"), BitDepth: c.Int("bits"), Overwrite: c.Bool("overwrite"),
		}, &p)
		stop()
		if err != nil {
			return err
		}
		if c.Bool("json") {
			return e.printJSON(rendered)
		}
		identical, there := 0, 0
		for _, f := range rendered.Files {
			if f.BitIdentical {
				identical++
			}
			if f.Skipped {
				there++
			}
		}
		before := ""
		if there > 0 {
			before = fmt.Sprintf("; %d of them were there already", there)
		}
		e.printf("%s in %s, %s written; %d bit-identical to the recording%s\n", count(len(rendered.Files), "file"), dir, size(rendered.Bytes), identical, before)
		for _, problem := range rendered.Problems {
			e.item("  ", "%s", problem)
		}
		return e.printCautions()
	})
}

// printCautions shows what must be known before recorded show level meets a
// sound system. It stands wherever playback is built or started.
func (e *env) printCautions() error {
	e.println("\nBefore you play any of it:")
	for _, caution := range session.Cautions() {
		if err := e.item("  - ", "%s", caution.Text); err != nil {
			return err
		}
	}
	return nil
}

func (e *env) sessionSheet(c *cli.Context) error {
	path, err := idFirst(c, "one file")
	if err != nil {
		return err
	}
	var write func(io.Writer, session.Sheet) error
	switch ext := strings.ToLower(filepath.Ext(path)); {
	case ext == ".html" || ext == ".htm":
		write = session.WriteSheetHTML
	case ext == ".csv" || path == "-":
		write = session.WriteSheetCSV
	default:
		return &usageError{command: commandPath(c), text: fmt.Sprintf("%s: the file's name must end in .html or .csv", strconv.Quote(path))}
	}
	return e.withSession(c, func(store *catalog.Store, ses catalog.Session) error {
		sheet, err := session.NewSheet(c.Context, store, ses)
		if err != nil {
			return err
		}
		if path == "-" {
			return write(e.stdout, sheet)
		}
		if !c.Bool("overwrite") {
			if err := mayReplace(path, session.IsSheet, "name another file, or add --overwrite; only an earlier sheet is replaced unasked"); err != nil {
				return err
			}
		}
		if err := writeWhole(path, func(w io.Writer) error { return write(w, sheet) }); err != nil {
			return err
		}
		return e.printf("%s: the sheet for session %d; print it, and tick every input that goes back to the stage\n", path, ses.ID)
	})
}

// existsError says that a file is in the way.
type existsError struct{ path, hint string }

func (e *existsError) Error() string { return e.path + ": not written: there is another file already" }

// Hint says what to do about it.
func (e *existsError) Hint() string { return e.hint }

// mayReplace refuses a path that holds a file, unless the file is empty or, by its
// first 4 KB, one of ours.
func mayReplace(path string, ours func(head []byte) bool, hint string) error {
	f, err := os.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s: could not be written: %w", path, err)
	}
	defer f.Close()
	head := make([]byte, 4<<10)
	n, err := io.ReadFull(f, head)
	if err == io.EOF || n > 0 && ours(head[:n]) {
		return nil
	}
	return &existsError{path, hint}
}

// writeWhole writes a file under a temporary name, syncs it and renames it, so
// that there is never half of one.
func writeWhole(path string, write func(io.Writer) error) error {
	f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644))
	if err != nil {
		return fmt.Errorf("%s: could not be written: %w", path, err)
	}
	defer f.Cleanup()
	if err := write(f); err != nil {
		return fmt.Errorf("%s: could not be written: %w", path, err)
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return fmt.Errorf("%s: could not be written: %w", path, err)
	}
	return nil
}
