package songs

import (
	"math"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// The confidence of takes, 0 to 1. A person's take has 1. The task evaluate
// counts how often takes placed by music are right. No labelled night has
// markers or times, so the values for these are chosen (common practice, no
// source).
const (
	// A person pressed the key for this title, and the band starts right there.
	markedConfidence = 0.95
	// The same, but no music starts nearby: an early or late press, or music
	// that the finder does not detect.
	markedAloneConfidence = 0.8
	// A person wrote down this title at this time, and the band starts there.
	timedConfidence = 0.9
	// The same, but no music starts nearby: the clock or the list is off.
	timedAloneConfidence = 0.6
	// The limit for a title aligned by the music alone, however clearly counts
	// and lengths agree: order and lengths do not identify a song, and bands
	// depart from set lists.
	alignedConfidence = 0.85
	// Recognised by its sound; the task evaluate counts how often that is
	// right.
	mostSure = 0.99
	// There is probably a song; it has a number instead of a title.
	numberedConfidence = 0.3
)

const (
	// markedNearS is the distance in seconds within which the music's own
	// start replaces a marker: a person presses a key within a second or two.
	markedNearS = 3
	// timedNearS is the same for a written time to the second, and
	// minuteNearS for a list whose times are whole minutes.
	timedNearS  = 3
	minuteNearS = 60
	// leastSongS is the length in seconds below which untitled music is a line
	// check, a jingle or tuning, and no song.
	leastSongS = 20
	// leastBand is the share of loud channels that music must reach half of
	// the time to get a number; half that share must be reached three quarters
	// of the time. Songs have 0.4 to 1, talk and tuning mostly less than 0.3.
	leastBand = 0.46
	// leastHolding is the share of channels that must be loud a quarter of the
	// time each, since instruments play continuously. Measured on rendered
	// nights: songs that get a number have 0.25 and more; single strokes of a
	// loud record in the microphones give 0.14 and less.
	leastHolding = 0.2
	// If the channels' levels move together, more of them must be loud,
	// because a record over the PA reaches every microphone. Measured on
	// rendered nights: their correlation is 0.65 in songs (0.52 to 0.78 for
	// nine in ten), and 0.85 to 0.95 in records that were taken for songs.
	asOne      = 0.8
	asOneSlope = 2
	// stopS is the longest stop, in seconds, within a song that a marker or a
	// list confirms as one song.
	stopS = 5
)

// marked places the songs that markers name. A song lasts to the next marker,
// or for the marker's own length, and ends when the music does.
func (n *night) marked(marks []mark) {
	starts := make([]int64, len(marks))
	near := make([]bool, len(marks))
	for i, m := range marks {
		starts[i] = m.frame
		if m.title != "" {
			starts[i], near[i] = n.startNear(m.frame, markedNearS)
		}
	}
	for i, m := range marks {
		if m.title == "" {
			continue
		}
		c := candidate{title: m.title, start: starts[i], end: n.ref.Frames, by: catalog.ByMarker, confidence: markedAloneConfidence}
		if near[i] {
			c.confidence = markedConfidence
		}
		switch {
		case m.length > 0:
			c.end = m.frame + m.length
		case i+1 < len(marks):
			c.end = starts[i+1]
		}
		if m.length <= 0 {
			c.end = n.musicEnd(c.start, c.end)
		}
		n.accept(c)
	}
}

// timed places the titles of the set list that have a time and no take yet.
func (n *night) timed() {
	satisfied := n.satisfied()
	within := timedNearS
	if n.wholeMinutes() {
		within = minuteNearS
	}
	for i, e := range n.list {
		if satisfied[i] != nil {
			continue
		}
		at, ok := n.listed(e, e.StartS)
		if !ok {
			continue
		}
		c := candidate{title: e.Song, end: n.ref.Frames, by: catalog.BySetList, confidence: timedAloneConfidence}
		var near bool
		if c.start, near = n.startNear(at, float64(within)); near {
			c.confidence = timedConfidence
		}
		if end, ok := n.listed(e, e.EndS); ok && end > c.start {
			c.end = n.endNear(end, float64(within))
		} else {
			for _, next := range n.list[i+1:] {
				if start, ok := n.listed(next, next.StartS); ok && start > c.start {
					c.end, _ = n.startNear(start, float64(within))
					break
				}
			}
			c.end = n.musicEnd(c.start, c.end)
		}
		n.accept(c)
	}
}

// listed returns the frame of a set list entry's time; ok is false if the
// entry has no time or the recording's start is unknown.
func (n *night) listed(e catalog.SetListEntry, s *float64) (frame int64, ok bool) {
	if s == nil {
		return 0, false
	}
	at := *s
	if e.Clock {
		if n.ref.StartsAt == nil {
			return 0, false
		}
		const day = 24 * 60 * 60
		began := n.ref.StartsAt.Sub(midnight(*n.ref.StartsAt)).Seconds()
		// A time more than half a day before the recording is after midnight.
		at = math.Mod(at-began+1.5*day, day) - 0.5*day
	}
	frame = n.ref.Frame(at)
	return frame, frame >= 0 && frame < n.ref.Frames
}

func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

// wholeMinutes reports whether the set list has at least three times and all
// are whole minutes: they were noted without seconds.
func (n *night) wholeMinutes() bool {
	times := 0
	for _, e := range n.list {
		if e.StartS == nil {
			continue
		}
		if math.Mod(*e.StartS, 60) != 0 {
			return false
		}
		times++
	}
	return times >= 3
}

// satisfied returns, for each entry of the set list, the take that already holds
// it. A person's n-th take of a song holds the song's n-th entry. Other takes
// hold the remaining entries in order.
func (n *night) satisfied() []*candidate {
	held := make([]*candidate, len(n.list))
	used := make([]bool, len(n.found))
	hold := func(i int, fits func(c candidate) bool) {
		first := -1
		for k, c := range n.found {
			if held[i] == nil && !used[k] && fits(c) && catalog.SameName(c.title, n.list[i].Song) && (first < 0 || c.start < n.found[first].start) {
				first = k
			}
		}
		if first >= 0 {
			used[first] = true
			held[i] = &n.found[first]
		}
	}
	turn := map[string]int{}
	for i, e := range n.list {
		turn[catalog.Key(e.Song)]++
		hold(i, func(c candidate) bool { return c.nth == turn[catalog.Key(e.Song)] })
	}
	for i := range n.list {
		hold(i, func(c candidate) bool { return c.nth == 0 })
	}
	return held
}

// numbered places every stretch that may be a song under a number.
func (n *night) numbered() {
	number := 0
	for _, s := range joined(n.music) {
		need := leastBand + asOneSlope*max(0, n.activity.asOne(s.from, s.to)-asOne)
		if s.blocks() < leastSongS*meter.BlocksPerSecond || n.activity.band(s.from, s.to, 0.5) < need || n.activity.band(s.from, s.to, 0.25) < leastBand/2 || n.activity.holding(s.from, s.to) < leastHolding {
			continue
		}
		number++
		n.accept(candidate{title: numberedTitle(number, n.show), start: n.frame(s.from), end: n.frame(s.to), by: catalog.ByMusic, confidence: numberedConfidence})
	}
}

// taken returns the blocks of all takes, including those that a person deleted.
func (n *night) taken() [][2]int {
	taken := [][2]int{}
	for _, c := range n.found {
		taken = append(taken, [2]int{n.block(c.start), n.block(c.end)})
	}
	for _, d := range n.deleted {
		taken = append(taken, [2]int{n.block(n.ref.Frame(d.StartS)), n.block(n.ref.Frame(d.EndS))})
	}
	return taken
}

// unnamed reports the music that no take holds.
func (n *night) unnamed() {
	for _, s := range joined(outside(n.music, 0, n.block(n.ref.Frames)+1, n.taken())) {
		if s.blocks() >= leastSongS*meter.BlocksPerSecond {
			n.result.Unnamed = append(n.result.Unnamed, Span{StartS: n.ref.Seconds(n.frame(s.from)), EndS: n.ref.Seconds(n.frame(s.to))})
		}
	}
}

// startNear returns the frame where music starts within some seconds of a
// frame, or else that frame.
func (n *night) startNear(frame int64, within float64) (int64, bool) {
	return n.edgeNear(frame, within, func(s stretch) int { return s.from })
}

// endNear returns the frame where music ends within some seconds of a frame,
// or else that frame.
func (n *night) endNear(frame int64, within float64) int64 {
	at, _ := n.edgeNear(frame, within, func(s stretch) int { return s.to })
	return at
}

func (n *night) edgeNear(frame int64, within float64, edge func(stretch) int) (int64, bool) {
	best, found := frame, false
	nearest := n.ref.Frame(within)
	for _, s := range n.music {
		at := n.frame(edge(s))
		if d := max(at-frame, frame-at); d <= nearest {
			best, nearest, found = at, d, true
		}
	}
	return best, found
}

// musicEnd returns the end of a song between two frames: the point where the
// music stops for longer than stopS. Music shorter than a song is taken for
// tuning before it. Without music the end stays.
func (n *night) musicEnd(start, before int64) int64 {
	end := start
	for _, s := range outside(n.music, n.block(start), n.block(before), nil) {
		from, to := n.frame(s.from), n.frame(s.to)
		if end-start >= n.ref.Frame(leastSongS) && from-end > n.ref.Frame(stopS) {
			break
		}
		end = to
	}
	if end == start {
		return before
	}
	return min(end, before)
}

// round rounds a confidence to two decimals, which is all that it is worth.
func round(p float64) float64 { return math.Round(p*100) / 100 }
