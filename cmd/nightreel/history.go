package main

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
)

func (e *env) historyCommand() *cli.Command {
	return &cli.Command{
		Name:  "history",
		Usage: "list who entered what, and when",
		Flags: []cli.Flag{showFlag("only this show"), jsonFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			day, err := date(c, "show")
			if err != nil {
				return err
			}
			return e.withStore(c, func(store *catalog.Store) error {
				steps, err := store.History(c.Context, day)
				if err != nil {
					return err
				}
				if len(steps) == 0 {
					e.say("nothing was entered%s yet", asked(c))
				}
				if c.Bool("json") {
					return e.printJSON(steps)
				}
				return e.printHistory(steps)
			})
		},
	}
}

// printHistory prints a line a fact; who and when stand beside a step's first.
func (e *env) printHistory(steps []catalog.Step) error {
	t := newTable("step", "when", "author", "show", "~what")
	t.drop = []string{"author", "show"}
	for _, step := range steps {
		name, when, author := "", "before the history", step.Author
		if step.At != nil {
			name, when = step.Short(), step.At.Local().Format("2006-01-02 15:04:05")
		}
		for i := 0; i < len(step.Facts); {
			f, same := step.Facts[i], 1
			for i+same < len(step.Facts) && step.Facts[i+same] == f {
				same++ // of many files the same is said
			}
			i += same
			text := f.Text
			if f.Deleted {
				text = "taken away: " + text
			}
			if same > 1 {
				text += fmt.Sprintf(" (%d times)", same)
			}
			t.row(name, when, author, f.Show, text)
			name, when, author = "", "", ""
		}
	}
	return e.printTable(t)
}

// deviceID returns this machine's id, which lies in the user's configuration
// folder: a catalog may be copied to another machine. Where it can be neither
// read nor kept, it is another one in every run.
func deviceID() (id catalog.DeviceID) {
	rand.Read(id[:]) // never fails
	dir, err := os.UserConfigDir()
	if err != nil {
		return id
	}
	dir = filepath.Join(dir, "nightreel")
	name := filepath.Join(dir, "device")
	read := func() bool {
		text, err := os.ReadFile(name)
		if err != nil {
			return false
		}
		kept, err := hex.DecodeString(strings.TrimSpace(string(text)))
		if err != nil || len(kept) != len(id) {
			return false
		}
		id = catalog.DeviceID(kept)
		return true
	}
	if read() || os.MkdirAll(dir, 0o700) != nil {
		return id
	}
	// Under a name of its own first: of two programs that start at once, one wins.
	f, err := os.CreateTemp(dir, ".device-*")
	if err != nil {
		return id
	}
	defer os.Remove(f.Name())
	_, err = f.WriteString(hex.EncodeToString(id[:]) + "\n")
	if cerr := f.Close(); err == nil && cerr == nil {
		os.Link(f.Name(), name)
		read()
	}
	return id
}
