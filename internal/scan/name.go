package scan

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// fileName is what a file's name says.
type fileName struct {
	track   int    // 0 = not told
	last    int    // last track of a range in a polyphonic file's name, 0 = none
	name    string // of the track, or of the series that the file is of
	segment int    // -1 = not told
}

var (
	trackWord = regexp.MustCompile(`(?i)^(.*?)(?:^|[ _.\-])(?:trk|track|chan|channel|ch)[ _.\-]?(\d{1,3})(?:[ _.\-]+(.*))?$`)
	leading   = regexp.MustCompile(`^(\d{1,4})(?:[ _.\-]+(.*))?$`)
	trailing  = regexp.MustCompile(`^(|.*?[^ _.\-(#])([ _.\-(#]*)(\d{1,6})\)?$`)
	trackSpan = regexp.MustCompile(`(?i)(?:^|[ _.\-])(?:(?:trk|track|tracks|chan|channels|ch)[ _.\-]?)?(\d{1,3}) ?(?:-|–|to) ?(\d{1,3})(?:[ _.\-]|$)`)
)

// trailingNumber is a number at the end of a name.
type trailingNumber struct {
	before string
	number int
	// weak tells that it is a single digit after a space, as in "Guitar 2": part
	// of the name until the whole folder says otherwise.
	weak bool
	long bool // three digits or more: not a track's number alone
}

func trailingIn(name string) (trailingNumber, bool) {
	m := trailing.FindStringSubmatch(name)
	if m == nil || m[1] != "" && m[2] == "" {
		return trailingNumber{}, false
	}
	n, _ := strconv.Atoi(m[3]) // digits only
	return trailingNumber{before: strings.TrimSpace(m[1]), number: n, weak: strings.TrimSpace(m[2]) == "" && m[1] != "" && len(m[3]) == 1, long: len(m[3]) > 2}, true
}

// most is the share of a folder's files that must agree for a pattern to count,
// so that one stray file does not spoil it.
const most = 0.75

// readNames finds out how the names of one folder's files are made and takes
// them apart. The same number is a track's in one folder and a segment's in
// another, so no name is read alone. sameTime tells that the files were
// recorded side by side, not one after the other, as far as is known.
func readNames(stems []string, sameTime bool) []fileName {
	names := make([]fileName, len(stems))
	rests := make([]string, len(stems))
	marked := 0
	for i, stem := range stems {
		names[i].segment = -1
		_, rests[i], _ = dateIn(stem)
		rests[i] = strings.Trim(rests[i], " _-.")
		if m := trackWord.FindStringSubmatch(rests[i]); m != nil {
			names[i].track, _ = strconv.Atoi(m[2])
			rests[i] = strings.Trim(m[1]+" "+m[3], " _-.")
			marked++
		}
	}
	if float64(marked) < most*float64(len(stems)) {
		marked = 0
		for i, stem := range stems {
			names[i].track = 0
			_, rests[i], _ = dateIn(stem)
			rests[i] = strings.Trim(rests[i], " _-.")
		}
		if readLeading(names, rests) {
			marked = len(stems)
		}
	}
	readTrailing(names, rests, marked > 0, sameTime)
	shared := len(names) > 1 // a name that all tracks have is the project's
	for i := range names {
		names[i].name = clean(rests[i])
		shared = shared && names[i].name == names[0].name
	}
	if shared && marked > 0 && distinct(len(names), func(i int) int { return names[i].track }) > 1 {
		for i := range names {
			names[i].name = ""
		}
	}
	return names
}

func clean(name string) string {
	return strings.Trim(strings.Join(strings.Fields(strings.ReplaceAll(name, "_", " ")), " "), " -.")
}

// distinct counts the different keys of n things.
func distinct[K comparable](n int, key func(i int) K) int {
	seen := map[K]bool{}
	for i := range n {
		seen[key(i)] = true
	}
	return len(seen)
}

// readLeading takes off numbers that most names begin with: the track's where
// each number goes with one name, else the segment's.
func readLeading(names []fileName, rests []string) (tracks bool) {
	leads, after := make([]int, len(rests)), make([]string, len(rests))
	count := 0
	bases := map[int]string{}
	tracks = true
	for i, rest := range rests {
		m := leading.FindStringSubmatch(rest)
		if m == nil {
			after[i] = rest
			continue
		}
		count++
		leads[i], _ = strconv.Atoi(m[1])
		after[i] = m[2]
		base := m[2]
		if t, ok := trailingIn(base); ok {
			base = t.before
		}
		if b, ok := bases[leads[i]]; ok && b != base {
			tracks = false
		}
		bases[leads[i]] = base
		if leads[i] == 0 || len(m[1]) > 3 {
			tracks = false
		}
	}
	if float64(count) < most*float64(len(rests)) {
		return false
	}
	for i := range names {
		if after[i] == rests[i] && leads[i] == 0 {
			continue
		}
		if tracks {
			names[i].track = leads[i]
		} else {
			names[i].segment = leads[i]
		}
		rests[i] = after[i]
	}
	return tracks
}

