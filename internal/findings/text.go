package findings

import (
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// lufs returns the loudness of a level of K-weighted energy in dB (BS.1770-5
// Annex 1 equation 2, one channel of weight 1).
func lufs(level float64) float64 { return level - 0.691 }

// where names the song at a frame for a text: " in Song", or nothing.
func (n *known) where(frame int64) string {
	if t := n.SongAt(frame); t != nil {
		return " in " + t.Song
	}
	return ""
}

func (n *known) clock(frame int64) string { return catalog.Clock(n.Seconds(frame)) }

// between returns a span as "at 0:12:04" or "between 0:12:04 and 0:12:31".
func (n *known) between(start, end int64) string {
	from, to := n.clock(start), n.clock(end)
	if from == to {
		return "at " + from
	}
	return "between " + from + " and " + to
}

func (n *known) ms(frames int64) float64 { return 1000 * n.Seconds(frames) }

// length returns a duration as people say it.
func length(s float64) string {
	switch {
	case s < 0.0995:
		return fmt.Sprintf("%.3g ms", s*1000)
	case s < 9.95:
		return fmt.Sprintf("%.1f s", s)
	case s < 120:
		return fmt.Sprintf("%.0f s", s)
	}
	m := int(math.Round(s / 60))
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

// timesKept counts events of one kind. Of each minute only the longest are kept,
// so a large number may be less than the truth.
func timesKept(events int) string {
	if events >= meter.MaxEvents {
		return "at least " + times(events)
	}
	return times(events)
}

// times returns "once", "twice", "38 times".
func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// count returns "1 sample", "2 samples".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// dBFS returns the level of an amplitude; silence is negative infinity.
func dBFS(amplitude float64) float64 { return 20 * stats.Log10(amplitude) }
