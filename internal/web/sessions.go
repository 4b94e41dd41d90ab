package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/session"
	"nightreel/internal/tourgrid"
	"nightreel/internal/verdict"
)

type sessionsView struct {
	Desks    []catalog.Desk
	Songs    []songTakes
	Shows    []catalog.Show
	Groups   []string // and channels, to leave on the stage
	Rigs     []string
	Picks    []string
	Sessions []catalog.Session // newest first
	Desk     string            // of the newest session; the next one is mostly for the same desk
}

// songTakes is a song with the takes that may be chosen, the latest first.
type songTakes struct {
	catalog.Song
	Choices []takeChoice
}

// takeChoice is a take as the form offers it, in words.
type takeChoice struct {
	Show   catalog.ShowKey `json:"show"`
	Length string          `json:"length"`
	Rate   string          `json:"rate"`
	Open   string          `json:"open"` // what was found about it: "1 fault, 2 warnings"
}

func (s *Server) sessionsPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.builderView(r.Context())
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "sessions.html", "Playback sessions", v)
}

func (s *Server) builderView(ctx context.Context) (sessionsView, error) {
	v := sessionsView{Picks: session.Picks()}
	var err error
	if v.Desks, err = s.store.Desks(ctx); err != nil {
		return v, err
	}
	if v.Shows, err = s.store.Shows(ctx, catalog.ShowFilter{}); err != nil {
		return v, err
	}
	if v.Sessions, err = s.store.Sessions(ctx); err != nil {
		return v, err
	}
	slices.Reverse(v.Sessions)
	if len(v.Sessions) > 0 {
		v.Desk = v.Sessions[0].Desk
	}
	songs, err := s.store.Songs(ctx)
	if err != nil {
		return v, err
	}
	takes, err := s.store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return v, err
	}
	choices, err := s.takeChoices(ctx, takes, v.Shows)
	if err != nil {
		return v, err
	}
	for _, g := range songs {
		if all := choices[g.ID]; len(all) > 0 {
			slices.Reverse(all)
			v.Songs = append(v.Songs, songTakes{g, all})
		}
	}
	for _, sh := range v.Shows {
		for _, rec := range sh.Recordings {
			if !slices.Contains(v.Rigs, rec.Rig) {
				v.Rigs = append(v.Rigs, rec.Rig)
			}
		}
	}
	all, err := s.store.InputLists(ctx)
	if err != nil {
		return v, err
	}
	for _, l := range all {
		for _, in := range l.Inputs {
			if in.Group != "" && !slices.Contains(v.Groups, in.Group) {
				v.Groups = append(v.Groups, in.Group)
			}
		}
	}
	for _, d := range v.Desks {
		for _, in := range d.Inputs {
			if !slices.Contains(v.Groups, in.Channel) {
				v.Groups = append(v.Groups, in.Channel)
			}
		}
	}
	return v, nil
}

// takeChoices returns what a person may choose of each song: the first take of each
// show, with its rate and what is open about it.
func (s *Server) takeChoices(ctx context.Context, takes []catalog.Take, shows []catalog.Show) (map[catalog.SongID][]takeChoice, error) {
	spans, err := s.store.OpenSpans(ctx, "")
	if err != nil {
		return nil, err
	}
	open := map[catalog.RecordingID][]catalog.OpenSpan{}
	for _, f := range spans {
		open[f.Recording] = append(open[f.Recording], f)
	}
	verdicts, err := verdict.LoadWith(ctx, s.store, shows, spans, s.jobs.working())
	if err != nil {
		return nil, err
	}
	unknown := map[catalog.ShowKey]bool{}
	for i, v := range verdicts {
		unknown[shows[i].Key] = !v.Known()
	}
	choices := map[catalog.SongID][]takeChoice{}
	for _, t := range takes {
		if all := choices[t.SongID]; len(all) > 0 && all[len(all)-1].Show == t.Show {
			continue
		}
		c := takeChoice{t.Show, minutes(t.EndS() - t.StartS()), kilohertz(t.SampleRate), severities(tourgrid.Touching(open[t.RecordingID], t.StartFrame, t.EndFrame))}
		switch {
		case c.Open == "" && unknown[t.Show]:
			c.Open = "not wholly read or judged"
		case c.Open == "":
			c.Open = "clean"
		}
		choices[t.SongID] = append(choices[t.SongID], c)
	}
	return choices, nil
}

