package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/gdamore/tcell/v2"
	"github.com/rivo/uniseg"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/playback"
)

// Styles keep to the terminal's own colours, so that they suit dark and light
// ones; every colour has its word beside it.
var (
	plain    = tcell.StyleDefault
	strong   = plain.Bold(true)
	dim      = plain.Dim(true)
	inverse  = plain.Reverse(true)
	feeding  = plain.Background(tcell.ColorMaroon).Foreground(tcell.ColorWhite).Bold(true)
	resting  = plain.Reverse(true).Bold(true)
	warning  = plain.Foreground(tcell.ColorOlive).Bold(true)
	overload = plain.Foreground(tcell.ColorRed).Bold(true)
)

// text writes a line from x on and returns where it ended.
func (v *view) text(x, y int, style tcell.Style, format string, args ...any) int {
	w, h := v.screen.Size()
	if y < 0 || y >= h {
		return x
	}
	for rest, state := inline(fmt.Sprintf(format, args...)), -1; rest != ""; {
		var letter string
		var wide int
		letter, rest, wide, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if x+wide > w {
			break
		}
		runes := []rune(letter)
		v.screen.SetContent(x, y, runes[0], runes[1:], style)
		x += wide
	}
	return x
}

// right writes a text that ends before the right edge, and returns where it begins.
func (v *view) right(y int, style tcell.Style, format string, args ...any) int {
	w, _ := v.screen.Size()
	text := inline(fmt.Sprintf(format, args...))
	x := max(0, w-displayWidth(text)-1)
	v.text(x, y, style, "%s", text)
	return x
}

// fits returns the first text that is no wider than width, or as much of the last as is.
func fits(width int, texts ...string) string {
	for _, s := range texts {
		if s = inline(s); displayWidth(s) <= width {
			return s
		}
	}
	return cut(inline(texts[len(texts)-1]), width)
}

// bar fills a line with a style.
func (v *view) bar(y int, style tcell.Style) {
	w, _ := v.screen.Size()
	for x := range w {
		v.screen.SetContent(x, y, ' ', nil, style)
	}
}

func (v *view) draw() {
	v.screen.Clear()
	v.screen.HideCursor()
	switch v.page {
	case pageKeys:
		v.drawKeys()
	case pageBack:
		v.drawBack()
	default:
		v.drawPlay()
	}
	v.screen.Show()
}

// headline says in one line whether anything leaves the outputs.
func (v *view) headline() (text string, style tcell.Style) {
	n := 0
	for _, in := range v.st.Inputs {
		if in.Status == catalog.Playback && !in.Muted {
			n++
		}
	}
	item := v.player.Program().Items[v.st.Item]
	switch v.st.State {
	case playback.Playing:
		return fmt.Sprintf("FEEDING %d INPUTS FROM %s", n, item.Show), feeding
	case playback.Tone:
		if v.st.ToneOn > 0 {
			return fmt.Sprintf("TEST TONE ON OUTPUT %d, %.0f dBFS", v.st.ToneOn, v.st.ToneDB), feeding
		}
		return fmt.Sprintf("TEST TONE, %.0f dBFS", v.st.ToneDB), feeding
	case playback.Waiting:
		return "SILENT: WAITING FOR THE DISK", feeding
	case playback.Lost:
		return "SILENT: THE DEVICE IS GONE", feeding
	case playback.Unarmed:
		return "SILENT: CAUTIONS NOT ACKNOWLEDGED (:acknowledge)", resting
	}
	return "SILENT, " + strings.ToUpper(string(v.st.State)), resting
}

