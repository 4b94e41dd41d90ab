package songs

import (
	"regexp"
	"slices"
	"strings"

	"nightreel/catalog"
)

// mark is the meaning of a marker's label: a song begins, something other than a
// song begins, or a song ends.
type mark struct {
	frame, length int64
	title         string // "" if what begins is no song
}

// notSongs are labels of something other than a song. If the catalog has a song
// of that title, the label means the song.
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
	// Labels that recorders give by themselves: they mark a time without a
	// title.
	unnamed = regexp.MustCompile(`(?i)^(?:(?:marker|mark|mrk|cue|locate|loc|point|index)[ _#.-]*\d*|[mc]?[ _#.-]*\d+|[ _#.-]*)$`)
	// "03 Title", "3. Title", "3 - Title"
	numbered = regexp.MustCompile(`^\s*#?\d{1,3}\s*[.):_ -]\s*(\S.*)$`)
	// "Title end", "end of Title", "end: Title"
	ending = regexp.MustCompile(`(?i)^(?:end(?: of)?[ :_-]+(\S.*)|(\S.*?)[ :_-]+end)$`)
	// "Title start", "start: Title"
	beginning = regexp.MustCompile(`(?i)^(?:start(?: of)?[ :_-]+(\S.*)|(\S.*?)[ :_-]+start)$`)
)

// sameMarkS is the time in seconds after a song's marker within which another
// marker of the same title counts as a repeated press of the key, not as the
// song played again.
const sameMarkS = 5

// readMarkers returns the meaning of a recording's markers, in order of frame,
// and leaves out labels without one. known returns a song's title by a name or
// alias as the catalog has it.
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

// songOf returns the song that a label names, "" if it names something other
// than a song; ok is false for a label without a meaning.
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