// buildSession builds a session from a form: a desk, and songs in playing order with
// a pick each, or a show for its whole set.
func (s *Server) buildSession(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	req := session.Request{Desk: r.FormValue("desk"), Pick: r.FormValue("pick"), Rig: r.FormValue("rig"), Except: filled(r.Form["except"]), Beyond: r.FormValue("beyond") != ""}
	for i, song := range r.Form["song"] {
		if song == "" {
			continue
		}
		req.Songs = append(req.Songs, song)
		pick := ""
		if picks := r.Form["song_pick"]; i < len(picks) {
			pick = picks[i]
		}
		req.SongPicks = append(req.SongPicks, pick)
	}
	if len(req.Songs) == 0 && r.FormValue("show") != "" {
		var err error
		if req.Show, err = catalog.ParseShowKey(r.FormValue("show")); err != nil {
			return &badRequest{err.Error(), ""}
		}
	}
	ses, err := session.Build(r.Context(), s.store, req)
	if err != nil {
		return err
	}
	return s.kept(w, r, fmt.Sprintf("/session/%d", ses.ID), fmt.Sprintf("Playback session %d is built.", ses.ID))
}

// filled returns those texts that are not blank.
func filled(all []string) []string {
	return slices.DeleteFunc(slices.Clone(all), func(s string) bool { return strings.TrimSpace(s) == "" })
}

type sessionView struct {
	Session  catalog.Session
	Rows     []matrixRow
	Troubles []string
	Playing  int // desk inputs on playback in any item
	Cautions []session.Caution
	Renders  string // folder that renders go below
	Folder   string
}

// sessionOf returns the session that an address names.
func (s *Server) sessionOf(r *http.Request) (catalog.Session, error) {
	id, err := number(r.PathValue("id"), "session")
	if err != nil {
		return catalog.Session{}, err
	}
	return s.store.Session(r.Context(), catalog.SessionID(id))
}

func (s *Server) sessionPage(w http.ResponseWriter, r *http.Request) error {
	ses, err := s.sessionOf(r)
	if err != nil {
		return err
	}
	v := sessionView{Session: ses, Rows: matrix(ses), Troubles: session.Troubles(ses), Cautions: session.Cautions(), Renders: s.opt.Renders, Folder: fmt.Sprintf("session %d", ses.ID)}
	for _, row := range v.Rows {
		if row.Usual.Status == catalog.Playback {
			v.Playing++
		}
	}
	return s.render(w, r, http.StatusOK, "session.html", fmt.Sprintf("Playback session %d", ses.ID), v)
}

// adjustSession stores a copy of a session with some inputs changed. The form has
// fields status-ITEM-INPUT and trim-ITEM-INPUT.
func (s *Server) adjustSession(w http.ResponseWriter, r *http.Request) error {
	ses, err := s.sessionOf(r)
	if err != nil {
		return err
	}
	if err := r.ParseForm(); err != nil {
		return err
	}
	changes := []session.Adjustment{}
	for _, in := range ses.Inputs {
		key := fmt.Sprintf("%d-%d", in.Item, in.DeskInput)
		c := session.Adjustment{Item: in.Item, DeskInput: in.DeskInput, Status: catalog.InputStatus(r.FormValue("status-" + key)), Beyond: r.FormValue("beyond") != ""}
		if text := strings.TrimSpace(r.FormValue("trim-" + key)); text != "" {
			db, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64)
			if err != nil {
				return &badRequest{fmt.Sprintf("%s: %q is no trim in dB", in.Channel, text), "write it as a number, for example -3"}
			}
			c.TrimDB = &db
		}
		if c.Status != "" || c.TrimDB != nil {
			changes = append(changes, c)
		}
	}
	next, err := session.Adjust(r.Context(), s.store, ses, changes)
	if err != nil {
		return err
	}
	return s.kept(w, r, fmt.Sprintf("/session/%d", next.ID), fmt.Sprintf("Playback session %d is kept beside %d.", next.ID, ses.ID))
}

// sheetPolicy is that of the sheet, a page of its own with its style in it.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'"

func (s *Server) sheet(w http.ResponseWriter, r *http.Request) error {
	return s.sendSheet(w, r, "text/html; charset=utf-8", func(b *bytes.Buffer, sheet session.Sheet) error {
		w.Header().Set("Content-Security-Policy", sheetPolicy)
		return session.WriteSheetHTML(b, sheet)
	})
}

func (s *Server) sheetCSV(w http.ResponseWriter, r *http.Request) error {
	return s.sendSheet(w, r, "text/csv; charset=utf-8", func(b *bytes.Buffer, sheet session.Sheet) error {
		w.Header().Set("Content-Disposition", attachment(fmt.Sprintf("playback session %d.csv", sheet.Session)))
		return session.WriteSheetCSV(b, sheet)
	})
}

func (s *Server) sendSheet(w http.ResponseWriter, r *http.Request, kind string, write func(*bytes.Buffer, session.Sheet) error) error {
	ses, err := s.sessionOf(r)
	if err != nil {
		return err
	}
	sheet, err := session.NewSheet(r.Context(), s.store, ses)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := write(&b, sheet); err != nil {
		return err
	}
	w.Header().Set("Content-Type", kind)
	w.Write(b.Bytes())
	return nil
}