func (v *view) drawPlay() {
	w, h := v.screen.Size()
	prog := v.player.Program()
	title, style := v.headline()
	v.bar(0, style)
	v.text(1, 0, style, "%s", title)
	if right := fmt.Sprintf("session %d, desk %s", prog.Session, prog.Desk); displayWidth(title)+displayWidth(right)+4 < w {
		v.right(0, style, "%s", right)
	}

	item := prog.Items[v.st.Item]
	end := v.right(2, strong, "%s of %s", catalog.ClockTenths(v.st.AtS), catalog.ClockTenths(v.st.LengthS)) - 2
	x := v.text(1, 2, strong, "%s", fits(end-1, fmt.Sprintf("%d/%d  %s", v.st.Item+1, len(prog.Items), item.Song)))
	place := fmt.Sprintf("  %s, rig %s", item.Show, item.Rig)
	if n := v.passed(0); n >= 0 {
		place += fmt.Sprintf(", past marker %d %s", n+1, item.Markers[n].Label)
	}
	if end-x > len("  2031-08-01") {
		v.text(x, 2, plain, "%s", fits(end-x, place))
	}
	v.drawPosition(3)

	next := "then it stops"
	if v.st.Next >= 0 {
		next = "then " + prog.Items[v.st.Next].Song
	}
	loop := "no loop"
	if l := v.st.Loop; l.ToS > l.FromS {
		loop = fmt.Sprintf("loop %s to %s of song %d", catalog.ClockTenths(math.Max(0, l.FromS)), catalog.ClockTenths(l.ToS), l.Item+1)
		if !l.On {
			loop += ", off"
		}
	} else if l.FromS > 0 {
		loop = fmt.Sprintf("loop from %s, no end yet", catalog.ClockTenths(l.FromS))
	}
	x = v.text(1, 4, strong, "level %s dB", signed(v.st.LevelDB))
	v.text(x, 4, plain, "   %s", fits(w-x-4, fmt.Sprintf("%s   %s   fade %.0f ms   pre-roll %.1f s", loop, next, v.st.FadeMS, v.st.PreRollS), loop+"   "+next, loop))

	bottom := h - 3
	for i := len(v.st.Problems) - 1; i >= 0 && bottom > 9; i-- {
		bottom--
		v.text(1, bottom, warning, "! %s", v.st.Problems[i].Text)
	}
	v.drawInputs(6, bottom-2)

	figures := fmt.Sprintf("%.1f s ahead, disk waits %d, late blocks %d, callback %.2f ms", v.st.BufferS, v.st.Underruns, v.st.LateBlocks, v.st.MaxCallbackMS)
	v.text(1, h-3, dim, "%s", fits(w-2, fmt.Sprintf("%s, %g kHz, to %s   %s", v.st.Device, float64(v.st.Rate)/1000, v.st.Connected, figures), figures))
	if v.message != "" {
		v.text(1, h-2, warning, "%s", fits(w-2, v.message))
	}
	if v.typing {
		end := v.text(1, h-1, strong, ":%s", string(v.typed))
		v.screen.ShowCursor(end, h-1)
		return
	}
	v.bar(h-1, inverse)
	v.text(1, h-1, inverse, "%s", fits(w-2, "SPACE quiet  p play  s stop  n/b song  ←→ 10 s  [ ] l loop  u/d level  ↑↓ m mute +- trim t back  ? keys  q leave",
		"SPACE quiet  p play  s stop  n/b song  [ ] l loop  u/d level  ? keys  q leave", "SPACE quiet  p play  ? keys  q leave"))
}

// drawPosition draws the item as a line with the loop and the markers on it.
func (v *view) drawPosition(y int) {
	w, _ := v.screen.Size()
	n := w - 2
	if n < 10 || v.st.LengthS <= 0 {
		return
	}
	cell := func(s float64) int { return max(0, min(n-1, int(s/v.st.LengthS*float64(n)))) }
	for i := range n {
		r := '─'
		if i < cell(v.st.AtS) {
			r = '━'
		}
		v.screen.SetContent(1+i, y, r, nil, plain)
	}
	for _, m := range v.player.Program().Items[v.st.Item].Markers {
		v.screen.SetContent(1+cell(m.AtS), y, '╵', nil, plain)
	}
	if l := v.st.Loop; l.Item == v.st.Item && l.ToS > l.FromS {
		style := dim
		if l.On {
			style = strong
		}
		v.screen.SetContent(1+cell(l.FromS), y, '[', nil, style)
		v.screen.SetContent(1+cell(l.ToS), y, ']', nil, style)
	}
	v.screen.SetContent(1+cell(v.st.AtS), y, '●', nil, strong)
}

// cellWidth is the least that one input needs.
const cellWidth = 38

// drawInputs draws the inputs between two lines in as many columns as fit,
// scrolled so that the selected one is seen.
func (v *view) drawInputs(top, bottom int) {
	w, _ := v.screen.Size()
	rows := bottom - top + 1
	columns := max(1, (w-1)/cellWidth)
	if rows < 1 {
		return
	}
	// No more columns than needed, so that meters are wide.
	columns = min(columns, (len(v.st.Inputs)+rows-1)/rows)
	columns = max(1, columns)
	width := (w - 1) / columns
	page := rows * columns
	if v.selected < v.first {
		v.first = v.selected
	}
	if v.selected >= v.first+page {
		v.first = v.selected - page + 1
	}
	v.first = max(0, min(v.first, len(v.st.Inputs)-page))
	notes := 0 // all bars are equally long, so that levels can be compared
	for _, in := range v.st.Inputs {
		note, _ := noteOf(in)
		notes = max(notes, displayWidth(note))
	}
	for i := v.first; i < len(v.st.Inputs) && i < v.first+page; i++ {
		k := i - v.first
		v.drawInput(1+k/rows*width, top+k%rows, width-1, notes, i)
	}
	if v.first+page < len(v.st.Inputs) || v.first > 0 {
		v.right(top-1, dim, "inputs %d to %d of %d", v.first+1, min(len(v.st.Inputs), v.first+page), len(v.st.Inputs))
	}
}

