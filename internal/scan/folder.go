package scan

import (
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"nightreel/catalog"
)

// folderSays holds what the names of the folders around a file say.
type folderSays struct {
	date  catalog.Date
	venue string
	part  string // what of a date it is: "matinee", "soundcheck", a stage
	rig   string
	show  string // the folder of the whole show
	place string // the innermost folder that says something; rigs without a name differ by it
}

// words cuts a name into lower-case words.
func words(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" _-.,()[]#", r) })
}

// rigIn returns the rig that a folder's name names, or "". A rig's folder says
// nothing else but perhaps the date and the part of it: "Backup", "rig A",
// "2031-05-02 main"; a "Main Stage" is none.
func rigIn(folder string) string {
	_, folder, _ = dateIn(folder)
	_, folder = partIn(folder)
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

// partNames find what tells several shows of a date apart in a folder's name: at
// its beginning or its end, so that a venue may be called after the evening.
var partNames = []struct {
	re   *regexp.Regexp
	name string // "" = as written
}{
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(sound[ _\-]?check)(?:[ _\-.)]|$)`), "soundcheck"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])((?:dress[ _\-])?rehearsals?)(?:[ _\-.)]|$)`), "rehearsal"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(matin[eé]e)(?:[ _\-.)]|$)`), "matinee"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(afternoon)(?:[ _\-.)]|$)`), "afternoon"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(evening)(?:[ _\-.)]|$)`), "evening"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(early(?:[ _\-](?:show|set))?)(?:[ _\-.)]|$)`), "early"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(late(?:[ _\-](?:show|set))?)(?:[ _\-.)]|$)`), "late"},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(stage[ _\-]?(?:[a-z]|\d{1,2})|[\pL\d]+[ _\-]stage)(?:[ _\-.)]|$)`), ""},
	{regexp.MustCompile(`(?i)(?:^|[ _\-.(])(band[ _\-]?(?:[a-z]|\d{1,2})|[\pL\d]+[ _\-]band)(?:[ _\-.)]|$)`), ""},
}

// partIn returns the part of a day that a folder's name names beside its date, in
// lower case, "" for none, and the name without it.
func partIn(folder string) (part, rest string) {
	trimmed := strings.Trim(folder, " _-.,")
	for _, p := range partNames {
		all := p.re.FindAllStringSubmatchIndex(trimmed, -1)
		if len(all) == 0 {
			continue
		}
		at := all[len(all)-1]
		before, after := strings.Trim(trimmed[:at[2]], " _-.,("), strings.Trim(trimmed[at[3]:], " _-.,)")
		if before != "" && after != "" && !onlyNumber(before) && rigIn(after) == "" {
			continue // in the middle: part of a venue's name
		}
		part = p.name
		if part == "" {
			part = strings.ToLower(clean(trimmed[at[2]:at[3]]))
		}
		if onlyNumber(before) {
			before = "" // "2 evening": the order of the folders
		}
		return part, strings.TrimSpace(before + " " + after)
	}
	return "", folder
}

func onlyNumber(s string) bool { return strings.Trim(s, "0123456789") == "" }

// generic reports whether a folder's name says what lies in it, not where the
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

// readFolders reads what the folders around each file say. It depends on the
// files' paths alone, not on the folder that was scanned.
func (s *scan) readFolders(all []*source) {
	// Folders in which rigs lie side by side: what stands beside a rig is one.
	besides := map[string]bool{}
	seen := map[string]folderSays{}
	looked := map[string]bool{}
	for _, src := range all {
		path := src.folder()
		if looked[path] {
			continue
		}
		looked[path] = true
		for _, name := range src.folders {
			if _, _, dated := dateIn(name); dated {
				break
			}
			if rigIn(name) != "" {
				besides[filepath.Dir(path)] = true
			}
			path = filepath.Dir(path)
		}
	}
	for _, src := range all {
		says, ok := seen[src.folder()]
		if !ok {
			says = readFolder(src, besides)
			seen[src.folder()] = says
		}
		src.says = says
	}
}

// rigBeside returns the rig that a folder names, or that it is because it stands
// beside folders of rigs.
func rigBeside(path, name string, besides map[string]bool) string {
	if rig := rigIn(name); rig != "" {
		return rig
	}
	if _, _, dated := dateIn(name); dated || !besides[filepath.Dir(path)] || generic(name) {
		return ""
	}
	if part, rest := partIn(name); part != "" && clean(rest) == "" {
		return ""
	}
	return strings.ToLower(clean(name))
}

func readFolder(src *source, besides map[string]bool) (says folderSays) {
	// The show's folder is the outermost one of the innermost date; without a date
	// the innermost one that says where the show was.
	show := -1
	for i, name := range src.folders {
		if date, _, ok := dateIn(name); ok && (says.date == "" || date == says.date) {
			says.date, show = date, i
		}
	}
	path := src.folder()
	if show < 0 {
		at := path
		for show = 0; show < len(src.folders)-1; show++ {
			name := src.folders[show]
			part, rest := partIn(name)
			if !generic(name) && rigBeside(at, name, besides) == "" && (part == "" || clean(rest) != "") {
				break
			}
			at = filepath.Dir(at)
		}
	}
	for i, name := range src.folders {
		if i > show+1 {
			break
		}
		if i == show+1 {
			if says.rig == "" {
				says.rig = rigIn(name) // a drive of one rig, with a folder a night
			}
			break
		}
		says.show = path
		rig := rigIn(name)
		if i < show {
			rig = rigBeside(path, name, besides)
		}
		if says.rig == "" {
			says.rig = rig
		}
		_, rest, dated := dateIn(name)
		part, rest := partIn(rest)
		if says.part == "" {
			says.part = part
		}
		venue := ""
		if rig == "" {
			venue = venueIn(rest)
			if dated && venue == "" && part != "" && (strings.HasSuffix(part, "stage") || strings.HasSuffix(part, "band")) {
				_, all, _ := dateIn(name)
				venue = venueIn(all) // "2031-05-02 Main Stage": all there is
			}
		}
		if venue != "" && says.place == "" {
			says.place = path
		}
		if venue != "" && (says.venue == "" || dated) {
			says.venue = venue
		}
		path = filepath.Dir(path)
	}
	if says.place == "" {
		says.place = says.show
	}
	return says
}
