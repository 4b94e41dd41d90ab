package scan

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

const (
	// morning is the hour until which a recording may belong to the night
	// before (common practice, no source).
	morning = 10
	// showGap is the longest pause within a show: recordings of one rig that lie
	// further apart are of two shows. Sets of one show are rarely more than half an
	// hour apart, and between a matinee and an evening show the house is emptied and
	// filled again, which takes hours (common practice, no source).
	showGap = 90 * time.Minute
	// longPause is the pause between segments of a recording from which a scan
	// reports it: an interval of a show is shorter (common practice, no source).
	longPause = 40 * time.Minute
	// clockSlack is how exactly a pause is an hour if the clock was set by one:
	// recorders take their time references from clocks that count seconds.
	clockSlack = 3 * time.Second
	// shortestFull is the length from which a segment may be one that a recorder
	// closed by itself, by size or by time (common practice, no source).
	shortestFull = time.Minute
	// trackStart is by how many seconds the clocks of tracks that one recorder
	// started at once may differ (common practice, no source).
	trackStart = 2
)

// onDate reports whether a clock fits a show of a date: that day, or the morning
// after.
func onDate(t time.Time, date catalog.Date) bool {
	day, err := time.Parse(time.DateOnly, string(date))
	if err != nil {
		return false
	}
	return !t.Before(day) && t.Before(day.Add((24+morning)*time.Hour))
}

// checkClocks finds clocks that cannot be right, by what else is known of the
// files: their numbers, the folder's date, their lengths, and the other tracks. It
// reports each of them. A clock that is wrong by an unknown amount counts no more;
// one that is wrong by a known amount is put right.
func (s *scan) checkClocks(g *group) {
	s.clocksAgainstNumbers(g)
	s.clocksOfOtherDates(g)
	s.clocksOfOneTrack(g)
	s.clocksSet(g)
}

// clocksAgainstNumbers finds the segments of each lane whose clock contradicts
// their number, and those whose clock is far from the date that the folder tells
// while others' are not. Their clocks count no more, and their recording is put in
// order by number.
func (s *scan) clocksAgainstNumbers(g *group) {
	wrong := map[int]int{} // segment → how many files
	var first []*source
	for _, l := range g.lanes {
		for _, src := range l.wrongClocks() {
			if wrong[src.name.segment]++; wrong[src.name.segment] == 1 {
				first = append(first, src)
			}
			src.clock = clock{}
		}
	}
	if len(first) == 0 {
		return
	}
	slices.SortFunc(first, func(a, b *source) int { return cmp.Compare(a.path, b.path) })
	for _, src := range first {
		s.problem(src, fmt.Sprintf("its clock, %s, contradicts its number and the other segments%s; ordered by number", src.header.StartsAt.Format(time.DateTime), likeMore(wrong[src.name.segment])))
	}
	for _, l := range g.lanes {
		l.sort()
	}
}

// likeMore says how many files more than one a problem is about.
func likeMore(files int) string {
	switch files {
	case 1:
		return ""
	case 2:
		return ", like that of 1 more file"
	}
	return fmt.Sprintf(", like that of %d more files", files-1)
}

// dateSaid returns the date that a file's folder or name tells, "" for none.
func (s *source) dateSaid() catalog.Date {
	if s.says.date != "" {
		return s.says.date
	}
	date, _, _ := dateIn(s.stem)
	return date
}

// clocksOfOtherDates finds the files whose clock does not fit the date that their
// folder or name tells. If clocks of other files beside them fit it, theirs were
// reset and count no more. If none fits, all are kept, because they may be right
// to each other.
func (s *scan) clocksOfOtherDates(g *group) {
	fit := false
	first := map[catalog.Date]*source{}
	count := map[catalog.Date]int{}
	var wrong []*source
	for _, src := range g.sources { // in order of path
		said := src.dateSaid()
		if !src.clock.known || said == "" || src.old != nil {
			continue
		}
		if onDate(src.clock.time, said) {
			fit = true
			continue
		}
		wrong = append(wrong, src)
		day := catalog.Date(src.clock.time.Format(time.DateOnly))
		if count[day]++; count[day] == 1 {
			first[day] = src
		}
	}
	then := "the folder's date counts; times of day are as the clock has them"
	if fit {
		then = "unlike that of other files; it does not count"
	}
	for _, day := range slices.Sorted(maps.Keys(first)) {
		src := first[day]
		s.problem(src, fmt.Sprintf("its clock, %s, does not fit the date %s%s: %s", src.clock.time.Format(time.DateTime), src.dateSaid(), likeMore(count[day]), then))
	}
	if !fit || len(wrong) == 0 {
		return
	}
	for _, src := range wrong {
		src.clock = clock{}
	}
	for _, l := range g.lanes {
		l.sort()
	}
}

