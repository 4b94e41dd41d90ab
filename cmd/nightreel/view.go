package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/gdamore/tcell/v2"

	"nightreel/catalog"
	"nightreel/internal/playback"
)

// view is the full screen of session play: what feeds the desk, where it is,
// every input's level, and the list back to the stage.
type view struct {
	player player
	screen tcell.Screen
	st     playback.Status
	hold   []float64 // peak of every input in dBFS, falling slowly

	page     page
	selected int    // index into st.Inputs
	ticking  int    // index into the list back to the stage
	first    int    // first input on the screen
	message  string // answer to the last key
	typing   bool   // a command is being typed
	typed    []rune
}

// player is what the view needs of a [playback.Player].
type player interface {
	Program() *playback.Program
	Status() playback.Status
	Subscribe() (<-chan playback.Status, func())
	Do(context.Context, playback.Command) error
	BackToStage() (list []catalog.BackInput, fed bool)
	Tick(ctx context.Context, deskInput int, back bool) error
	Err() error
}

type page int

const (
	pagePlay page = iota
	pageKeys
	pageBack // the list back to the stage; the way out
)

func newView(p player) *view {
	v := &view{player: p}
	v.hear(p.Status())
	return v
}

// run shows the view until the user leaves, the player ends, or ctx does.
func (v *view) run(ctx context.Context) error {
	screen, err := tcell.NewScreen()
	if err != nil {
		return fmt.Errorf("the terminal cannot show the full screen: %w; use --plain", err)
	}
	if err := screen.Init(); err != nil {
		return fmt.Errorf("the terminal cannot show the full screen: %w; use --plain", err)
	}
	defer screen.Fini()
	return v.on(ctx, screen)
}

// on runs the view on a screen that is ready.
func (v *view) on(ctx context.Context, screen tcell.Screen) error {
	v.screen = screen
	events := make(chan tcell.Event, 16)
	quit := make(chan struct{})
	defer close(quit)
	go screen.ChannelEvents(events, quit)
	statuses, cancel := v.player.Subscribe()
	defer cancel()
	for {
		v.draw()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case st, ok := <-statuses:
			if !ok {
				return v.player.Err()
			}
			v.hear(st)
		case ev := <-events:
			switch ev := ev.(type) {
			case *tcell.EventResize:
				screen.Sync()
			case *tcell.EventKey:
				if v.key(ctx, ev) {
					return nil
				}
			}
		}
	}
}

// fall is by how many dB a held peak falls from one status to the next: slow
// enough to be read (20 dB a second; our choice).
const fall = 2

func (v *view) take(st playback.Status) {
	v.st = st
	for len(v.hold) < len(st.Inputs) {
		v.hold = append(v.hold, math.Inf(-1))
	}
}

// hear takes a status over that came by itself, and lets peaks fall.
func (v *view) hear(st playback.Status) {
	v.take(st)
	for i, in := range st.Inputs {
		v.hold[i] = max(float64(in.PeakDBFS), v.hold[i]-fall)
		if v.hold[i] < playback.MinLevelDB {
			v.hold[i] = math.Inf(-1)
		}
	}
}

// do sends a command and keeps what went wrong. Where the player stands then is
// taken over at once: the next key may come before the next status.
func (v *view) do(ctx context.Context, c playback.Command) {
	v.message = ""
	if err := v.player.Do(ctx, c); err != nil {
		v.refused(err)
		return
	}
	v.take(v.player.Status())
}

// refused keeps why something was not done, and what helps.
func (v *view) refused(err error) {
	v.message = err.Error()
	var hinter interface{ Hint() string }
	if errors.As(err, &hinter) && hinter.Hint() != "" {
		v.message += "; " + hinter.Hint()
	}
}

// key does what a key means, and returns true where it leaves.
func (v *view) key(ctx context.Context, ev *tcell.EventKey) (leave bool) {
	// The space bar only ever makes it quiet, on every page, while typing too
	// if nothing is typed yet.
	if ev.Rune() == ' ' && !(v.typing && len(v.typed) > 0) || ev.Key() == tcell.KeyCtrlC {
		v.typing = false
		v.do(ctx, playback.Command{Do: playback.FadeOut})
		if ev.Key() == tcell.KeyCtrlC {
			return v.leave(ctx)
		}
		return false
	}
	if v.typing {
		v.typeKey(ctx, ev)
		return false
	}
	if v.page == pageKeys {
		v.page = pagePlay
		return false
	}
	if v.moveKey(ev) {
		return false
	}
	if v.page == pageBack {
		return v.backKey(ctx, ev)
	}
	return v.playKey(ctx, ev)
}

// moveKey moves the selection.
func (v *view) moveKey(ev *tcell.EventKey) bool {
	step := map[tcell.Key]int{tcell.KeyUp: -1, tcell.KeyDown: 1, tcell.KeyPgUp: -8, tcell.KeyPgDn: 8}[ev.Key()]
	if v.page == pageBack {
		list, _ := v.player.BackToStage()
		v.ticking = max(0, min(v.ticking+step, len(list)-1))
	} else {
		v.selected = max(0, min(v.selected+step, len(v.st.Inputs)-1))
	}
	return step != 0
}

