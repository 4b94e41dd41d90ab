package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/stats"
)

// The ways to choose among the takes of a song. If takes are equal, the latest
// wins.
const (
	// Latest is the last take played.
	Latest = "latest"
	// Cleanest has the least weight of findings. It counts findings that are not
	// accepted, touch the take and lie on tracks that would play; a desk input
	// whose channel is missing weighs as much as a fault.
	Cleanest = "cleanest"
	// Typical is nearest to the medians: the RMS of every channel after trim is
	// compared with its median over all candidate takes. The take with the
	// smallest mean distance in dB wins.
	Typical = "typical"
	// Loudest has the highest sum of powers of the integrated loudness after
	// trim, over all tracks that would play.
	Loudest = "loudest"
)

// Picks returns the words that Request.Pick accepts beside a date.
func Picks() []string { return []string{Latest, Cleanest, Typical, Loudest} }

// Weights of findings for Cleanest: a fault outweighs a handful of warnings, a
// warning a handful of notes (common practice, no source).
const (
	faultWeight   = 100
	warningWeight = 10
	noteWeight    = 1
)

// quietest replaces any lower level in comparisons, so that digital silence has
// a finite distance. It is below the noise floor of a good preamp at working
// gain.
const quietest = -120.0 // dBFS

type pick struct {
	word string
	date catalog.ShowKey // set if the request names a night
}

func parsePick(s string) (pick, error) {
	if s == "" {
		return pick{word: Latest}, nil
	}
	if slices.Contains(Picks(), strings.ToLower(s)) {
		return pick{word: strings.ToLower(s)}, nil
	}
	date, err := catalog.ParseShowKey(s)
	if err != nil {
		return pick{}, &RequestError{fmt.Sprintf("pick %q is unknown", s), "pick " + strings.Join(Picks(), ", ") + " or a date as YYYY-MM-DD"}
	}
	return pick{word: Latest, date: date}, nil
}

// pickOne chooses among the candidate takes of one song; there must be at least
// one, in order of time. It also returns notes for the session's problems.
func (b *builder) pickOne(ctx context.Context, takes []*candidate) (*candidate, []string, error) {
	last := takes[len(takes)-1]
	switch {
	case b.pick.date != "":
		last.why = fmt.Sprintf("the take of %s, as asked", b.pick.date)
		if len(takes) > 1 {
			last.why = fmt.Sprintf("the last of %d takes of %s, as asked", len(takes), b.pick.date)
		}
		return last, nil, nil
	case len(takes) == 1:
		last.why = "the only take"
		if b.req.Show != "" {
			last.why += " of " + string(b.req.Show)
		}
		return last, nil, nil
	}
	switch b.pick.word {
	case Cleanest:
		best, next := ranked(takes, func(c *candidate) float64 { return -c.tally().weight() })
		best.why = fmt.Sprintf("cleanest of %d takes: %s; %s has %s", len(takes), best.tally(), next.name(best), next.tally())
		return best, nil, nil
	case Typical, Loudest:
		return b.pickByLevel(ctx, takes)
	}
	last.why = fmt.Sprintf("latest of %d takes", len(takes))
	return last, nil, nil
}

// name returns a name that tells the candidate from another one.
func (c *candidate) name(from *candidate) string {
	if c.take.Show == from.take.Show {
		return fmt.Sprintf("take %d of %s", c.take.Nth, c.take.Show)
	}
	return string(c.take.Show)
}

// ranked returns the candidates with the highest and the next highest score; if
// scores are equal, the later take comes first. There must be at least two
// candidates.
func ranked(takes []*candidate, score func(*candidate) float64) (best, next *candidate) {
	order := slices.Clone(takes)
	slices.Reverse(order)
	slices.SortStableFunc(order, func(x, y *candidate) int {
		switch sx, sy := score(x), score(y); {
		case sx > sy:
			return -1
		case sx < sy:
			return 1
		}
		return 0
	})
	return order[0], order[1]
}

// tally counts the problems of a take on the desk.
type tally struct{ missing, faults, warnings, notes int }

func (c *candidate) tally() (t tally) {
	for _, in := range c.inputs {
		if in.Status == catalog.Missing {
			t.missing++
		}
		for _, f := range in.findings {
			switch f.Severity {
			case catalog.FaultSeverity:
				t.faults++
			case catalog.WarningSeverity:
				t.warnings++
			default:
				t.notes++
			}
		}
	}
	return t
}

