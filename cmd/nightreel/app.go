package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
)

// env is what every command gets: where to print, and how.
type env struct {
	stdout   io.Writer // shows what a terminal would act upon
	stderr   io.Writer // likewise
	screen   io.Writer // standard error as it is, for the progress line
	width    int       // of lines to stdout; 0: not bound
	terminal bool      // stderr is a terminal: progress may be drawn
}

const exitStatusHelp = `EXIT STATUS:
   0 done; 1 could not; 2 wrong usage; 3 done, and something was found, or is not known, that you asked to fail on; 130 interrupted, what was finished is kept
`

// newApp builds the command table.
func newApp(e *env) *cli.App {
	app := &cli.App{
		Name:      "nightreel",
		Usage:     "measure a tour's multitrack recordings, find its songs, judge its channels, feed the desk from a chosen take",
		UsageText: "nightreel [--catalog FILE] COMMAND …",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "catalog", Usage: "the catalog `FILE`", EnvVars: []string{"NIGHTREEL_CATALOG"}, DefaultText: defaultCatalog()},
			cli.HelpFlag, // cli adds it only where no command is called help
			&cli.StringFlag{Name: "author", Usage: "`NAME` of the person or machine that signs what you enter", EnvVars: []string{"NIGHTREEL_AUTHOR"}, DefaultText: catalog.DefaultAuthor()},
		},
		Commands: []*cli.Command{
			e.demoCommand(),
			e.scanCommand(),
			e.showsCommand(),
			e.tracksCommand(),
			e.inputsCommand(),
			e.setlistCommand(),
			e.songsCommand(),
			e.takesCommand(),
			e.findingsCommand(),
			e.refreshCommand(),
			e.resultsCommand(),
			e.levelsCommand(),
			e.compareCommand(), e.linecheckCommand(),
			e.noteCommand(),
			e.historyCommand(),
			e.undoCommand(),
			e.deskCommand(),
			e.sessionCommand(),
			e.devicesCommand(),
			e.playerCommand(),
			e.verifyCommand(),
			e.relocateCommand(),
			e.serveCommand(),
			helpCommand(), e.versionCommand(),
		},
		// A title or a folder may hold a comma.
		DisableSliceFlagSeparator: true,
		Version:                   programVersion(),
		HideHelpCommand:           true,
		Writer:                    e.stdout,
		ErrWriter:                 e.stderr,
		// cli would leave the program from inside Run; run's caller decides.
		ExitErrHandler:        func(*cli.Context, error) {},
		OnUsageError:          asUsageError,
		CustomAppHelpTemplate: cli.AppHelpTemplate + "\n" + exitStatusHelp,
	}
	app.Action = parentAction(app.Commands)
	for _, c := range app.Commands {
		prepare(c)
	}
	return app
}

// prepare gives a command and its subcommands the behaviour that cli lacks:
// wrong options and unknown subcommands are usage errors, and nothing else.
func prepare(c *cli.Command) {
	c.OnUsageError = asUsageError
	c.HideHelpCommand = true
	if len(c.Subcommands) > 0 {
		own, parent := c.Action, parentAction(c.Subcommands)
		c.Action = func(c *cli.Context) error {
			if own == nil || c.Args().Present() {
				return parent(c) // a command that holds others takes no arguments
			}
			return own(c)
		}
	}
	for _, sub := range c.Subcommands {
		prepare(sub)
	}
}

func asUsageError(c *cli.Context, err error, _ bool) error {
	text := err.Error()
	if name, ok := strings.CutPrefix(text, "flag provided but not defined: -"); ok { // cli's words for it
		text = "there is no option --" + strings.TrimLeft(name, "-")
	}
	return &usageError{command: commandPath(c), text: text}
}

// parentAction answers a command that only holds others: help when nothing
// follows, a usage error when what follows is not one of them.
func parentAction(commands []*cli.Command) cli.ActionFunc {
	return func(c *cli.Context) error {
		if !c.Args().Present() {
			if c.Command.Name == c.App.Name || c.Command.Name == "" {
				return cli.ShowAppHelp(c)
			}
			return cli.ShowSubcommandHelp(c)
		}
		var names []string
		for _, sub := range commands {
			if !sub.Hidden {
				names = append(names, sub.Name)
			}
		}
		text := fmt.Sprintf("there is no command %q; ", c.Args().First())
		if near := catalog.Nearest(c.Args().First(), names); len(near) > 0 {
			text += fmt.Sprintf("did you mean %q? ", near[0])
		}
		return &usageError{command: commandPath(c), text: text + "there are " + strings.Join(names, ", ")}
	}
}

