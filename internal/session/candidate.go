package session

import (
	"context"
	"fmt"
	"math"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
)

// candidate is one take patched to the desk.
type candidate struct {
	take       catalog.Take
	rec        catalog.Recording // the recording that feeds the desk
	start, end int64             // frames of rec, inside it
	inputs     []*input          // one a desk input, in order
	notes      []string          // about the take as a whole
	why        string            // why it was chosen
}

// input is the source of one desk input for a candidate.
type input struct {
	catalog.SessionInput
	track    catalog.Track
	findings []catalog.Finding // those within the take that are not accepted
	trimWhy  string            // both gains and the trim that follows from them
	remarks  []string          // problems of the input beside the findings
	elsewise string            // where else the night has a missing channel

	figures *meter.Figures // loaded when first needed
}

func (c *candidate) item() catalog.SessionItem {
	return catalog.SessionItem{
		Take: c.take.ID, Show: c.take.Show, Song: c.take.Song, Recording: c.rec.ID, Rig: c.rec.Rig, SampleRate: c.rec.SampleRate,
		StartFrame: c.start, EndFrame: c.end, StartS: c.rec.Seconds(c.start), EndS: c.rec.Seconds(c.end), Why: c.why,
	}
}

// title names the take in problems.
func (c *candidate) title() string { return fmt.Sprintf("%s (%s)", c.take.Song, c.take.Show) }

// candidate patches a take to the desk.
func (b *builder) candidate(ctx context.Context, t catalog.Take) (*candidate, error) {
	if c := b.candidates[t.ID]; c != nil {
		return c, nil
	}
	n, err := b.night(ctx, t.Show)
	if err != nil {
		return nil, err
	}
	c := &candidate{take: t}
	if err := c.place(n, b.req.Rig); err != nil {
		return nil, err
	}
	for _, d := range b.desk.Inputs {
		c.inputs = append(c.inputs, b.input(n, c, d))
	}
	b.candidates[t.ID] = c
	return c, nil
}

// place chooses the recording that feeds the desk and finds the take in it.
func (c *candidate) place(n *night, rig string) error {
	own, ok := n.recording(c.take.RecordingID)
	if !ok {
		return fmt.Errorf("take %d of %q on %s: its recording is not in the catalog", c.take.ID, c.take.Song, c.take.Show)
	}
	c.rec = own
	if rig != "" && !catalog.SameName(rig, own.Rig) {
		best := int64(0)
		for _, r := range n.recordings {
			if !catalog.SameName(r.Rig, rig) {
				continue
			}
			start, end := inside(own.Map(c.take.StartFrame, r), r), inside(own.Map(c.take.EndFrame, r), r)
			if end-start > best {
				best, c.rec = end-start, r
			}
		}
		if best == 0 {
			c.notes = append(c.notes, fmt.Sprintf("rig %s did not record this take; rig %s is used", rig, own.Rig))
		}
	}
	start, end := own.Map(c.take.StartFrame, c.rec), own.Map(c.take.EndFrame, c.rec)
	c.start, c.end = inside(start, c.rec), inside(end, c.rec)
	if c.start > start {
		c.notes = append(c.notes, fmt.Sprintf("rig %s started %.1f s into the take", c.rec.Rig, c.rec.Seconds(c.start-start)))
	}
	if c.end < end {
		c.notes = append(c.notes, fmt.Sprintf("rig %s stopped %.1f s before the take's end", c.rec.Rig, c.rec.Seconds(end-c.end)))
	}
	return nil
}

func inside(frame int64, r catalog.Recording) int64 { return max(0, min(frame, r.Frames)) }

