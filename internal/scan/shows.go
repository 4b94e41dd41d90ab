package scan

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
)

// label says which show a file is of.
type label struct {
	date catalog.Date
	name string
	// unnamed numbers the shows of a date that nothing names; they are called by
	// their start once all are known. 0 = name counts.
	unnamed int
}

// cluster is what one rig recorded in one go, pauses within a show included.
type cluster struct {
	rig        string
	sources    []*source
	start, end time.Time
	timeless   bool // no clock tells when
	show       int  // index into a day's shows; -1 = not known yet
}

// near tells by how much two clusters overlap, negative where they are apart, and
// whether that is near enough for one show.
func (c *cluster) near(o *cluster) (time.Duration, bool) {
	if c.timeless || o.timeless {
		return 0, false
	}
	start, end := c.start, c.end
	if o.start.After(start) {
		start = o.start
	}
	if o.end.Before(end) {
		end = o.end
	}
	overlap := end.Sub(start)
	return overlap, overlap >= -showGap
}

func (c *cluster) believable(date catalog.Date) bool { return !c.timeless && onDate(c.start, date) }

// dayShow is one show of a date while the day is sorted out.
type dayShow struct {
	part     string
	clusters []*cluster
}

// shows decides for every source which show of its date it is of.
func (s *scan) shows(all []*source) {
	byDate := map[catalog.Date][]*source{}
	for _, src := range all {
		byDate[src.date] = append(byDate[src.date], src)
	}
	for date, sources := range byDate {
		for i, sh := range day(date, sources) {
			for _, c := range sh.clusters {
				for _, src := range c.sources {
					src.label = label{date: date, name: sh.part}
					if sh.part == "" {
						src.label.unnamed = i + 1
					}
				}
			}
		}
	}
	obeyShowWords(all)
	nameShows(all)
}

// day sorts the files of a date into shows: those that a folder names; then what
// the rig with most recordings apart recorded in each go, with what the others
// recorded at the same time.
func day(date catalog.Date, sources []*source) []*dayShow {
	var shows []*dayShow
	byPart := map[string]int{}
	var loose []*source
	for _, src := range sources { // in order of path
		if src.says.part == "" {
			loose = append(loose, src)
			continue
		}
		at, ok := byPart[src.says.part]
		if !ok {
			at = len(shows)
			byPart[src.says.part] = at
			shows = append(shows, &dayShow{part: src.says.part})
		}
		shows[at].clusters = append(shows[at].clusters, nil)
		shows[at].clusters[len(shows[at].clusters)-1] = newCluster(src.hint, []*source{src})
	}
	clusters := goes(loose)
	attach := func(c *cluster, to int) {
		c.show = to
		shows[to].clusters = append(shows[to].clusters, c)
	}
	found := func(c *cluster) { // a show of its own
		shows = append(shows, &dayShow{})
		attach(c, len(shows)-1)
	}
	named := len(shows)
	for _, c := range clusters { // a folder names the show that others recorded too
		if to := nearest(c, shows[:named]); to >= 0 {
			attach(c, to)
		}
	}
	for _, rig := range rigsByGoes(date, clusters) {
		attachRig(date, rig, &shows, named, attach, found)
	}
	return shows
}

func newCluster(rig string, sources []*source) *cluster {
	c := &cluster{rig: rig, sources: sources, timeless: true, show: -1}
	for _, src := range sources {
		if !src.clock.known {
			continue
		}
		if c.timeless || src.clock.time.Before(c.start) {
			c.start = src.clock.time
		}
		if c.timeless || src.ends().After(c.end) {
			c.end = src.ends()
		}
		c.timeless = false
	}
	return c
}

