package lists

import (
	"fmt"
	"strconv"
	"strings"
)

// maxSeconds is the largest time in seconds: a thousand hours, longer than any
// recording.
const maxSeconds = 1000 * 3600

// TimeError reports that a text is not a time.
type TimeError struct{ Value string }

func (e *TimeError) Error() string { return fmt.Sprintf("%q is not a time", e.Value) }

// Hint returns how to write a time.
func (e *TimeError) Hint() string {
	return "write seconds, mm:ss or h:mm:ss, optionally with a decimal fraction: 95, 1:35, 1:02:03.4"
}

// ParseTime parses a time from a recording's start and returns it in seconds, 0
// or more. The forms are ss, mm:ss or h:mm:ss, each with an optional decimal
// fraction of the seconds. Leading minutes may exceed 59 (75:30). Other texts
// are *TimeError.
func ParseTime(s string) (float64, error) {
	bad := &TimeError{s}
	parts := strings.Split(strings.TrimSpace(s), ":")
	if len(parts) > 3 {
		return 0, bad
	}
	whole, fraction, decimal := strings.Cut(strings.Replace(parts[len(parts)-1], ",", ".", 1), ".")
	parts[len(parts)-1] = whole
	total := 0
	for i, p := range parts {
		n, ok := digits(p)
		if !ok || i > 0 && (len(p) != 2 || n > 59) {
			return 0, bad
		}
		if total = total*60 + n; total > maxSeconds {
			return 0, bad
		}
	}
	if !decimal {
		return float64(total), nil
	}
	if _, ok := digits(fraction); !ok {
		return 0, bad
	}
	// One conversion of the whole number gives the nearest float64.
	seconds, err := strconv.ParseFloat(strconv.Itoa(total)+"."+fraction, 64)
	if err != nil {
		return 0, bad
	}
	return seconds, nil
}

// digits parses one to nine digits.
func digits(s string) (int, bool) {
	if s == "" || len(s) > 9 || strings.Trim(s, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(s)
	return n, err == nil
}

// ParseClock parses a time of day, h:mm or h:mm:ss, with or without am or pm, as
// seconds from midnight.
func ParseClock(s string) (float64, bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	half := ""
	for _, suffix := range []string{"am", "pm"} {
		if before, ok := strings.CutSuffix(s, suffix); ok {
			s, half = strings.TrimSpace(before), suffix
		}
	}
	parts := strings.Split(s, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	var n [3]int
	for i, p := range parts {
		v, ok := digits(p)
		if !ok || len(p) > 2 || i > 0 && (len(p) != 2 || v > 59) {
			return 0, false
		}
		n[i] = v
	}
	if half != "" {
		if n[0] < 1 || n[0] > 12 {
			return 0, false
		}
		n[0] %= 12
		if half == "pm" {
			n[0] += 12
		}
	}
	if n[0] > 23 {
		return 0, false
	}
	return float64(n[0]*3600 + n[1]*60 + n[2]), true
}