// drawInput draws one input: number, channel, peak, trim and what is special.
func (v *view) drawInput(x, y, width, notes, i int) {
	in := v.st.Inputs[i]
	name := plain
	if i == v.selected {
		name = inverse
	}
	letters := 14
	if width < 42 && notes > 0 {
		letters = 10 // leaves the bar what is needed to be read
	}
	channel := cut(inline(in.Channel), letters)
	v.text(x, y, name, "%3d %s%s", in.DeskInput, channel, strings.Repeat(" ", letters-displayWidth(channel)))
	level := v.text(x+letters+5, y, plain, "%6s", decibels(meter.Level(v.hold[i])))
	room := width - (level - x) - 1
	if notes > 0 {
		note, style := noteOf(in)
		v.text(level+1+room-displayWidth(note), y, style, "%s", note)
		room -= notes + 1
	}
	v.meter(level+1, y, room, v.hold[i])
}

// noteOf returns what is special about an input; "" where nothing is.
func noteOf(in playback.InputStatus) (string, tcell.Style) {
	switch {
	case in.Back:
		return "on stage", strong
	case in.Status != catalog.Playback:
		return string(in.Status), dim
	case in.Muted:
		return "muted", warning
	case in.TrimDB != 0:
		return signed(in.TrimDB) + " dB", dim
	}
	return "", dim
}

// meterFloor is the level in dBFS at which a meter begins.
const meterFloor = -60

// meter draws a peak in eighths of a cell.
func (v *view) meter(x, y, width int, db float64) {
	if width < 2 || math.IsInf(db, -1) || math.IsNaN(db) {
		return
	}
	style := plain
	if db >= -0.1 {
		style = overload
	}
	eighths := int((db - meterFloor) / -meterFloor * float64(8*width))
	for i := 0; i < width && eighths > 0; i++ {
		v.screen.SetContent(x+i, y, []rune(" ▏▎▍▌▋▊▉█")[min(8, eighths)], nil, style)
		eighths -= 8
	}
}

func (v *view) drawBack() {
	w, h := v.screen.Size()
	list, _ := v.player.BackToStage()
	open := 0
	for _, b := range list {
		if !b.Back {
			open++
		}
	}
	v.bar(0, resting)
	title := fmt.Sprintf("BACK TO THE STAGE: %d OF %d INPUTS OPEN", open, len(list))
	if open == 0 {
		title = "BACK TO THE STAGE: ALL TICKED"
	}
	v.text(1, 0, resting, "%s", title)
	v.text(1, 1, plain, "%s", fits(w-2, "Switch each input back on the desk, hear it live, then tick it. An input left on playback is a dead microphone in the show.",
		"Switch each input back on the desk, hear it live, then tick it."))
	rows := max(1, h-6)
	columns := max(1, min((w-1)/26, (len(list)+rows-1)/rows))
	page := rows * columns
	from := v.ticking / page * page
	for i := from; i < len(list) && i < from+page; i++ {
		style := plain
		if i == v.ticking {
			style = inverse
		}
		box := "[ ]"
		if list[i].Back {
			box = "[x]"
		}
		v.text(1+(i-from)/rows*26, 3+(i-from)%rows, style, "%s %3d %s", box, list[i].DeskInput, cut(inline(list[i].Channel), 16))
	}
	if page < len(list) {
		openElsewhere := open
		for _, b := range list[from:min(len(list), from+page)] {
			if !b.Back {
				openElsewhere--
			}
		}
		v.text(1, h-3, warning, "lines %d to %d of %d; %d more are open: ↑↓ and PgUp, PgDn go there", from+1, min(len(list), from+page), len(list), openElsewhere)
	}
	if v.message != "" {
		v.text(1, h-2, warning, "%s", fits(w-2, v.message))
	}
	v.bar(h-1, inverse)
	v.text(1, h-1, inverse, "%s", fits(w-2, "SPACE quiet  ↑↓ choose  t tick  u untick  Esc back to playing  q leave (exit status 3 while inputs are open)", "SPACE quiet  ↑↓ choose  t tick  u untick  Esc back to playing  q leave"))
}

// keysHelp lists the keys.
const keysHelp = `SPACE      quiet: fades out whatever sounds; never starts anything
p, Enter   play
s          stop, back to the song's start
n, b       next song, song before
← →        10 s back, forward
, .        marker before, marker after (:marker N by its number)
[ ]        loop from here, loop to here (and on)
l          loop on, off
e          after the song: next or stop
u, d       overall level up, down 1 dB
↑ ↓        choose an input; PgUp, PgDn
m          mute it
+ -        trim it by 0.5 dB
t          tick: it is back on the stage
i, o       identification walk (long beeps tens, short ones units), tone off
r          open the device again
:          type a command, for example  :locate 1:02   :line-up 1 2 at -20
q          leave, by the list back to the stage`

func (v *view) drawKeys() {
	v.bar(0, resting)
	v.text(1, 0, resting, "KEYS (any key goes back)")
	for i, line := range strings.Split(keysHelp, "\n") {
		v.text(1, 2+i, plain, "%s", line)
	}
}