func (t tally) weight() float64 {
	return float64(faultWeight*(t.missing+t.faults) + warningWeight*t.warnings + noteWeight*t.notes)
}

// String words the tally, "2 faults, 1 note".
func (t tally) String() string {
	words := []string{}
	if t.missing > 0 {
		words = append(words, count(t.missing, "missing channel"))
	}
	for _, c := range []struct {
		n    int
		word string
	}{{t.faults, "fault"}, {t.warnings, "warning"}, {t.notes, "note"}} {
		if c.n > 0 {
			words = append(words, count(c.n, c.word))
		}
	}
	if len(words) == 0 {
		return "no findings"
	}
	return strings.Join(words, ", ")
}

// pickByLevel chooses the typical or the loudest take. It skips takes that were
// never measured, with a note.
func (b *builder) pickByLevel(ctx context.Context, takes []*candidate) (*candidate, []string, error) {
	var measured []*candidate
	var notes []string
	var missing error
	for _, c := range takes {
		err := b.measure(ctx, c)
		var unmeasured *envelope.NotMeasuredError
		switch {
		case errors.As(err, &unmeasured):
			missing = err
			notes = append(notes, fmt.Sprintf("%s: skipped, because it is not measured to its end", c.title()))
		case err != nil:
			return nil, nil, err
		default:
			measured = append(measured, c)
		}
	}
	switch len(measured) {
	case 0:
		return nil, nil, missing
	case 1:
		measured[0].why = fmt.Sprintf("the only one of %d takes that is measured", len(takes))
		return measured[0], notes, nil
	}
	if b.pick.word == Loudest {
		best, next := ranked(measured, (*candidate).loudness)
		best.why = fmt.Sprintf("loudest of %d takes: %.1f LUFS summed over its channels after trim; %s has %.1f", len(measured), best.loudness(), next.name(best), next.loudness())
		return best, notes, nil
	}
	medians := medians(measured)
	best, next := ranked(measured, func(c *candidate) float64 { return -c.distance(medians) })
	best.why = fmt.Sprintf("most typical of %d takes: %.1f dB from the channels' median RMS after trim; %s is %.1f dB off", len(measured), best.distance(medians), next.name(best), next.distance(medians))
	return best, notes, nil
}

// measure loads the figures of all tracks that would play.
func (b *builder) measure(ctx context.Context, c *candidate) error {
	for _, in := range c.inputs {
		if in.Status != catalog.Playback {
			continue
		}
		if _, err := in.load(ctx, b.store, c); err != nil {
			return err
		}
	}
	return nil
}

// loudness returns the power sum of the inputs' integrated loudness after trim
// in LUFS, -Inf if all are silent.
func (c *candidate) loudness() float64 {
	sum := 0.0
	for _, in := range c.inputs {
		if in.figures == nil || math.IsNaN(float64(in.figures.Loudness)) {
			continue
		}
		sum += math.Pow(10, (float64(in.figures.Loudness)+in.TrimDB)/10)
	}
	return 10 * math.Log10(sum)
}

// rms returns the RMS after trim of the i-th desk input in dBFS, NaN if it does
// not play.
func (c *candidate) rms(i int) float64 {
	if c.inputs[i].figures == nil || math.IsNaN(float64(c.inputs[i].figures.RMS)) {
		return math.NaN()
	}
	return max(quietest, float64(c.inputs[i].figures.RMS)+c.inputs[i].TrimDB)
}

// medians returns the median RMS of every desk input over the takes, NaN for an
// input that plays in none of them.
func medians(takes []*candidate) []float64 {
	all := make([]float64, len(takes[0].inputs))
	for i := range all {
		values := []float64{}
		for _, c := range takes {
			values = append(values, c.rms(i))
		}
		all[i] = stats.Median(values)
	}
	return all
}

// distance returns the mean distance from the medians in dB, +Inf if no input
// can be compared.
func (c *candidate) distance(medians []float64) float64 {
	sum, n := 0.0, 0
	for i, m := range medians {
		if v := c.rms(i); !math.IsNaN(v) && !math.IsNaN(m) {
			sum += math.Abs(v - m)
			n++
		}
	}
	if n == 0 {
		return math.Inf(1)
	}
	return sum / float64(n)
}

// count returns a number with its word in singular or plural.
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
