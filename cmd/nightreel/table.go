package main

import (
	"regexp"
	"slices"
	"strings"

	"github.com/rivo/uniseg"
)

// table collects rows and prints them in aligned columns. No line is wider than the
// terminal: names are cut to a readable width, then the columns in same and drop are left
// out, first one first, then names are cut further. A table of nights, whose columns are all
// alike, goes on in another block below instead: see fixed. If no width is known,
// all columns are shown.
type table struct {
	head  []column
	rows  [][]string
	same  []string // heads of the columns that are left out first, if all rows have the same in them
	drop  []string // heads of the columns that a narrow terminal can do without
	fixed int      // how many columns stand before those that go on below; 0: none go on
}

type column struct {
	head  string
	right bool // aligned to the right: numbers, which are never cut
	path  bool // cut at its beginning: the end of a path tells files apart
	wraps bool // goes on in lines below instead of being cut: sentences and lists
}

const (
	cellMost     = 200 // no cell is wider, on no terminal
	cellReadable = 16  // names are cut to it before columns are left out
	cellLeast    = 6
	gap          = 2 // between columns
)

// newTable makes a table of columns with these heads. Before a head, '>' aligns the
// column to the right, '/' says that it holds paths, and '~' that its cells wrap.
func newTable(heads ...string) *table {
	t := &table{}
	for _, h := range heads {
		c := column{head: h}
		c.head, c.right = strings.CutPrefix(c.head, ">")
		c.head, c.path = strings.CutPrefix(c.head, "/")
		c.head, c.wraps = strings.CutPrefix(c.head, "~")
		t.head = append(t.head, c)
	}
	return t
}

func (t *table) row(cells ...string) {
	for i := range cells {
		cells[i] = inline(cells[i])
	}
	t.rows = append(t.rows, cells)
}

// printTable prints a table; nothing where it has no rows. On standard error it names
// the columns that were left out.
func (e *env) printTable(t *table) error {
	if len(t.rows) == 0 {
		return nil
	}
	blocks, left := t.fit(e.width)
	for i, b := range blocks {
		if i > 0 {
			e.println("")
		}
		if err := e.print(t.text(b, e.width)); err != nil {
			return err
		}
	}
	if len(left) > 0 {
		e.say("left out at this width: %s; a wider window or --json shows them", strings.Join(left, ", "))
	}
	return nil
}

// block is what stands side by side.
type block struct {
	columns []int
	widths  []int // of each of columns
}

func (b block) width() int {
	sum := gap * (len(b.columns) - 1)
	for _, w := range b.widths {
		sum += w
	}
	return sum
}

// natural returns the columns as wide as their cells.
func (t *table) natural(columns []int) block {
	b := block{columns: columns}
	for _, c := range columns {
		w := displayWidth(t.head[c].head)
		for _, r := range t.rows {
			if c < len(r) {
				w = max(w, displayWidth(r[c]))
			}
		}
		b.widths = append(b.widths, min(w, cellMost))
	}
	return b
}

