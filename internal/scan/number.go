package scan

import (
	"cmp"
	"fmt"
	"slices"

	"nightreel/catalog"
)

// number gives the lanes of a group their track numbers and names. Numbers are
// told by the recorder's input numbers in iXML, else by names, else by the place
// in the only polyphonic file. Others are assumed: those that the name was given
// in another folder of the show, else in order of name. Input lists have no say:
// a track with an assumed number is found in them by its name. given is kept from
// folder to folder.
func (s *scan) number(g *group, given map[string]int) {
	byInput := map[*lane]int{}
	for _, l := range g.lanes {
		if n := inputNumber(l); n > 0 {
			byInput[l] = n
		}
	}
	// A recorder that counts the inputs of each mono file from 1 tells nothing.
	distinctInputs := len(byInput) == len(g.lanes) && apart(g.lanes, byInput)
	taken := map[int]bool{}
	take := func(l *lane, track int) bool {
		for i := range l.channels {
			if track < 1 || taken[track+i] {
				return false
			}
		}
		l.track = track
		for i := range l.channels {
			taken[track+i] = true
		}
		return true
	}
	without := slices.Clone(g.lanes)
	// rest gives numbers to those lanes that have none yet.
	rest := func(number func(*lane) int) {
		without = slices.DeleteFunc(without, func(l *lane) bool { return take(l, number(l)) })
	}
	rest(func(l *lane) int {
		told := l.sources[0].name.track
		if distinctInputs && l.sources[0].words[catalog.ScanPattern] == "" {
			told = byInput[l]
		}
		if told == 0 && g.key.poly && len(g.lanes) == 1 {
			told = 1
		}
		return told
	})
	for _, l := range g.lanes {
		l.told = l.track > 0
	}
	next := 1
	if !g.key.poly { // those have no names to go by
		rest(func(l *lane) int { return given[l.id] })
		for _, n := range given {
			next = max(next, n+1)
		}
	}
	for track := range taken {
		next = max(next, track+1)
	}
	for _, l := range without {
		if told := l.sources[0].name.track; told > 0 && told != next {
			s.problem(l.sources[0], fmt.Sprintf("track %d is another file's; numbered %d", told, next))
		}
		take(l, next)
		next += l.channels
	}
	slices.SortFunc(g.lanes, func(a, b *lane) int { return cmp.Compare(a.track, b.track) })
	for _, l := range g.lanes {
		if !l.told {
			given[l.id] = l.track
		}
		for _, src := range l.sources {
			src.track, src.told, src.names = l.track, l.told, trackNames(src)
		}
	}
}

// inputNumber returns the recorder's number of a lane's first track by iXML, 0
// where the numbers are not given or leave gaps: a file's tracks are
// consecutive.
func inputNumber(l *lane) int {
	first := 0
	for _, src := range l.sources {
		if len(src.header.Tracks) == 0 {
			return 0
		}
		for _, t := range src.header.Tracks {
			at := max(t.Place, 1)
			if t.Input < at || at > l.channels || first > 0 && t.Input-at+1 != first {
				return 0
			}
			first = t.Input - at + 1
		}
	}
	return first
}

// apart reports whether lanes numbered so share no track.
func apart(lanes []*lane, numbers map[*lane]int) bool {
	taken := map[int]bool{}
	for _, l := range lanes {
		for i := range l.channels {
			if taken[numbers[l]+i] {
				return false
			}
			taken[numbers[l]+i] = true
		}
	}
	return true
}
