package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/health"
)

// flagsPerPage keeps the page quick; a bad night has some dozens.
const flagsPerPage = 100

type flagsView struct {
	Show     catalog.Date // "" for all nights
	Kind     catalog.FlagKind
	Channel  string
	Accepted bool // accepted ones too
	Flags    []flagRow
	Open     int // of all that were chosen
	Quiet    int // accepted ones
	First    int // index of the first one shown, from 0
	Last     int
	Of       int
	Earlier  string // addresses of the pages around it, "" where there is none
	Later    string
	Shows    []catalog.Show
	Kinds    []catalog.FlagKind
	Channels []string
}

type flagRow struct {
	catalog.Flag
	TrackID catalog.TrackID // the first one that it names; 0 where it names none that was recorded
	Number  int             // of that track
	Heard   string          // and its channel
	ListenS float64         // where listening starts, from the recording's first frame
	Mark    string
	Again   bool // it goes on about what the one before is about
}

// listenBeforeS is how long before a finding listening starts: long enough to
// hear what was right (common practice, no source).
const listenBeforeS = 4

// marks are shapes beside the colours of severities, so that nobody needs to
// tell the colours apart.
var marks = map[catalog.Severity]string{catalog.FaultSeverity: "✕", catalog.WarningSeverity: "▲", catalog.NoteSeverity: "•"}

