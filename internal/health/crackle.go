package health

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

const (
	// crackleGapS joins cracks to one spell, and crackleSpellS spells to one
	// fault: a bad contact comes and goes.
	crackleGapS   = 4
	crackleSpellS = 120
	// leastCracks is how many cracks make a spell: two or three are a plug that
	// was pulled, or a stroke. Common practice, no source.
	leastCracks = 10
	// crackleOver is how much denser cracks must come in a spell than the track
	// has them elsewhere: drums and some instruments are full of edges.
	crackleOver = 6
	// crackleHabit is the same against the channel's songs on other nights.
	crackleHabit = 3
	// crackleOwn is the share of all edges of the track within a spell that no
	// neighbour has: where they hear most, the rest is the drum's, too.
	crackleOwn = 0.25
	// evenShare is the share of distances between cracks that may be alike
	// (within a twentieth): a wave breaks off once each period, a contact
	// whenever it likes.
	evenShare = 0.4
	// leastCrackRate is the rate, in Hz, from which on cracks tell of a contact:
	// where half the rate lies within what instruments sound at, their own edges
	// are as sharp (measured on the demo's sounds at 12 kHz).
	leastCrackRate = 32000
	// besideRun is how near a crack may lie to a clipped run, a flat top or a run
	// of zeros and be its edge.
	besideRun = 0.02 // s
	// faultCracks is from how many cracks on a spell is a fault.
	faultCracks = 60
)

// crowded returns the blocks with cracks of which not all were kept: the events
// of a minute are bounded.
func crowded(e meter.Envelope) map[int]bool {
	kept := map[int]int{}
	size := int64(e.BlockFrames())
	for _, ev := range e.Events {
		if ev.Kind == meter.Crack {
			kept[int(ev.Start/size)]++
		}
	}
	found := map[int]bool{}
	for i := range e.Blocks {
		if int(e.Blocks[i].Cracks) > kept[i] {
			found[i] = true
		}
	}
	return found
}

// edges returns all cracks, also those beside what was clipped, cut flat or
// dropped out: the neighbours of a stroke that clips hear it, too.
func edges(e meter.Envelope) []meter.Event {
	var all []meter.Event
	for _, ev := range e.Events {
		if ev.Kind == meter.Crack {
			all = append(all, ev)
		}
	}
	return all
}

// edgesIn counts the track's edges from one frame to another, both included.
func (t *Track) edgesIn(from, to int64) int {
	return firstFrom(t.edges, to+1) - firstFrom(t.edges, from)
}

// firstFrom returns the index of the first event at a frame or after it.
func firstFrom(events []meter.Event, frame int64) int {
	i, _ := slices.BinarySearchFunc(events, frame, func(e meter.Event, start int64) int { return cmp.Compare(e.Start, start) })
	return i
}

// cracks returns the frames at which the wave breaks off by itself, and their
// heights.
func cracks(e meter.Envelope) []meter.Event {
	if e.SampleRate < leastCrackRate {
		return nil
	}
	beside := int64(besideRun * float64(e.SampleRate))
	size := int64(e.BlockFrames())
	var runs []meter.Event
	for _, ev := range e.Events {
		if ev.Kind != meter.Crack {
			runs = append(runs, ev)
		}
	}
	var own []meter.Event
	at := 0
	for _, ev := range e.Events {
		if ev.Kind != meter.Crack {
			continue
		}
		for at < len(runs) && runs[at].Start+runs[at].Frames+beside < ev.Start {
			at++
		}
		if at < len(runs) && runs[at].Start-beside <= ev.Start {
			continue
		}
		if b := ev.Start / size; b < int64(len(e.Blocks)) && e.Blocks[b].Clipped+e.Blocks[b].Flat > 0 {
			continue
		}
		own = append(own, ev)
	}
	return own
}

const (
	// heardS is how far apart, in seconds, two tracks may have what is the same
	// sound: 5 m of air. A contact cracks on its own track alone; a stroke with a
	// hard edge is heard by its neighbours.
	heardS = 0.015
)

// alone takes out the cracks that other tracks have too.
func (n *Night) alone() {
	if n.parted {
		return
	}
	n.parted = true
	near := int64(heardS * float64(n.SampleRate))
	kept := make([][]meter.Event, len(n.Tracks))
	for i := range n.Tracks {
		for _, ev := range n.Tracks[i].cracks {
			shared := false
			for k := range n.Tracks {
				o := &n.Tracks[k]
				if k == i || shared {
					continue
				}
				at := firstFrom(o.edges, ev.Start-near)
				shared = at < len(o.edges) && o.edges[at].Start <= ev.Start+near || o.crowded[int(ev.Start/int64(meter.BlockFrames(n.SampleRate)))]
			}
			if !shared {
				kept[i] = append(kept[i], ev)
			}
		}
	}
	for i := range n.Tracks {
		n.Tracks[i].cracks = kept[i]
	}
}

