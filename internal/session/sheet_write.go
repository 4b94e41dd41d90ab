package session

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/csvfile"
)

//go:embed sheet.html
var sheetHTML string

// WriteSheetHTML writes the sheet as one self-contained HTML page, to be printed
// in black on A4 or Letter, or read on a phone.
func WriteSheetHTML(w io.Writer, s Sheet) error {
	page, err := template.New("sheet").Funcs(template.FuncMap{
		"length": length, "trim": trimText, "khz": func(rate int) string { return fmt.Sprintf("%g kHz", float64(rate)/1000) },
		"playback": func(s catalog.InputStatus) bool { return s == catalog.Playback },
	}).Parse(sheetHTML)
	if err != nil {
		return fmt.Errorf("sheet not written: %w", err)
	}
	if err := page.Execute(w, s); err != nil {
		return fmt.Errorf("sheet not written: %w", err)
	}
	return nil
}

// WriteSheetCSV writes the session's patch, a line for every item and desk
// input, with an empty column to tick inputs back to the stage.
func WriteSheetCSV(w io.Writer, s Sheet) error {
	c := csvfile.NewWriter(w)
	c.Write(sheetColumns)
	for _, in := range s.inputs {
		it := s.Order[in.Item]
		track, db := "", ""
		if in.Status == catalog.Playback {
			track, db = fmt.Sprint(in.Track), fmt.Sprintf("%.2f", in.TrimDB)
		}
		c.Write([]string{fmt.Sprint(it.Number), it.Song, string(it.Show), fmt.Sprint(in.DeskInput), in.Channel, fmt.Sprint(in.Output), string(in.Status), in.Rig, track, db, in.Why, ""})
	}
	c.Flush() // Write keeps its errors for Error
	if err := c.Error(); err != nil {
		return fmt.Errorf("sheet not written: %w", err)
	}
	return nil
}

var sheetColumns = []string{"item", "song", "show", "desk_input", "channel", "output", "status", "rig", "track", "trim_db", "why", "back_on_stage"}

// IsSheet reports whether data, the beginning of a file, is that of a sheet that
// was written here, as a page or as a table.
func IsSheet(data []byte) bool {
	return bytes.HasPrefix(data, []byte("<!DOCTYPE html>")) && bytes.Contains(data, []byte(`<meta name="generator" content="nightreel sheet">`)) ||
		bytes.HasPrefix(data, []byte(strings.Join(sheetColumns, ",")))
}

// length formats seconds as m:ss.
func length(seconds float64) string {
	s := int(math.Round(seconds))
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

func trimText(db float64) string {
	if db == 0 {
		return "0"
	}
	return fmt.Sprintf("%+.1f", db)
}