// clocksOfOneTrack finds the tracks whose files are as long as those of the other
// tracks but start at another time by the clock. One recorder starts all its tracks
// at once, so their clocks are made those of the others.
func (s *scan) clocksOfOneTrack(g *group) {
	alike := func(a, b *lane) bool { // in number and length of files
		return slices.EqualFunc(a.sources, b.sources, func(x, y *source) bool { return x.clock.exact && y.clock.exact && x.frames() == y.frames() })
	}
	at := map[int64][]*lane{}
	var most []*lane
	for _, l := range g.lanes {
		if src := l.sources[0]; src.clock.exact {
			at[src.clock.frame] = append(at[src.clock.frame], l)
			if of := at[src.clock.frame]; len(of) > len(most) {
				most = of
			}
		}
	}
	if len(most) < 2 || 2*len(most) <= len(g.lanes) {
		return
	}
	right := most[0]
	for _, l := range g.lanes {
		by := l.sources[0].clock.frame - right.sources[0].clock.frame
		seconds := float64(by) / float64(g.key.rate)
		if !alike(l, right) || math.Abs(seconds) < trackStart {
			continue
		}
		s.problem(l.sources[0], fmt.Sprintf("its clock, %s, is %.0f s apart from that of %d other tracks of the same length; it is taken to start with them", l.sources[0].clock.time.Format(time.DateTime), seconds, len(most)))
		for i, src := range l.sources {
			src.clock = right.sources[i].clock
		}
	}
}

// clocksSet finds the segments before which the recorder's clock was set on by an
// hour: the one before is the longest of its lane, as one is that a recorder closed
// by itself, the numbers follow each other, and the pause is an hour to within
// clockSlack. The clocks from there on are set back.
func (s *scan) clocksSet(g *group) {
	var first []*source
	count := map[int]int{} // segment → files
	for _, l := range g.lanes {
		longest := int64(0)
		for _, src := range l.sources {
			longest = max(longest, src.frames())
		}
		back := time.Duration(0)
		for i, src := range l.sources {
			if i == 0 || !src.clock.exact || !l.sources[i-1].clock.exact {
				continue
			}
			before := l.sources[i-1]
			src.setBack(back)
			pause := src.clock.time.Sub(before.ends())
			full := longest-before.frames() <= int64(meter.BlockFrames(g.key.rate)) && before.ends().Sub(before.clock.time) >= shortestFull
			if full && before.name.segment >= 0 && src.name.segment == before.name.segment+1 && (pause-time.Hour).Abs() <= clockSlack {
				back += time.Hour
				src.setBack(time.Hour)
				if count[src.name.segment]++; count[src.name.segment] == 1 {
					first = append(first, src)
				}
			}
		}
	}
	for _, src := range first {
		s.problem(src, fmt.Sprintf("its clock, %s, is an hour later than where the segment before it, which is a full one, ended%s: the clock is taken to have been set, and no pause is assumed", src.header.StartsAt.Format(time.DateTime), likeMore(count[src.name.segment])))
	}
}

// setBack sets a file's clock back.
func (s *source) setBack(by time.Duration) {
	s.clock.time = s.clock.time.Add(-by)
	s.clock.frame -= int64(by.Seconds()) * int64(s.format.SampleRate)
}

