package scan

import (
	"cmp"
	"fmt"
	"path/filepath"
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
	rig     string
	rigSaid bool           // by a person
	format  wavfile.Format // of any file; the channel count differs
	sources []*source
	lanes   []*lane
}

// groupKey is what the files of one recording have in common.
type groupKey struct {
	label    label
	hint     string
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

func keyOf(f wavfile.Format) groupKey {
	return groupKey{rate: f.SampleRate, bytes: f.ContainerBytes, bits: f.BitDepth, encoding: f.Encoding, poly: f.Channels > 2}
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

// group forms recordings of all sources. It works folder by folder first,
// because a folder's names share one pattern. Then it decides each file's show
// and rig, and joins folders of one show and rig if their bext times do not
// overlap.
func (s *scan) group(all []*source) ([]*group, error) {
	type folderKey struct {
		groupKey
		folder string
		date   catalog.Date
	}
	byFolder := map[folderKey]*group{}
	var folders []*group
	for _, src := range all {
		date, _, _ := dateIn(src.stem)
		if src.says.date != "" {
			date = ""
		}
		in := folderKey{keyOf(src.format), src.folder(), date}
		g := byFolder[in]
		if g == nil {
			g = &group{key: in.groupKey, format: src.format}
			byFolder[in] = g
			folders = append(folders, g)
		}
		g.sources = append(g.sources, src)
	}
	for _, g := range folders {
		if err := s.name(g); err != nil {
			return nil, err
		}
		s.checkClocks(g)
		g.follow()
		g.hints()
	}
	s.dates(all)
	s.shows(all)

	var groups []*group
	for _, g := range folders {
		groups = append(groups, g.byShow()...)
	}
	given := map[groupKey]map[string]int{}
	for _, g := range groups {
		if given[g.key] == nil {
			given[g.key] = map[string]int{}
		}
		s.number(g, given[g.key])
	}
	groups = join(groups)
	for _, g := range groups {
		s.place(g)
	}
	nameRigs(groups)
	return groups, nil
}

// follow tells each file without a clock which one of its lane, else of its
// folder, it comes after, or before where it is the first.
func (g *group) follow() {
	var any *source
	for _, src := range g.sources {
		if src.clock.known && any == nil {
			any = src
		}
	}
	for _, l := range g.lanes {
		var last *source
		for _, src := range l.sources {
			if src.clock.known {
				last = src
			} else {
				src.after = last
			}
		}
		for i := len(l.sources) - 1; i >= 0; i-- {
			if src := l.sources[i]; src.clock.known {
				last = src
			} else if src.after == nil {
				src.after = cmp.Or(last, any)
			}
		}
	}
}

// hints returns the known rigs of a folder's files: from a person, from the
// folder or the caller, or from the recorder's name. A file without its own
// hint gets that of the files beside it.
func (g *group) hints() {
	most := func(of func(*source) string) string {
		count := map[string]int{}
		for _, src := range g.sources {
			if v := of(src); v != "" {
				count[v]++
			}
		}
		return mostOf(count)
	}
	said := most(func(src *source) string { return src.words[catalog.SaidRig] })
	scanned := most(func(src *source) string { return src.words[catalog.ScanRig] })
	recorder := most(func(src *source) string { return src.header.Originator })
	for _, src := range g.sources {
		src.hint = cmp.Or(src.words[catalog.SaidRig], said, src.says.rig, scanned, src.header.Originator, recorder)
	}
}

// mostOf returns the key with the largest count, of several the smallest, "" for
// none.
func mostOf(count map[string]int) string {
	best := ""
	for v, n := range count {
		if n > count[best] || n == count[best] && v < best {
			best = v
		}
	}
	return best
}

// byShow cuts the files of one folder into those of each show and rig.
func (g *group) byShow() []*group {
	parts := map[groupKey]*group{}
	var all []*group
	of := func(src *source) *group {
		key := g.key
		key.label, key.hint = src.label, src.hint
		p := parts[key]
		if p == nil {
			p = &group{key: key, format: g.format}
			parts[key] = p
			all = append(all, p)
		}
		return p
	}
	for _, src := range g.sources {
		p := of(src)
		p.sources = append(p.sources, src)
	}
	for _, l := range g.lanes {
		lanes := map[*group]*lane{}
		for _, src := range l.sources {
			p := of(src)
			if lanes[p] == nil {
				lanes[p] = &lane{id: l.id, channels: l.channels}
				p.lanes = append(p.lanes, lanes[p])
			}
			lanes[p].sources = append(lanes[p].sources, src)
		}
	}
	return all
}

// name reads the file names of a folder's group and forms lanes by them.
func (s *scan) name(g *group) error {
	stems := make([]string, len(g.sources))
	for i, src := range g.sources {
		stems[i] = src.stem
	}
	if g.key.poly {
		for _, src := range g.sources {
			src.name = readPolyName(src.stem, src.format.Channels)
		}
	} else {
		for i, n := range readNames(stems, sideBySide(g.sources)) {
			g.sources[i].name = n
		}
		g.apart()
	}
	for _, src := range g.sources {
		pattern, err := compilePattern(src.words[catalog.ScanPattern])
		if err != nil {
			return err
		}
		if pattern == nil {
			continue
		}
		if n, ok := matchPattern(pattern, src.stem); ok {
			src.name = n
		} else {
			s.problem(src, "the name does not fit the name pattern; it was read as if there were none")
		}
	}
	lanes := map[string]*lane{}
	for _, src := range g.sources {
		id := src.laneID()
		l := lanes[id]
		if l == nil {
			l = &lane{id: id, channels: src.format.Channels}
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
	return nil
}

// laneID is what the names of one lane's files have in common.
func (s *source) laneID() string {
	id := strings.ToLower(s.name.name)
	if s.name.track > 0 {
		id = fmt.Sprintf("%03d", s.name.track)
	}
	return fmt.Sprintf("%s/%d", id, s.format.Channels)
}

// apart takes numbers for parts of the names where the files that they would make
// segments of one track were recorded at the same time: "Guitar" and "Guitar 2".
func (g *group) apart() {
	lanes := map[string][]*source{}
	for _, src := range g.sources {
		lanes[src.laneID()] = append(lanes[src.laneID()], src)
	}
	for _, of := range lanes {
		tangled := false
		for i, a := range of {
			for _, b := range of[:i] {
				tangled = tangled || a.name.segment != b.name.segment && a.name.track == 0 && a.clock.exact && b.clock.exact && overlap(a, b)
			}
		}
		if tangled {
			for _, src := range of {
				src.name = fileName{name: clean(src.stem), segment: -1}
			}
		}
	}
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

// untangle gives a file a lane of its own if it claims the same segment of the
// same track as another file, such as a copy left in the folder. It drops
// nothing.
func (s *scan) untangle(l *lane) (extra []*lane) {
	kept := l.sources[:1]
	for _, src := range l.sources[1:] {
		last := kept[len(kept)-1]
		same := src.name.segment == last.name.segment && last.folder() == src.folder()
		if same && last.clock.known && src.clock.known {
			same = overlap(last, src)
		}
		if !same {
			kept = append(kept, src)
			continue
		}
		s.problem(src, "the same track and segment as "+filepath.Base(last.path)+"; taken for a track of its own")
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
					if !a.clock.known || !b.clock.known || overlap(a, b) {
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

// overlap reports whether two files with clocks overlap by more than a block.
func overlap(a, b *source) bool {
	slack := int64(a.format.SampleRate) / 10
	return a.clock.frame+slack < b.clock.frame+b.frames() && b.clock.frame+slack < a.clock.frame+a.frames()
}

// sideBySide reports whether files were recorded at the same time: by bext, or
// else because they have equal lengths.
func sideBySide(sources []*source) bool {
	for _, src := range sources[1:] {
		a, b := sources[0], src
		if a.clock.known && b.clock.known {
			if a.clock.frame != b.clock.frame && !overlap(a, b) {
				return false
			}
		} else if a.frames() != b.frames() {
			return false
		}
	}
	return true
}

// trackNames returns the names of a file's tracks: iXML's, else the file
// name's.
func trackNames(src *source) []string {
	names := namesBy(src.name.name, src.format)
	for i, t := range src.header.Tracks {
		at := t.Place - 1
		if t.Place == 0 {
			at = i
		}
		if t.Name != "" && at >= 0 && at < len(names) {
			names[at] = t.Name
		}
	}
	return names
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
