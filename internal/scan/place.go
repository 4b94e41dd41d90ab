package scan

import (
	"fmt"
	"path/filepath"
	"slices"

	"nightreel/internal/meter"
)

// join puts groups of several folders together that are one recording: all
// files of both have exact clocks and no track of one overlaps the same track
// of the other. Two sets of a night become one recording with a pause, so that
// the night has one time line; a copy of the night stays a recording of its
// own.
func join(groups []*group) []*group {
	var joined []*group
	for _, g := range groups {
		at := slices.IndexFunc(joined, func(j *group) bool { return j.key == g.key && joinable(j, g) })
		if at < 0 {
			joined = append(joined, g)
			continue
		}
		j := joined[at]
		j.sources = append(j.sources, g.sources...)
		for _, l := range g.lanes {
			i := slices.IndexFunc(j.lanes, func(o *lane) bool { return o.track == l.track && o.channels == l.channels })
			if i < 0 {
				j.lanes = append(j.lanes, l)
				continue
			}
			j.lanes[i].sources = append(j.lanes[i].sources, l.sources...)
			j.lanes[i].sort()
		}
	}
	return joined
}

func joinable(a, b *group) bool {
	for _, x := range a.sources {
		for _, y := range b.sources {
			if !x.clock.exact || !y.clock.exact {
				return false
			}
			if x.track >= y.track+y.format.Channels || y.track >= x.track+x.format.Channels {
				continue // different tracks
			}
			if overlap(x, y) || x.track != y.track || x.format.Channels != y.format.Channels {
				return false
			}
		}
	}
	return true
}

// maxPause is the longest stretch without audio within one recording, in hours:
// longer ones come from a wrong clock.
const maxPause = 24

// place gives every file its segment and its place in the recording: by exact
// clocks where all files have them and they make sense, else one after the
// other by segment number.
func (s *scan) place(g *group) {
	if g.clocksHold() {
		s.placeByClock(g)
	} else {
		s.placeByNumber(g)
	}
}

// clocksHold reports whether bext time references can be believed: within each
// lane no file starts before the one before it ends.
func (g *group) clocksHold() bool {
	first, last := int64(0), int64(0)
	for i, l := range g.lanes {
		for k, src := range l.sources {
			if !src.clock.exact || k > 0 && overlap(l.sources[k-1], src) {
				return false
			}
			if i+k == 0 {
				first, last = src.clock.frame, src.clock.frame
			}
			first, last = min(first, src.clock.frame), max(last, src.clock.frame)
		}
	}
	return last-first < maxPause*3600*int64(g.key.rate)
}

func (s *scan) placeByClock(g *group) {
	block := int64(meter.BlockFrames(g.key.rate))
	first := g.sources[0].clock.frame
	for _, src := range g.sources {
		first = min(first, src.clock.frame)
	}
	told := map[int64]bool{}
	for _, l := range g.lanes {
		if late := float64(l.sources[0].clock.frame-first) / float64(g.key.rate); late > longPause.Seconds() {
			s.problem(l.sources[0], fmt.Sprintf("starts %.0f min after other tracks of its recording, by its clock; until then it counts as not recorded", late/60))
		}
		end := int64(0)
		for i, src := range l.sources {
			src.start = src.clock.frame - first
			// References that a recorder took from its wall clock are off by some
			// milliseconds: less than a block is no gap.
			if src.start-end < block {
				src.start = end
			}
			end = src.end()
			src.seg = i
			if i > 0 {
				before := l.sources[i-1]
				src.seg = before.seg + 1
				s.tellPause(src, float64(src.start-before.end())/float64(g.key.rate), told)
				if skipped := segmentsBetween(before, src); skipped > 0 && src.start > before.end() {
					src.seg += skipped
					s.missing(src, skipped, float64(src.start-before.end())/float64(g.key.rate))
				}
			}
		}
	}
}

// tellPause reports a long pause before a segment, once for all tracks that have
// it. told holds the places that were reported.
func (s *scan) tellPause(src *source, seconds float64, told map[int64]bool) {
	if seconds <= longPause.Seconds() || told[src.start] {
		return
	}
	told[src.start] = true
	text := fmt.Sprintf("starts %.0f min after the segment before it ended, by its clock; until then nothing counts as recorded", seconds/60)
	if seconds > showGap.Seconds() {
		text += "; if these are two shows: nightreel shows split"
	}
	s.problem(src, text)
}

// maxSkipped is the most segments that are believed to be missing; a larger
// step is a time of day or a take number.
const maxSkipped = 99

// segmentsBetween returns how many numbers the names skip between two segments.
func segmentsBetween(before, after *source) int {
	if before.name.segment < 0 || after.name.segment < 0 || before.folder() != after.folder() {
		return 0
	}
	if n := after.name.segment - before.name.segment - 1; n > 0 && n <= maxSkipped {
		return n
	}
	return 0
}

func (s *scan) missing(next *source, count int, seconds float64) {
	what := "a segment is"
	if count > 1 {
		what = fmt.Sprintf("%d segments are", count)
	}
	s.problem(next, fmt.Sprintf("%s missing before this one; %.1f s count as not recorded", what, seconds))
}

// placeByNumber puts segments one after the other on a time line that all lanes
// share: each segment is as long as the longest file of that number. So a track
// that lacks a segment goes on in the right place, and a segment that all lack
// is taken to be as long as the one before it.
func (s *scan) placeByNumber(g *group) {
	index := g.segmentIndex()
	lengths := map[int]int64{}
	last := 0
	for _, l := range g.lanes {
		for _, src := range l.sources {
			src.seg = index(src)
			lengths[src.seg] = max(lengths[src.seg], src.frames())
			last = max(last, src.seg)
		}
	}
	starts := make([]int64, last+1)
	for i := 1; i <= last; i++ {
		if lengths[i-1] == 0 && i > 1 {
			lengths[i-1] = lengths[i-2]
		}
		starts[i] = starts[i-1] + lengths[i-1]
	}
	for _, l := range g.lanes {
		for i, src := range l.sources {
			src.start = starts[src.seg]
			if i > 0 {
				before := l.sources[i-1]
				if skipped := src.seg - before.seg - 1; skipped > 0 {
					s.missing(src, skipped, float64(src.start-before.end())/float64(g.key.rate))
				} else if src.start > before.end() {
					s.problem(before, fmt.Sprintf("shorter than the same segment of other tracks by %.1f s, which count as not recorded",
						float64(src.start-before.end())/float64(g.key.rate)))
				}
			} else if src.start > 0 {
				s.missing(src, src.seg, float64(src.start)/float64(g.key.rate))
			}
		}
	}
}

// segmentIndex returns how a file's place among the segments, from 0, follows
// from its number; without believable numbers from its place in its lane.
func (g *group) segmentIndex() func(*source) int {
	place := map[*source]int{}
	numbers := map[int]bool{}
	believable := true
	folder := filepath.Dir(g.sources[0].path)
	for _, l := range g.lanes {
		for i, src := range l.sources {
			place[src] = i
			numbers[src.name.segment] = true
			believable = believable && src.name.segment >= 0 && src.folder() == folder &&
				(i == 0 || src.name.segment > l.sources[i-1].name.segment)
		}
	}
	first, last := -1, -1
	for n := range numbers {
		if first < 0 || n < first {
			first = n
		}
		last = max(last, n)
	}
	if !believable || last-first+1 > len(numbers)+maxSkipped {
		return func(src *source) int { return place[src] }
	}
	return func(src *source) int { return src.name.segment - first }
}
