package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/gdamore/tcell/v2"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/playback"
)

// fakePlayer is a stopped player with 64 desk inputs; it does not feed the first.
type fakePlayer struct {
	status playback.Status
	back   []catalog.BackInput
	prog   playback.Program
}

func (p *fakePlayer) Program() *playback.Program                  { return &p.prog }
func (p *fakePlayer) Status() playback.Status                     { return p.status }
func (p *fakePlayer) Subscribe() (<-chan playback.Status, func()) { return nil, func() {} }
func (p *fakePlayer) Do(context.Context, playback.Command) error  { return nil }
func (p *fakePlayer) BackToStage() ([]catalog.BackInput, bool)    { return p.back, true }
func (p *fakePlayer) Err() error                                  { return nil }
func (p *fakePlayer) Tick(_ context.Context, input int, b bool) error {
	for i := range p.back {
		if p.back[i].DeskInput == input {
			p.back[i].Back = b
			return nil
		}
	}
	return fmt.Errorf("desk input %d is not fed", input)
}

func standing() *fakePlayer {
	p := &fakePlayer{prog: playback.Program{Session: 1, Desk: "foh", Items: []playback.ProgramItem{{Song: "A Title That Is Much Longer Than The Line " + hostile + strings.Repeat("x", 100), Show: "2031-08-01", Rig: "main"}}}}
	p.status = playback.Status{State: playback.Stopped, AtS: 3, LengthS: 60, Next: -1}
	for i := range 64 {
		in := playback.InputStatus{DeskInput: i + 1, Channel: fmt.Sprintf("Channel %d", i+1), Status: catalog.Playback, PeakDBFS: meter.Level(-30)}
		if i == 0 {
			in.Status = catalog.Stage
		} else {
			p.back = append(p.back, catalog.BackInput{DeskInput: i + 1, Channel: in.Channel})
		}
		if i == 2 {
			in.TrimDB = 3
		}
		p.status.Inputs = append(p.status.Inputs, in)
	}
	return p
}

func shownOn(screen tcell.SimulationScreen) []string {
	cells, w, h := screen.GetContents()
	lines := make([]string, h)
	for i, c := range cells {
		lines[i/w] += string(c.Runes)
	}
	return lines
}

// Bars of inputs with and without a remark have one scale, at every size; a long title
// never runs into the time; names never act upon the terminal.
func TestViewHasOneScale(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {100, 30}, {120, 40}} {
		screen := tcell.NewSimulationScreen("UTF-8")
		if err := screen.Init(); err != nil {
			t.Fatal(err)
		}
		screen.SetSize(size[0], size[1])
		v := newView(standing())
		v.screen = screen
		v.draw()
		bars := map[int]int{}
		text := shownOn(screen)
		for _, l := range text {
			if strings.Contains(l, "Channel") {
				for _, cell := range strings.Split(l, "Channel")[1:] {
					bars[strings.Count(cell, "█")]++
				}
			}
			if strings.ContainsFunc(l, acts) {
				t.Errorf("%v: %q", size, l)
			}
		}
		if len(bars) != 1 || bars[0] > 0 {
			t.Errorf("%v: inputs at one level have bars of %v cells:\n%s", size, bars, strings.Join(text, "\n"))
		}
		if !strings.Contains(text[2], "  0:00:03.0 of 0:01:00.0") || !strings.Contains(text[2], "…") {
			t.Errorf("%v: the title runs into the time: %q", size, text[2])
		}
		screen.Fini()
	}
}

// The list back to the stage begins at the first open line, ticks the line that it shows,
// says what is below, and a key held down never undoes a tick.
func TestBackListTicksWhatItShows(t *testing.T) {
	screen := tcell.NewSimulationScreen("UTF-8")
	if err := screen.Init(); err != nil {
		t.Fatal(err)
	}
	defer screen.Fini()
	screen.SetSize(80, 24)
	p := standing()
	p.back[0].Back = true
	v := newView(p)
	v.screen = screen
	v.leave(t.Context())
	v.draw()
	text := strings.Join(shownOn(screen), "\n")
	if !strings.Contains(text, "62 OF 63 INPUTS OPEN") || !strings.Contains(text, "lines 1 to 54 of 63; 9 more are open") {
		t.Errorf("the list shows\n%s", text)
	}
	press := func(r rune) { v.key(t.Context(), tcell.NewEventKey(tcell.KeyRune, r, tcell.ModNone)) }
	press('t')
	if !p.back[1].Back || p.back[2].Back || v.message != "" {
		t.Errorf("t ticked %+v, %q", p.back[:4], v.message)
	}
	for range 100 {
		press('t')
	}
	for _, b := range p.back {
		if !b.Back {
			t.Fatalf("input %d is open after t was held down", b.DeskInput)
		}
	}
	press('u')
	if open := (playback.Ending{Fed: true, Back: p.back}).Open(); len(open) != 1 {
		t.Errorf("u took back %+v", open)
	}
}