// burst is a spell of cracks.
type burst struct {
	from, to int // indices of cracks
}

// crackles finds spells of cracks that do not belong to the sound.
func (n *Night) crackles(of carried) []catalog.Finding {
	n.alone()
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		var finding *catalog.Finding
		for _, b := range n.bursts(t, of[t.Number]) {
			first, last := t.cracks[b.from], t.cracks[b.to-1]
			if finding != nil && n.seconds(first.Start-finding.EndFrame) < crackleSpellS {
				finding.EndFrame = last.Start + 1
				finding.Evidence["cracks"] += float64(b.to - b.from)
				finding.Evidence["bursts"]++
				finding.Evidence["largest_dbfs"] = max(finding.Evidence["largest_dbfs"], highest(t.cracks[b.from:b.to]))
				continue
			}
			if finding != nil {
				found = append(found, n.said(t, *finding))
			}
			finding = &catalog.Finding{Track: t.Number, Kind: catalog.Crackle, StartFrame: first.Start, EndFrame: last.Start + 1,
				Evidence: catalog.Evidence{"cracks": float64(b.to - b.from), "bursts": 1, "largest_dbfs": highest(t.cracks[b.from:b.to])}}
		}
		if finding != nil {
			found = append(found, n.said(t, *finding))
		}
	}
	return found
}

func (n *Night) said(t *Track, f catalog.Finding) catalog.Finding {
	f.Severity = catalog.WarningSeverity
	if f.Evidence["cracks"] >= faultCracks {
		f.Severity = catalog.FaultSeverity
	}
	f.Text = fmt.Sprintf("%s crackled %s %s%s: change its cable and look at its plugs before the next show.",
		t.Channel, times(int(f.Evidence["cracks"])), n.between(f.StartFrame, f.EndFrame), n.where(f.StartFrame))
	return f
}

func highest(events []meter.Event) float64 {
	top := float32(0)
	for _, e := range events {
		top = max(top, e.Level)
	}
	return dBFS(float64(top))
}

// bursts finds where a track's cracks come much denser than elsewhere, and
// unevenly.
func (n *Night) bursts(t *Track, channels []string) []burst {
	gap := int64(crackleGapS * float64(n.SampleRate))
	var all []burst
	for from := 0; from < len(t.cracks); {
		to := from + 1
		for to < len(t.cracks) && t.cracks[to].Start-t.cracks[to-1].Start <= gap {
			to++
		}
		if to-from >= leastCracks {
			all = append(all, burst{from: from, to: to})
		}
		from = to
	}
	if len(all) == 0 {
		return nil
	}
	usual := 0.0
	for _, channel := range channels {
		usual = max(usual, n.cracksElsewhere(channel))
	}
	var found []burst
	for _, b := range all {
		span := max(1, n.seconds(t.cracks[b.to-1].Start-t.cracks[b.from].Start))
		rate := float64(b.to-b.from) / span
		rest := n.seconds(t.Frames) - span
		elsewhere := 0.0
		if rest > 0 {
			elsewhere = float64(len(t.cracks)-(b.to-b.from)) / rest
		}
		if float64(b.to-b.from) < crackleOwn*float64(t.edgesIn(t.cracks[b.from].Start, t.cracks[b.to-1].Start)) {
			continue
		}
		if rate < crackleOver*elsewhere || rate < crackleHabit*usual || even(t.cracks[b.from:b.to]) {
			continue
		}
		found = append(found, b)
	}
	return found
}

// cracksElsewhere returns the cracks a second that a channel, by its key, has in songs of
// other nights; 0 where none is known.
func (n *Night) cracksElsewhere(channel string) float64 {
	var rates []float64
	for i := range n.Past[channel] {
		p := &n.Past[channel][i]
		count, span := 0, int64(0)
		for _, take := range p.Takes {
			span += take.End - take.Start
		}
		if span == 0 {
			span = p.Track.Frames
		}
		for _, b := range p.Track.cracked {
			count += b
		}
		rates = append(rates, float64(count)/(float64(span)/float64(p.Track.SampleRate)))
	}
	if len(rates) == 0 {
		return 0
	}
	// The middle night: another one may have had the bad cable too.
	return stats.Median(rates)
}

// even reports whether cracks come at a steady pace, as those of a wave do.
func even(events []meter.Event) bool {
	var gaps []float64
	for i := 1; i < len(events); i++ {
		gaps = append(gaps, float64(events[i].Start-events[i-1].Start))
	}
	alike := 0
	for i := 1; i < len(gaps); i++ {
		if math.Abs(gaps[i]-gaps[i-1]) <= 0.05*gaps[i] {
			alike++
		}
	}
	middle := stats.Median(gaps)
	near := 0
	for _, g := range gaps {
		if math.Abs(g-middle) <= 0.05*middle {
			near++
		}
	}
	return float64(alike) > evenShare*float64(len(gaps)-1) || float64(near) > evenShare*float64(len(gaps))
}
