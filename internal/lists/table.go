package lists

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"

	"nightreel/catalog"
	"nightreel/internal/csvfile"
)

const (
	// headingLines is the number of filled lines that are searched for headings:
	// a title, a date and an address may come first.
	headingLines = 20
	// maxColumns is far beyond any list and bounds the work that a file can
	// cause.
	maxColumns = 256
)

// role is the meaning of a column.
type role struct {
	name     string   // as in errors
	headings []string // in order of preference, in the form of catalog.Key
	required bool     // required roles come before the others
}

// headings lists the accepted headings, for hints.
func headings(roles []role) string {
	var needed, optional []string
	for _, r := range roles {
		text := r.headings[0]
		if len(r.headings) > 1 {
			text += " (or " + strings.Join(r.headings[1:], ", ") + ")"
		}
		if r.required {
			needed = append(needed, text)
		} else {
			optional = append(optional, text)
		}
	}
	hint := "headings understood: " + strings.Join(needed, "; ")
	if len(optional) > 0 {
		hint += "; optionally " + strings.Join(optional, "; ")
	}
	return hint
}

// table is a list with headings.
type table struct {
	file    string
	comma   rune
	line    int      // of the headings
	heads   []string // as written
	columns []int    // by role; -1 if the table has no such column
	rows    []row
}

type row struct {
	line  int
	cells []string
}

// blank reports whether a row is empty.
func (r row) blank() bool {
	for _, c := range r.cells {
		if c != "" {
			return false
		}
	}
	return true
}

// cell returns a row's value in the column of a role, "" if there is none.
func (t *table) cell(r row, role int) string {
	if c := t.columns[role]; c >= 0 && c < len(r.cells) {
		return r.cells[c]
	}
	return ""
}

// fail makes an error about the cell of a role.
func (t *table) fail(r row, role int, problem, remedy string) error {
	e := &Error{File: t.file, Line: r.line, Problem: problem, Remedy: remedy}
	if c := t.columns[role]; c >= 0 {
		e.Column = t.heads[c]
	}
	return e
}

// readTable finds the headings in a text and reads the rows below them.
func readTable(text, name string, roles []role) (*table, error) {
	t := findHeadings(text, name, roles)
	if t == nil {
		var quote *csv.ParseError
		for r, n := reader(text, ','), 0; n < headingLines; n++ {
			if _, err := read(r); errors.As(err, &quote) {
				return nil, csvError(name, err) // the error may have hidden the headings
			}
		}
		return nil, &Error{File: name, Problem: "there is no line with headings for " + required(roles), Remedy: headings(roles)}
	}
	for c, used := range t.columns {
		if used < 0 {
			continue
		}
		for other, h := range t.heads {
			if other != used && catalog.SameName(h, t.heads[used]) {
				return nil, &Error{File: name, Line: t.line, Column: h, Problem: fmt.Sprintf("two columns could be the %s", roles[c].name), Remedy: "keep one of them; if the list continues in columns beside it, move these lines below it"}
			}
		}
	}
	r := reader(text, t.comma)
	for {
		next, err := read(r)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, csvError(name, err)
		}
		if next.line <= t.line || next.blank() {
			continue
		}
		for _, c := range next.cells[min(len(t.heads), len(next.cells)):] {
			if c != "" {
				return nil, &Error{File: name, Line: next.line, Problem: fmt.Sprintf("%q is to the right of the last heading", c),
					Remedy: "is there a comma too many, as in 32,5? put such a field in quotation marks, or separate by semicolons"}
			}
		}
		t.rows = append(t.rows, next)
	}
	if len(t.rows) == 0 {
		return nil, &Error{File: name, Line: t.line, Problem: "there are no lines below the headings", Remedy: "was the right sheet exported?"}
	}
	return t, nil
}

// findHeadings returns a table with headings and no rows yet, nil if no line has
// headings for all required roles. It uses the delimiter that gives most
// headings.
func findHeadings(text, name string, roles []role) *table {
	var best *table
	known := 0
	for _, comma := range []rune{',', ';', '\t'} {
		r := reader(text, comma)
		for range headingLines {
			line, err := read(r)
			if err != nil {
				break // reading the rows reports the error
			}
			columns, n := assign(line.cells, roles)
			if n > known {
				best, known = &table{file: name, comma: comma, line: line.line, heads: line.cells, columns: columns}, n
			}
		}
	}
	return best
}

// assign finds a column for each role and returns their number, or 0 if a
// required one is missing. One heading may serve two roles ("channel" is a
// number beside "name", else a name), so the first assignment that satisfies all
// roles is used.
func assign(heads []string, roles []role) ([]int, int) {
	if len(heads) > maxColumns {
		return nil, 0
	}
	at := map[string]int{}
	for i := len(heads) - 1; i >= 0; i-- {
		at[catalog.Key(heads[i])] = i
	}
	columns := make([]int, len(roles))
	taken := map[int]bool{}
	known := 0
	var place func(n int) bool
	place = func(n int) bool {
		if n == len(roles) {
			return true
		}
		for _, h := range roles[n].headings {
			if c, ok := at[h]; ok && !taken[c] {
				columns[n], taken[c] = c, true
				known++
				if place(n + 1) {
					return true
				}
				taken[c] = false
				known--
			}
		}
		columns[n] = -1
		return !roles[n].required && place(n+1)
	}
	if !place(0) {
		return nil, 0
	}
	return columns, known
}

func required(roles []role) string {
	var names []string
	for _, r := range roles {
		if r.required {
			names = append(names, r.name)
		}
	}
	return strings.Join(names, " and ")
}

func reader(text string, comma rune) *csv.Reader {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = comma
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = comma != '\t' // otherwise an empty cell between tabs is lost
	return r
}

// read returns the next line with its cells tidied.
func read(r *csv.Reader) (row, error) {
	cells, err := r.Read()
	if err != nil {
		return row{}, err
	}
	line, _ := r.FieldPos(0)
	for i, c := range cells {
		cells[i] = tidy(csvfile.Fuse(c)) // what we wrote comes back as it was
	}
	return row{line, cells}, nil
}

// tidy joins the lines of a cell and drops control characters.
func tidy(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return -1
		}
		return r
	}, s))
}

func csvError(name string, err error) error {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return &Error{File: name, Problem: "could not read the list", Err: err}
	}
	return &Error{File: name, Line: p.StartLine, Problem: "there is a quotation mark inside a field, or one that is never closed", Err: p.Err,
		Remedy: `put the whole field in quotation marks and write those inside twice: "12"" cabinet"`}
}
