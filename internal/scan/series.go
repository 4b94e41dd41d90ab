package scan

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"nightreel/catalog"
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

// checkClocks finds the segments of each lane whose clock contradicts their
// number, and those whose clock is far from the date that the folder tells while
// others' are not. Their clocks count no more, and their recording is put in order
// by number.
func (s *scan) checkClocks(g *group) {
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
		others := ""
		if n := wrong[src.name.segment] - 1; n > 0 {
			others = fmt.Sprintf(", like that of %d more files", n)
		}
		s.problem(src, fmt.Sprintf("its clock, %s, contradicts its number and the other segments%s; ordered by number", src.header.StartsAt.Format(time.DateTime), others))
	}
	for _, l := range g.lanes {
		l.sort()
	}
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
	date := func(src *source) catalog.Date {
		if src.says.date != "" {
			return src.says.date
		}
		date, _, _ := dateIn(src.stem)
		return date
	}
	fits := slices.ContainsFunc(in, func(src *source) bool { return onDate(src.clock.time, date(src)) })
	weight := func(src *source) int {
		if onDate(src.clock.time, date(src)) {
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
