package scan

import (
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
)

const (
	// morning is the hour until which a recording may belong to the night
	// before (common practice, no source).
	morning = 10
	// sameNight is the longest pause after which a recording that starts past
	// midnight still belongs to the night before (common practice, no source).
	sameNight = time.Hour
)

// words cuts a name into lower-case words.
func words(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" _-.,()[]#", r) })
}

// rigIn returns the rig that a folder's name names, or "". A rig's folder says
// nothing else but perhaps the date: "Backup", "rig A", "2031-05-02 main"; a
// "Main Stage" is a venue.
func rigIn(folder string) string {
	_, folder, _ = dateIn(folder)
	w := words(folder)
	numbered := false // "rig 1", "recorder b"
	w = slices.DeleteFunc(w, func(word string) bool {
		switch word {
		case "rig", "recorder", "machine":
			numbered = true
			return true
		case "recording", "recordings", "rec", "multitrack", "record":
			return true
		}
		return false
	})
	if len(w) == 2 && w[0] == "back" && w[1] == "up" {
		return "backup"
	}
	if len(w) != 1 {
		return ""
	}
	switch w[0] {
	case "main", "primary":
		return catalog.MainRig
	case "backup", "bak", "spare", "safety", "secondary", "redundant":
		return "backup"
	}
	if numbered && len(w[0]) <= 2 {
		return "rig " + w[0]
	}
	return ""
}

// generic tells whether a folder's name says what lies in it, not where the
// show was.
func generic(folder string) bool {
	if rigIn(folder) != "" {
		return true
	}
	for _, w := range words(folder) {
		switch strings.TrimRight(w, "0123456789") {
		case "", "audio", "wav", "wave", "files", "recording", "recordings", "rec", "multitrack", "multitracks", "tracks", "set", "part",
			"disk", "disc", "drive", "card", "take", "rig", "recorder", "show", "raw", "bwf", "session", "sessions":
		default:
			return false
		}
	}
	return true
}

// venueIn returns the venue that a folder's name names beside its date:
// underscores are spaces, and so are hyphens where there is no other space.
func venueIn(rest string) string {
	rest = strings.ReplaceAll(rest, "_", " ")
	if !strings.Contains(strings.TrimSpace(rest), " ") {
		rest = strings.ReplaceAll(rest, "-", " ")
	}
	rest = strings.Trim(strings.Join(strings.Fields(rest), " "), " -_.,")
	for from, to := 0, len(rest); from < to; {
		// What brackets held the date is left empty.
		before := rest
		for _, empty := range []string{"()", "[]", "( )", "[ ]"} {
			rest = strings.TrimSpace(strings.ReplaceAll(rest, empty, ""))
		}
		if rest == before {
			break
		}
	}
	rest = strings.Trim(rest, " -_.,")
	if generic(rest) {
		return ""
	}
	return rest
}

// dateAndRig decides for every source which show and which rig it is of.
func (s *scan) dateAndRig(sources []*source) {
	byFolder := map[string][]*source{} // sources that lie in one show's folder
	for _, src := range sources {
		src.date, src.venue = s.opt.Date, s.opt.Venue
		show := src.below // folders[:show] lie in the show's folder
		for i, name := range src.folders {
			if i > src.below && !generic(src.folders[src.below]) {
				break // what the scanned folder is called says enough
			}
			if date, rest, ok := dateIn(name); ok {
				if src.date == "" {
					src.date = date
				}
				if src.venue == "" {
					src.venue = venueIn(rest)
				}
				show = i
				break
			}
		}
		for i, name := range src.folders {
			if i > show {
				break
			}
			if rig := rigIn(name); rig != "" && src.rig == "" {
				src.rig, src.rigTold = rig, true
			} else if src.venue == "" && i < min(show, src.below) && !generic(name) {
				src.venue = venueIn(name)
			}
		}
		if src.date == "" {
			// A show without a date in its folder: what lies together, rigs' and
			// other folders that say nothing apart, belongs together.
			i := 0
			for i < src.below && generic(src.folders[i]) {
				i++
			}
			folder := src.folder()
			for range i {
				folder = filepath.Dir(folder)
			}
			byFolder[folder] = append(byFolder[folder], src)
		}
	}
	for _, folder := range slices.Sorted(maps.Keys(byFolder)) {
		s.dateWithoutFolder(byFolder[folder], sources)
	}
	s.rigWithoutFolder(sources)
}

// dateWithoutFolder dates sources of one folder by their names, else by bext,
// else by the time of the file.
func (s *scan) dateWithoutFolder(together, all []*source) {
	days := map[catalog.Date]bool{}
	for _, src := range together {
		if date, _, ok := dateIn(src.stem); ok {
			src.date = date
		} else if src.clock.known {
			src.date = catalog.Date(src.clock.time.Format(time.DateOnly))
		} else {
			src.date = catalog.Date(src.mod.Format(time.DateOnly))
			s.problem(src.path, 0, "neither folder, name nor bext tell the date; "+string(src.date)+", when the file was last written, is assumed")
		}
		days[src.date] = true
	}
	for _, src := range together {
		before := dayBefore(src.date)
		if src.clock.known && src.clock.time.Hour() < morning && string(src.date) == src.clock.time.Format(time.DateOnly) &&
			(days[before] || s.goesOnFrom(before, src, all)) {
			src.date = before
		}
	}
}

func dayBefore(date catalog.Date) catalog.Date {
	t, err := time.Parse(time.DateOnly, string(date))
	if err != nil {
		return ""
	}
	return catalog.Date(t.AddDate(0, 0, -1).Format(time.DateOnly))
}

// goesOnFrom tells whether a file starts while, or soon after, another one of
// the night before was recorded, in this scan or in an earlier one.
func (s *scan) goesOnFrom(before catalog.Date, src *source, all []*source) bool {
	near := func(start time.Time, seconds float64) bool {
		end := start.Add(time.Duration(seconds * float64(time.Second)))
		return start.Before(src.clock.time) && src.clock.time.Before(end.Add(sameNight))
	}
	for _, other := range all {
		if other.clock.known && other.clock.time.Format(time.DateOnly) == string(before) &&
			near(other.clock.time, float64(other.info.Frames)/float64(other.info.Format.SampleRate)) {
			return true
		}
	}
	for _, r := range s.known.recordings {
		if r.Show.Date() == before && r.StartsAt != nil && near(*r.StartsAt, r.Seconds(r.Frames)) {
			return true
		}
	}
	return false
}

// rigWithoutFolder names the rig of sources whose folders do not: by the
// originators where a show has several, else as the caller says, else main.
func (s *scan) rigWithoutFolder(sources []*source) {
	originators := map[catalog.Date][]string{}
	for _, src := range sources {
		if o := originator(src); !src.rigTold && o != "" && !slices.Contains(originators[src.date], o) {
			originators[src.date] = append(originators[src.date], o)
		}
	}
	for _, src := range sources {
		o := originator(src)
		switch {
		case src.rigTold:
		case len(originators[src.date]) > 1 && o != "":
			src.rig, src.rigTold = o, true
		case s.opt.Rig != "":
			src.rig, src.rigTold = s.opt.Rig, true
		default:
			src.rig = catalog.MainRig
		}
	}
}

func originator(src *source) string {
	if src.info.Meta.Bext == nil {
		return ""
	}
	return strings.TrimSpace(src.info.Meta.Bext.Originator)
}