// commandPath returns the words of the command that a context is for.
func commandPath(c *cli.Context) string {
	if c.Command == nil || c.Command.HelpName == "" {
		return c.App.Name
	}
	return c.Command.HelpName
}

// arguments checks how many positional arguments a command got.
func arguments(c *cli.Context, least, most int, what string) error {
	switch n := c.Args().Len(); {
	case n < least:
		return &usageError{command: commandPath(c), text: "needs " + what}
	case most >= 0 && n > most:
		return &usageError{command: commandPath(c), text: fmt.Sprintf("takes %s, so %q is too much", what, c.Args().Get(most))}
	}
	return nil
}

// addressed lets the thing that a command is about stand as its first argument instead of behind
// an option: "compare TITLE" is "compare --song TITLE".
func addressed(c *cli.Context, option, what string) error {
	most := 1
	if c.IsSet(option) {
		most = 0
	}
	if err := arguments(c, 0, most, what); err != nil || !c.Args().Present() {
		return err
	}
	if err := c.Set(option, c.Args().First()); err != nil {
		return &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not %s", c.Args().First(), what)}
	}
	return nil
}

// oneOf refuses a choice that an option does not have.
func oneOf(c *cli.Context, option string, choices ...string) error {
	if value := c.String(option); !slices.Contains(choices, value) {
		text := fmt.Sprintf("--%s: there is no %q; ", option, value)
		if near := catalog.Nearest(value, choices); len(near) > 0 {
			text += fmt.Sprintf("did you mean %q? ", near[0])
		}
		return &usageError{command: commandPath(c), text: text + "it is one of " + strings.Join(choices, ", ")}
	}
	return nil
}

// atLeast refuses numbers below a bound, and what is no number.
func atLeast(c *cli.Context, least float64, options ...string) error {
	for _, option := range options {
		if value := c.Float64(option); !(value >= least) || math.IsInf(value, 0) {
			return &usageError{command: commandPath(c), text: fmt.Sprintf("--%s must be %g or more", option, least)}
		}
	}
	return nil
}

// notBoth refuses two options that both decide what is printed.
func notBoth(c *cli.Context, a, b string) error {
	if c.IsSet(a) && c.IsSet(b) {
		return &usageError{command: commandPath(c), text: fmt.Sprintf("takes either --%s or --%s", a, b)}
	}
	return nil
}

// need checks that options were given.
func need(c *cli.Context, options ...string) error {
	for _, f := range options {
		if !c.IsSet(f) || c.String(f) == "" && c.Value(f) == "" {
			return &usageError{command: commandPath(c), text: "needs --" + f}
		}
	}
	return nil
}

// date reads an option that holds a show's date; "" when it was not given.
func date(c *cli.Context, option string) (catalog.ShowKey, error) {
	s := c.String(option)
	if s == "" {
		return "", nil
	}
	d, err := catalog.ParseShowKey(s)
	if err != nil {
		return "", &usageError{command: commandPath(c), text: fmt.Sprintf("--%s: %v", option, err)}
	}
	return d, nil
}

// neededShow reads --show where a command cannot do without.
func neededShow(c *cli.Context) (catalog.ShowKey, error) {
	if err := need(c, "show"); err != nil {
		return "", err
	}
	return date(c, "show")
}

// defaultCatalog returns the catalog's place in the user's data folder.
func defaultCatalog() string {
	home, err := os.UserHomeDir()
	if err != nil {
		home = "."
	}
	dir := os.Getenv("XDG_DATA_HOME")
	switch {
	case dir != "":
	case runtime.GOOS == "darwin":
		dir = filepath.Join(home, "Library", "Application Support")
	case runtime.GOOS == "windows" && os.Getenv("LOCALAPPDATA") != "":
		dir = os.Getenv("LOCALAPPDATA")
	default:
		dir = filepath.Join(home, ".local", "share")
	}
	return filepath.Join(dir, "nightreel", "catalog.nightreel")
}

// Options that several commands share.
func jsonFlag() cli.Flag { return &cli.BoolFlag{Name: "json", Usage: "print one JSON document"} }
func csvFlag() cli.Flag  { return &cli.BoolFlag{Name: "csv", Usage: "print comma-separated values"} }
func showFlag(usage string) cli.Flag {
	return &cli.StringFlag{Name: "show", Usage: usage + " (`DATE` as YYYY-MM-DD, with the name behind it where the date has several)"}
}
func songFlag() cli.Flag {
	return &cli.StringFlag{Name: "song", Usage: "`TITLE` or alias of the song"}
}
func channelFlag() cli.Flag {
	return &cli.StringFlag{Name: "channel", Usage: "only this channel `NAME`"}
}