func (v *view) playKey(ctx context.Context, ev *tcell.EventKey) (leave bool) {
	switch ev.Key() {
	case tcell.KeyEnter:
		v.do(ctx, playback.Command{Do: playback.Play})
		return false
	case tcell.KeyLeft:
		v.do(ctx, playback.Command{Do: playback.Skip, ByS: -10})
		return false
	case tcell.KeyRight:
		v.do(ctx, playback.Command{Do: playback.Skip, ByS: 10})
		return false
	}
	in := playback.InputStatus{}
	if v.selected < len(v.st.Inputs) {
		in = v.st.Inputs[v.selected]
	}
	db := func(x float64) *float64 { return &x }
	switch ev.Rune() {
	case 'p':
		v.do(ctx, playback.Command{Do: playback.Play})
	case 's':
		v.do(ctx, playback.Command{Do: playback.Stop})
	case 'n':
		v.do(ctx, playback.Command{Do: playback.Next})
	case 'b':
		v.do(ctx, playback.Command{Do: playback.Previous})
	case ',':
		v.toMarker(ctx, -1)
	case '.':
		v.toMarker(ctx, 1)
	case '[':
		v.do(ctx, playback.Command{Do: playback.LoopFrom})
	case ']':
		v.do(ctx, playback.Command{Do: playback.LoopTo})
	case 'l':
		c := playback.Command{Do: playback.LoopOn}
		if v.st.Loop.On {
			c.Do = playback.LoopOff
		}
		v.do(ctx, c)
	case 'u':
		v.do(ctx, playback.Command{Do: playback.Level, DB: db(min(playback.MaxLevelDB, math.Floor(v.st.LevelDB+playback.StrokeDB)))})
	case 'd':
		v.do(ctx, playback.Command{Do: playback.Level, DB: db(max(playback.MinLevelDB, v.st.LevelDB-1))})
	case 'e':
		then := "stop"
		if v.st.AtEnd == "stop" {
			then = "next"
		}
		v.do(ctx, playback.Command{Do: playback.AtEnd, Then: then})
	case 'm':
		v.do(ctx, playback.Command{Do: playback.Mute, Input: in.DeskInput, On: !in.Muted})
	case '+', '=':
		v.do(ctx, playback.Command{Do: playback.Trim, Input: in.DeskInput, DB: db(in.TrimDB + 0.5)})
	case '-':
		v.do(ctx, playback.Command{Do: playback.Trim, Input: in.DeskInput, DB: db(in.TrimDB - 0.5)})
	case 't':
		v.toggle(ctx, in.DeskInput)
	case 'i':
		v.do(ctx, playback.Command{Do: playback.Identify})
	case 'o':
		v.do(ctx, playback.Command{Do: playback.ToneOff})
	case 'r':
		v.do(ctx, playback.Command{Do: playback.Reopen})
	case ':':
		v.typing, v.typed, v.message = true, nil, ""
	case '?', 'h':
		v.page = pageKeys
	case 'q':
		v.do(ctx, playback.Command{Do: playback.FadeOut})
		return v.leave(ctx)
	}
	return false
}

// leave goes to the list back to the stage, or out where nothing is open.
func (v *view) leave(ctx context.Context) bool {
	list, fed := v.player.BackToStage()
	open := playback.Ending{Fed: fed, Back: list}.Open()
	if len(open) == 0 || v.page == pageBack {
		return true
	}
	v.page, v.message = pageBack, ""
	v.ticking = nextOpen(list, 0)
	return false
}

// nextOpen returns the index of the first line of the list that is not ticked, from one
// on and round; from itself where none is.
func nextOpen(list []catalog.BackInput, from int) int {
	for n := range list {
		if i := (from + n) % len(list); !list[i].Back {
			return i
		}
	}
	return max(0, min(from, len(list)-1))
}

func (v *view) backKey(ctx context.Context, ev *tcell.EventKey) (leave bool) {
	switch {
	case ev.Key() == tcell.KeyEscape:
		v.page = pagePlay
	case ev.Rune() == 'q':
		return true
	case ev.Rune() == 't' || ev.Key() == tcell.KeyEnter:
		v.tick(ctx, true)
	case ev.Rune() == 'u':
		v.tick(ctx, false)
	}
	return false
}

// tick ticks the line that is chosen and goes on to the next open one, or takes its tick
// back. A key that is held down never undoes what it did.
func (v *view) tick(ctx context.Context, back bool) {
	v.message = ""
	list, _ := v.player.BackToStage()
	if v.ticking >= len(list) {
		return
	}
	if err := v.player.Tick(ctx, list[v.ticking].DeskInput, back); err != nil {
		v.refused(err)
		return
	}
	if list, _ = v.player.BackToStage(); back {
		v.ticking = nextOpen(list, v.ticking)
	}
}

// toggle ticks a desk input, or takes its tick back.
func (v *view) toggle(ctx context.Context, deskInput int) {
	v.message = ""
	list, _ := v.player.BackToStage()
	for _, b := range list {
		if b.DeskInput == deskInput {
			if err := v.player.Tick(ctx, deskInput, !b.Back); err != nil {
				v.refused(err)
			}
		}
	}
}

// typeKey edits the command line.
func (v *view) typeKey(ctx context.Context, ev *tcell.EventKey) {
	switch ev.Key() {
	case tcell.KeyEscape:
		v.typing = false
	case tcell.KeyBackspace, tcell.KeyBackspace2:
		if len(v.typed) > 0 {
			v.typed = v.typed[:len(v.typed)-1]
		}
	case tcell.KeyEnter:
		v.typing = false
		c, err := parseWords(string(v.typed))
		switch {
		case err != nil:
			v.message = err.Error()
		case c.Do == playback.Quit:
			v.message = "q leaves"
		default:
			v.do(ctx, c)
		}
	case tcell.KeyRune:
		v.typed = append(v.typed, ev.Rune())
	}
}
