// Package linecheck compares a minute that was recorded this afternoon with the
// tour: each input played or tapped in turn, or the band's own check.
//
// Start with [Check]. Its measurements are discarded: nothing is written to the
// tour's catalog.
package linecheck

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/scan"
)

// Report is a line check.
type Report struct {
	Against []catalog.ShowKey `json:"against"` // the nights it was compared with
	Inputs  []Input           `json:"inputs"`  // in order of track
	// NotRecorded are channels of the input list that the recording lacks.
	NotRecorded []string       `json:"not_recorded"`
	Problems    []scan.Problem `json:"problems"`
}

// Status is what to do about an input.
type Status string

// From best to worst.
const (
	OK      Status = "ok"
	Look    Status = "look"    // something differs from the tour
	Broken  Status = "broken"  // it will hurt the show
	Unknown Status = "unknown" // there is nothing to compare it with
)

// Input is one input of a line check. Unknown values are left out.
type Input struct {
	Track   int      `json:"track"`
	Channel string   `json:"channel"`
	Status  Status   `json:"status"`
	Alive   bool     `json:"alive"`
	Level   *float64 `json:"level_dbfs"` // mean of its peaks while it was played; null: silence
	Played  int      `json:"played_s"`   // seconds in which it was played
	// Usual is the tour's median level over as many seconds; Low and High
	// enclose nine tenths of the tour's. Difference is Level minus Usual in dB,
	// Suggest the change of gain in dB.
	Usual      *float64 `json:"usual_dbfs,omitempty"`
	Low        *float64 `json:"usual_low_dbfs,omitempty"`
	High       *float64 `json:"usual_high_dbfs,omitempty"`
	Difference *float64 `json:"difference_db,omitempty"`
	Suggest    *float64 `json:"gain_suggestion_db,omitempty"`
	Swapped    string   `json:"swapped_with,omitempty"`
	// Alike lists channels whose sound on the tour is so similar that an
	// exchange with them could not be detected here.
	Alike  []string `json:"alike,omitempty"`
	Turned bool     `json:"polarity_turned"`
	Hum    *float64 `json:"hum_dbfs,omitempty"`
	Tone   *float64 `json:"tone_differs_db,omitempty"`
	Text   []string `json:"text"` // a sentence each
}

// Options are the choices of [Check].
type Options struct {
	Date catalog.ShowKey // the day whose input list is in force; "" = after the last show
	Rig  string          // "" = main
}

// Check measures a file or a folder and compares it with the tour in the
// catalog. It needs no complete input list, and none at all if files are named
// by channel.
func Check(ctx context.Context, store *catalog.Store, path string, opt Options, p *scan.Progress) (Report, error) {
	r := Report{Against: []catalog.ShowKey{}, Inputs: []Input{}, NotRecorded: []string{}, Problems: []scan.Problem{}}
	if opt.Rig == "" {
		opt.Rig = catalog.MainRig
	}
	if opt.Date == "" {
		opt.Date = "9999-12-31"
	}
	lists, err := store.InputLists(ctx)
	if err != nil {
		return r, err
	}
	inputs := catalog.InForce(lists, opt.Date, opt.Rig)
	line, problems, err := measure(ctx, path, inputs, opt, p)
	r.Problems = append(r.Problems, problems...)
	if err != nil {
		return r, err
	}
	near, err := evidence.FindNeighbours(ctx, store, opt.Date)
	if err != nil {
		return r, err
	}
	nights, err := evidence.Sounds(ctx, store, near, opt.Rig)
	if err != nil {
		return r, err
	}
	t := tour{nights: nights}
	line.lowerQuiet(nights)
	t.howPlayed(line.Night, line.peaks)
	for _, n := range nights {
		r.Against = append(r.Against, n.Voices[0].Track.Show)
	}
	if t.peaks, err = secondsOfAll(ctx, store, nights, line.holds); err != nil {
		return r, err
	}
	recorded := map[string]bool{}
	var all []heard
	for i := range line.Voices {
		v := &line.Voices[i]
		recorded[catalog.Key(v.Track.Channel)] = true
		in, h := t.input(v, line.peaks[v.Track.ID], line.soundOf(v))
		in.compare(v.Track, inputs)
		r.Inputs = append(r.Inputs, in)
		all = append(all, h)
	}
	for _, in := range inputs {
		if !recorded[catalog.Key(in.Channel)] {
			r.NotRecorded = append(r.NotRecorded, in.Channel)
		}
	}
	swaps := exchanged(all, nil)
	var unsure []findings.Pair
	if !t.inTurn {
		var told []findings.Pair
		var notJudged []catalog.NotJudged
		told, unsure, notJudged = findings.Exchanged(line.Night, nights)
		r.miss(path, notJudged)
		swaps = exchanged(all, told)
	}
	found, notJudged := findings.Line(line.Night, nights, swaps, t.inTurn)
	r.miss(path, notJudged)
	for _, f := range found {
		r.add(f)
	}
	for _, p := range alike(all) {
		a, b := &r.Inputs[p.A], &r.Inputs[p.B]
		if (t.inTurn || slices.Contains(unsure, p)) && a.Swapped == "" && b.Swapped == "" {
			a.Alike, b.Alike = append(a.Alike, b.Channel), append(b.Alike, a.Channel)
		}
	}
	return r, nil
}

// miss reports what judges that failed did not judge.
func (r *Report) miss(path string, notJudged []catalog.NotJudged) {
	for _, n := range notJudged {
		r.Problems = append(r.Problems, scan.Problem{File: path,
			Problem: fmt.Sprintf("%s was not checked, because of an error in nightreel: %s", n.Kinds[0].Words(), strings.Join(n.Report(), ";")),
			Hint:    "send us this line"})
	}
}

func rounded(db float64) *float64 {
	v := math.Round(db*10) / 10
	return &v
}

func (in *Input) say(format string, args ...any) {
	in.Text = append(in.Text, fmt.Sprintf(format, args...))
}

func dbfs(level *float64) string {
	if level == nil {
		return "digital silence"
	}
	return fmt.Sprintf("%.0f dBFS", *level)
}

// add adds a finding that comes from all inputs together to the inputs that it
// is about.
func (r *Report) add(f catalog.Finding) {
	for i := range r.Inputs {
		in := &r.Inputs[i]
		other := f.Partner()
		if f.Kind == catalog.Swapped && (in.Track == other || in.Track == f.Track) {
			// Its differences are those of the other input.
			in.Text, in.Suggest, in.Tone = []string{}, nil, nil
		}
		if f.Kind == catalog.Swapped && in.Track == other {
			in.Status, in.Swapped = Broken, r.channel(f.Track)
			in.say("%s and %s are exchanged.", in.Channel, in.Swapped)
		}
		if in.Track != f.Track {
			continue
		}
		switch f.Kind {
		case catalog.Swapped:
			in.Status, in.Swapped = Broken, r.channel(other)
		case catalog.Polarity:
			in.Turned = true
			in.Status = worse(in.Status, Look)
		case catalog.Hum:
			in.Hum = rounded(f.Evidence["hum_dbfs"])
			in.Status = worse(in.Status, Look)
		}
		in.Text = append(in.Text, strings.TrimSpace(f.Text))
	}
}

func worse(a, b Status) Status {
	if a == Broken {
		return a
	}
	return b
}

func (r *Report) channel(track int) string {
	for _, in := range r.Inputs {
		if in.Track == track {
			return in.Channel
		}
	}
	return fmt.Sprintf("track %d", track)
}
