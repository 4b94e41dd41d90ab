package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/lists"
)

type listsView struct {
	Date    catalog.ShowKey // the night whose lists are shown
	Rig     string
	Rigs    []string
	Shows   []catalog.Show
	Inputs  []catalog.Input // in force
	Of      *catalog.InputList
	History []catalog.InputList // newest first
	Desks   []catalog.Desk
	SetList []catalog.SetListEntry
	Text    string // the set list, a title a line
	Groups  []string
	Names   []string // a sentence for each rig whose names contradict the input list
}

// chooseLists reads which night's and rig's lists an address asks for.
func (s *Server) chooseLists(r *http.Request) (listsView, error) {
	ctx, q := r.Context(), r.URL.Query()
	v := listsView{Rig: q.Get("rig"), Rigs: []string{catalog.MainRig}}
	var err error
	if v.Shows, err = s.store.Shows(ctx, catalog.ShowFilter{}); err != nil {
		return v, err
	}
	for _, sh := range v.Shows {
		for _, rec := range sh.Recordings {
			if !slices.Contains(v.Rigs, rec.Rig) {
				v.Rigs = append(v.Rigs, rec.Rig)
			}
		}
	}
	if v.Rig == "" {
		v.Rig = catalog.MainRig
	}
	if text := q.Get("date"); text != "" {
		if v.Date, err = catalog.ParseShowKey(text); err != nil {
			return v, &badRequest{err.Error(), ""}
		}
		if v.Date, err = s.store.Address(ctx, v.Date); err != nil {
			return v, err
		}
	} else if len(v.Shows) > 0 {
		v.Date = v.Shows[len(v.Shows)-1].Key
	}
	all, err := s.store.InputLists(ctx)
	if err != nil {
		return v, err
	}
	if v.Date != "" {
		v.Inputs = catalog.InForce(all, v.Date, v.Rig)
	}
	v.History = all
	slices.Reverse(v.History)
	return v, nil
}

func (s *Server) listsPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.chooseLists(r)
	if err != nil {
		return err
	}
	if v.Desks, err = s.store.Desks(r.Context()); err != nil {
		return err
	}
	if v.Date != "" {
		if v.SetList, err = s.store.SetList(r.Context(), v.Date); err != nil {
			return err
		}
		if v.Names, err = lists.Names(r.Context(), s.store, v.Date); err != nil {
			return err
		}
	}
	for _, e := range v.SetList {
		v.Text += e.Entered + "\n" // kept as it is, it changes nothing
	}
	return s.render(w, r, http.StatusOK, "lists.html", "Lists", v)
}

func (s *Server) inputsCSV(w http.ResponseWriter, r *http.Request) error {
	v, err := s.chooseLists(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := lists.WriteInputs(&b, v.Inputs); err != nil {
		return err
	}
	sendCSV(w, fmt.Sprintf("inputs %s %s.csv", v.Date, v.Rig), b.Bytes())
	return nil
}

func sendCSV(w http.ResponseWriter, name string, data []byte) {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", attachment(name))
	w.Write(data)
}

// saveInputs puts an input list in force. The form has the list as text, as a
// spreadsheet gives it, and the nights that it is for.
func (s *Server) saveInputs(w http.ResponseWriter, r *http.Request) error {
	list := catalog.InputList{Only: r.FormValue("only") != "", Rig: strings.TrimSpace(r.FormValue("rig"))}
	from, err := catalog.ParseShowKey(strings.TrimSpace(r.FormValue("from")))
	if err != nil {
		return &badRequest{err.Error(), "enter the night from which on the list is in force"}
	}
	list.From = from
	if list.Inputs, err = lists.ReadInputs(strings.NewReader(r.FormValue("text")), "the list"); err != nil {
		return err
	}
	if err := s.store.SaveInputList(r.Context(), list); err != nil {
		return err
	}
	s.jobs.refresh()
	return s.kept(w, r, "/lists?"+url.Values{"date": {string(list.From)}, "rig": {list.Rig}}.Encode(), fmt.Sprintf("%s kept.", count(len(list.Inputs), "input")))
}

// kept answers that something was stored.
func (s *Server) kept(w http.ResponseWriter, r *http.Request, to, what string) error {
	if wantsPage(r) {
		http.Redirect(w, r, to, http.StatusSeeOther)
		return nil
	}
	return s.sendJSON(w, map[string]string{"to": to, "done": what})
}

type deskView struct {
	Desk     catalog.Desk
	New      bool
	Channels []string // of the last night, to choose from
}

func (s *Server) deskPage(w http.ResponseWriter, r *http.Request) error {
	v := deskView{}
	var err error
	if name := r.PathValue("name"); name == "new" {
		v.New = true
	} else {
		if v.Desk, err = s.store.Desk(r.Context(), name); err != nil {
			return err
		}
	}
	if v.Channels, err = s.channels(r.Context()); err != nil {
		return err
	}
	if v.New { // a patch one to one is a good beginning
		for i, ch := range v.Channels {
			v.Desk.Inputs = append(v.Desk.Inputs, catalog.DeskInput{Input: i + 1, Channel: ch, Output: i + 1})
		}
	}
	title := "Desk " + v.Desk.Name
	if v.New {
		title = "New desk"
	}
	return s.render(w, r, http.StatusOK, "desk.html", title, v)
}

// channels returns the channels of the last night.
func (s *Server) channels(ctx context.Context) ([]string, error) {
	shows, err := s.store.Shows(ctx, catalog.ShowFilter{})
	if err != nil || len(shows) == 0 {
		return nil, err
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Show: shows[len(shows)-1].Key})
	if err != nil {
		return nil, err
	}
	names := []string{}
	for _, t := range tracks {
		if !slices.Contains(names, t.Channel) {
			names = append(names, t.Channel)
		}
	}
	return names, nil
}