// goes cuts what each rig recorded where its clocks are further apart than a show
// has pauses. A file without a clock goes with the segment before it.
func goes(sources []*source) []*cluster {
	type key struct{ rig, show string }
	byRig := map[string][]*source{}
	timeless := map[key][]*source{}
	follow := map[*source][]*source{}
	for _, src := range sources {
		switch {
		case src.clock.known:
			byRig[src.hint] = append(byRig[src.hint], src)
		case src.after != nil && src.after.clock.known && src.after.date == src.date && src.after.says.part == "":
			follow[src.after] = append(follow[src.after], src)
		default:
			k := key{src.hint, src.says.show}
			timeless[k] = append(timeless[k], src)
		}
	}
	var all []*cluster
	for rig, of := range byRig {
		slices.SortFunc(of, func(a, b *source) int {
			return cmp.Or(a.clock.time.Compare(b.clock.time), cmp.Compare(a.path, b.path))
		})
		var end time.Time
		from := 0
		for i, src := range of {
			if i > 0 && src.clock.time.Sub(end) > showGap {
				all = append(all, newCluster(rig, of[from:i:i]))
				from = i
			}
			if i == 0 || src.ends().After(end) {
				end = src.ends()
			}
		}
		all = append(all, newCluster(rig, of[from:]))
	}
	for _, c := range all {
		for _, src := range slices.Clone(c.sources) {
			c.sources = append(c.sources, follow[src]...)
		}
	}
	for k, of := range timeless {
		all = append(all, newCluster(k.rig, of))
	}
	slices.SortFunc(all, func(a, b *cluster) int {
		if a.timeless != b.timeless {
			if a.timeless {
				return 1
			}
			return -1
		}
		return cmp.Or(a.start.Compare(b.start), cmp.Compare(a.rig, b.rig), cmp.Compare(a.sources[0].path, b.sources[0].path))
	})
	return all
}

// nearest returns the show that has the clusters nearest in time, -1 where none is
// near enough for one show.
func nearest(c *cluster, shows []*dayShow) int {
	best, at := time.Duration(0), -1
	for i, sh := range shows {
		for _, o := range sh.clusters {
			overlap, ok := c.near(o)
			if sh.part != "" && overlap <= 0 {
				ok = false // beside a soundcheck there is a show
			}
			if ok && (at < 0 || overlap > best) {
				best, at = overlap, i
			}
		}
	}
	return at
}

// rigsByGoes returns the clusters that no show has yet, rig by rig: first the rig
// that recorded most goes on the day, so that one that ran through does not make
// one show of two.
func rigsByGoes(date catalog.Date, clusters []*cluster) [][]*cluster {
	byRig := map[string][]*cluster{}
	for _, c := range clusters {
		if c.show < 0 {
			byRig[c.rig] = append(byRig[c.rig], c)
		}
	}
	var rigs [][]*cluster
	for _, of := range byRig {
		rigs = append(rigs, of)
	}
	count := func(of []*cluster) (goes int, seconds float64) {
		for _, c := range of {
			if c.believable(date) {
				goes++
			}
			for _, src := range c.sources {
				seconds += src.seconds() * float64(src.file.Channels)
			}
		}
		return goes, seconds
	}
	slices.SortFunc(rigs, func(a, b []*cluster) int {
		goesA, secondsA := count(a)
		goesB, secondsB := count(b)
		return cmp.Or(cmp.Compare(goesB, goesA), cmp.Compare(secondsB, secondsA), cmp.Compare(a[0].rig, b[0].rig))
	})
	return rigs
}

// attachRig gives one rig's clusters to the shows that are there, or makes new
// ones. What is near in time belongs together. Where nothing is, the rig's clock
// is wrong: what lies in the same show's folder is taken in order.
func attachRig(date catalog.Date, rig []*cluster, shows *[]*dayShow, named int, attach func(*cluster, int), found func(*cluster)) {
	seeds := len(*shows)
	var rest []*cluster
	some := false
	for _, c := range rig {
		if to := nearest(c, (*shows)[:seeds]); to >= 0 {
			attach(c, to)
			some = true
		} else {
			rest = append(rest, c)
		}
	}
	folder := rig[0].sources[0].says.show
	var same []int // unnamed shows in the same folder
	for i := named; i < seeds; i++ {
		if slices.ContainsFunc((*shows)[i].clusters, func(o *cluster) bool { return o.rig != rig[0].rig && o.sources[0].says.show == folder }) {
			same = append(same, i)
		}
	}
	for i, c := range rest {
		switch {
		case !some && len(rest) == len(same):
			attach(c, same[i])
		case c.timeless && len(same) > 0, !c.timeless && !c.believable(date) && len(same) > 0:
			attach(c, same[0])
		case c.timeless && seeds == 1:
			attach(c, 0)
		case c.timeless && i > 0 && rest[i-1].timeless:
			attach(c, rest[i-1].show)
		default:
			found(c)
		}
	}
}

