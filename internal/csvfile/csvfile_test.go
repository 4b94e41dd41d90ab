package csvfile

import (
	"bytes"
	"encoding/csv"
	"testing"
)

// No text cell begins with what a spreadsheet runs; numbers stay numbers; reading back gives
// what was written.
func TestSpreadsheetsRunNothing(t *testing.T) {
	for cell, want := range map[string]string{
		"":                            "",
		"Kick In":                     "Kick In",
		"-3.5":                        "-3.5",
		"+2":                          "+2",
		"-inf":                        "-inf",
		`=HYPERLINK("http://x.test")`: `'=HYPERLINK("http://x.test")`,
		"+1+cmd|' /C x'!A0":           "'+1+cmd|' /C x'!A0",
		"-2-3":                        "'-2-3",
		"@SUM(1)":                     "'@SUM(1)",
		"\t=1":                        "'\t=1",
		"\r=1":                        "'\r=1",
		"\uff1d1+1":                   "'\uff1d1+1",
		"'quoted'":                    "'quoted'",
	} {
		var b bytes.Buffer
		if err := NewWriter(&b).WriteAll([][]string{{"first", cell}}); err != nil {
			t.Fatal(err)
		}
		lines, err := csv.NewReader(&b).ReadAll()
		if err != nil || lines[0][1] != want {
			t.Errorf("%q: got %q, %v, want %q", cell, lines, err, want)
		}
		if got := Fuse(want); got != cell {
			t.Errorf("%q comes back as %q", cell, got)
		}
	}
}
