package session

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"regexp"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/csvfile"
)

//go:embed sheet.html
var sheetHTML string

// WriteSheetHTML writes the sheet as one HTML page that needs nothing else: to
// be printed in black on A4 or Letter, or read on a phone.
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

const sheetColumns = "item,song,show,desk_input,channel,output,status,rig,track,trim_db,why,back_on_stage"

// sheetTitle matches the title of a page that [WriteSheetHTML] wrote.
var sheetTitle = regexp.MustCompile(`<title>Session \d+, desk [^<]*</title>`)

// IsSheet reports whether a file that begins like this is a sheet that this package wrote.
// The first kilobyte is enough.
func IsSheet(head []byte) bool {
	return bytes.HasPrefix(head, []byte(sheetColumns)) || sheetTitle.Match(head)
}

// WriteSheetCSV writes the session's patch, a line for every item and desk
// input, with an empty column to tick inputs back to the stage.
func WriteSheetCSV(w io.Writer, s Sheet) error {
	c := csvfile.NewWriter(w)
	c.Write(strings.Split(sheetColumns, ","))
	for _, in := range s.inputs {
		it := s.Order[in.Item]
		track, db := "", ""
		if in.Status == catalog.Playback {
			track, db = fmt.Sprint(in.Track), fmt.Sprintf("%.2f", in.TrimDB)
		}
		c.Write([]string{fmt.Sprint(it.Number), it.Song, string(it.Show), fmt.Sprint(in.DeskInput), in.Channel, fmt.Sprint(in.Output), string(in.Status), in.Rig, track, db, in.Why, ""})
	}
	c.Flush() // errors of Write are kept for Error
	if err := c.Error(); err != nil {
		return fmt.Errorf("sheet not written: %w", err)
	}
	return nil
}

// length writes seconds as m:ss.
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
