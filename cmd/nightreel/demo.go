package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/internal/demo"
)

func (e *env) demoCommand() *cli.Command {
	return &cli.Command{
		Name:      "demo",
		Usage:     "make an invented tour with known faults and do the whole job on it",
		ArgsUsage: "DIR",
		Description: "Fills the new folder DIR with a tour (just under 400 MB), a catalog of its own, and a rendered\n" +
			"playback session, by the commands that you would type yourself; each is shown before it runs.",
		Flags: []cli.Flag{
			&cli.BoolFlag{Name: "small", Usage: "a smaller tour (under 60 MB, low sample rates)"},
			&cli.BoolFlag{Name: "recordings-only", Usage: "only make the recordings and lists; DIR holds nothing else then"},
			&cli.StringFlag{Name: "truth", Usage: "write what was planted where to `FILE`"},
		},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 1, 1, "one new folder"); err != nil {
				return err
			}
			return e.demo(c, c.Args().First())
		},
	}
}

func (e *env) demo(c *cli.Context, dir string) error {
	tour := filepath.Join(dir, "recordings")
	if c.Bool("recordings-only") {
		tour = dir
	}
	opt := demo.Options{}
	if c.Bool("small") {
		opt.Scale = demo.Small
	}
	if file := c.String("truth"); file != "" {
		if err := mayReplace(file, func([]byte) bool { return false }, "name a new file"); err != nil {
			return err
		}
	}
	truth, err := e.makeTour(c, tour, opt)
	if err != nil {
		return err
	}
	if file := c.String("truth"); file != "" {
		if err := truth.WriteFile(file); err != nil {
			return err
		}
	}
	e.printf("%s: %d shows of %s, %d takes of %d songs, %d planted faults\n", tour, len(truth.Shows), truth.Band, len(truth.Takes), len(truth.Songs), len(truth.Faults))
	if c.Bool("recordings-only") {
		return nil
	}

	file := c.String("catalog")
	if file == "" {
		file = filepath.Join(dir, "demo.nightreel") // never the user's own
	}
	step := func(args ...string) error {
		e.printf("\n$ nightreel %s\n", shellWords(args))
		full := append([]string{"--catalog", file}, args...)
		if status := e.run(c.Context, full); status != statusDone {
			if c.Context.Err() != nil {
				return c.Context.Err()
			}
			return fmt.Errorf("the demo stopped: nightreel %s ended with status %d", shellWords(args), status)
		}
		return nil
	}
	for _, args := range demoSteps(truth, dir, tour) {
		if err := step(args...); err != nil {
			return err
		}
	}
	with := typed() + " --catalog " + shellWords([]string{file})
	night := truth.Shows[len(truth.Shows)-1]
	last := night.Date
	return e.printf(`
The session is in %[1]s: open sheet.html there, and listen to the files.
Go on with, for example:
  %[2]s tracks --show %[3]s
  %[2]s takes --show %[3]s
  %[2]s levels --song %[4]s --channel "Lead Vocal"
  %[2]s findings --json
  %[2]s linecheck %[5]s --date %[3]s     (as if that night were this afternoon's line check)
  %[2]s session build --desk FOH --show %[3]s
  %[2]s session play --device null     (without sound; read the cautions all the same)
`, filepath.Join(dir, "session"), with, last, shellWords([]string{truth.Songs[0]}),
		shellWords([]string{filepath.Join(tour, filepath.FromSlash(night.Folder))}))
}

const goRun = "go run ./cmd/nightreel"

// typed returns what a person typed to start this program. go run builds into a
// folder for temporary files, which is gone afterwards.
func typed() string {
	program := os.Args[0]
	if strings.Contains(filepath.ToSlash(program), "/go-build") {
		return goRun
	}
	if filepath.Base(program) == program {
		return program
	}
	if found, err := exec.LookPath(filepath.Base(program)); err == nil {
		if found, err := filepath.Abs(found); err == nil && found == program {
			return filepath.Base(program)
		}
	}
	return shellWords([]string{program})
}

// makeTour makes the recordings, with progress.
func (e *env) makeTour(c *cli.Context, dir string, opt demo.Options) (*demo.Truth, error) {
	var done, total atomic.Int64
	opt.Progress = func(d, t int64) { done.Store(d); total.Store(t) }
	began := time.Now()
	stop := e.watch(false, func() string {
		if total.Load() == 0 {
			return "the band is warming up"
		}
		return "playing the tour: " + pace(done.Load(), total.Load(), began)
	})
	defer stop()
	return demo.Make(c.Context, dir, opt)
}

// demoSteps is the job from the scan to the sheet, as command lines.
func demoSteps(truth *demo.Truth, dir, tour string) [][]string {
	in := func(name string) string { return filepath.Join(tour, filepath.FromSlash(name)) }
	steps := [][]string{{"scan", tour}}
	for _, l := range truth.InputLists {
		when := "--from"
		if l.Only {
			when = "--show"
		}
		steps = append(steps, []string{"inputs", "import", in(l.File), when, l.From})
	}
	for _, s := range truth.Shows {
		if s.SetList != "" {
			steps = append(steps, []string{"setlist", "import", in(s.SetList), "--show", s.Date})
		}
	}
	for _, n := range truth.Notes {
		steps = append(steps, []string{"note", "add", "--show", n.Show, n.Text})
	}
	for _, d := range truth.Desks {
		steps = append(steps, []string{"desk", "import", in(d.File), "--name", d.Name})
	}
	desk, session := truth.Desks[0].Name, filepath.Join(dir, "session")
	return append(steps,
		[]string{"takes"},
		[]string{"findings"},
		[]string{"compare", "--song", truth.Songs[0]},
		[]string{"session", "build", "--desk", desk, "--song", truth.Songs[0], "--song", truth.Songs[1], "--pick", "cleanest"},
		[]string{"session", "render", session, "--pre-roll", "2"},
		[]string{"session", "sheet", filepath.Join(session, "sheet.html")},
		[]string{"verify"},
	)
}

// shellWords writes arguments as one would type them.
func shellWords(args []string) string {
	typed := make([]string, len(args))
	for i, a := range args {
		typed[i] = a
		if a == "" || strings.ContainsAny(a, " \t\"'$&|;<>()*?#!`\\") {
			typed[i] = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
	}
	return strings.Join(typed, " ")
}
