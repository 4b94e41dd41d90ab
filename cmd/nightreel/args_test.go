package main

import (
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
)

func TestArrange(t *testing.T) {
	app := newApp(&env{stdout: io.Discard, stderr: io.Discard})
	for _, row := range []struct{ name, in, want string }{
		{"nothing", "", ""},
		{"options first", "scan --json DIR", "scan --json -- DIR"},
		{"option after the argument", "scan DIR --json", "scan --json -- DIR"},
		{"value after the argument", "scan DIR --rig main", "scan --rig main -- DIR"},
		{"global option at the end", "shows --catalog FILE", "--catalog FILE shows"},
		{"global option in front", "--catalog=FILE shows --json", "--catalog=FILE shows --json"},
		{"between the words of a command", "session --id 3 render DIR", "session render --id 3 -- DIR"},
		{"before the command's first word", "--show 2031-05-02 takes", "takes --show 2031-05-02"},
		{"an argument that is a command's name", "scan shows", "scan -- shows"},
		{"behind two dashes", "scan -- --json", "scan -- --json"},
		{"a negative number is a value", "scan --clip-level -0.1 DIR", "scan --clip-level -0.1 -- DIR"},
		{"an unknown option stays for cli to answer", "scan --nope DIR", "scan --nope -- DIR"},
		{"an unknown command stays for cli to answer", "nope", "-- nope"},
		{"help", "scan --help", "scan --help"},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := arrange(app, strings.Fields(row.in))
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got, strings.Fields(row.want)) {
				t.Errorf("%q: got %q, want %q", row.in, got, row.want)
			}
		})
	}
	for _, in := range []string{"scan --rig", "scan --rig --json DIR", "takes --song --show 2031-05-02", "scan DIR --catalog"} {
		var usage *usageError
		if got, err := arrange(app, strings.Fields(in)); !errors.As(err, &usage) {
			t.Errorf("%q: got %q, %v, want a usage error: an option lacks its value", in, got, err)
		}
	}
}