// narrow takes width from the widest names, down to a least width, until the block
// fits, and returns whether it does.
func (t *table) narrow(b block, width, least int) bool {
	for b.width() > width {
		widest := -1
		for i, c := range b.columns {
			floor := max(least, min(displayWidth(t.head[c].head), cellReadable))
			if t.head[c].wraps {
				floor = max(floor, least*2)
			}
			if !t.head[c].right && b.widths[i] > floor && (widest < 0 || b.widths[i] > b.widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			return false
		}
		b.widths[widest]--
	}
	return true
}

// fit returns the blocks in which the table fits a width, and the heads of the columns
// that it leaves out.
func (t *table) fit(width int) (blocks []block, left []string) {
	columns := []int{}
	for c := range t.head {
		columns = append(columns, c)
	}
	b := t.natural(columns)
	if width == 0 || b.width() <= width {
		return []block{b}, nil
	}
	if t.fixed > 0 {
		return t.goOn(width), nil
	}
	if t.narrow(b, width, cellReadable) {
		return []block{b}, nil
	}
	for _, head := range slices.Concat(t.same, t.drop) {
		i := slices.IndexFunc(columns, func(c int) bool { return t.head[c].head == head })
		if i < 0 {
			continue
		}
		what := head
		if slices.Contains(t.same, head) {
			value, same := t.value(columns[i])
			if !same {
				continue
			}
			what += " (" + cut(value, cellReadable) + ")"
		}
		columns, left = slices.Concat(columns[:i], columns[i+1:]), append(left, what)
		if b = t.natural(columns); t.narrow(b, width, cellReadable) {
			return []block{b}, left
		}
	}
	t.narrow(b, width, cellLeast) // what is wider still is cut line by line
	return []block{b}, left
}

// value returns what stands in a column, if it is the same in all rows.
func (t *table) value(column int) (value string, same bool) {
	for i, r := range t.rows {
		cell := ""
		if column < len(r) {
			cell = r[column]
		}
		if i > 0 && cell != value {
			return "", false
		}
		value = cell
	}
	return value, true
}

// goOn returns blocks that each begin with the fixed columns.
func (t *table) goOn(width int) []block {
	var blocks []block
	for next := t.fixed; next < len(t.head); {
		columns := []int{}
		for c := range t.fixed {
			columns = append(columns, c)
		}
		b := t.natural(columns)
		t.narrow(b, width/2, cellReadable)
		for first := next; next < len(t.head); next++ {
			more := t.natural([]int{next})
			if b.width()+gap+more.widths[0] > width && next > first {
				break
			}
			b.columns, b.widths = append(b.columns, next), append(b.widths, more.widths[0])
		}
		blocks = append(blocks, b)
	}
	return blocks
}

// text writes a block's lines.
func (t *table) text(b block, width int) string {
	var out strings.Builder
	head := make([]string, len(t.head))
	for i, c := range t.head {
		head[i] = c.head
	}
	for _, r := range append([][]string{head}, t.rows...) {
		cells := make([][]string, len(b.columns)) // of each column its lines
		lines := 1
		for i, c := range b.columns {
			if c < len(r) {
				cells[i] = t.head[c].lines(r[c], b.widths[i])
				lines = max(lines, len(cells[i]))
			}
		}
		for n := range lines {
			row := t.line(b, cells, n)
			if width > 0 {
				row = cut(row, width)
			}
			out.WriteString(row + "\n")
		}
	}
	return out.String()
}

// lines returns a cell as it stands in a column of a width.
func (c column) lines(cell string, width int) []string {
	switch {
	case c.path:
		return []string{cutFront(cell, width)}
	case c.wraps:
		return strings.Split(wrapped(cell, "", width), "\n")
	}
	return []string{cut(cell, width)}
}

// line writes the nth line of a row.
func (t *table) line(b block, cells [][]string, n int) string {
	var text strings.Builder
	for i, c := range b.columns {
		cell := ""
		if n < len(cells[i]) {
			cell = cells[i][n]
		}
		if i > 0 {
			text.WriteString(strings.Repeat(" ", gap))
		}
		pad := strings.Repeat(" ", max(0, b.widths[i]-displayWidth(cell)))
		if t.head[c].right {
			text.WriteString(pad + cell)
		} else {
			text.WriteString(cell + pad)
		}
	}
	return strings.TrimRight(text.String(), " ")
}

// displayWidth returns how many columns of a terminal a text takes: a letter with its
// accents is one, and letters of East Asian scripts are two wide.
func displayWidth(s string) int {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return uniseg.StringWidth(s)
		}
	}
	return len(s)
}

// front returns as much of a text as a width shows, at least one letter of what is there.
func front(s string, width int) string {
	n, used := 0, 0
	for rest, state := s, -1; rest != ""; {
		var letter string
		var w int
		letter, rest, w, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if used+w > width && n > 0 {
			break
		}
		n, used = n+len(letter), used+w
	}
	return s[:n]
}

// nthOf matches what tells two takes of one song apart, as titled writes it.
var nthOf = regexp.MustCompile(` \([0-9]+\)$`)

// cut shortens a text that is wider than a width, with an ellipsis at its end, or before
// the number of a take.
func cut(s string, width int) string {
	if displayWidth(s) <= width {
		return s
	}
	if width < 2 {
		return strings.Repeat("…", max(0, width))
	}
	end := nthOf.FindString(s)
	if len(end) > width/2 {
		end = ""
	}
	return strings.TrimRight(front(s, width-1-len(end)), " ") + "…" + end
}

// cutFront shortens a text that is wider than a width, with an ellipsis at its beginning.
func cutFront(s string, width int) string {
	if displayWidth(s) <= width {
		return s
	}
	left := displayWidth(s)
	for rest, state := s, -1; rest != ""; {
		var w int
		_, rest, w, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if left -= w; left <= width-1 {
			return "…" + rest
		}
	}
	return "…"
}
