package web

import (
	"fmt"
	"net/http"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/verdict"
)

type nightView struct {
	Show         catalog.Show
	Verdict      verdict.Verdict
	Before, Next catalog.ShowKey // the nights around it, "" where there is none
	Songs        []catalog.Song
	Notes        []catalog.Note
	SetList      []catalog.SetListEntry
}

func (s *Server) nightPage(w http.ResponseWriter, r *http.Request) error {
	date, err := s.pathDate(r)
	if err != nil {
		return err
	}
	shows, err := s.store.Shows(r.Context(), catalog.ShowFilter{})
	if err != nil {
		return err
	}
	show, err := s.store.Show(r.Context(), date)
	if err != nil {
		return err
	}
	date = show.Key // a date alone may be the address
	v := nightView{}
	for i, sh := range shows {
		if sh.Key != date {
			continue
		}
		v.Show = sh
		if i > 0 {
			v.Before = shows[i-1].Key
		}
		if i+1 < len(shows) {
			v.Next = shows[i+1].Key
		}
	}
	verdicts, err := verdict.Load(r.Context(), s.store, []catalog.Show{v.Show}, s.jobs.working())
	if err != nil {
		return err
	}
	v.Verdict = verdicts[0].Verdict
	if v.Songs, err = s.store.Songs(r.Context()); err != nil {
		return err
	}
	if v.Notes, err = s.store.Notes(r.Context(), date); err != nil {
		return err
	}
	if v.SetList, err = s.store.SetList(r.Context(), date); err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "night.html", fmt.Sprintf("%s %s", date, venue(v.Show)), v)
}

// venue returns the words shown beside a show's date: its venue, else its name.
func venue(s catalog.Show) string {
	if s.Venue != "" {
		return s.Venue
	}
	return s.Name
}

// nightDoc is what the night page draws. Times are seconds from the first frame of
// the show's reference recording.
type nightDoc struct {
	Date       catalog.ShowKey     `json:"date"`
	LengthS    float64             `json:"length_s"`
	Recordings []catalog.Recording `json:"recordings"`
	Tracks     []trackDoc          `json:"tracks"`
	Takes      []catalog.Take      `json:"takes"`
	Findings   []findingDoc        `json:"findings"`
	Undo       string              `json:"undo"` // what undo would undo, "" for nothing
	Redo       string              `json:"redo"`
}

type trackDoc struct {
	ID        catalog.TrackID     `json:"id"`
	Recording catalog.RecordingID `json:"recording"`
	Number    int                 `json:"number"`
	Channel   string              `json:"channel"`
	Name      string              `json:"name"`
	Group     string              `json:"group"`
	GainDB    *float64            `json:"gain_db"`
	LengthS   float64             `json:"length_s"`
}

type findingDoc struct {
	catalog.FindingID `json:"id"`
	Recording         catalog.RecordingID `json:"recording"`
	Tracks            []int               `json:"tracks"` // numbers of those of its recording that it concerns
	Kind              string              `json:"kind"`
	Severity          catalog.Severity    `json:"severity"`
	StartS            float64             `json:"start_s"` // of its recording
	EndS              float64             `json:"end_s"`
	Text              string              `json:"text"`
	Accepted          bool                `json:"accepted"`
}

func (s *Server) nightData(w http.ResponseWriter, r *http.Request) error {
	date, err := s.pathDate(r)
	if err != nil {
		return err
	}
	doc, err := s.night(r, date)
	if err != nil {
		return err
	}
	return s.sendJSON(w, doc)
}

func (s *Server) night(r *http.Request, date catalog.ShowKey) (nightDoc, error) {
	ctx := r.Context()
	show, err := s.store.Show(ctx, date)
	if err != nil {
		return nightDoc{}, err
	}
	doc := nightDoc{Date: date, Recordings: show.Recordings, Tracks: []trackDoc{}, Findings: []findingDoc{}}
	for _, rec := range show.Recordings {
		doc.LengthS = max(doc.LengthS, rec.OffsetS+rec.Seconds(rec.Frames))
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Show: date})
	if err != nil {
		return nightDoc{}, err
	}
	for _, t := range tracks {
		doc.Tracks = append(doc.Tracks, trackDoc{t.ID, t.RecordingID, t.Number, t.Channel, t.Name, t.Input.Group, t.Input.GainDB, float64(t.Frames) / float64(t.SampleRate)})
	}
	if doc.Takes, err = s.store.Takes(ctx, catalog.TakeFilter{Show: date}); err != nil {
		return nightDoc{}, err
	}
	findings, err := s.store.Findings(ctx, catalog.FindingFilter{Show: date})
	if err != nil {
		return nightDoc{}, err
	}
	for _, f := range findings {
		concerned := []int{}
		for _, t := range tracks {
			if t.RecordingID == f.RecordingID && f.Concerns(t.Number) {
				concerned = append(concerned, t.Number)
			}
		}
		doc.Findings = append(doc.Findings, findingDoc{f.ID, f.RecordingID, concerned, words(f.Kind), f.Severity, f.StartS(), f.EndS(), f.Text, f.Accepted})
	}
	doc.Undo, doc.Redo = s.edits.names(date)
	return doc, nil
}

// figuresData is the level figures of a night's tracks: of the whole night, or
// of one take.
func (s *Server) figuresData(w http.ResponseWriter, r *http.Request) error {
	date, err := s.pathDate(r)
	if err != nil {
		return err
	}
	if text := r.URL.Query().Get("take"); text != "" {
		id, err := number(text, "take")
		if err != nil {
			return err
		}
		levels, err := compare.Levels(r.Context(), s.store, compare.Filter{Show: date, Take: catalog.TakeID(id)})
		if err != nil {
			return err
		}
		return s.sendJSON(w, levels)
	}
	levels, err := compare.Tracks(r.Context(), s.store, date)
	if err != nil {
		return err
	}
	return s.sendJSON(w, levels)
}
