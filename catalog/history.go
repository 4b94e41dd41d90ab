package catalog

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

// Step is what one command or one click wrote.
type Step struct {
	ID     StepID     `json:"-"`
	Name   string     `json:"step"` // the id in hexadecimal
	At     *time.Time `json:"at"`   // nil: before the catalog had a history
	Author string     `json:"author"`
	Facts  []StepFact `json:"facts"`
}

// StepFact is one fact of a step, in words.
type StepFact struct {
	Kind    FactKind `json:"kind"`
	Show    string   `json:"show"` // its date, and its name if it has one; "" if the fact is for the tour
	Deleted bool     `json:"deleted"`
	Text    string   `json:"text"`
}

// Words says what the fact says, with its show.
func (f StepFact) Words() string {
	if f.Show == "" {
		return f.Text
	}
	return f.Show + ": " + f.Text
}

// History returns what people wrote, step by step, in order of time: about one
// show, or about all if show is "". Everything from before the catalog had a
// history is one step.
func (s *Store) History(ctx context.Context, show ShowKey) ([]Step, error) {
	only := ""
	if show != "" {
		sh, err := s.Show(ctx, show)
		if err != nil {
			return nil, err
		}
		only = showRef(sh.Date, sh.Name)
	}
	facts, err := list(ctx, s.db, "SELECT "+factColumns+" FROM facts f ORDER BY f.at, f.kind, f.subject, f.id", nil, readFact)
	if err != nil {
		return nil, err
	}
	type key struct {
		kind    FactKind
		subject string
	}
	said := map[key]StepFact{}
	at := map[StepID]int{}
	steps := []Step{}
	for _, f := range facts {
		what, there, err := f.describe()
		if err != nil {
			return nil, err
		}
		of := key{f.Kind, f.Subject}
		if !there { // a deletion: describe what was deleted
			what = said[of]
			what.Kind, what.Deleted = f.Kind, true
		}
		said[of] = what
		if only != "" && what.Show != only {
			continue
		}
		i, known := at[f.Step]
		if !known {
			i = len(steps)
			at[f.Step] = i
			st := Step{ID: f.Step, Name: fmt.Sprintf("%x", f.Step[:]), Author: f.Author, Facts: []StepFact{}}
			if f.At > 0 {
				when := time.UnixMilli(f.At).UTC()
				st.At = &when
			}
			steps = append(steps, st)
		}
		steps[i].Facts = append(steps[i].Facts, what)
	}
	if len(steps) > 0 && steps[0].At == nil { // all of one time, so sort them for reading
		slices.SortStableFunc(steps[0].Facts, func(a, b StepFact) int {
			return cmp.Or(cmp.Compare(a.Show, b.Show), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Text, b.Text))
		})
	}
	return steps, nil
}

// words says what a word about a file says, before its value.
func (a WordAbout) words() string {
	switch a {
	case SaidShow:
		return "it is of the show"
	case SaidRig:
		return "it is of rig"
	case SaidVenue:
		return "its show's venue is"
	case SaidReference:
		return "the show's positions count on its recording:"
	case SaidRight:
		return "it changed and is right as it is:"
	case ScanDate:
		return "scanned with the date"
	case ScanRig:
		return "scanned with the rig"
	case ScanPattern:
		return "scanned with the name pattern"
	}
	return string(a)
}

// quantity writes a number with its word in the right form.
func quantity(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// describe puts a fact into words.
func (f Fact) describe() (what StepFact, there bool, err error) {
	// The union of the fields that are needed of all kinds.
	var b struct {
		File    fileRef           `json:"file"`
		Show    string            `json:"show"`
		From    string            `json:"from"`
		Only    bool              `json:"only"`
		Rig     string            `json:"rig"`
		Inputs  []json.RawMessage `json:"inputs"`
		Entries []json.RawMessage `json:"entries"`
		Items   []json.RawMessage `json:"items"`
		Name    string            `json:"name"`
		Desk    string            `json:"desk"`
		Text    string            `json:"text"`
		Title   string            `json:"title"`
		Alias   string            `json:"alias"`
		Of      string            `json:"of"`
		Song    string            `json:"song"`
		Kind    FindingKind       `json:"kind"`
		Track   int               `json:"track"`
		Tracks  string            `json:"tracks"`
		Note    string            `json:"note"`
		About   WordAbout         `json:"about"`
		Value   string            `json:"value"`
		Start   int64             `json:"start"`
		End     int64             `json:"end"`
	}
	if there, err = f.read(&b); err != nil || !there {
		return what, there, err
	}
	what.Kind, what.Show = f.Kind, b.Show+b.File.Show
	span := fmt.Sprintf("from %s to %s on rig %s", ClockTenths(seconds(b.Start, b.File.Rate)), ClockTenths(seconds(b.End, b.File.Rate)), b.File.Rig)
	switch f.Kind {
	case FactInputList:
		what.Text = fmt.Sprintf("input list from %s on, %s", b.From, quantity(len(b.Inputs), "input"))
		if b.Only {
			what.Show, what.Text = b.From, "input list for this show only, "+quantity(len(b.Inputs), "input")
		}
		if b.Rig != "" {
			what.Text += ", for rig " + b.Rig
		}
	case FactSetList:
		what.Show, what.Text = f.Subject, "set list, "+quantity(len(b.Entries), "song")
	case FactDesk:
		what.Text = fmt.Sprintf("desk %s, %s", b.Name, quantity(len(b.Inputs), "input"))
	case FactNote:
		what.Text = "note: " + b.Text
	case FactTitle:
		what.Text = fmt.Sprintf("the title %q", b.Title)
	case FactAlias:
		what.Text = fmt.Sprintf("%q is another name of %q", b.Alias, b.Of)
	case FactTake:
		what.Text = fmt.Sprintf("take of %q %s", b.Song, span)
	case FactDismissal:
		what.Text = fmt.Sprintf("no take of %q %s", b.Song, span)
	case FactAcceptance:
		tracks := "tracks " + b.Tracks
		if b.Track > 0 {
			tracks = fmt.Sprintf("track %d", b.Track)
		}
		what.Text = fmt.Sprintf("accepted: %s, %s, %s", b.Kind.Words(), tracks, span)
		if b.Note != "" {
			what.Text += ": " + b.Note
		}
	case FactWord:
		what.Text = "a file: " + b.About.words() + " " + b.Value
	case FactSession:
		what.Text = fmt.Sprintf("playback session for desk %s, %s", b.Desk, quantity(len(b.Items), "take"))
	}
	return what, true, nil
}
