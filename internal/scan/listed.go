package scan

import (
	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// listed returns the track number that a file's names stand for by
// [Options.Numbers], 0 where they do not: all of them are known, and their
// numbers follow each other as the file's tracks do.
func (s *scan) listed(names []string) int {
	first := s.opt.Numbers[catalog.Key(names[0])]
	if first == 0 {
		return 0
	}
	for i, name := range names {
		if s.opt.Numbers[catalog.Key(name)] != first+i {
			return 0
		}
	}
	return first
}

// wholeName takes a file's whole name for its track's where that stands for a
// track number and what was read from it does not: "Guitar 2" of the input list
// is no second segment of a guitar.
func (s *scan) wholeName(src *source) {
	whole := clean(src.stem)
	if s.listed(namesBy(src.name.name, src.info.Format)) == 0 && s.listed(namesBy(whole, src.info.Format)) > 0 {
		src.name = fileName{name: whole, segment: -1}
	}
}

// beyond returns the first track number after those that names stand for.
func (s *scan) beyond() int {
	next := 1
	for _, n := range s.opt.Numbers {
		next = max(next, n+1)
	}
	return next
}

// namesBy returns the names of a file's tracks by the file's own name.
func namesBy(name string, f wavfile.Format) []string {
	names := make([]string, f.Channels)
	if len(names) == 1 {
		names[0] = name
	} else if len(names) == 2 && name != "" {
		names[0], names[1] = name+" L", name+" R"
	}
	return names
}
