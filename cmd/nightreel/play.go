package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"
	"golang.org/x/term"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/session"
)

func (e *env) playCommand(idFlag cli.Flag) *cli.Command {
	return &cli.Command{
		Name:      "play",
		Usage:     "feed the desk from a session, live",
		ArgsUsage: "[ID]",
		Description: "Recorded show level in a PA or in-ear monitors can hurt people: the cautions come first, and\n" +
			"nothing sounds before they are acknowledged. It starts at -20 dB. In a terminal it fills the\n" +
			"screen; else, and with --plain, it takes one command a line from standard input (help lists\n" +
			"them). It goes on where the session was left. Exit status 3: inputs were fed and not ticked\n" +
			"back to the stage.",
		Flags: []cli.Flag{
			idFlag,
			&cli.StringFlag{Name: "device", Usage: "`NAME` of a sound device (nightreel devices), null, or file:PATH", DefaultText: "the system's default"},
			&cli.IntFlag{Name: "rate", Usage: "play at this rate in `HZ`", DefaultText: "the recording's"},
			&cli.BoolFlag{Name: "convert-rate", Usage: "convert recordings at another rate"},
			&cli.StringSliceFlag{Name: "rig", Usage: "`CHANNEL=RIG`: feed this channel from another rig; may be given again"},
			&cli.Float64Flag{Name: "pre-roll", Usage: "`SECONDS` before each song"},
			&cli.BoolFlag{Name: "cautions-read", Usage: "the cautions are read and followed (for scripts; they are asked for otherwise)"},
			&cli.BoolFlag{Name: "plain", Usage: "take commands from standard input, line by line"},
			&cli.BoolFlag{Name: "json", Usage: "as --plain, and print each change as a JSON document on a line"},
		},
		Action: e.playSession,
	}
}

func (e *env) playSession(c *cli.Context) error {
	if err := addressed(c, "id", "the id of a session"); err != nil {
		return err
	}
	if err := atLeast(c, 0, "pre-roll"); err != nil {
		return err
	}
	rigs := map[string]string{}
	for _, s := range c.StringSlice("rig") {
		channel, rig, ok := strings.Cut(s, "=")
		if !ok || channel == "" || rig == "" {
			return &usageError{command: commandPath(c), text: fmt.Sprintf("--rig takes CHANNEL=RIG, not %q", s)}
		}
		rigs[channel] = rig
	}
	return e.withSession(c, func(store *catalog.Store, ses catalog.Session) error {
		prog, err := playback.NewProgram(c.Context, store, ses, playback.ProgramOptions{Rate: c.Int("rate"), ConvertRate: c.Bool("convert-rate"), Rigs: rigs})
		if err != nil {
			return err
		}
		for _, p := range prog.Problems {
			e.warn("%s", p)
		}
		full := !c.Bool("plain") && !c.Bool("json") && term.IsTerminal(int(os.Stdin.Fd())) && term.IsTerminal(int(os.Stdout.Fd()))
		read := c.Bool("cautions-read")
		if !read {
			if read, err = e.askCautions(c, full); err != nil {
				return err
			}
		}
		player, err := playback.Start(c.Context, store, prog, playback.Options{Device: c.String("device"), Acknowledged: read})
		if err != nil {
			return err
		}
		if c.IsSet("pre-roll") {
			err = player.Do(c.Context, playback.Command{Do: playback.Roll, ByS: c.Float64("pre-roll")})
		}
		if err == nil && full {
			err = newView(player).run(c.Context)
		} else if err == nil {
			err = (&console{env: e, player: player, json: c.Bool("json"), in: os.Stdin}).run(c.Context)
		}
		return e.endPlaying(c, player, err)
	})
}

