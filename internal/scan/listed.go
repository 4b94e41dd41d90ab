package scan

import (
	"maps"
	"path"
	"path/filepath"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// numbersFor returns the track numbers that the input list in force gives its
// channels, by their keys.
func (s *scan) numbersFor(g *group) map[string]int {
	rig := g.key.rig
	if old := s.existing(g); !g.rigTold && old.ID != 0 {
		rig = old.Rig
	}
	numbers := map[string]int{}
	for _, in := range catalog.InForce(s.lists, catalog.ShowKey(g.key.date), rig) {
		if key := catalog.Key(in.Channel); numbers[key] == 0 {
			numbers[key] = in.Track
		}
	}
	return numbers
}

// numberOf returns the track number that a file's names stand for by the input
// list, 0 where they do not: all of them are channels, and their numbers follow
// each other as the file's tracks do.
func (g *group) numberOf(names []string) int {
	first := g.listed[catalog.Key(names[0])]
	if first == 0 {
		return 0
	}
	for i, name := range names {
		if g.listed[catalog.Key(name)] != first+i {
			return 0
		}
	}
	return first
}

// wholeName takes a file's whole name for its track's where that is a channel of
// the input list and what was read from it is not: "Guitar 2" of the list is no
// second segment of a guitar.
func (g *group) wholeName(src *source) {
	whole := clean(src.stem)
	if g.numberOf(namesBy(src.name.name, src.info.Format)) == 0 && g.numberOf(namesBy(whole, src.info.Format)) > 0 {
		src.name = fileName{name: whole, segment: -1}
	}
}

// knownNumber returns the track number that the catalog has for a lane's files,
// 0 where it knows none of them. twins are the numbers by file name that
// [scan.twins] found.
func (s *scan) knownNumber(l *lane, twins map[string]int) int {
	for _, src := range l.sources {
		if f, ok := s.known.files[fileKey{src.volume.ID, src.rel}]; ok && f.Channels == l.channels {
			return f.FirstTrack
		}
	}
	return twins[filepath.Base(l.sources[0].path)]
}

// twins returns the track numbers, by file name, of a recording of the same night
// that has a file of the same name and size for each of a folder's: the folder's
// own recording, before somebody gave the folder another name or place.
func (s *scan) twins(g *group) map[string]int {
	for _, id := range slices.Sorted(maps.Keys(s.known.recordings)) {
		if s.known.recordings[id].Show.Date() != g.key.date {
			continue
		}
		numbers, sizes := map[string]int{}, map[string]int64{}
		for _, f := range s.known.of[id] {
			name := path.Base(f.Path)
			numbers[name], sizes[name] = f.FirstTrack, f.Size
		}
		if !slices.ContainsFunc(g.sources, func(src *source) bool { return sizes[filepath.Base(src.path)] != src.size }) {
			return numbers
		}
	}
	return nil
}

// beyond returns the first track number after those that have a name: in the
// input list, in another folder of the night, and of files that were scanned
// once and are not here.
func (s *scan) beyond(g *group, given map[string]int) int {
	next := 1
	if !g.key.poly { // those have no names to go by
		for _, n := range g.listed {
			next = max(next, n+1)
		}
		for _, n := range given {
			next = max(next, n+1)
		}
	}
	for _, f := range s.known.of[s.existing(g).ID] {
		next = max(next, f.FirstTrack+f.Channels)
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