// readTrailing takes off the numbers at the ends of names where they are
// tracks' or segments' numbers.
func readTrailing(names []fileName, rests []string, tracksKnown, sameTime bool) {
	found := make([]trailingNumber, len(rests))
	has := make([]bool, len(rests))
	count, weak, long := 0, 0, 0
	for i, rest := range rests {
		found[i], has[i] = trailingIn(rest)
		if !has[i] || names[i].segment >= 0 {
			has[i] = false
			continue
		}
		count++
		if found[i].weak {
			weak++
		}
		if found[i].long {
			long++
		}
	}
	if count == 0 {
		return
	}
	if count < len(rests) {
		if !laterSegments(rests, found, has) {
			return
		}
	} else if weak*2 > count {
		return
	}
	type base struct {
		track int
		name  string
	}
	bases := distinct(len(found), func(i int) base { return base{names[i].track, strings.ToLower(found[i].before)} })
	numbers := distinct(len(found), func(i int) int { return found[i].number })
	segments := false
	switch {
	case count < len(rests), len(rests) == 1 && (tracksKnown || long > 0):
		segments = true
	case tracksKnown:
		// "01 Guitar_1", "02 Guitar_2": each number once, on one track.
		segments = bases == 1 || numbers < len(rests)
	case bases == 1 && len(rests) > 1:
		segments = !sameTime
	case numbers < len(rests):
		segments = true
	}
	if tracksKnown && !segments {
		return
	}
	for i := range names {
		if !has[i] {
			continue
		}
		if segments {
			names[i].segment = found[i].number
		} else {
			names[i].track = found[i].number
		}
		rests[i] = found[i].before
	}
	if segments && count < len(rests) {
		first := found[0].number
		for i := range found {
			if has[i] && (first == 0 || found[i].number < first) {
				first = found[i].number
			}
		}
		for i := range names {
			if !has[i] {
				names[i].segment = max(first-1, 0)
			}
		}
	}
}

// laterSegments reports whether the names without a number are the first segments
// of those with one: "Kick.wav", "Kick_2.wav" for every track.
func laterSegments(rests []string, found []trailingNumber, has []bool) bool {
	first, later := map[string]bool{}, map[string]int{}
	for i, rest := range rests {
		if has[i] {
			later[strings.ToLower(found[i].before)]++
		} else {
			first[strings.ToLower(rest)] = true
		}
	}
	count := 0
	for name := range first {
		if later[name] == 0 || count > 0 && later[name] != count {
			return false
		}
		count = later[name]
	}
	return len(first) == len(later)
}

// readPolyName takes apart the name of a file with many tracks in it: a span of
// tracks, then a segment.
func readPolyName(stem string, channels int) fileName {
	n := fileName{segment: -1}
	_, rest, _ := dateIn(stem)
	for _, at := range trackSpan.FindAllStringSubmatchIndex(rest, -1) {
		from, _ := strconv.Atoi(rest[at[2]:at[3]])
		to, _ := strconv.Atoi(rest[at[4]:at[5]])
		if from > 0 && to-from+1 == channels {
			n.track, n.last = from, to
			rest = rest[:at[0]] + " " + rest[at[1]:]
			break
		}
	}
	rest = strings.Trim(rest, " _-.")
	if t, ok := trailingIn(rest); ok {
		n.segment, rest = t.number, t.before
	}
	n.name = clean(rest)
	return n
}

// compilePattern turns a name pattern into an expression, nil for none.
func compilePattern(pattern string) (*regexp.Regexp, error) {
	if pattern == "" {
		return nil, nil
	}
	bad := func(why string) error {
		return &PatternError{Pattern: pattern, Why: why}
	}
	expr, used := "", map[string]bool{}
	for rest := pattern; rest != ""; {
		literal, after, ok := strings.Cut(rest, "{")
		expr += regexp.QuoteMeta(literal)
		if !ok {
			break
		}
		field, next, ok := strings.Cut(after, "}")
		if !ok {
			return nil, bad("a { without }")
		}
		if field != "*" && used[field] {
			return nil, bad("{" + field + "} twice")
		}
		used[field] = true
		switch field {
		case "track":
			expr += `(?P<track>\d{1,4})`
		case "segment":
			expr += `(?P<segment>\d{1,9})`
		case "name":
			expr += `(?P<name>.+?)`
		case "*":
			expr += `.*?`
		default:
			return nil, bad("{" + field + "} means nothing")
		}
		rest = next
	}
	if !used["track"] && !used["name"] && !used["segment"] {
		return nil, bad("no field in it")
	}
	return regexp.Compile(`(?i)^` + expr + `$`)
}

// PatternError says that a name pattern cannot be used.
type PatternError struct{ Pattern, Why string }

func (e *PatternError) Error() string {
	return fmt.Sprintf("name pattern %q not understood: %s", e.Pattern, e.Why)
}

// Hint says how patterns are written.
func (e *PatternError) Hint() string {
	return `fields are {track}, {name}, {segment} and {*} for anything, for example "{track} {name}_{segment}"`
}

// matchPattern takes a name apart by the caller's pattern.
func matchPattern(re *regexp.Regexp, stem string) (fileName, bool) {
	m := re.FindStringSubmatch(stem)
	n := fileName{segment: -1}
	if m == nil {
		return n, false
	}
	for i, field := range re.SubexpNames() {
		switch field {
		case "track":
			n.track, _ = strconv.Atoi(m[i]) // digits only
		case "segment":
			n.segment, _ = strconv.Atoi(m[i])
		case "name":
			n.name = clean(m[i])
		}
	}
	return n, true
}
