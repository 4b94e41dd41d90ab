package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
)

// output is where a command prints. Names come from files, folders and people, and may
// hold anything; a terminal acts upon control characters and reorders text by
// bidirectional controls. So output shows a sign in their place, and passes on all other text.
type output struct {
	mu   sync.Mutex
	to   io.Writer
	rest []byte // the beginning of a character that the next Write ends

	width int // of lines; 0: not bound
}

// Write passes text on. It keeps line feeds and tabs: those are the program's own, see [inline].
func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	text := p
	if len(o.rest) > 0 {
		text = append(o.rest, p...)
	}
	whole := len(text)
	for back := 1; back < utf8.UTFMax && back <= len(text); back++ {
		if start := len(text) - back; utf8.RuneStart(text[start]) {
			if !utf8.FullRune(text[start:]) {
				whole = start
			}
			break
		}
	}
	if _, err := o.to.Write(harmless(text[:whole])); err != nil {
		return 0, err
	}
	o.rest = bytes.Clone(text[whole:])
	return len(p), nil
}

// flush writes what is left of a character that was never ended.
func (o *output) flush() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.to.Write(harmless(o.rest))
	o.rest = nil
}

// harmless returns a text with a sign for each character that a terminal would act
// upon, but for line feeds and tabs.
func harmless(text []byte) []byte {
	if !bytes.ContainsFunc(text, func(r rune) bool { return r != '\n' && r != '\t' && shown(r) != r }) && utf8.Valid(text) {
		return text
	}
	return bytes.Map(func(r rune) rune { // which reads a byte that is no UTF-8 as U+FFFD
		if r == '\n' || r == '\t' {
			return r
		}
		return shown(r)
	}, text)
}

// acts holds for a character that a terminal acts upon: control characters, those
// that change the direction of the text around them, and those that end a line.
func acts(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029'
}

// shown returns the sign for a character that a terminal acts upon, else the character.
func shown(r rune) rune {
	switch {
	case !acts(r):
		return r
	case r < ' ':
		return '\u2400' + r // the pictures of control characters, in the same order
	case r == 0x7f:
		return '\u2421'
	}
	return utf8.RuneError
}

// inline returns a name as it stands within a line: with signs for line feeds and tabs too.
func inline(name string) string {
	if strings.IndexFunc(name, acts) < 0 {
		return name
	}
	return strings.Map(shown, name)
}

// inLine passes the arguments of a format through [inline], whatever type their text has.
func inLine(args []any) []any {
	out := make([]any, len(args))
	for i, arg := range args {
		switch a := arg.(type) {
		case error:
			out[i] = inline(a.Error())
		case fmt.Stringer:
			out[i] = inline(a.String())
		default:
			out[i] = arg
			if v := reflect.ValueOf(arg); v.Kind() == reflect.String {
				out[i] = inline(v.String())
			}
		}
	}
	return out
}

// printf prints to standard output; a name among the arguments never ends a line.
func (e *env) printf(format string, args ...any) error {
	_, err := fmt.Fprintf(e.stdout, format, inLine(args)...)
	return err
}

// print prints a text that the program composed, line feeds included.
func (e *env) print(text string) error {
	_, err := io.WriteString(e.stdout, text)
	return err
}

// println prints a text and ends the line.
func (e *env) println(text string) error { return e.print(text + "\n") }

// say prints a sentence to standard error.
func (e *env) say(format string, args ...any) {
	fmt.Fprintf(e.stderr, format+"\n", inLine(args)...)
}

// warn prints a warning to standard error.
func (e *env) warn(format string, args ...any) { e.say("warning: "+format, args...) }

// tell prints on standard error what else happened.
func (e *env) tell(sentences []string) {
	for _, s := range sentences {
		e.say("%s", s)
	}
}

// printJSON prints one document.
func (e *env) printJSON(v any) error { return e.encode(v, "  ") }

// printJSONLine prints one document of many on a line of its own.
func (e *env) printJSONLine(v any) error { return e.encode(v, "") }

// encode prints a document. Within its strings, characters that a terminal acts upon
// are escaped: the document says the same, and a terminal shows it.
func (e *env) encode(v any, indent string) error {
	var doc bytes.Buffer
	enc := json.NewEncoder(&doc)
	enc.SetIndent("", indent)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	text := doc.Bytes()
	if bytes.ContainsFunc(text, func(r rune) bool { return r != '\n' && acts(r) }) {
		var escaped bytes.Buffer
		for _, r := range string(text) {
			if r != '\n' && acts(r) { // all of them are below U+10000
				fmt.Fprintf(&escaped, `\u%04x`, r)
			} else {
				escaped.WriteRune(r)
			}
		}
		text = escaped.Bytes()
	}
	_, err := e.stdout.Write(text)
	return err
}

// Widths of lines, in columns.
const (
	leastWidth = 40  // a narrower terminal wraps
	textWidth  = 100 // of sentences at most: what a person reads in one look
)

// lineWidth returns how wide lines to w may be: the terminal's width, else that in the
// environment variable COLUMNS; 0 if neither says it, which is no bound for tables.
func lineWidth(w io.Writer) int {
	width := columns(w)
	if width == 0 {
		width, _ = strconv.Atoi(os.Getenv("COLUMNS")) // 0 for what is no number
	}
	if width <= 0 {
		return 0
	}
	return max(width, leastWidth)
}

// columns returns how wide the terminal behind w is, 0 where there is none.
func columns(w io.Writer) int {
	if f, ok := w.(*os.File); ok {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			return width
		}
	}
	return 0
}

// textWidth returns how wide sentences are printed here.
func (e *env) textWidth() int {
	if e.width > 0 {
		return min(e.width, textWidth)
	}
	return textWidth
}

// pathWidth returns how wide a line with nothing but a path may be.
func (e *env) pathWidth() int {
	if e.width > 0 {
		return e.width
	}
	return cellMost
}

// sentence prints a sentence, wrapped, each of its lines behind the indent.
func (e *env) sentence(indent, format string, args ...any) error {
	return e.println(wrapped(fmt.Sprintf(format, args...), indent, e.textWidth()))
}

// item prints a sentence as wrapped does, with a mark of the indent's width before its first line.
func (e *env) item(mark, format string, args ...any) error {
	indent := strings.Repeat(" ", displayWidth(mark))
	return e.println(mark + strings.TrimPrefix(wrapped(fmt.Sprintf(format, args...), indent, e.textWidth()), indent))
}

// wrapped breaks a text into lines of at most width columns, each behind the
// indent. A word that is wider than a line is broken.
func wrapped(text, indent string, width int) string {
	var b strings.Builder
	column := 0
	room := max(1, width-displayWidth(indent))
	for _, word := range strings.Fields(text) {
		word = inline(word)
		for n := displayWidth(word); ; {
			switch {
			case column == 0:
				b.WriteString(indent)
			case column+1+n > room:
				b.WriteString("\n" + indent)
				column = 0
			default:
				b.WriteByte(' ')
				column++
			}
			if n <= room {
				b.WriteString(word)
				column += n
				break
			}
			head := front(word, room)
			b.WriteString(head)
			column, word = room, word[len(head):]
			n = displayWidth(word)
		}
	}
	return b.String()
}