// input decides what feeds a desk input.
func (b *builder) input(n *night, c *candidate, d catalog.DeskInput) *input {
	in := &input{SessionInput: catalog.SessionInput{DeskInput: d.Input, Output: d.Output, Channel: d.Channel}}
	in.Group = b.group(n, c.rec, d.Channel)
	if reason := b.stays(d.Channel, in.Group); reason != "" {
		in.Status, in.Why = catalog.Stage, reason
		return in
	}
	tracks := n.tracksOf(c.rec.ID, d.Channel)
	if len(tracks) == 0 {
		in.Status = catalog.Missing
		in.Why = fmt.Sprintf("rig %s recorded no track of this channel on %s", c.rec.Rig, c.take.Show)
		if number := b.listedTrack(c, d.Channel); number > 0 {
			in.Why = fmt.Sprintf("track %d of the input list was not recorded by rig %s on %s", number, c.rec.Rig, c.take.Show)
		}
		in.elsewise = n.otherRig(c, d.Channel)
		if in.elsewise != "" {
			in.Why += "; " + in.elsewise
		}
		return in
	}
	t := tracks[0]
	if t.Frames <= c.start {
		in.Status = catalog.Missing
		in.Why = fmt.Sprintf("track %d of rig %s ended at %s, before the take", t.Number, c.rec.Rig, catalog.ClockTenths(c.rec.Seconds(t.Frames)))
		in.elsewise = n.otherRig(c, d.Channel)
		if in.elsewise != "" {
			in.Why += "; " + in.elsewise
		}
		return in
	}
	in.Status, in.Rig, in.Track, in.track = catalog.Playback, c.rec.Rig, t.Number, t
	var reason string
	in.TrimDB, reason = trim(d.GainDB, t.Input.GainDB)
	in.trimWhy = reason
	why := []string{reason}
	if len(tracks) > 1 {
		in.remarks = append(in.remarks, fmt.Sprintf("tracks %d and %d both hold this channel; the first is used", t.Number, tracks[1].Number))
	}
	if t.Frames < c.end {
		in.remarks = append(in.remarks, fmt.Sprintf("track %d ends %.1f s before the take does", t.Number, c.rec.Seconds(c.end-t.Frames)))
	}
	accepted := []catalog.Finding{}
	for _, f := range n.findings[c.rec.ID] {
		if !f.Concerns(t.Number) || f.StartFrame >= c.end || max(f.EndFrame, f.StartFrame+1) <= c.start {
			continue
		}
		if f.Accepted {
			accepted = append(accepted, f)
		} else {
			in.findings = append(in.findings, f)
		}
	}
	why = append(why, in.remarks...)
	if len(in.findings) > 0 {
		why = append(why, findingWords(in.findings))
	}
	if len(accepted) > 0 {
		why = append(why, findingWords(accepted)+" (accepted)")
	}
	in.Why = strings.Join(why, "; ")
	return in
}

// trim returns tonight's preamp gain minus that night's in dB, and the reason
// for it. If either gain is unknown, the trim is 0: a guess would be worse than
// none.
func trim(tonight, then *float64) (db float64, why string) {
	switch {
	case tonight == nil && then == nil:
		return 0, "no trim: neither tonight's nor that night's gain is known"
	case tonight == nil:
		return 0, "no trim: tonight's gain is not in the desk's patch"
	case then == nil:
		return 0, "no trim: that night's gain is not in the input list"
	}
	// Rounded so that 32.1 - 30.1 is 2, and equal gains are exactly 0.
	db = math.Round((*tonight-*then)*1e4)/1e4 + 0
	if db == 0 {
		return 0, fmt.Sprintf("no trim: the gain is %g dB on both nights", *then)
	}
	return db, fmt.Sprintf("trim %+.1f dB: gain %g dB tonight, %g dB that night", db, *tonight, *then)
}

// spoils reports whether a finding makes a channel unfit for the afternoon's
// work.
func spoils(k catalog.FindingKind) bool {
	switch k {
	case catalog.Dead, catalog.WentSilent, catalog.Clipped, catalog.FlatTop, catalog.Dropout:
		return true
	}
	return false
}

// spoilt returns the findings that spoil the input.
func (in *input) spoilt() []catalog.Finding {
	bad := []catalog.Finding{}
	for _, f := range in.findings {
		if spoils(f.Kind) {
			bad = append(bad, f)
		}
	}
	return bad
}

// fine reports whether the input plays all through the take and nothing spoils
// it.
func (in *input) fine() bool {
	return in.Status == catalog.Playback && len(in.spoilt()) == 0 && len(in.remarks) == 0
}

// load returns the figures of the input's track within the take. A span that was
// never measured is *envelope.NotMeasuredError.
func (in *input) load(ctx context.Context, store *catalog.Store, c *candidate) (meter.Figures, error) {
	if in.figures != nil {
		return *in.figures, nil
	}
	e, err := envelope.Load(ctx, store, in.track, c.start, c.end)
	if err != nil {
		return meter.Figures{}, err
	}
	f := e.Figures(c.start, min(c.end, in.track.Frames))
	in.figures = &f
	return f, nil
}

// findingWords lists the kinds of findings in order of appearance, each with the
// time of its first.
func findingWords(findings []catalog.Finding) string {
	count := map[catalog.FindingKind]int{}
	for _, f := range findings {
		count[f.Kind]++
	}
	words := []string{}
	for _, f := range findings {
		n := count[f.Kind]
		if n == 0 {
			continue
		}
		count[f.Kind] = 0
		w := strings.ReplaceAll(string(f.Kind), "_", " ")
		if n > 1 {
			w += fmt.Sprintf(" %d times, first", n)
		}
		if f.Kind != catalog.Dead {
			w += " at " + catalog.ClockTenths(f.StartS())
		}
		words = append(words, w)
	}
	return strings.Join(words, ", ")
}