// obeyShowWords gives files to the shows that a person said. A file of which
// nothing was said follows the files of its folder that were said of, the nearest
// by clock; and what nothing was said of at all follows the rest of its show where
// all of it went one way.
func obeyShowWords(all []*source) {
	said := func(src *source) (label, bool) {
		key := catalog.ShowKey(src.words[catalog.SaidShow])
		if key == "" {
			return label{}, false
		}
		return label{date: key.Date(), name: strings.TrimSpace(strings.TrimPrefix(string(key), string(key.Date())))}, true
	}
	type unit struct {
		folder, hint string
		format       int
		label        label
	}
	units := map[unit][]*source{}
	words := map[label]map[label]bool{} // of a show as it was found: where its files went
	for _, src := range all {
		if l, ok := said(src); ok {
			u := unit{src.folder(), src.hint, src.format.SampleRate, src.label}
			units[u] = append(units[u], src)
			if words[src.label] == nil {
				words[src.label] = map[label]bool{}
			}
			words[src.label][l] = true
		}
	}
	if len(words) == 0 {
		return
	}
	now := map[*source]label{}
	for _, src := range all {
		if l, ok := said(src); ok {
			now[src] = l
			continue
		}
		if of := units[unit{src.folder(), src.hint, src.format.SampleRate, src.label}]; len(of) > 0 {
			best := of[0]
			for _, o := range of[1:] {
				if src.clock.known && o.clock.known && best.clock.known &&
					o.clock.time.Sub(src.clock.time).Abs() < best.clock.time.Sub(src.clock.time).Abs() {
					best = o
				}
			}
			now[src], _ = said(best)
			continue
		}
		if to := words[src.label]; len(to) == 1 {
			for l := range to {
				now[src] = l
			}
		}
	}
	for src, l := range now {
		src.label = l
	}
	// A date alone is its show that nothing names.
	first := map[catalog.Date]int{}
	for _, src := range all {
		if n := src.label.unnamed; n > 0 && (first[src.label.date] == 0 || n < first[src.label.date]) {
			first[src.label.date] = n
		}
	}
	for _, src := range all {
		if src.label.name == "" && src.label.unnamed == 0 {
			src.label.unnamed = max(first[src.label.date], 1)
		}
	}
}

// nameShows calls the shows that nothing names by the clock at their start where
// the date has several: the main rig's where there is one, since clocks differ,
// and the earliest of those that fit the date.
func nameShows(all []*source) {
	shows := map[catalog.Date]map[label]bool{}
	best := map[label]*source{}
	for _, src := range all {
		if shows[src.label.date] == nil {
			shows[src.label.date] = map[label]bool{}
		}
		shows[src.label.date][src.label] = true
		if !src.clock.known {
			continue
		}
		rank := func(s *source) int {
			n := 0
			if onDate(s.clock.time, s.label.date) {
				n += 2
			}
			if s.hint == catalog.MainRig {
				n++
			}
			return n
		}
		if o := best[src.label]; o == nil || rank(src) > rank(o) || rank(src) == rank(o) && src.clock.time.Before(o.clock.time) {
			best[src.label] = src
		}
	}
	names := map[label]string{}
	for l, src := range best {
		if len(shows[l.date]) > 1 {
			names[l] = src.clock.time.Format("15:04")
		}
	}
	for _, src := range all {
		if src.label.unnamed > 0 {
			src.label = label{date: src.label.date, name: names[src.label]}
		}
	}
}
