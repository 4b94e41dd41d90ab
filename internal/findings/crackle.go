package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// crackleLimits are the thresholds of crackling.
var crackleLimits = struct {
	// GapS joins cracks to one spell, and SpellS spells to one fault: a bad contact comes and
	// goes.
	GapS   float64 `unit:"s" source:"chosen"`
	SpellS float64 `unit:"s" source:"chosen"`

	// Least is how many cracks make a spell: two or three are a plug that was pulled, or a
	// stroke (common practice).
	Least int `unit:"cracks" source:"chosen"`

	// Over is how much denser cracks must come in a spell than the track has them elsewhere:
	// drums and some instruments are full of edges. Habit is the same against the channel's
	// songs on other nights.
	Over  float64 `unit:"times" source:"chosen"`
	Habit float64 `unit:"times" source:"chosen"`

	// Own is the share of all edges of the track within a spell that no neighbour has: where
	// they hear most, the rest is the drum's, too.
	Own float64 `unit:"share" source:"chosen"`

	// EvenShare is the share of distances between cracks that may be alike, to EvenWithin of
	// each: a wave breaks off once each period, a contact whenever it likes.
	EvenShare  float64 `unit:"share" source:"chosen"`
	EvenWithin float64 `unit:"share" source:"chosen"`

	// HeardS is how far apart two tracks may hold the same sound: 5 m of air. A contact cracks
	// on its own track alone; the neighbours of a stroke with a hard edge hold it as well.
	HeardS float64 `unit:"s" source:"chosen"`

	// Fault is from how many cracks on a spell is a fault.
	Fault int `unit:"cracks" source:"chosen"`
}{
	GapS:       4,
	SpellS:     120,
	Least:      10,
	Over:       6,
	Habit:      3,
	Own:        0.25,
	EvenShare:  0.4,
	EvenWithin: 0.05,
	HeardS:     0.015,
	Fault:      60,
}

// edgesIn counts the track's edges from one frame to another, both included.
func edgesIn(t *evidence.Track, from, to int64) int {
	return firstFrom(t.Edges, to+1) - firstFrom(t.Edges, from)
}

// firstFrom returns the index of the first event at a frame or after it.
func firstFrom(events []meter.Event, frame int64) int {
	i, _ := slices.BinarySearchFunc(events, frame, func(e meter.Event, start int64) int { return cmp.Compare(e.Start, start) })
	return i
}

// contactsOf returns, for each track, the cracks that no other track has.
func contactsOf(n *evidence.Recording) [][]meter.Event {
	near := int64(crackleLimits.HeardS * float64(n.SampleRate))
	kept := make([][]meter.Event, len(n.Tracks))
	for i := range n.Tracks {
		for _, ev := range n.Tracks[i].Cracks {
			if !heardBeside(n, i, ev, near) {
				kept[i] = append(kept[i], ev)
			}
		}
	}
	return kept
}

// heardBeside reports whether a track other than i has an edge within near frames of
// a crack, or more edges there than were kept.
func heardBeside(n *evidence.Recording, i int, crack meter.Event, near int64) bool {
	for k := range n.Tracks {
		o := &n.Tracks[k]
		if k == i {
			continue
		}
		at := firstFrom(o.Edges, crack.Start-near)
		if at < len(o.Edges) && o.Edges[at].Start <= crack.Start+near || o.Crowded[int(crack.Start/int64(meter.BlockFrames(n.SampleRate)))] {
			return true
		}
	}
	return false
}

// burst is a spell of cracks.
type burst struct {
	from, to int // indices of cracks
}

// crackles finds spells of cracks that do not belong to the sound.
func crackles(n *known) []catalog.Finding {
	var found []catalog.Finding
	for i := range n.Tracks {
		t := &n.Tracks[i]
		var finding *catalog.Finding
		cracks := n.contacts()[i]
		for _, b := range bursts(n, t, cracks) {
			first, last := cracks[b.from], cracks[b.to-1]
			if finding != nil && n.Seconds(first.Start-finding.EndFrame) < crackleLimits.SpellS {
				finding.EndFrame = last.Start + 1
				finding.Evidence["cracks"] += float64(b.to - b.from)
				finding.Evidence["bursts"]++
				finding.Evidence["largest_dbfs"] = max(finding.Evidence["largest_dbfs"], highest(cracks[b.from:b.to]))
				continue
			}
			if finding != nil {
				found = append(found, said(n, t, *finding))
			}
			finding = &catalog.Finding{Track: t.Number, Kind: catalog.Crackle, StartFrame: first.Start, EndFrame: last.Start + 1,
				Evidence: catalog.Evidence{"cracks": float64(b.to - b.from), "bursts": 1, "largest_dbfs": highest(cracks[b.from:b.to])}}
		}
		if finding != nil {
			found = append(found, said(n, t, *finding))
		}
	}
	return found
}

func said(n *known, t *evidence.Track, f catalog.Finding) catalog.Finding {
	f.Severity = catalog.WarningSeverity
	if f.Evidence["cracks"] >= float64(crackleLimits.Fault) {
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
func bursts(n *known, t *evidence.Track, cracks []meter.Event) []burst {
	gap := int64(crackleLimits.GapS * float64(n.SampleRate))
	var all []burst
	for from := 0; from < len(cracks); {
		to := from + 1
		for to < len(cracks) && cracks[to].Start-cracks[to-1].Start <= gap {
			to++
		}
		if to-from >= crackleLimits.Least {
			all = append(all, burst{from: from, to: to})
		}
		from = to
	}
	if len(all) == 0 {
		return nil
	}
	usual := 0.0
	for _, channel := range n.carried()[t.Number] {
		usual = max(usual, cracksElsewhere(n, channel))
	}
	var found []burst
	for _, b := range all {
		span := max(1, n.Seconds(cracks[b.to-1].Start-cracks[b.from].Start))
		rate := float64(b.to-b.from) / span
		rest := n.Seconds(t.Frames) - span
		elsewhere := 0.0
		if rest > 0 {
			elsewhere = float64(len(cracks)-(b.to-b.from)) / rest
		}
		if float64(b.to-b.from) < crackleLimits.Own*float64(edgesIn(t, cracks[b.from].Start, cracks[b.to-1].Start)) {
			continue
		}
		if rate < crackleLimits.Over*elsewhere || rate < crackleLimits.Habit*usual || even(cracks[b.from:b.to]) {
			continue
		}
		found = append(found, b)
	}
	return found
}

// cracksElsewhere returns the cracks a second that a channel, by its key, has in songs of
// other nights; 0 where none is known.
func cracksElsewhere(n *known, channel string) float64 {
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
		for _, b := range p.Track.Cracked {
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
		if math.Abs(gaps[i]-gaps[i-1]) <= crackleLimits.EvenWithin*gaps[i] {
			alike++
		}
	}
	middle := stats.Median(gaps)
	near := 0
	for _, g := range gaps {
		if math.Abs(g-middle) <= crackleLimits.EvenWithin*middle {
			near++
		}
	}
	return float64(alike) > crackleLimits.EvenShare*float64(len(gaps)-1) || float64(near) > crackleLimits.EvenShare*float64(len(gaps))
}
