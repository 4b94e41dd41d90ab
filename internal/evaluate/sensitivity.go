package evaluate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/linecheck"
)

// Counts are the planted faults that are found, the false findings, and the findings
// that exist on one side only, or have another start, end or severity, compared with all
// thresholds as they are.
type Counts struct{ Found, False, Other int }

// Move is what the counts do when one threshold moves and all others stay.
type Move struct {
	evidence.Threshold
	Values [3]float64 // lower, as it is, higher
	Counts [3]Counts  // at these
}

// Counted reports whether faults found or false findings differ.
func (m Move) Counted() bool {
	base := m.Counts[1]
	return m.Counts[0].Found != base.Found || m.Counts[2].Found != base.Found || m.Counts[0].False != base.False || m.Counts[2].False != base.False
}

// Tried reports whether any finding differs.
func (m Move) Tried() bool { return m.Counts[0].Other+m.Counts[2].Other > 0 }

// Sensitivity is what the counts do when thresholds move.
type Sensitivity struct {
	Tours  int
	Base   *FaultsReport // with all thresholds as they are
	Moves  []Move
	Silent []evidence.Threshold // that these nights cannot try: those of the line check
}

// Sense judges the nights of [Faults] again with each threshold lower and higher. It
// makes the nights once and keeps their evidence in memory. For a threshold of what
// measurements are reduced to, it reads the evidence from the nights' catalogs again.
// It moves thresholds of the whole program: nothing else may judge meanwhile.
func Sense(ctx context.Context, half Half, tours int, progress func(string)) (*Sensitivity, error) {
	made, err := brokenTours(ctx, half, FaultOptions{Tours: tours})
	if err != nil {
		return nil, err
	}
	load := func(progress func(string)) (nights []judgedNight, err error) {
		for i, b := range made {
			progress(fmt.Sprintf("%s: broken tour %d of %d, %s", half, i+1, tours, b.kind))
			of, err := b.nights(ctx)
			if err != nil {
				return nil, err
			}
			nights = append(nights, of...)
		}
		return nights, nil
	}
	kept, err := load(progress)
	if err != nil {
		return nil, err
	}
	s := &Sensitivity{Tours: tours, Silent: linecheck.Thresholds()}
	usual, err := judge(kept)
	if err != nil {
		return nil, err
	}
	s.Base = report(kept, usual)
	again := func() ([]judgedNight, error) {
		nights, err := load(func(string) {})
		for i := range nights {
			if r := nights[i].recording; len(r.Tour) == len(kept[i].recording.Tour) { // no other shows: what was compared of the sound holds
				r.Sound, r.Tour = kept[i].recording.Sound, kept[i].recording.Tour
			}
		}
		return nights, err
	}
	for _, group := range []struct {
		thresholds []evidence.Threshold
		nights     func() ([]judgedNight, error)
	}{
		{evidence.Thresholds(), again},
		{findings.Thresholds(), func() ([]judgedNight, error) { return kept, nil }},
	} {
		moves, err := move(group.thresholds, s.Base.counts(), func(t evidence.Threshold) (Counts, error) {
			progress(fmt.Sprintf("%s %s at %.4g", t.Of, t.Name, t.Value()))
			nights, err := group.nights()
			if err != nil {
				return Counts{}, err
			}
			found, err := judge(nights)
			if err != nil {
				return Counts{}, err
			}
			c := report(nights, found).counts()
			c.Other = others(usual, found)
			return c, ctx.Err()
		})
		if err != nil {
			return nil, err
		}
		s.Moves = append(s.Moves, moves...)
	}
	return s, nil
}

