package main

import (
	"bytes"
	"io"
	"regexp"
	"strings"

	"github.com/urfave/cli/v2"
)

func init() { cli.HelpPrinter = printHelp } // cli has one for the whole program

// printHelp prints a help text of cli's, without defaults that say nothing, and with its
// lines wrapped to the terminal.
func printHelp(w io.Writer, template string, data any) {
	var text bytes.Buffer
	cli.HelpPrinterCustom(&text, template, data, nil)
	width := textWidth
	if out, ok := w.(*output); ok && out.width > 0 {
		width = min(out.width, textWidth)
	}
	help := strings.NewReplacer(" (default: false)", "", " (default: 0)", "").Replace(text.String())
	for l := range strings.Lines(help) {
		io.WriteString(w, wrapHelp(strings.TrimRight(l, " \n"), width)+"\n")
	}
}

// helpColumn matches what stands before a line's text: its indent, and the option or the
// command in front of the gap.
var helpColumn = regexp.MustCompile(`^ *(\S.*?  +)?`)

// wrapHelp wraps a line, each line that follows below the first one's text.
func wrapHelp(text string, width int) string {
	if displayWidth(text) <= width {
		return text
	}
	before := helpColumn.FindString(text)
	if len(before) > width/2 {
		before = before[:len(before)-len(strings.TrimLeft(before, " "))]
	}
	indent := strings.Repeat(" ", displayWidth(before))
	return before + strings.TrimPrefix(wrapped(text[len(before):], indent, width), indent)
}
