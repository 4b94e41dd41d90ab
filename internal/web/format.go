package web

import (
	"encoding/json"
	"fmt"
	"html"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// minutes writes the length of a song, m:ss.
func minutes(s float64) string {
	n := int64(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// decibels writes a level with one decimal and a true minus; silence in words.
func decibels(l meter.Level) string {
	switch {
	case math.IsNaN(float64(l)):
		return "–"
	case l.IsSilence():
		return "silent"
	}
	return strings.Replace(fmt.Sprintf("%.1f", float64(l)), "-", "−", 1)
}

// signed writes a difference in dB.
func signed(l meter.Level) string {
	switch {
	case math.IsNaN(float64(l)):
		return "–"
	case l.IsSilence():
		return "silent"
	case math.Round(float64(l)*10) == 0:
		return "0.0"
	}
	return strings.Replace(fmt.Sprintf("%+.1f", float64(l)), "-", "−", 1)
}

// figure writes a number with one decimal; none if there is no number.
func figure(v *float64, none string) string {
	if v == nil {
		return none
	}
	return strings.Replace(fmt.Sprintf("%.1f", *v), "-", "−", 1)
}

// change writes a difference with its sign; "" if there is none.
func change(v *float64) string {
	if v == nil {
		return ""
	}
	return signed(meter.Level(*v))
}

// gain writes a preamp gain that may not be known.
func gain(db *float64) string {
	if db == nil {
		return ""
	}
	return strings.Replace(fmt.Sprintf("%g", *db), "-", "−", 1)
}

// turned returns by how much a preamp's gain changed, in words; "" if it did not.
func turned(db *float64) string {
	if db == nil || *db == 0 {
		return ""
	}
	return "its preamp " + strings.Replace(fmt.Sprintf("%+g dB", *db), "-", "−", 1)
}

func kilohertz(rate int) string { return fmt.Sprintf("%g kHz", float64(rate)/1000) }

// words returns a script's word as people read it: "went silent" for "went_silent".
func words(v any) string {
	if kind, ok := v.(catalog.FindingKind); ok {
		return kind.Words()
	}
	switch text := strings.ReplaceAll(fmt.Sprint(v), "_", " "); text {
	case "rms":
		return "RMS"
	case "setlist":
		return "set list"
	default:
		return text
	}
}

// count writes a number with its word in the right form.
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// size writes bytes as the trade does, in powers of ten.
func size(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.0f kB", float64(n)/1e3)
}

func percent(part float64) string { return fmt.Sprintf("%.0f %%", 100*part) }

// weekday writes the day of a date, "Fri".
func weekday(d catalog.ShowKey) string {
	t, err := time.Parse(time.DateOnly, string(d.Date()))
	if err != nil {
		return ""
	}
	return t.Format("Mon")
}

// longDay writes a show's day, "Tue 6 May 2031", and its name where the date has
// several shows.
func longDay(d catalog.ShowKey) string {
	t, err := time.Parse(time.DateOnly, string(d.Date()))
	if err != nil {
		return string(d)
	}
	return t.Format("Mon 2 Jan 2006") + string(d[len(time.DateOnly):])
}

// shortDate writes a show as a column's head: day and month, "2 May", and
// its name where the date has several.
func shortDate(d catalog.ShowKey) string {
	t, err := time.Parse(time.DateOnly, string(d.Date()))
	if err != nil {
		return string(d)
	}
	return t.Format("2 Jan") + string(d[len(time.DateOnly):])
}

// asJSON is for data attributes.
func asJSON(v any) (string, error) {
	b, err := json.Marshal(v)
	return string(b), err
}

// escape makes a text safe inside markup that is not a template's. Characters that XML 1.0
// does not allow (section 2.2) become U+FFFD, so that an SVG stays well-formed.
func escape(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune { // which reads a byte that is no UTF-8 as U+FFFD
		if r < ' ' && r != '\t' && r != '\n' && r != '\r' || r == 0xfffe || r == 0xffff {
			return utf8.RuneError
		}
		return r
	}, s))
}
