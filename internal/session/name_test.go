package session

import (
	"strings"
	"testing"

	"nightreel/catalog"
)

func TestNames(t *testing.T) {
	for in, want := range map[string]string{
		"Kick In":               "Kick In",
		`A/B\C:D*E?F"G<H>I|J`:   "A-B-C-D-E-F-G-H-I-J",
		" .. ":                  "untitled",
		"":                      "untitled",
		"..":                    "untitled",
		"../../etc":             "-..-etc",
		"Wait.":                 "Wait",
		"Tab\there\x00\n":       "Tabhere",
		"Été à la Bück":         "Été à la Bück",
		"bad\xffbyte":           "badbyte",
		strings.Repeat("é", 90): strings.Repeat("é", 60),
	} {
		if got := safeName(in); got != want {
			t.Errorf("safeName(%q) = %q, want %q", in, got, want)
		}
	}
	it := catalog.SessionItem{Song: "Slow/Fast", Show: "2031-05-02"}
	if got := itemName(0, 5, it); got != "01 Slow-Fast (2031-05-02)" {
		t.Errorf("%q", got)
	}
	if got := itemName(4, 120, it); got != "005 Slow-Fast (2031-05-02)" {
		t.Errorf("%q", got)
	}
	if got := inputName(catalog.SessionInput{DeskInput: 7, Channel: "OH L"}, 128); got != "007 OH L.wav" {
		t.Errorf("%q", got)
	}
}
