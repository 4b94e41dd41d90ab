package lists

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"nightreel/catalog"
)

// ReadSetList reads a set list: plain text with one title a line, or CSV with
// headings. Entries are in the list's order. name is used in errors, which are
// *Error. Files named .csv or .tsv need headings; any other file counts as CSV
// if it has headings for a title and a time.
//
// In plain text, blank lines, lines that begin with # and separators such as "—
// encore —" are skipped. Numbering ("1.", "01 -"), bullets, and everything after
// a tab are removed.
//
// In CSV the heading gives the meaning of a time:
//
//   - "start" and "end" count from the recording's first sample, in the
//     format of [ParseTime]
//   - "time" or "clock" is the time of day, h:mm or h:mm:ss, and then "end"
//     is one too; a list may pass midnight
//   - "length" is mm:ss or h:mm:ss and gives an end if there is a start
//
// If the first "start" is in the form h:mm:ss and later than six hours, the
// column holds times of day, because no recorder runs that long before the first
// song. Times without hours that look like times of day (20:31, 20:36 …) are an
// error, since they may be minutes and seconds.
func ReadSetList(r io.Reader, name string) ([]catalog.SetListEntry, error) {
	return ReadSetListWithin(r, name, math.Inf(1))
}

// ReadSetListWithin reads a set list of a show whose reference recording lasts lengthS
// seconds. A start or an end, counted from the recording's first sample, that lies more
// than a second behind its end is *Error.
func ReadSetListWithin(r io.Reader, name string, lengthS float64) ([]catalog.SetListEntry, error) {
	text, err := readText(r, name)
	if err != nil {
		return nil, err
	}
	var entries []catalog.SetListEntry
	if isTable(text, name) {
		entries, err = tableEntries(text, name, lengthS)
	} else {
		entries = plainEntries(text)
	}
	if err != nil {
		return nil, err
	}
	if len(entries) == 0 {
		return nil, &Error{File: name, Problem: "there is no title in the set list", Remedy: "write one title a line"}
	}
	for i := range entries {
		entries[i].Position = i + 1
	}
	return entries, nil
}

const (
	setTitle = iota
	setStart
	setClock
	setEnd
	setLength
)

func setRoles() []role {
	return []role{
		setTitle:  {"title", []string{"title", "song", "songtitle", "songname", "name"}, true},
		setStart:  {"start", []string{"start", "begin", "from", "starttime", "position"}, false},
		setClock:  {"time of day", []string{"time", "clock", "timeofday", "clocktime", "clockstart"}, false},
		setEnd:    {"end", []string{"end", "to", "stop", "endtime", "clockend"}, false},
		setLength: {"length", []string{"length", "duration", "len"}, false},
	}
}

func isTable(text, name string) bool {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv", ".tsv":
		return true
	}
	t := findHeadings(text, name, setRoles())
	return t != nil && (t.columns[setStart] >= 0 || t.columns[setClock] >= 0 || t.columns[setLength] >= 0)
}

func tableEntries(text, name string, lengthS float64) ([]catalog.SetListEntry, error) {
	t, err := readTable(text, name, setRoles())
	if err != nil {
		return nil, err
	}
	if t.columns[setStart] >= 0 && t.columns[setClock] >= 0 {
		return nil, &Error{File: name, Line: t.line, Column: t.heads[t.columns[setClock]], Problem: fmt.Sprintf("two columns say when a song starts, the other is %q", t.heads[t.columns[setStart]]), Remedy: "keep one of them"}
	}
	order := order{t: t, role: setStart, lengthS: lengthS}
	if t.columns[setClock] >= 0 {
		order.role = setClock
	}
	if order.late() {
		t.columns[setClock], order.role = t.columns[setStart], setClock
	}
	entries := []catalog.SetListEntry{}
	for _, row := range t.rows {
		title := t.cell(row, setTitle)
		if separator(title) {
			continue
		}
		if title == "" {
			return nil, t.fail(row, setTitle, "the title is missing", "enter the song's title, or delete the line")
		}
		e := catalog.SetListEntry{Song: title}
		if e.StartS, err = order.start(row); err != nil {
			return nil, err
		}
		if e.EndS, err = order.end(row, e.StartS); err != nil {
			return nil, err
		}
		e.Clock = order.role == setClock && (e.StartS != nil || e.EndS != nil)
		entries = append(entries, e)
	}
	return entries, order.doubt(entries)
}

// order reads the times of a table and checks that they rise.
type order struct {
	t        *table
	role     int      // setStart or setClock
	last     *float64 // the previous start, seconds
	lastLine int
	long     bool // a start was not in the form mm:ss
	lengthS  float64
}

// late reports whether the first start is so late, and written with hours, that
// it can only be the time of day.
func (o *order) late() bool {
	if o.role != setStart {
		return false
	}
	for _, row := range o.t.rows {
		if text := o.t.cell(row, setStart); text != "" {
			s, err := ParseTime(text)
			return err == nil && s >= lateStart && strings.Count(text, ":") == 2
		}
	}
	return false
}

// day is a day in seconds.
const day = 24 * 3600

func (o *order) start(r row) (*float64, error) {
	text := o.t.cell(r, o.role)
	if text == "" {
		return nil, nil
	}
	s, err := o.time(r, o.role, text)
	if err != nil {
		return nil, err
	}
	if o.last != nil {
		// Half a day back means that midnight has passed; less is an error.
		for o.role == setClock && s < *o.last-day/2 {
			s += day
		}
		if s <= *o.last {
			return nil, o.t.fail(r, o.role, fmt.Sprintf("%q is not after the start in line %d", text, o.lastLine), "put the songs in the order in which they were played, or correct one of the two")
		}
	}
	o.last, o.lastLine = &s, r.line
	if strings.Count(text, ":") != 1 {
		o.long = true
	}
	return &s, nil
}

