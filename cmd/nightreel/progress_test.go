package main

import "testing"

// A progress line that wraps is not drawn over.
func TestCut(t *testing.T) {
	for _, c := range []struct {
		line  string
		width int
		want  string
	}{
		{"59.3 MB of 81.4 MB, 236.1 MB/s", 30, "59.3 MB of 81.4 MB, 236.1 MB/s"},
		{"59.3 MB of 81.4 MB, 236.1 MB/s", 29, "59.3 MB of 81.4 MB, 236.1 MB…"},
		{"Übergang, Häuser, Müller und Söhne", 24, "Übergang, Häuser, Mülle…"},
		{"A song with a very long title (12)", 24, "A song with a very… (12)"},
		{"59.3 MB of 81.4 MB, 236.1 MB/s", -1, "59.3 MB of 81.4 MB, 236.1 MB/s"},
	} {
		if got := progressLine(c.line, c.width); got != c.want {
			t.Errorf("%d: %q, want %q", c.width, got, c.want)
		}
	}
}
