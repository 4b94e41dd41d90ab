package songs

import (
	"maps"
	"slices"

	"nightreel/catalog"
)

// aligned places the remaining titles of the set list on the remaining music,
// between the takes that are already placed before and after them.
func (n *night) aligned() {
	held := n.satisfied()
	taken := n.taken()
	var placed []candidate
	if len(n.list) == 0 && len(n.refs) > 0 {
		placed = n.alignWindow(nil, outside(n.music, 0, n.block(n.ref.Frames)+1, taken))
	}
	for i := 0; i < len(n.list); {
		if held[i] != nil {
			i++
			continue
		}
		first := i
		for i < len(n.list) && held[i] == nil {
			i++
		}
		from, to := 0, n.block(n.ref.Frames)+1
		if first > 0 {
			from = n.block(held[first-1].end)
		}
		if i < len(n.list) {
			to = n.block(held[i].start)
		}
		if from >= to { // the list's order was not kept here
			from, to = 0, n.block(n.ref.Frames)+1
		}
		// If most of a stretch is taken, the remainder belongs to that take.
		music := slices.DeleteFunc(outside(n.music, from, to, taken), func(s stretch) bool { return 2*s.blocks() < s.whole })
		placed = append(placed, n.alignWindow(n.list[first:i], music)...)
	}
	n.settle(placed)
	for _, c := range placed {
		n.accept(c)
	}
	for i, c := range n.satisfied() {
		if c == nil {
			n.result.NotPlaced = append(n.result.NotPlaced, n.list[i].Song)
		}
	}
}

func (n *night) alignWindow(entries []catalog.SetListEntry, music []stretch) []candidate {
	var titles []wanted
	index := map[string]int{}
	title := func(name string) int {
		key := catalog.Key(name)
		i, ok := index[key]
		if !ok {
			i = len(titles)
			index[key] = i
			titles = append(titles, wanted{title: name, blocks: n.lengths[key]})
		}
		return i
	}
	var list []int
	for _, e := range entries {
		list = append(list, title(e.Song))
	}
	for _, c := range n.clusters {
		for _, key := range slices.Sorted(maps.Keys(c.titles)) {
			if name, ok := n.titles[key]; ok && c.titles[key] >= leastTitle {
				title(name)
			}
		}
	}
	// Keep what the list alone implies, so that other nights can rely on it.
	if len(list) > 0 {
		_, of := align(list, titles, music, recognition{})
		n.anchor(list, titles, music, of)
	}
	heard := n.recognition(titles)
	placed, _ := align(list, titles, music, heard)
	var cs []candidate
	for _, p := range placed {
		cs = append(cs, candidate{
			title: titles[p.title].title,
			start: n.frame(music[p.from].from), end: n.frame(music[p.to-1].to),
			by:         catalog.ByMusic,
			confidence: heard.sureness(p),
		})
	}
	return cs
}

// leastTitle is the least probability at which a song that is recognised by its
// sound gets a title that is not on the list.
const leastTitle = 0.1

// sureness returns the confidence of a placing: the probability of the
// alignment, limited by how certain the song's title is if sound was used.
func (r recognition) sureness(p placing) float64 {
	if r.knows(p.title) {
		return round(max(alignedConfidence, min(mostSure, (1+r.titled(p.title))/2)) * p.likelihood)
	}
	return round(alignedConfidence * p.likelihood)
}