func (o *order) end(r row, start *float64) (*float64, error) {
	if text := o.t.cell(r, setEnd); text != "" {
		s, err := o.time(r, setEnd, text)
		if err != nil {
			return nil, err
		}
		if start != nil {
			for o.role == setClock && s < *start-day/2 {
				s += day
			}
			if s <= *start {
				return nil, o.t.fail(r, setEnd, fmt.Sprintf("%q is not after the song's start", text), "correct one of the two, or leave the end empty")
			}
		}
		return &s, nil
	}
	text := o.t.cell(r, setLength)
	if text == "" || start == nil {
		return nil, nil // a length alone gives no position
	}
	length, err := ParseTime(text)
	if err != nil || length == 0 {
		return nil, o.t.fail(r, setLength, fmt.Sprintf("%q is not a length", text), "write mm:ss or h:mm:ss, or leave it empty")
	}
	s := *start + length
	return &s, nil
}

func (o *order) time(r row, role int, text string) (float64, error) {
	if o.role == setClock {
		s, ok := ParseClock(text)
		if !ok {
			return 0, o.t.fail(r, role, fmt.Sprintf("%q is not a time of day", text), "write h:mm or h:mm:ss, such as 21:05; put times from the recording's first sample under start")
		}
		return s, nil
	}
	s, err := ParseTime(text)
	if err != nil {
		return 0, o.t.fail(r, role, fmt.Sprintf("%q is not a time from the recording's start", text), "write mm:ss or h:mm:ss, such as 4:05 or 1:02:03.4; put times of day under time")
	}
	if s > o.lengthS+1 {
		return 0, o.t.fail(r, role, fmt.Sprintf("%q lies behind the end of the recording, which lasts %s", text, catalog.Clock(o.lengthS)), "correct the time, or scan the rest of the recording first; times of day stand under time")
	}
	return s, nil
}

const (
	// lateStart, in seconds: no recorder runs that long before the first song of
	// a night (common practice, no source).
	lateStart = 6 * 3600
	// morning, in hours of the day read as minutes: no show begins before ten,
	// so 4:05 is minutes and seconds (common practice, no source).
	morning = 10 * 60
	// shortStep, in seconds: songs do not all follow each other so fast, but
	// minutes of the day read as seconds do (common practice, no source).
	shortStep = 30
)

// doubt refuses starts that can only be times of day under the wrong heading.
func (o *order) doubt(entries []catalog.SetListEntry) error {
	if o.role != setStart {
		return nil
	}
	var starts []float64
	for _, e := range entries {
		if e.StartS != nil {
			starts = append(starts, *e.StartS)
		}
	}
	if len(starts) == 0 {
		return nil
	}
	doubtful := starts[0] >= lateStart
	if !o.long && starts[0] >= morning && len(starts) >= 3 {
		longest := 0.0
		for i := 1; i < len(starts); i++ {
			longest = max(longest, starts[i]-starts[i-1])
		}
		doubtful = doubtful || longest <= shortStep
	}
	if !doubtful {
		return nil
	}
	return &Error{File: o.t.file, Line: o.t.line, Column: o.t.heads[o.t.columns[setStart]], Problem: "these look like times of day, not times from the recording's first sample",
		Remedy: `call the column "time" when they are times of day; else write the starts as h:mm:ss from the recording's first sample`}
}

var (
	// A number followed by a sign, then the title: "1.", "01 -", "1)", "3:", but
	// not "7-11" or "3.14".
	numbered = regexp.MustCompile(`^\d{1,3}(?:\s*[.):\-–—](?:\s+(.*))?|[.)](\D.*)|\s*\t\s*(.*))$`)
	// A number and a space, which may be part of the title.
	spaced = regexp.MustCompile(`^(\d{1,3})\s+(\S.*)$`)
	bullet = regexp.MustCompile(`^[-–—*•·]\s+`)
	// Lines between songs: a word alone, or anything between dashes.
	betweenWord  = regexp.MustCompile(`^(?i:encores?(?:\s*\d)?|main set|set\s*\d)\s*:?$`)
	betweenLines = regexp.MustCompile(`^(?:[-–—].*[-–—]|[=_~*]{2,}.*[=_~*]{2,}|[-–—=_~*.·\s]+)$`)
)

// separator reports whether a line separates songs and is no title.
func separator(line string) bool {
	return betweenWord.MatchString(line) || betweenLines.MatchString(line) && line != ""
}

func plainEntries(text string) []catalog.SetListEntry {
	var lines []string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") || separator(line) {
			continue
		}
		lines = append(lines, line)
	}
	counted := countsUp(lines)
	entries := []catalog.SetListEntry{}
	for _, line := range lines {
		line = bullet.ReplaceAllString(line, "")
		if m := numbered.FindStringSubmatch(line); m != nil {
			line = m[1] + m[2] + m[3] // only one of them is not empty
		} else if m := spaced.FindStringSubmatch(line); m != nil && counted {
			line = m[2]
		}
		title, _, _ := strings.Cut(strings.TrimSpace(line), "\t")
		if title = tidy(title); title != "" && !separator(title) {
			entries = append(entries, catalog.SetListEntry{Song: title})
		}
	}
	return entries
}

// countsUp reports whether the lines begin with 1, 2, 3 … and a space: only then
// a number without a sign after it is numbering and not part of a title.
func countsUp(lines []string) bool {
	for i, line := range lines {
		m := spaced.FindStringSubmatch(line)
		if m == nil {
			return false
		}
		if n, err := strconv.Atoi(m[1]); err != nil || n != i+1 {
			return false
		}
	}
	return len(lines) > 1
}
