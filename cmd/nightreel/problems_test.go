package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"nightreel/internal/scan"
)

// Sixty-four files that were never closed are one line, and two of another kind stay apart.
func TestManyUnclosedFilesAreOneLine(t *testing.T) {
	var problems []scan.Problem
	for i := range 64 {
		file := fmt.Sprintf("/night/%02d Channel.wav", i+1)
		problems = append(problems, scan.Problem{File: file, Offset: 4, Problem: fmt.Sprintf("RIFF size 0 was never filled in; the file has %d bytes", 1000+i)},
			scan.Problem{File: file, Offset: int64(1000 + i), Problem: fmt.Sprintf("data size is 0; all %d bytes to the end of the file are read", 900+i)})
	}
	problems = append(problems, scan.Problem{File: "/night/a.wav", Problem: "passed over: an empty file", Hint: "look for it"}, scan.Problem{File: "/night/b.wav", Problem: "passed over: an empty file", Hint: "look for it"})
	var out bytes.Buffer
	e := &env{stdout: &out}
	if err := e.printProblems(problems); err != nil {
		t.Fatal(err)
	}
	want := "130 problems:\n  /night\n    64 files, 01 Channel.wav to 64 Channel.wav: RIFF size … was never filled in; the file has …\n    bytes (at byte …); data size is …; all … bytes to the end of the file are read (at byte …)\n    a.wav: passed over: an empty file\n    b.wav: passed over: an empty file\n      hint: look for it\n"
	if got := out.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, strings.TrimSpace(want))
	}
}