func (s *Server) flagsPage(w http.ResponseWriter, r *http.Request) {
	v, err := s.chooseFlags(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.render(w, r, http.StatusOK, "flags.html", "Flags", v)
}

func (s *Server) chooseFlags(r *http.Request) (flagsView, error) {
	ctx, q := r.Context(), r.URL.Query()
	v := flagsView{Kind: catalog.FlagKind(q.Get("kind")), Channel: q.Get("channel"), Accepted: q.Get("accepted") != "", Flags: []flagRow{}}
	var err error
	if v.Shows, err = s.store.Shows(ctx, catalog.ShowFilter{}); err != nil {
		return v, err
	}
	switch show := q.Get("show"); {
	case show == "all":
	case show != "":
		if v.Show, err = catalog.ParseDate(show); err != nil {
			return v, &badRequest{err.Error(), ""}
		}
	case len(v.Shows) > 0:
		v.Show = v.Shows[len(v.Shows)-1].Date // tonight's
	}
	all, err := s.store.Flags(ctx, catalog.FlagFilter{Show: v.Show})
	if err != nil {
		return v, err
	}
	concerning := map[catalog.FlagID]bool{} // the channel, alone or with others
	if v.Channel != "" {
		flags, err := s.store.Flags(ctx, catalog.FlagFilter{Show: v.Show, Channel: v.Channel})
		if err != nil {
			return v, err
		}
		for _, f := range flags {
			concerning[f.ID] = true
		}
	}
	tracks := s.tracksOnce(ctx)
	chosen := []catalog.Flag{}
	for _, f := range all {
		if !slices.Contains(v.Kinds, f.Kind) {
			v.Kinds = append(v.Kinds, f.Kind)
		}
		channels := []string{f.Channel}
		if f.Channel == "" && len(f.Tracks()) > 0 {
			channels = nil
			of, err := tracks(f.RecordingID)
			if err != nil {
				return v, err
			}
			for _, t := range of {
				if f.Concerns(t.Number) {
					channels = append(channels, t.Channel)
				}
			}
		}
		for _, c := range channels {
			if c != "" && !slices.Contains(v.Channels, c) {
				v.Channels = append(v.Channels, c)
			}
		}
		if v.Kind != "" && f.Kind != v.Kind || v.Channel != "" && !concerning[f.ID] {
			continue
		}
		if f.Accepted {
			v.Quiet++
		} else {
			v.Open++
		}
		if !f.Accepted || v.Accepted {
			chosen = append(chosen, f)
		}
	}
	slices.Sort(v.Kinds)
	// Tonight first; open before accepted; what hurts most first.
	slices.SortStableFunc(chosen, func(a, b catalog.Flag) int {
		if a.Accepted != b.Accepted {
			return map[bool]int{false: -1, true: 1}[a.Accepted]
		}
		return cmp.Or(cmp.Compare(b.Show, a.Show), health.Compare(a, b))
	})
	chosen = health.Together(chosen)
	v.Of = len(chosen)
	v.First, _ = strconv.Atoi(q.Get("after"))
	v.First = min(max(0, v.First), max(0, v.Of-1))
	v.Last = min(v.Of, v.First+flagsPerPage)
	page := func(after int) string {
		u := url.Values{}
		for name, values := range q {
			u[name] = values
		}
		u.Set("after", fmt.Sprint(after))
		return "/flags?" + u.Encode()
	}
	if v.First > 0 {
		v.Earlier = page(max(0, v.First-flagsPerPage))
	}
	if v.Last < v.Of {
		v.Later = page(v.Last)
	}
	v.Flags, err = s.flagRows(ctx, chosen[v.First:v.Last])
	return v, err
}

// flagRows finds the tracks of each finding.
func (s *Server) flagRows(ctx context.Context, flags []catalog.Flag) ([]flagRow, error) {
	rows := make([]flagRow, 0, len(flags))
	tracks := s.tracksOnce(ctx)
	for i, f := range flags {
		of, err := tracks(f.RecordingID)
		if err != nil {
			return nil, err
		}
		t := firstOf(f, of)
		rows = append(rows, flagRow{Flag: f, TrackID: t.ID, Number: t.Number, Heard: t.Channel, ListenS: max(0, f.StartS()-listenBeforeS), Mark: marks[f.Severity],
			Again: i > 0 && health.Alike(flags[i-1], f)})
	}
	return rows, nil
}

// tracksOnce returns a recording's tracks, asked for once each.
func (s *Server) tracksOnce(ctx context.Context) func(catalog.RecordingID) ([]catalog.Track, error) {
	known := map[catalog.RecordingID][]catalog.Track{}
	return func(id catalog.RecordingID) ([]catalog.Track, error) {
		if known[id] == nil {
			var err error
			if known[id], err = s.store.Tracks(ctx, catalog.TrackFilter{Recording: id}); err != nil {
				return nil, err
			}
		}
		return known[id], nil
	}
}

// firstOf returns the first track that a finding names, a zero one where there is
// none.
func firstOf(f catalog.Flag, tracks []catalog.Track) catalog.Track {
	for _, number := range f.Tracks() {
		for _, t := range tracks {
			if t.Number == number {
				return t
			}
		}
	}
	return catalog.Track{}
}

// flagOf returns the finding that an address names, with its first track.
func (s *Server) flagOf(r *http.Request) (catalog.Flag, catalog.Track, error) {
	id, err := number(r.PathValue("id"), "finding")
	if err != nil {
		return catalog.Flag{}, catalog.Track{}, err
	}
	flags, err := s.store.Flags(r.Context(), catalog.FlagFilter{ID: catalog.FlagID(id)})
	if err != nil {
		return catalog.Flag{}, catalog.Track{}, err
	}
	if len(flags) == 0 {
		return catalog.Flag{}, catalog.Track{}, &catalog.NotFoundError{Kind: "flag", Name: r.PathValue("id"), Try: "a later scan may have found it otherwise; the flags page lists what there is"}
	}
	tracks, err := s.store.Tracks(r.Context(), catalog.TrackFilter{Recording: flags[0].RecordingID})
	if err != nil {
		return catalog.Flag{}, catalog.Track{}, err
	}
	return flags[0], firstOf(flags[0], tracks), nil
}

// editFlag accepts a finding, or opens it again.
func (s *Server) editFlag(w http.ResponseWriter, r *http.Request) {
	id, err := number(r.PathValue("id"), "finding")
	if err == nil {
		switch r.FormValue("do") {
		case "accept":
			err = s.store.AcceptFlag(r.Context(), catalog.FlagID(id), strings.TrimSpace(r.FormValue("note")))
		case "reopen":
			err = s.store.UnacceptFlag(r.Context(), catalog.FlagID(id))
		default:
			err = &badRequest{"it was not said what to do with the finding", ""}
		}
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/flags", http.StatusSeeOther)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}
