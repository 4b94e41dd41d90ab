package scan

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// group is the files of one recording, before the catalog is asked.
type group struct {
	key     groupKey
	rigTold bool
	venue   string
	format  wavfile.Format // of any file; the channel count differs
	listed  map[string]int // track numbers by the input list in force, by key of the channel
	sources []*source
	lanes   []*lane
}

// groupKey is what the files of one recording have in common.
type groupKey struct {
	date     catalog.Date
	rig      string
	rate     int
	bytes    int
	bits     int
	encoding wavfile.Encoding
	poly     bool // more than two channels a file
}

// codes reports whether a recording's samples are coded as the group's are.
func (k groupKey) codes(r catalog.Recording) bool {
	return tracks.Format(r, 1) == wavfile.Format{SampleRate: k.rate, Channels: 1, BitDepth: k.bits, ContainerBytes: k.bytes, Encoding: k.encoding}
}

// lane is a run of segments that hold the same tracks: one track of a recording
// with one file a track, or all tracks of a polyphonic one.
type lane struct {
	id       string // what the names have in common
	track    int    // first
	told     bool   // recorder, name or place in the file tell the number
	channels int
	sources  []*source // in order of time
}

// group forms recordings of the sources. Files are first taken folder by
// folder, since a folder's names have one pattern; folders are then put
// together where bext says that they do not overlap.
func (s *scan) group(sources []*source, pattern *regexp.Regexp) []*group {
	given := map[groupKey]map[string]int{}
	type folderKey struct {
		groupKey
		folder string
	}
	byFolder := map[folderKey]*group{}
	var groups []*group
	for _, src := range sources {
		f := src.info.Format
		key := groupKey{src.date, src.rig, f.SampleRate, f.ContainerBytes, f.BitDepth, f.Encoding, f.Channels > 2}
		in := folderKey{key, src.folder()}
		g := byFolder[in]
		if g == nil {
			g = &group{key: key, format: f, rigTold: src.rigTold, venue: src.venue}
			byFolder[in] = g
			groups = append(groups, g)
		}
		g.sources = append(g.sources, src)
	}
	for _, g := range groups {
		if given[g.key] == nil {
			given[g.key] = map[string]int{}
		}
		g.listed = s.numbersFor(g)
		s.name(g, pattern)
		s.number(g, given[g.key])
	}
	groups = join(groups)
	for _, g := range groups {
		s.place(g)
	}
	return groups
}

// name reads the file names of a folder's group and forms lanes by them.
func (s *scan) name(g *group, pattern *regexp.Regexp) {
	stems := make([]string, len(g.sources))
	for i, src := range g.sources {
		stems[i] = src.stem
	}
	if g.key.poly {
		for _, src := range g.sources {
			src.name = readPolyName(src.stem, src.info.Format.Channels)
		}
	} else {
		for i, n := range readNames(stems, sideBySide(g.sources)) {
			g.sources[i].name = n
			g.wholeName(g.sources[i])
		}
	}
	if pattern != nil {
		for _, src := range g.sources {
			if n, ok := matchPattern(pattern, src.stem); ok {
				src.name = n
			} else {
				s.problem(src.path, 0, "the name does not fit the name pattern; it was read as if there were none")
			}
		}
	}
	lanes := map[string]*lane{}
	for _, src := range g.sources {
		id := strings.ToLower(src.name.name)
		if src.name.track > 0 {
			id = fmt.Sprintf("%03d", src.name.track)
		}
		id = fmt.Sprintf("%s/%d", id, src.info.Format.Channels)
		l := lanes[id]
		if l == nil {
			l = &lane{id: id, channels: src.info.Format.Channels}
			lanes[id] = l
			g.lanes = append(g.lanes, l)
		}
		l.sources = append(l.sources, src)
	}
	if g.key.poly {
		g.lanes = joinSeries(g.lanes)
	}
	var extra []*lane
	for _, l := range g.lanes {
		l.sort()
		extra = append(extra, s.untangle(l)...)
	}
	g.lanes = append(g.lanes, extra...)
	slices.SortStableFunc(g.lanes, func(a, b *lane) int { return natural(a.id, b.id) })
}

