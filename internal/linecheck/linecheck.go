// Package linecheck compares a minute that was recorded this afternoon, each
// input played or tapped in turn or the band's own check, with the tour.
//
// Start with [Check]. What it measures is thrown away again: the tour's catalog
// is read, never written.
package linecheck

import (
	"context"
	"fmt"
	"math"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/health"
	"nightreel/internal/scan"
	"nightreel/internal/sound"
)

const (
	// aliveDB is how far above its own quiet an input must come to have been
	// played, and faintDBFS what no input that was played stays below.
	aliveDB   = 10
	faintDBFS = -85
	// gainDB is the least difference from the tour that a gain is suggested for,
	// and wildDB the one that is no matter of taste. Common practice, no source.
	gainDB = 3
	wildDB = 10
	// unlikeDB is by how much more than from night to night a spectrum must differ.
	unlikeDB = 5
)

// Report is a line check.
type Report struct {
	Against []catalog.Date `json:"against"` // the nights it was compared with
	Inputs  []Input        `json:"inputs"`  // in order of track
	// NotRecorded are channels of the input list that the recording lacks.
	NotRecorded []string       `json:"not_recorded"`
	Problems    []scan.Problem `json:"problems"`
}

// Status says what is to be done about an input.
type Status string

// From best to worst.
const (
	OK      Status = "ok"
	Look    Status = "look"    // something differs from the tour
	Broken  Status = "broken"  // it will hurt the show
	Unknown Status = "unknown" // nothing is there to compare it with
)

// Input is one input of a line check. What is not known is left out.
type Input struct {
	Track   int      `json:"track"`
	Channel string   `json:"channel"`
	Status  Status   `json:"status"`
	Alive   bool     `json:"alive"`
	Level   *float64 `json:"level_dbfs"` // RMS of its loudest six seconds; null: silence
	// Usual is the tour's median for the same, Difference how far above it the
	// input is, Suggest by how much its gain should be turned.
	Usual      *float64 `json:"usual_dbfs,omitempty"`
	Difference *float64 `json:"difference_db,omitempty"`
	Suggest    *float64 `json:"gain_suggestion_db,omitempty"`
	Swapped    string   `json:"swapped_with,omitempty"`
	Turned     bool     `json:"polarity_turned"`
	Hum        *float64 `json:"hum_dbfs,omitempty"`
	Tone       *float64 `json:"tone_differs_db,omitempty"`
	Text       []string `json:"text"` // a sentence each
}

// Options are the choices of [Check].
type Options struct {
	Date catalog.Date // the day: whose input list is in force; "" = after the last show
	Rig  string       // "" = main
}

// Check measures a file or a folder and compares it with the tour in the
// catalog. A partial input list, or none, is no hindrance.
func Check(ctx context.Context, store *catalog.Store, path string, opt Options, p *scan.Progress) (Report, error) {
	r := Report{Against: []catalog.Date{}, Inputs: []Input{}, NotRecorded: []string{}, Problems: []scan.Problem{}}
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
	line, problems, err := listen(ctx, path, inputs, opt, p)
	r.Problems = append(r.Problems, problems...)
	if err != nil {
		return r, err
	}
	tour, err := health.Tour(ctx, store, opt.Date, opt.Rig)
	if err != nil {
		return r, err
	}
	for _, n := range tour {
		r.Against = append(r.Against, n.Voices[0].Track.Show)
	}
	recorded := map[string]bool{}
	for i := range line.Voices {
		recorded[catalog.Key(line.Voices[i].Track.Channel)] = true
		in := input(&line.Voices[i], tour)
		in.compare(line.Voices[i].Track, inputs)
		r.Inputs = append(r.Inputs, in)
	}
	for _, in := range inputs {
		if !recorded[catalog.Key(in.Channel)] {
			r.NotRecorded = append(r.NotRecorded, in.Channel)
		}
	}
	for _, f := range health.Line(line, tour) {
		r.tell(f)
	}
	return r, nil
}

