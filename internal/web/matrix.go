package web

import (
	"fmt"
	"strings"

	"nightreel/catalog"
)

// matrixRow is what one desk input gets in each item of a playback session.
type matrixRow struct {
	DeskInput int
	Channel   string
	Usual     catalog.SessionInput // what it gets in most items: on playback, where it is in any
	Cells     []matrixCell
}

// matrixCell is one input in one item.
type matrixCell struct {
	catalog.SessionInput
	Words string // how it differs from the row's usual, "" where it does not
}

// Editable reports whether a person may choose where the input comes from.
func (c matrixCell) Editable() bool { return c.Status != catalog.Missing && c.Track > 0 }

// matrix lays a session out as desk inputs × items, in the order of the patch.
func matrix(ses catalog.Session) []matrixRow {
	rows, at := []matrixRow{}, map[int]int{}
	for _, in := range ses.Inputs {
		i, ok := at[in.DeskInput]
		if !ok {
			i = len(rows)
			at[in.DeskInput] = i
			rows = append(rows, matrixRow{DeskInput: in.DeskInput, Channel: in.Channel, Cells: make([]matrixCell, len(ses.Items))})
		}
		rows[i].Cells[in.Item] = matrixCell{SessionInput: in}
	}
	for i := range rows {
		row := &rows[i]
		row.Usual = usual(row.Cells)
		for k := range row.Cells {
			row.Cells[k].Words = deviation(row.Cells[k].SessionInput, row.Usual)
		}
	}
	return rows
}

// usual returns what most cells have, of those on playback where there are any;
// the first of them on a tie.
func usual(cells []matrixCell) catalog.SessionInput {
	best, most, plays := cells[0].SessionInput, 0, false
	for _, c := range cells {
		n := 0
		for _, o := range cells {
			if deviation(o.SessionInput, c.SessionInput) == "" {
				n++
			}
		}
		if p := c.Status == catalog.Playback; p && !plays || p == plays && n > most {
			best, most, plays = c.SessionInput, n, p
		}
	}
	return best
}

// deviation words how an input differs from what it usually gets; "" if it does not.
func deviation(in, usual catalog.SessionInput) string {
	switch {
	case in.Status != catalog.Playback && in.Status == usual.Status:
		return ""
	case in.Status == catalog.Missing:
		return "✕ missing"
	case in.Status != catalog.Playback:
		return string(in.Status)
	}
	words := []string{}
	if in.Rig != usual.Rig {
		words = append(words, in.Rig)
	}
	if in.Track != usual.Track || in.Rig != usual.Rig {
		words = append(words, fmt.Sprintf("track %d", in.Track))
	}
	if in.TrimDB != usual.TrimDB || usual.Status != catalog.Playback {
		text := trim(in.TrimDB)
		if len(words) > 0 {
			text = "trim " + text
		}
		words = append(words, text)
	}
	return strings.Join(words, ", ")
}

// trim writes a trim: "0", "+2", "−3.5".
func trim(db float64) string {
	if db == 0 {
		return "0"
	}
	return strings.Replace(fmt.Sprintf("%+g", db), "-", "−", 1)
}