// sort puts a lane's segments in order of time: by the clock, where every file
// has one and they differ, else by number, else by name.
func (l *lane) sort() {
	clocks := !slices.ContainsFunc(l.sources, func(src *source) bool { return !src.clock.known }) &&
		distinct(len(l.sources), func(i int) int64 { return l.sources[i].clock.frame }) == len(l.sources)
	slices.SortStableFunc(l.sources, func(a, b *source) int {
		byNumber := cmp.Or(cmp.Compare(a.name.segment, b.name.segment), natural(a.path, b.path))
		if clocks {
			return cmp.Or(cmp.Compare(a.clock.frame, b.clock.frame), byNumber)
		}
		return byNumber
	})
}

// untangle takes files out of a lane that say they are the same segment of the
// same track, a copy left in the folder perhaps, and gives each a lane of its
// own: nothing is dropped.
func (s *scan) untangle(l *lane) (extra []*lane) {
	kept := l.sources[:1]
	for _, src := range l.sources[1:] {
		last := kept[len(kept)-1]
		same := src.name.segment == last.name.segment && last.folder() == src.folder()
		if same && last.clock.exact && src.clock.exact {
			same = src.clock.frame < last.clock.frame+last.info.Frames
		}
		if !same {
			kept = append(kept, src)
			continue
		}
		s.problem(src.path, 0, "the same track and segment as "+filepath.Base(last.path)+"; taken for a track of its own")
		src.name.track, src.name.name = 0, clean(src.stem)
		extra = append(extra, &lane{id: l.id + "/" + src.stem, channels: l.channels, sources: []*source{src}})
	}
	l.sources = kept
	return extra
}

// joinSeries makes one lane of polyphonic files whose names have nothing in
// common but which were recorded one after the other, "rec 21-30" and
// "rec 22-00". Those recorded side by side stay apart: tracks 1 to 32 and 33 to
// 64.
func joinSeries(lanes []*lane) []*lane {
	var joined []*lane
	for _, l := range lanes {
		at := slices.IndexFunc(joined, func(j *lane) bool {
			if j.channels != l.channels || j.sources[0].name.track > 0 || l.sources[0].name.track > 0 {
				return false
			}
			for _, a := range j.sources {
				for _, b := range l.sources {
					if !a.clock.exact || !b.clock.exact || overlap(a, b) {
						return false
					}
				}
			}
			return true
		})
		if at < 0 {
			joined = append(joined, l)
			continue
		}
		joined[at].sources = append(joined[at].sources, l.sources...)
	}
	return joined
}

// overlap tells whether two files with clocks were recorded at the same time,
// by more than a block.
func overlap(a, b *source) bool {
	slack := int64(a.info.Format.SampleRate) / 10
	return a.clock.frame+slack < b.clock.frame+b.info.Frames && b.clock.frame+slack < a.clock.frame+a.info.Frames
}

// sideBySide tells whether files were recorded at the same time, by bext, else
// because they are equally long.
func sideBySide(sources []*source) bool {
	for _, src := range sources[1:] {
		a, b := sources[0], src
		if a.clock.known && b.clock.known {
			if a.clock.frame != b.clock.frame && !overlap(a, b) {
				return false
			}
		} else if a.info.Frames != b.info.Frames {
			return false
		}
	}
	return true
}

// trackNames returns the names of a file's tracks: iXML's, else the file
// name's.
func trackNames(src *source) []string {
	names := namesBy(src.name.name, src.info.Format)
	if ixml := src.info.Meta.IXML; ixml != nil {
		for i, t := range ixml.Tracks {
			at := t.InterleaveIndex - 1
			if t.InterleaveIndex == 0 {
				at = i
			}
			if name := strings.TrimSpace(t.Name); name != "" && at >= 0 && at < len(names) {
				names[at] = name
			}
		}
	}
	return names
}

// natural compares names so that 2 comes before 10.
func natural(a, b string) int {
	for a != "" && b != "" {
		na, nb := digits(a), digits(b)
		if na > 0 && nb > 0 {
			x, _ := strconv.ParseUint(a[:na], 10, 64) // too many digits compare as the largest number
			y, _ := strconv.ParseUint(b[:nb], 10, 64)
			if c := cmp.Or(cmp.Compare(x, y), cmp.Compare(a[:na], b[:nb])); c != 0 {
				return c
			}
			a, b = a[na:], b[nb:]
			continue
		}
		if c := cmp.Compare(a[0], b[0]); c != 0 {
			return c
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}
