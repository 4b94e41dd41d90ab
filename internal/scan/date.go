package scan

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"nightreel/catalog"
)

// The forms in which people write dates. Years are those of this century and
// the last, so that no other number looks like one.
var (
	yearFirst = regexp.MustCompile(`(?:^|\D)((?:19|20)\d\d)([-_. ]?)(\d\d)([-_. ]?)(\d\d)(?:[-_ T]?(?:\d{6}|\d\d[-.:h]\d\d(?:[-.:m]\d\d)?))?(?:\D|$)`)
	yearLast  = regexp.MustCompile(`(?:^|\D)(\d{1,2})([-_. ])(\d{1,2})[-_. ]((?:19|20)\d\d)(?:\D|$)`)
	dayMonth  = regexp.MustCompile(`(?i)(?:^|[^a-z0-9])(\d{1,2})(?:st|nd|rd|th)?[-_., ]*(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[-_., ]*((?:19|20)\d\d)(?:\D|$)`)
	monthDay  = regexp.MustCompile(`(?i)(?:^|[^a-z])(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[-_., ]*(\d{1,2})(?:st|nd|rd|th)?[-_., ]+((?:19|20)\d\d)(?:\D|$)`)
)

// dateIn finds a date in a name and returns what is left of the name without
// it. A form that could be two days, as 02-05-2031 could, is none; with dots
// the day comes first (common practice, no source).
func dateIn(name string) (date catalog.Date, rest string, ok bool) {
	if !hasYear(name) {
		return "", name, false // most names: the expressions cost more than all else
	}
	number := func(s string) int {
		n, _ := strconv.Atoi(s) // digits only
		return n
	}
	for _, form := range []struct {
		re    *regexp.Regexp
		parse func(m []string) (year, month, day int)
	}{
		{yearFirst, func(m []string) (int, int, int) { return number(m[1]), number(m[3]), number(m[5]) }},
		{yearLast, func(m []string) (int, int, int) {
			a, b := number(m[1]), number(m[3])
			switch {
			case m[2] == "." || a > 12 || a == b:
				return number(m[4]), b, a
			case b > 12:
				return number(m[4]), a, b
			}
			return 0, 0, 0
		}},
		{dayMonth, func(m []string) (int, int, int) { return number(m[3]), month(m[2]), number(m[1]) }},
		{monthDay, func(m []string) (int, int, int) { return number(m[3]), month(m[1]), number(m[2]) }},
	} {
		at := form.re.FindStringSubmatchIndex(name)
		if at == nil {
			continue
		}
		year, month, day := form.parse(form.re.FindStringSubmatch(name))
		t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
		if year == 0 || t.Year() != year || int(t.Month()) != month || t.Day() != day {
			continue
		}
		return catalog.Date(t.Format(time.DateOnly)), name[:at[2]] + " " + tail(name, at), true
	}
	return "", name, false
}

// hasYear reports whether a name may have a year in it.
func hasYear(name string) bool {
	digit := func(i int) bool { return name[i] >= '0' && name[i] <= '9' }
	for i := 0; i+4 <= len(name); i++ {
		if century := name[i : i+2]; (century == "19" || century == "20") && digit(i+2) && digit(i+3) {
			return true
		}
	}
	return false
}

// tail returns what follows a date. The character that only showed that the
// date ends there belongs to the rest.
func tail(name string, at []int) string {
	end := at[1]
	if end > 0 && end > at[len(at)-1] && end <= len(name) && !strings.ContainsRune("0123456789", rune(name[end-1])) {
		end--
	}
	return name[end:]
}

func month(name string) int {
	return strings.Index("janfebmaraprmayjunjulaugsepoctnovdec", strings.ToLower(name))/3 + 1
}