// wrongClocks returns the segments of a numbered lane whose clocks cannot be
// right: all but the longest run, in order of number, whose clocks rise. Of two
// such runs the one counts that fits the date, then the one with the earlier
// segments.
func (l *lane) wrongClocks() (wrong []*source) {
	var in []*source
	for _, src := range l.sources {
		if src.name.segment < 0 {
			return nil
		}
		if src.clock.known {
			in = append(in, src)
		}
	}
	if len(in) < 2 || distinct(len(l.sources), func(i int) int { return l.sources[i].name.segment }) < len(l.sources) {
		return nil
	}
	slices.SortFunc(in, func(a, b *source) int { return cmp.Compare(a.name.segment, b.name.segment) })
	fits := slices.ContainsFunc(in, func(src *source) bool { return onDate(src.clock.time, src.dateSaid()) })
	weight := func(src *source) int {
		if onDate(src.clock.time, src.dateSaid()) {
			return 3
		}
		if fits {
			return 0
		}
		return 2
	}
	best, before := make([]int, len(in)), make([]int, len(in))
	last := 0
	for i, src := range in {
		best[i], before[i] = weight(src), -1
		for k := range i {
			if in[k].clock.frame < src.clock.frame && best[k]+weight(src) > best[i] {
				best[i], before[i] = best[k]+weight(src), k
			}
		}
		if best[i] > best[last] {
			last = i
		}
	}
	right := map[*source]bool{}
	for i := last; i >= 0; i = before[i] {
		right[in[i]] = weight(in[i]) > 0
	}
	for _, src := range in {
		if !right[src] {
			wrong = append(wrong, src)
		}
	}
	return wrong
}

// dates decides for every source of what date it is: by its folder, its name, its
// clock, what the caller said, or the time of the file.
func (s *scan) dates(all []*source) {
	assumed := map[string]bool{}
	for _, src := range all {
		named, _, ok := dateIn(src.stem)
		switch {
		case src.old != nil:
			src.date = src.old.Show.Date()
		case src.says.date != "":
			src.date = src.says.date
		case ok:
			src.date = named
		case src.clock.known:
			src.date = catalog.Date(src.clock.time.Format(time.DateOnly))
		}
	}
	for _, src := range all { // beside a file with a date, one without its own clock
		if src.date == "" && src.after != nil {
			src.date = src.after.date
		}
		if src.date == "" && src.words[catalog.ScanDate] != "" {
			src.date = catalog.Date(src.words[catalog.ScanDate])
		}
		if src.date == "" {
			src.date = catalog.Date(src.file.ModTime.Format(time.DateOnly))
			if !assumed[src.says.show] {
				assumed[src.says.show] = true
				s.problem(src, "neither folder, name nor bext tell the date; "+string(src.date)+", when the file was last written, is assumed")
			}
		}
	}
	s.afterMidnight(all)
	if s.opt.Date == "" {
		return
	}
	said := map[string]bool{}
	for _, src := range all {
		if src.found && src.date != s.opt.Date && !said[src.says.show] {
			said[src.says.show] = true
			s.problem(src, fmt.Sprintf("the folders or the files tell the date %s, which is believed, not %s", src.date, s.opt.Date))
		}
	}
}

// afterMidnight gives files that start in the morning to the night before where
// they start while, or soon after, something of it was recorded.
func (s *scan) afterMidnight(all []*source) {
	byDate := map[catalog.Date][]*source{}
	var early []*source
	for _, src := range all {
		if !src.clock.known {
			continue
		}
		byDate[src.date] = append(byDate[src.date], src)
		_, _, named := dateIn(src.stem)
		if src.says.date == "" && !named && src.old == nil && src.clock.time.Hour() < morning && string(src.date) == src.clock.time.Format(time.DateOnly) {
			early = append(early, src)
		}
	}
	// In order of time, so that what follows a file past midnight follows it.
	slices.SortFunc(early, func(a, b *source) int {
		return cmp.Or(a.clock.time.Compare(b.clock.time), cmp.Compare(a.path, b.path))
	})
	for _, src := range early {
		before := dayBefore(src.date)
		if slices.ContainsFunc(byDate[before], func(o *source) bool {
			return o.clock.time.Before(src.clock.time) && src.clock.time.Before(o.ends().Add(showGap))
		}) {
			src.date = before
			byDate[before] = append(byDate[before], src)
		}
	}
	for _, src := range all {
		if src.after != nil && !src.clock.known && src.says.date == "" {
			if _, _, named := dateIn(src.stem); !named && src.old == nil {
				src.date = src.after.date
			}
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
