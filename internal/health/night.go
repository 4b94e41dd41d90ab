package health

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/sound"
	"nightreel/internal/stats"
)

// Night is the evidence about one recording of one show.
type Night struct {
	SampleRate int   // Hz
	Frames     int64 // length
	Tracks     []Track
	Takes      []Take
	Inputs     []catalog.Input // the input list in force
	Files      []catalog.File
	// Elsewhere has the lines of the input list that another recording of the same
	// rig holds for the same time. nil means that missing tracks are told of
	// that one.
	Elsewhere map[int]bool
	// Usual has, by key of the channel, how many of the Others, all other nights,
	// recorded it; nil where no channel is missed.
	Usual  map[string]int
	Others int
	Past   map[string][]Past // by key of the channel: other nights, the nearest first

	// Sound is what the recording sounds like, and Tour what the other nights
	// did, the nearest first; nil where they were scanned before that was kept.
	Sound *sound.Night
	Tour  []*sound.Night
	brief bool // Sound is a line check in which inputs are played in turn, and no night

	heard     *stage  // found once
	hushed    *hushes // found once
	parted    bool    // cracks that several tracks have are out
	exchanged []swap  // found once, with compared
	unsure    []Pair  // voices that may be exchanged or not, for all that tells; with compared
	compared  bool
}

// Take is a song as it was played, in frames of the recording.
type Take struct {
	Song       string
	Start, End int64
}

// Past is a channel on another night.
type Past struct {
	Show     catalog.ShowKey
	BitDepth int // of its recording; 0 if it is not known
	Track    Track
	Takes    []Take // of that night, in frames of the track's recording
}

// Findings returns what is wrong, in order of track and time. They lack what the
// store fills in.
func (n *Night) Findings() []catalog.Finding {
	var found []catalog.Finding
	found = append(found, n.clipped()...)
	flatTops := n.flatTops()
	found = append(found, flatTops...)
	found = append(found, n.offsets()...)
	swaps := n.swaps()
	duplicates := n.duplicates(swaps)
	silent := n.silent()
	carried := n.carried(swaps, duplicates)
	found = append(found, n.ceilings(flatTops, carried)...)
	crackles := n.crackles(carried)
	// A contact that opens leaves zeros: that is told already.
	found = append(found, within(n.dropouts(silent), crackles)...)
	found = append(found, n.explained(silent, swaps, duplicates)...)
	found = append(found, crackles...)
	found = append(found, n.hum(carried)...)
	found = append(found, n.swapped(swaps)...)
	found = append(found, duplicates...)
	// What carries another channel's signal has neither its own polarity nor gain,
	// and which of two that is nobody knows; a silence is no gain that was turned.
	found = append(found, n.polarity(swaps, duplicates)...)
	found = append(found, without(without(n.gains(swaps), bothOf(duplicates)), silent)...)
	found = append(found, n.missing()...)
	found = append(found, n.short()...)
	found = append(found, n.holes()...)
	found = append(found, n.unfinished()...)
	slices.SortStableFunc(found, func(a, b catalog.Finding) int {
		return cmp.Or(cmp.Compare(a.Track, b.Track), cmp.Compare(a.StartFrame, b.StartFrame), cmp.Compare(a.Kind, b.Kind))
	})
	for _, f := range found {
		settle(f.Evidence)
	}
	return found
}

// settle rounds evidence to what it can mean: levels to 0.001 dB, all else to a
// millionth. What is stored then does not change with a last bit.
func settle(e catalog.Evidence) {
	for name, v := range e {
		if strings.HasSuffix(name, "_db") || strings.HasSuffix(name, "_dbfs") || strings.HasPrefix(name, "lufs_") || strings.HasSuffix(name, "_lufs") {
			e[name] = stats.Round(v, 1e3)
		} else {
			e[name] = stats.Round(v, 1e6)
		}
	}
}

// bothOf adds a finding on the other track of each pair.
func bothOf(pairs []catalog.Finding) []catalog.Finding {
	all := slices.Clone(pairs)
	for _, f := range pairs {
		f.Track = f.Partner()
		all = append(all, f)
	}
	return all
}

// without leaves out the findings on tracks that others have.
func without(findings, others []catalog.Finding) []catalog.Finding {
	return slices.DeleteFunc(findings, func(f catalog.Finding) bool {
		return slices.ContainsFunc(others, func(o catalog.Finding) bool { return o.Track == f.Track })
	})
}

// within leaves out the findings that lie within others on the same track.
func within(findings, others []catalog.Finding) []catalog.Finding {
	return slices.DeleteFunc(findings, func(f catalog.Finding) bool {
		return slices.ContainsFunc(others, func(o catalog.Finding) bool {
			return o.Track == f.Track && f.Track != 0 && f.StartFrame >= o.StartFrame && f.EndFrame <= o.EndFrame
		})
	})
}

// maxEach is up to how many tracks with the same trouble at the same time get a
// finding each. Converter cards and the streams of network audio carry eight
// (common practice, no source); more than that happened to the recorder, and
// is one finding without a track.
const maxEach = 8

// songAt returns the take that holds a frame, or nil.
func (n *Night) songAt(frame int64) *Take {
	for i := range n.Takes {
		if t := &n.Takes[i]; frame >= t.Start && frame < t.End {
			return t
		}
	}
	return nil
}

// where names the song at a frame for a text: " in Song", or nothing.
func (n *Night) where(frame int64) string {
	if t := n.songAt(frame); t != nil {
		return " in " + t.Song
	}
	return ""
}

func (n *Night) clock(frame int64) string { return catalog.Clock(n.seconds(frame)) }

// between returns a span as "at 0:12:04" or "between 0:12:04 and 0:12:31".
func (n *Night) between(start, end int64) string {
	from, to := n.clock(start), n.clock(end)
	if from == to {
		return "at " + from
	}
	return "between " + from + " and " + to
}

func (n *Night) seconds(frames int64) float64 { return float64(frames) / float64(n.SampleRate) }
func (n *Night) ms(frames int64) float64      { return 1000 * n.seconds(frames) }

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
