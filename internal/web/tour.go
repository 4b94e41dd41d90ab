package web

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"nightreel/internal/tourgrid"
	"nightreel/internal/verdict"
)

type tourView struct {
	tourgrid.Grid
	Open  int // findings
	Takes int
	Rows  []byte // markup: the songs
}

// Latest returns the nights, the last one first.
func (v tourView) Latest() []tourgrid.Night {
	nights := slices.Clone(v.Nights)
	slices.Reverse(nights)
	return nights
}

// Legend explains each sign of the page once.
func (v tourView) Legend() []sign {
	return []sign{{"clean", "✓", "clean, whole"}, {"fault", "✕", "fault, not whole"}, {"warning", "▲", "warning"}, {"note", "•", "note"}, {"as_night", "″", "only what lasts all night"},
		{"not_found", "?", "on the set list, not found"}, {"unread", "…", "not read"}, {"unread", "○", "not judged"}, {"working", "↻", "being worked out"}}
}

// sign is a shape with its colour's class and its meaning.
type sign struct{ Class, Sign, Words string }

// AllKnown reports whether every night is wholly read and judged.
func (v tourView) AllKnown() bool {
	return !slices.ContainsFunc(v.Nights, func(n tourgrid.Night) bool { return !n.Known() })
}

// LastColumn is the index of the last night.
func (v tourView) LastColumn() int { return len(v.Nights) - 1 }

// severities words counts of findings: "1 fault, 2 warnings"; "" for none.
func severities(c tourgrid.Counts) string {
	all := []string{}
	for _, n := range []struct {
		n    int
		word string
	}{{c.Faults, "fault"}, {c.Warnings, "warning"}, {c.Notes, "note"}} {
		if n.n > 0 {
			all = append(all, count(n.n, n.word))
		}
	}
	return strings.Join(all, ", ")
}

// stateOf is the class of a verdict's state.
func stateOf(v verdict.Verdict) string {
	switch {
	case v.Answer == verdict.Whole:
		return "clean"
	case v.Answer == verdict.NotWhole:
		return "fault"
	case v.Working:
		return "working"
	}
	return "unread"
}

func (s *Server) tourPage(w http.ResponseWriter, r *http.Request) error {
	grid, err := tourgrid.Load(r.Context(), s.store, s.jobs.working())
	if err != nil {
		return err
	}
	v := tourView{Grid: grid}
	for _, n := range grid.Nights {
		v.Open, v.Takes = v.Open+n.Findings, v.Takes+n.Takes
	}
	v.Rows = tourRows(grid)
	return s.render(w, r, http.StatusOK, "tour.html", "Tour", v)
}

// tourRows returns the rows of songs, one cell a night. It writes the markup
// directly because a long tour has thousands of cells.
func tourRows(g tourgrid.Grid) []byte {
	var b bytes.Buffer
	for _, song := range g.Songs {
		fmt.Fprintf(&b, `<tr><th scope="row" class="song"><a href="/song/%d" title="%[2]s">%[2]s</a></th>`, song.ID, escape(song.Title))
		for i, c := range song.Cells {
			night := escape(nightPath(g.Nights[i].Key))
			switch c.State {
			case tourgrid.None:
				b.WriteString("<td></td>")
				continue
			case tourgrid.NotFound:
				fmt.Fprintf(&b, `<td class="not_found"><a href="%s"><span class="state not_found">?</span><span class="hidden"> on the set list, not found</span></a></td>`, night)
				continue
			}
			fmt.Fprintf(&b, `<td><a href="%s#take-%d">%s`, night, c.Take, minutes(c.LengthS))
			if c.Takes > 1 {
				fmt.Fprintf(&b, `<span class="times"> ×%d</span>`, c.Takes)
			}
			b.WriteString(" ")
			switch n := g.Nights[i]; {
			case c.State == tourgrid.Found:
				worst := c.Open.Worst()
				fmt.Fprintf(&b, `<span class="state %s">%s<span class="hidden"> %s</span></span>`, worst, marks[worst], severities(c.Open))
			case !n.Known(): // a list of findings that is empty says nothing
				fmt.Fprintf(&b, `<span class="state %s">%s<span class="hidden"> %s</span></span>`, stateOf(n.Verdict), n.Sign(), escape(n.Text()))
			case c.State == tourgrid.AsNight:
				fmt.Fprintf(&b, `<span class="state as_night">″<span class="hidden"> all night: %s</span></span>`, severities(c.AllNight))
			default:
				b.WriteString(`<span class="state clean">✓<span class="hidden"> clean</span></span>`)
			}
			b.WriteString("</a></td>")
		}
		b.WriteString("</tr>\n")
	}
	return b.Bytes()
}
