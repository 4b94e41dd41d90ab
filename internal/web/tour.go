package web

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"

	"nightreel/internal/overview"
	"nightreel/internal/verdict"
)

type tourView struct {
	overview.Glance
	Open  int // findings
	Takes int
	Rows  []byte // markup: the songs
}

// Latest returns the nights, the last one first.
func (v tourView) Latest() []overview.Night {
	nights := slices.Clone(v.Nights)
	slices.Reverse(nights)
	return nights
}

// LastColumn is the index of the last night.
func (v tourView) LastColumn() int { return len(v.Nights) - 1 }

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
	glance, err := overview.Tour(r.Context(), s.store, s.jobs.working())
	if err != nil {
		return err
	}
	v := tourView{Glance: glance}
	for _, n := range glance.Nights {
		v.Open, v.Takes = v.Open+n.Findings, v.Takes+n.Takes
	}
	v.Rows = tourRows(glance)
	return s.render(w, r, http.StatusOK, "tour.html", "Tour", v)
}

// tourRows returns the rows of songs, one cell a night. It writes the markup
// directly because a long tour has thousands of cells.
func tourRows(g overview.Glance) []byte {
	var b bytes.Buffer
	for _, song := range g.Songs {
		fmt.Fprintf(&b, `<tr><th scope="row" class="song"><a href="/song/%d">%s</a></th>`, song.ID, escape(song.Title))
		for i, c := range song.Cells {
			night := escape(nightPath(g.Nights[i].Key))
			switch c.State {
			case overview.None:
				b.WriteString("<td></td>")
				continue
			case overview.NotFound:
				fmt.Fprintf(&b, `<td class="not_found"><a href="%s"><span class="state not_found">?</span><span class="hidden"> on the set list, not found</span></a></td>`, night)
				continue
			}
			fmt.Fprintf(&b, `<td><a href="%s#take-%d">%s`, night, c.Take, minutes(c.LengthS))
			if c.Takes > 1 {
				fmt.Fprintf(&b, `<span class="times"> ×%d</span>`, c.Takes)
			}
			if c.State == overview.Found {
				fmt.Fprintf(&b, ` <span class="state reported">▲<span class="hidden"> %s</span></span></a></td>`, count(c.Findings, "finding"))
			} else {
				b.WriteString(` <span class="state clean">✓<span class="hidden"> clean</span></span></a></td>`)
			}
		}
		b.WriteString("</tr>\n")
	}
	return b.Bytes()
}