// move counts with each threshold lower and higher, and puts it back.
func move(thresholds []evidence.Threshold, base Counts, count func(evidence.Threshold) (Counts, error)) ([]Move, error) {
	var moves []Move
	for _, t := range thresholds {
		at := t.Value()
		lower, higher := around(t)
		m := Move{Threshold: t, Values: [3]float64{lower, at, higher}}
		for i, v := range m.Values {
			if v == at {
				m.Counts[i] = base
				continue
			}
			t.Set(v)
			var err error
			m.Counts[i], err = count(t)
			t.Set(at)
			if err != nil {
				return nil, fmt.Errorf("%s %s at %g: %w", t.Of, t.Name, v, err)
			}
		}
		moves = append(moves, m)
	}
	return moves, nil
}

// around returns a threshold's value 20 % lower and higher in magnitude. A count moves
// by one at least, a ratio by 20 % of its decibels, and a share or a correlation to 1 at
// most.
func around(t evidence.Threshold) (lower, higher float64) {
	const by = 0.2
	v := t.Value()
	switch {
	case t.IsCount():
		step := max(1, math.Round(by*v))
		return v - step, v + step
	case t.Unit == "ratio":
		return math.Pow(v, 1-by), math.Pow(v, 1+by)
	case t.Unit == "share" || t.Unit == "correlation":
		return v * (1 - by), min(1, v*(1+by))
	}
	return v * (1 - by), v * (1 + by)
}

// judgedNight is the evidence about a night whose truth is known.
type judgedNight struct {
	name      string
	truth     brokenTruth
	recording *evidence.Recording
}