func (s *Server) deskCSV(w http.ResponseWriter, r *http.Request) error {
	desk, err := s.store.Desk(r.Context(), r.PathValue("name"))
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := lists.WriteDesk(&b, desk.Inputs); err != nil {
		return err
	}
	sendCSV(w, desk.Name+".csv", b.Bytes())
	return nil
}

func (s *Server) saveDesk(w http.ResponseWriter, r *http.Request) error {
	desk := catalog.Desk{Name: strings.TrimSpace(r.FormValue("name"))}
	switch {
	case desk.Name == "":
		return &badRequest{"the desk has no name", "front of house is often FOH, monitors MON"}
	case strings.EqualFold(desk.Name, "new"):
		return &badRequest{"a desk cannot be called new", "choose another name"}
	}
	var err error
	if desk.Inputs, err = lists.ReadDesk(strings.NewReader(r.FormValue("text")), "the patch"); err != nil {
		return err
	}
	if err := s.store.SaveDesk(r.Context(), desk); err != nil {
		return err
	}
	return s.kept(w, r, "/lists/desk/"+url.PathEscape(desk.Name), fmt.Sprintf("Desk %s kept: %s.", desk.Name, count(len(desk.Inputs), "input")))
}

func (s *Server) saveSetList(w http.ResponseWriter, r *http.Request) error {
	date, err := catalog.ParseShowKey(r.FormValue("date"))
	if err != nil {
		return &badRequest{err.Error(), "choose the night"}
	}
	entries, err := lists.ReadSetList(strings.NewReader(r.FormValue("text")), "the set list")
	if err != nil {
		return err
	}
	if err := s.store.SaveSetList(r.Context(), date, entries); err != nil {
		return err
	}
	s.jobs.refresh(date)
	return s.kept(w, r, nightPath(date), fmt.Sprintf("%s on the set list.", count(len(entries), "song")))
}

// readList reads a list in any form that package lists knows, and answers with its
// lines.
func (s *Server) readList(w http.ResponseWriter, r *http.Request) error {
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return err
	}
	name := r.URL.Query().Get("name")
	if name == "" {
		name = "the list"
	}
	var doc any
	switch kind := r.URL.Query().Get("kind"); kind {
	case "inputs":
		doc, err = lists.ReadInputs(bytes.NewReader(data), name)
	case "desk":
		doc, err = lists.ReadDesk(bytes.NewReader(data), name)
	default:
		err = &badRequest{fmt.Sprintf("%q is no kind of list", kind), "choose inputs or desk"}
	}
	if err != nil {
		return err
	}
	return s.sendJSON(w, doc)
}
