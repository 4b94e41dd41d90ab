package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/playback"
)

// console drives a player by lines of text.
type console struct {
	env    *env
	player *playback.Player
	json   bool
	in     *os.File
}

func (k *console) run(ctx context.Context) error {
	statuses, cancel := k.player.Subscribe()
	defer cancel()
	lines := make(chan string)
	go func() {
		defer close(lines)
		for in := bufio.NewScanner(k.in); in.Scan(); {
			select {
			case lines <- in.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	var shown string
	show := func(st playback.Status) {
		if key := fmt.Sprint(st.State, st.Item, st.Problems, st.ToneOn); key != shown {
			shown = key
			k.print(st)
		}
	}
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case st, ok := <-statuses:
			if !ok {
				return k.player.Err()
			}
			show(st)
		case line, ok := <-lines:
			if !ok {
				return nil
			}
			quit, err := k.line(ctx, line, statuses, show)
			if err != nil && ctx.Err() == nil {
				k.refused(err)
			}
			if quit {
				return nil
			}
		}
	}
}

// refused says why a line was not done, and goes on.
func (k *console) refused(err error) {
	if k.json {
		k.env.printJSONLine(map[string]string{"error": err.Error()})
		return
	}
	k.env.printf("%v\n", err)
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) && hinter.Hint() != "" {
		k.env.printf("  hint: %s\n", hinter.Hint())
	}
}

// line does what a line says.
func (k *console) line(ctx context.Context, line string, statuses <-chan playback.Status, show func(playback.Status)) (quit bool, err error) {
	f := strings.Fields(line)
	if len(f) == 0 || strings.HasPrefix(f[0], "#") {
		return false, nil
	}
	switch f[0] {
	case "help":
		err = k.env.println(wordsHelp + "\nwait SECONDS|STATE|item N    go on when that is reached")
		return false, err
	case "status":
		k.print(k.player.Status())
		return false, nil
	case "tick", "untick":
		return false, tickWords(ctx, k.player, f)
	case "wait":
		return false, k.wait(ctx, f[1:], statuses, show)
	}
	c, err := parseWords(line)
	if err != nil || c.Do == playback.Quit {
		return err == nil, err
	}
	return false, k.player.Do(ctx, c)
}

// tickWords does "tick 3", "tick all", "untick 3".
func tickWords(ctx context.Context, player *playback.Player, f []string) error {
	list, _ := player.BackToStage()
	for _, w := range f[1:] {
		inputs := []int{}
		if w == "all" {
			for _, b := range list {
				inputs = append(inputs, b.DeskInput)
			}
		} else if n, err := strconv.Atoi(w); err == nil {
			inputs = append(inputs, n)
		} else {
			return fmt.Errorf("%s: %q is not the number of a desk input", f[0], w)
		}
		for _, n := range inputs {
			if err := player.Tick(ctx, n, f[0] == "tick"); err != nil {
				return err
			}
		}
	}
	return nil
}

// wait goes on when a state or a song is reached, or some seconds are over.
func (k *console) wait(ctx context.Context, f []string, statuses <-chan playback.Status, show func(playback.Status)) error {
	states := []playback.State{playback.Unarmed, playback.Stopped, playback.Paused, playback.Playing, playback.Waiting, playback.Tone, playback.Lost}
	var over <-chan time.Time
	is := func(playback.Status) bool { return false }
	switch {
	case len(f) == 1 && slices.Contains(states, playback.State(f[0])):
		is = func(st playback.Status) bool { return st.State == playback.State(f[0]) }
	case len(f) == 2 && f[0] == "item":
		n, err := strconv.Atoi(f[1])
		if err != nil {
			return fmt.Errorf("wait: %q is not a number", f[1])
		}
		is = func(st playback.Status) bool { return st.Item == n-1 }
	case len(f) == 1:
		s, err := strconv.ParseFloat(f[0], 64)
		if err != nil || s < 0 {
			return fmt.Errorf("wait: %q is neither seconds nor a state", f[0])
		}
		over = time.After(time.Duration(s * float64(time.Second)))
	default:
		return fmt.Errorf("wait: needs seconds, a state, or item and its number")
	}
	// What was said before the last command took hold does not count.
	fresh := time.After(2 * playback.StatusInterval)
	for ripe := false; ; {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-over:
			return nil
		case <-fresh:
			ripe = true
		case st, ok := <-statuses:
			if !ok {
				return k.player.Err()
			}
			show(st)
			if ripe && is(st) {
				return nil
			}
		}
	}
}

func (k *console) print(st playback.Status) {
	if k.json {
		k.env.printJSONLine(st)
		return
	}
	item := k.player.Program().Items[st.Item]
	k.env.printf("%-8s %d %s (%s)  %s of %s  level %s dB\n", st.State, st.Item+1, item.Song, item.Show, catalog.ClockTenths(st.AtS), catalog.Clock(st.LengthS), rounded("%.1f", st.LevelDB))
	if st.ToneOn > 0 {
		k.env.printf("  tone on output %d\n", st.ToneOn)
	}
	for _, p := range st.Problems {
		k.env.printf("  %s\n", p.Text)
	}
}