// nights reads the evidence about the tour's nights. All channels have their tracks of
// the other nights: with another threshold other channels may be doubtful.
func (b *brokenTour) nights(ctx context.Context) ([]judgedNight, error) {
	store, truth, done, err := b.kept(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	all := make([]judgedNight, len(truth))
	errs := make([]error, len(truth))
	sideBySide(len(truth), func(i int) {
		all[i] = judgedNight{name: b.night(i), truth: truth[i]}
		all[i].recording, errs[i] = evidenceAbout(ctx, store, nightDate(i))
	})
	return all, errors.Join(errs...)
}

// evidenceAbout reads the evidence about the only recording of a show.
func evidenceAbout(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (*evidence.Recording, error) {
	near, err := evidence.FindNeighbours(ctx, store, show)
	if err != nil {
		return nil, err
	}
	sources, err := evidence.Open(ctx, store, near, evidence.Options{})
	if err != nil {
		return nil, err
	}
	r, err := sources[0].Read(ctx)
	if err != nil {
		return nil, err
	}
	var channels []string
	for i := range r.Tracks {
		channels = append(channels, catalog.Key(r.Tracks[i].Channel))
	}
	slices.Sort(channels)
	return sources[0].WithPast(ctx, r, slices.Compact(channels))
}

// judge returns the findings about each night.
func judge(nights []judgedNight) ([][]catalog.Finding, error) {
	found := make([][]catalog.Finding, len(nights))
	errs := make([]error, len(nights))
	sideBySide(len(nights), func(i int) {
		var notJudged []catalog.NotJudged
		found[i], notJudged = findings.Find(nights[i].recording)
		if len(notJudged) > 0 {
			errs[i] = fmt.Errorf("%s: %s", nights[i].name, strings.Join(notJudged[0].Report(), "\n"))
		}
		for k := range found[i] {
			found[i][k].SampleRate = nights[i].recording.SampleRate // as the store does
		}
	})
	return found, errors.Join(errs...)
}

// report counts the findings about nights.
func report(nights []judgedNight, found [][]catalog.Finding) *FaultsReport {
	r := &FaultsReport{Kinds: map[catalog.FindingKind]*KindTally{}}
	for i, n := range nights {
		r.count(n.name, n.truth, found[i])
	}
	return r
}

// others counts the findings of either side that the other side does not have.
func others(usual, found [][]catalog.Finding) int {
	type what struct {
		kind       catalog.FindingKind
		track      int
		start, end int64
		severity   catalog.Severity
	}
	differ := 0
	for i := range usual {
		left := map[what]int{}
		for _, f := range usual[i] {
			left[what{f.Kind, f.Track, f.StartFrame, f.EndFrame, f.Severity}]++
		}
		for _, f := range found[i] {
			left[what{f.Kind, f.Track, f.StartFrame, f.EndFrame, f.Severity}]--
		}
		for _, n := range left {
			differ += max(n, -n)
		}
	}
	return differ
}

func (r *FaultsReport) counts() Counts {
	c := Counts{False: r.False}
	for _, k := range r.Kinds {
		c.Found += k.Found.Hits
	}
	return c
}

func (r *FaultsReport) planted() int {
	planted := 0
	for _, k := range r.Kinds {
		planted += k.Found.Of
	}
	return planted
}

// String returns the tables as Markdown.
func (s *Sensitivity) String() string {
	var b strings.Builder
	base := s.Base.counts()
	fmt.Fprintf(&b, "# What the counts do when a threshold moves\n\nWritten by `go run ./cmd/evaluate -only sensitivity -broken %d`, on the half of the material that tuning may use. Each threshold moves alone: by 20 %% of its magnitude, a count by one at least, a ratio by 20 %% of its decibels, a share or a correlation to 1 at most. The figures of a cell belong to the lower value, the value as it is, and the higher one. *Found*: planted faults that are found. *False*: findings that no planted fault explains. *Other*: findings that exist on one side only, or have another start, end or severity than with all thresholds as they are.\n\n", s.Tours)
	fmt.Fprintf(&b, "%d tours of %d nights (the first of each without faults): %d nights, %d tracks, %.1f track hours, %d faults planted. ",
		s.Tours, faultNights, s.Base.Nights, s.Base.Tracks, s.Base.Hours, s.Base.planted())
	fmt.Fprintf(&b, "With all thresholds as they are %d of the faults are found, and %d findings are false.\n\n", base.Found, base.False)
	var tried, silent []Move
	fmt.Fprintln(&b, "| threshold | value | lower, higher | source | found | false | other |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|")
	for _, m := range s.Moves {
		switch c := m.Counts; {
		case m.Counted():
			fmt.Fprintf(&b, "%s %d, %d, %d | %d, %d, %d | %d, %d |\n", row(m), c[0].Found, c[1].Found, c[2].Found, c[0].False, c[1].False, c[2].False, c[0].Other, c[2].Other)
		case m.Tried():
			tried = append(tried, m)
		default:
			silent = append(silent, m)
		}
	}
	fmt.Fprintf(&b, "\n## Neither count moves, findings do\n\n%d thresholds change findings, but neither count.\n\n", len(tried))
	fmt.Fprintln(&b, "| threshold | value | lower, higher | source | other |\n|---|---|---|---|---|")
	for _, m := range tried {
		fmt.Fprintf(&b, "%s %d, %d |\n", row(m), m.Counts[0].Other, m.Counts[2].Other)
	}
	fmt.Fprintf(&b, "\n## Nothing moves\n\n%d thresholds: the nights lie far from the values at which these decide, or do not try them at all. The nights cannot tell which, so this is no reason to remove one.\n\n", len(silent))
	fmt.Fprintln(&b, "| threshold | value | lower, higher | source |\n|---|---|---|---|")
	for _, m := range silent {
		fmt.Fprintln(&b, row(m))
	}
	fmt.Fprintf(&b, "\n## Not moved\n\nThe nights have no line check. Its own judgement has %d thresholds.\n\n| threshold | value | source |\n|---|---|---|\n", len(s.Silent))
	for _, t := range s.Silent {
		fmt.Fprintf(&b, "| %s %s | %s %s | %s |\n", t.Of, t.Name, number(t.Value()), t.Unit, t.Source)
	}
	return b.String()
}

// row begins a line of a table with what a threshold is.
func row(m Move) string {
	return fmt.Sprintf("| %s %s | %s %s | %s, %s | %s |", m.Of, m.Name, number(m.Values[1]), m.Unit, number(m.Values[0]), number(m.Values[2]), m.Source)
}

// number writes a threshold with four digits at most.
func number(v float64) string {
	if math.Abs(v) >= 1000 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.4g", v)
}