// askCautions shows the cautions, and at a terminal asks whether they are
// followed. Elsewhere "acknowledge" does so later.
func (e *env) askCautions(c *cli.Context, ask bool) (read bool, err error) {
	if c.Bool("json") {
		return false, nil
	}
	e.println("Before any sound comes:")
	for _, caution := range session.Cautions() {
		e.item("  - ", "%s", caution.Text)
	}
	if !ask {
		err = e.println("Type acknowledge if you have read this and follow it.")
		return false, err
	}
	e.print("\nType yes if you have read this and follow it; anything else leaves: ")
	line, _ := bufio.NewReader(os.Stdin).ReadString('\n')
	if strings.ToLower(strings.TrimSpace(line)) != "yes" {
		return false, fmt.Errorf("not started: the cautions were not acknowledged")
	}
	return true, nil
}

// endPlaying ends the player and shows what has to go back to the stage. An
// open list is exit status 3, whatever else happened.
func (e *env) endPlaying(c *cli.Context, player *playback.Player, cause error) error {
	// The command's context may be what ended it; the state is stored all the
	// same.
	end, err := player.Close(context.WithoutCancel(c.Context))
	if hangs := (*playback.HangError)(nil); errors.As(err, &hangs) && cause != nil {
		e.warn("%v", hangs)
	}
	if cause == nil {
		cause = err
	}
	if cause == nil {
		cause = player.Err()
	}
	open := end.Open()
	if !c.Bool("json") && end.Fed {
		if err := e.printBack(end.Back); cause == nil {
			cause = err
		}
	}
	if len(open) == 0 {
		return cause
	}
	if cause != nil && c.Context.Err() == nil {
		e.warn("%v", cause)
	}
	return &foundError{notBack(open)}
}

// notBack words what is still on playback.
func notBack(open []catalog.BackInput) string {
	names := []string{}
	for _, b := range open {
		names = append(names, fmt.Sprintf("%d %s", b.DeskInput, b.Channel))
	}
	return fmt.Sprintf("%s not ticked back to the stage: %s; nightreel session back ticks them", count(len(open), "input"), strings.Join(names, ", "))
}

func (e *env) printBack(list []catalog.BackInput) error {
	e.println("\nBack to the stage before doors; hear each one live:")
	t := newTable("", ">input", "channel")
	for _, b := range list {
		box := "[ ]"
		if b.Back {
			box = "[x]"
		}
		t.row(box, fmt.Sprint(b.DeskInput), b.Channel)
	}
	return e.printTable(t)
}

func (e *env) backCommand(idFlag cli.Flag) *cli.Command {
	return &cli.Command{
		Name:        "back",
		Usage:       "the list of inputs back on the stage: show it, tick it",
		ArgsUsage:   "[INPUT…]",
		Description: "Ticks the desk inputs named. Exit status 3 while inputs that were fed are not ticked.",
		Flags: []cli.Flag{
			idFlag,
			&cli.BoolFlag{Name: "all", Usage: "tick every input"},
			&cli.BoolFlag{Name: "untick", Usage: "remove the ticks of the inputs named"},
			jsonFlag(),
		},
		Action: e.backToStage,
	}
}

func (e *env) backToStage(c *cli.Context) error {
	inputs := []int{}
	for _, a := range c.Args().Slice() {
		n, err := strconv.Atoi(a)
		if err != nil || n < 1 {
			return &usageError{command: commandPath(c), text: fmt.Sprintf("%q is not the number of a desk input", a)}
		}
		inputs = append(inputs, n)
	}
	return e.withSession(c, func(store *catalog.Store, ses catalog.Session) error {
		list, _, err := store.BackToStage(c.Context, ses)
		if err != nil {
			return err
		}
		if c.Bool("all") {
			for _, b := range list {
				inputs = append(inputs, b.DeskInput)
			}
		}
		for _, n := range inputs {
			if err := store.TickBack(c.Context, ses, n, !c.Bool("untick")); err != nil {
				return err
			}
		}
		list, fed, err := store.BackToStage(c.Context, ses)
		if err != nil {
			return err
		}
		if c.Bool("json") {
			err = e.printJSON(list)
		} else {
			err = e.printBack(list)
		}
		if open := (playback.Ending{Fed: fed, Back: list}).Open(); err == nil && len(open) > 0 {
			return &foundError{notBack(open)}
		}
		return err
	})
}
