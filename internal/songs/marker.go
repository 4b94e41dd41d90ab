package songs

import (
	"regexp"
	"slices"
	"strings"

	"nightreel/catalog"
)

// mark is what a marker's label says: a song begins, or something that is no
// song does, or a song ends.
type mark struct {
	frame, length int64
	title         string // "" where what begins is no song
}

// notSongs are labels that say what begins is no song. A label that is the
// title of a song in the catalog is that song all the same.
func notSongs(label string) bool {
	switch catalog.Key(label) {
	case "end", "stop", "songend", "endofsong", "endofshow", "showend", "endofset", "fin", "out", "off",
		"start", "begin", "showstart", "doors", "house", "houselights", "walkon", "walkin", "walkout", "walkoff",
		"intro", "introtape", "outro", "outrotape", "tape", "playon", "playoff", "curtain",
		"talk", "talking", "speech", "banter", "announcement", "announcements", "applause", "audience", "crowd",
		"pause", "break", "interval", "intermission", "gap", "silence", "encorebreak", "encore",
		"tuning", "tune", "retune", "changeover", "linecheck", "soundcheck", "check", "test", "count", "countin",
		"problem", "noise", "feedback", "buzz", "listen", "goodtake", "good", "bad", "again", "falsestart":
		return true
	}
	return false
}

var (
	// Labels that recorders give by themselves: they say when, not what.
	unnamed = regexp.MustCompile(`(?i)^(?:(?:marker|mark|mrk|cue|locate|loc|point|index)[ _#.-]*\d*|[mc]?[ _#.-]*\d+|[ _#.-]*)$`)
	// "03 Title", "3. Title", "3 - Title"
	numbered = regexp.MustCompile(`^\s*#?\d{1,3}\s*[.):_ -]\s*(\S.*)$`)
	// "Title end", "end of Title", "end: Title"
	ending = regexp.MustCompile(`(?i)^(?:end(?: of)?[ :_-]+(\S.*)|(\S.*?)[ :_-]+end)$`)
	// "Title start", "start: Title"
	beginning = regexp.MustCompile(`(?i)^(?:start(?: of)?[ :_-]+(\S.*)|(\S.*?)[ :_-]+start)$`)
)

// sameMarkS is how soon after a song's marker another one of the same title is
// the same press of the same key, not the song once more.
const sameMarkS = 5

// readMarkers says what a recording's markers mean, in order of frame. Labels
// that say nothing are left out. known gives a song's title by a name or alias
// as the catalog has it.
func readMarkers(markers []catalog.Marker, rate int, known func(name string) (string, bool)) []mark {
	marks := []mark{}
	for _, m := range markers {
		title, ok := songOf(m.Label, known)
		if !ok {
			continue
		}
		if n := len(marks); n > 0 && title != "" && catalog.SameName(marks[n-1].title, title) && m.Frame-marks[n-1].frame < int64(sameMarkS*rate) {
			continue
		}
		marks = append(marks, mark{frame: m.Frame, length: m.Length, title: title})
	}
	slices.SortStableFunc(marks, func(a, b mark) int { return int(min(1, max(-1, a.frame-b.frame))) })
	return marks
}

// songOf returns the song that a label names, "" where it names what is none;
// ok is false for a label that says nothing.
func songOf(label string, known func(name string) (string, bool)) (title string, ok bool) {
	label = strings.TrimSpace(label)
	if t, ok := known(label); ok {
		return t, true
	}
	if unnamed.MatchString(label) {
		return "", false
	}
	if notSongs(label) || ending.MatchString(label) {
		return "", true
	}
	if m := beginning.FindStringSubmatch(label); m != nil {
		return songOf(m[1]+m[2], known)
	}
	if m := numbered.FindStringSubmatch(label); m != nil {
		return songOf(m[1], known)
	}
	return label, true
}