func rounded(db float64) *float64 {
	v := math.Round(db*10) / 10
	return &v
}

// input compares one input with the tour, alone.
func input(v *sound.Voice, tour []*sound.Night) Input {
	in := Input{Track: v.Track.Number, Channel: v.Track.Channel, Status: OK, Text: []string{}}
	level := float64(sound.Silence)
	for _, l := range v.Levels {
		level = max(level, l)
	}
	if level > sound.Silence {
		in.Level = rounded(level)
	}
	in.Alive = level > faintDBFS && level > v.Quiet+aliveDB
	var usual, quiet []float64
	for _, n := range tour {
		if o := n.Find(catalog.Key(v.Track.Channel)); o != nil && o.Plays() {
			gain := 0.0
			if v.Track.Input.GainDB != nil && o.Track.Input.GainDB != nil {
				gain = *v.Track.Input.GainDB - *o.Track.Input.GainDB
			}
			usual, quiet = append(usual, o.High+gain), append(quiet, o.Quiet+gain)
		}
	}
	if len(usual) == 0 {
		if !in.Alive {
			in.Status = Unknown
			in.say("%s holds nothing but its floor, and no other night tells whether it should: play it, and look at its cable if it stays so.", in.Channel)
		}
		return in
	}
	middle := sound.Median(usual)
	in.Usual = rounded(middle)
	// Where it plays all the time its quiet is no floor; the tour's is.
	in.Alive = in.Alive || level > faintDBFS && level > sound.Median(quiet)+aliveDB
	if !in.Alive {
		in.Status = Broken
		in.say("%s is dead: %s, and %.0f dBFS on the tour; check microphone, cable and patch.", in.Channel, dbfs(in.Level), middle)
		return in
	}
	d := level - middle
	in.Difference = rounded(d)
	if math.Abs(d) >= gainDB {
		in.Status = Look
		suggest := -math.Round(d)
		in.Suggest = &suggest
		how, turn := "louder", "down"
		if d < 0 {
			how, turn = "quieter", "up"
		}
		if math.Abs(d) >= wildDB {
			in.say("%s is %.0f dB %s than on the tour: was it played as in the show? If so, its gain goes %s by about %.0f dB.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		} else {
			in.say("%s is %.0f dB %s than on the tour: gain %s by about %.0f dB, once it is played as in the show.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		}
	}
	if apart, nights := health.Unlike(v, tour); apart > nights+unlikeDB {
		in.Tone = rounded(apart)
		in.Status = Look
		in.say("%s sounds unlike the tour (%.0f dB by third octaves, %.0f from night to night): look at microphone, place and what is plugged in.", in.Channel, apart, nights)
	}
	return in
}

// compare tells where the names in the recording and the input list differ.
func (in *Input) compare(t catalog.Track, inputs []catalog.Input) {
	if len(inputs) == 0 || catalog.SameName(t.Name, t.Channel) && t.Input.Channel != "" {
		return
	}
	if t.Input.Channel == "" {
		if in.Usual == nil {
			in.Status = Unknown
			in.say("%s is no channel of the input list, and no other night has it: it was compared with nothing. Name its file by the track number or the channel that it is.", in.Channel)
		}
		return
	}
	for _, other := range inputs {
		if catalog.SameName(other.Channel, t.Name) {
			in.Status = worse(in.Status, Look)
			in.say("Track %d is called %s in the recording, and %s in the input list, where %s is track %d: one of the two is wrong.", t.Number, t.Name, t.Channel, other.Channel, other.Track)
		}
	}
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

// tell adds what all inputs together tell of one.
func (r *Report) tell(f catalog.Flag) {
	for i := range r.Inputs {
		in := &r.Inputs[i]
		other := int(f.Evidence["with_track"])
		if f.Kind == catalog.Swapped && (in.Track == other || in.Track == f.Track) {
			// What it differs by is the other one's.
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
