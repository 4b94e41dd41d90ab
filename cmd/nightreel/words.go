package main

import (
	"fmt"
	"strconv"
	"strings"

	"nightreel/internal/lists"
	"nightreel/internal/playback"
)

// wordsHelp lists what can be typed while a session plays.
const wordsHelp = `play, pause, stop           start fading in, fade out, fade out and go to the song's start
fade                        fade out, whatever sounds; the space bar in the full screen
next, previous              song by song
item N [TIME]               song N, at TIME from its start
locate TIME, skip SECONDS   within the song; skip -10
marker N                    to the song's Nth marker, its pre-roll first
loop from [TIME], loop to [TIME], loop FROM TO, loop on, loop off
level DB                    of everything, -80 to 0; up by 1 dB at most, down at once
mute INPUT, unmute INPUT, trim INPUT DB [beyond]   up by 1 dB at most; beyond: +20 dB with the session's is meant
at-end next|stop            what comes after a song
fade-time MS, pre-roll SECONDS
identify [FIRST LAST] [DB]  counted tone through the outputs: long beeps are tens, short ones units
line-up OUTPUT… [at DB]     steady 1 kHz tone; DB is dBFS peak, at most -6
tone off
tick INPUT|all, untick INPUT   the list of inputs back on the stage
acknowledge                 the cautions are read and followed
reopen                      open the device again
status, help, quit`

// parseWords turns a typed line into a command for the player.
func parseWords(line string) (playback.Command, error) {
	f := strings.Fields(strings.ToLower(line))
	if len(f) == 0 {
		return playback.Command{}, fmt.Errorf("nothing was typed")
	}
	p := &wordParser{words: f[1:]}
	c := p.command(f[0])
	if p.err == nil && len(p.words) > 0 {
		p.err = fmt.Errorf("%q is too much", p.words[0])
	}
	if p.err != nil {
		return c, fmt.Errorf("%s: %w", f[0], p.err)
	}
	return c, nil
}

type wordParser struct {
	words []string
	err   error
}

func (p *wordParser) command(verb string) playback.Command {
	plain := map[string]playback.Verb{"play": playback.Play, "pause": playback.Pause, "stop": playback.Stop, "fade": playback.FadeOut, "next": playback.Next,
		"previous": playback.Previous, "acknowledge": playback.Acknowledge, "reopen": playback.Reopen, "quit": playback.Quit}
	if do, ok := plain[verb]; ok {
		return playback.Command{Do: do}
	}
	switch verb {
	case "item":
		n := p.whole("which song") - 1
		c := playback.Command{Do: playback.Locate, Item: &n}
		if len(p.words) > 0 {
			c.AtS = p.time()
		}
		return c
	case "locate":
		return playback.Command{Do: playback.Locate, AtS: p.time()}
	case "skip":
		return playback.Command{Do: playback.Skip, ByS: p.number("by how many seconds")}
	case "marker":
		return playback.Command{Do: playback.ToMarker, Marker: p.whole("which marker") - 1}
	case "loop":
		return p.loop()
	case "level":
		return playback.Command{Do: playback.Level, DB: p.db()}
	case "mute", "unmute":
		return playback.Command{Do: playback.Mute, Input: p.whole("which desk input"), On: verb == "mute"}
	case "trim":
		c := playback.Command{Do: playback.Trim, Input: p.whole("which desk input"), DB: p.db()}
		if p.err == nil && len(p.words) > 0 && p.words[0] == "beyond" {
			c.Beyond, p.words = true, p.words[1:]
		}
		return c
	case "at-end":
		return playback.Command{Do: playback.AtEnd, Then: p.word("next or stop")}
	case "fade-time":
		return playback.Command{Do: playback.Fade, MS: p.number("how many milliseconds")}
	case "pre-roll":
		return playback.Command{Do: playback.Roll, ByS: p.number("how many seconds")}
	case "identify":
		c := playback.Command{Do: playback.Identify}
		if len(p.words) >= 2 {
			c.First, c.Last = p.whole("the first output"), p.whole("the last output")
		}
		if len(p.words) > 0 {
			c.DB = p.db()
		}
		return c
	case "line-up":
		c := playback.Command{Do: playback.LineUp}
		for p.err == nil && len(p.words) > 0 && p.words[0] != "at" {
			c.Outputs = append(c.Outputs, p.whole("which outputs"))
		}
		if len(p.words) > 0 {
			p.words = p.words[1:]
			c.DB = p.db()
		}
		return c
	case "tone":
		if p.word("off") != "off" && p.err == nil {
			p.err = fmt.Errorf("needs off")
		}
		return playback.Command{Do: playback.ToneOff}
	}
	p.err = fmt.Errorf("there is no such command; help lists them")
	return playback.Command{}
}

func (p *wordParser) loop() playback.Command {
	first := p.word("from, to, two times, on or off")
	switch first {
	case "on":
		return playback.Command{Do: playback.LoopOn}
	case "off":
		return playback.Command{Do: playback.LoopOff}
	case "from", "to":
		c := playback.Command{Do: playback.LoopFrom}
		if first == "to" {
			c.Do = playback.LoopTo
		}
		if len(p.words) > 0 {
			c.AtS = p.time()
		}
		return c
	}
	p.words = append([]string{first}, p.words...)
	return playback.Command{Do: playback.LoopOn, FromS: p.time(), ToS: p.time()}
}

func (p *wordParser) word(what string) string {
	if p.err != nil {
		return ""
	}
	if len(p.words) == 0 {
		p.err = fmt.Errorf("needs %s", what)
		return ""
	}
	w := p.words[0]
	p.words = p.words[1:]
	return w
}

func (p *wordParser) number(what string) float64 {
	w := p.word(what)
	if p.err != nil {
		return 0
	}
	x, err := strconv.ParseFloat(strings.Replace(w, "−", "-", 1), 64)
	if err != nil {
		p.err = fmt.Errorf("%q is not a number: %s?", w, what)
	}
	return x
}

func (p *wordParser) whole(what string) int {
	w := p.word(what)
	if p.err != nil {
		return 0
	}
	n, err := strconv.Atoi(w)
	if err != nil || n < 1 {
		p.err = fmt.Errorf("%q is not a number from 1 on: %s?", w, what)
	}
	return n
}

func (p *wordParser) db() *float64 {
	x := p.number("how many dB")
	return &x
}

// time reads a time; one below zero lies in the pre-roll.
func (p *wordParser) time() *float64 {
	w := p.word("a time")
	if p.err != nil {
		return nil
	}
	digits, before := strings.CutPrefix(w, "-")
	s, err := lists.ParseTime(digits)
	if err != nil {
		p.err = err
	}
	if before {
		s = -s
	}
	return &s
}
