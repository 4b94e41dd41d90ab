package main

import (
	"encoding/json"
	"testing"
)

func TestWords(t *testing.T) {
	for line, want := range map[string]string{
		"play":               `{"do":"play"}`,
		"Fade":               `{"do":"fade_out"}`,
		"item 2":             `{"do":"locate","item":1}`,
		"item 2 1:02.5":      `{"do":"locate","item":1,"at_s":62.5}`,
		"locate -1.5":        `{"do":"locate","at_s":-1.5}`,
		"skip -10":           `{"do":"skip","by_s":-10}`,
		"loop 10 0:25":       `{"do":"loop_on","from_s":10,"to_s":25}`,
		"loop from":          `{"do":"loop_from"}`,
		"loop to 0:30":       `{"do":"loop_to","at_s":30}`,
		"loop off":           `{"do":"loop_off"}`,
		"level −12.5":        `{"do":"level","db":-12.5}`,
		"mute 5":             `{"do":"mute","input":5,"on":true}`,
		"unmute 5":           `{"do":"mute","input":5}`,
		"trim 5 -3":          `{"do":"trim","db":-3,"input":5}`,
		"trim 5 9 beyond":    `{"do":"trim","db":9,"input":5,"beyond":true}`,
		"at-end stop":        `{"do":"at_end","then":"stop"}`,
		"fade-time 25":       `{"do":"fade","ms":25}`,
		"pre-roll 2":         `{"do":"pre_roll","by_s":2}`,
		"identify":           `{"do":"identify"}`,
		"identify 3 7 -50":   `{"do":"identify","db":-50,"first":3,"last":7}`,
		"line-up 1 2 at -20": `{"do":"line_up","db":-20,"outputs":[1,2]}`,
		"tone off":           `{"do":"tone_off"}`,
		"marker 3":           `{"do":"marker","marker":2}`,
	} {
		c, err := parseWords(line)
		if err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		if got, _ := json.Marshal(c); string(got) != want {
			t.Errorf("%s: %s, want %s", line, got, want)
		}
	}
	for _, line := range []string{"", "louder", "play it", "item", "item 0", "locate soon", "skip", "loop", "loop 3", "mute x", "level loud", "tone", "tone on", "trim 5", "trim 5 9 below", "line-up 1 x"} {
		if c, err := parseWords(line); err == nil {
			t.Errorf("%q: %+v, want an error", line, c)
		}
	}
}
