package web

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/findings"
	"nightreel/internal/verdict"
)

// findingsPerPage keeps the page quick; a bad night has some dozens.
const findingsPerPage = 100

type findingsView struct {
	Show     catalog.ShowKey // "" for all nights
	Kind     catalog.FindingKind
	Channel  string
	Accepted bool // accepted ones too
	Findings []findingRow
	Open     int // of all that were chosen
	Quiet    int // accepted ones
	First    int // index of the first one shown, from 0
	Last     int
	Of       int
	Earlier  string // addresses of the pages around it, "" where there is none
	Later    string
	Shows    []catalog.Show
	Kinds    []catalog.FindingKind
	Channels []string
	Unknown  []unknownShow
}

type findingRow struct {
	catalog.Finding
	TrackID catalog.TrackID // of the first track that it names; 0 if it names none that was recorded
	Number  int             // of that track
	Heard   string          // and its channel
	ListenS float64         // where listening starts, from the recording's first frame
	Mark    string
	Again   bool // it is like the finding above it
}

// listenBeforeS is how long before a finding listening starts: long enough to
// hear how it should sound (common practice, no source).
const listenBeforeS = 4

// marks give each severity a shape beside its colour, so that colour alone
// distinguishes none.
var marks = map[catalog.Severity]string{catalog.FaultSeverity: "✕", catalog.WarningSeverity: "▲", catalog.NoteSeverity: "•"}

func (s *Server) findingsPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.chooseFindings(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "findings.html", "Findings", v)
}

// chooseFindings finds what an address asks for: findings of a show, of the last
// one where none is named, by kind and channel.
func (s *Server) chooseFindings(r *http.Request) (findingsView, error) {
	ctx := r.Context()
	v, err := s.readChoice(r)
	if err != nil {
		return v, err
	}
	if v.Unknown, err = s.unknown(ctx, v.Shows, v.Show); err != nil {
		return v, err
	}
	all, err := s.store.Findings(ctx, catalog.FindingFilter{Show: v.Show})
	if err != nil {
		return v, err
	}
	if err := s.nameFindings(ctx, &v, all); err != nil {
		return v, err
	}
	concerns, err := s.concerning(ctx, v.Show, v.Channel)
	if err != nil {
		return v, err
	}
	chosen := []catalog.Finding{}
	for _, f := range all {
		if v.Kind != "" && f.Kind != v.Kind || !concerns(f) {
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
	// Open before accepted; the last night first; the most urgent first.
	slices.SortStableFunc(chosen, func(a, b catalog.Finding) int {
		if a.Accepted != b.Accepted {
			return map[bool]int{false: -1, true: 1}[a.Accepted]
		}
		return cmp.Or(cmp.Compare(b.Show, a.Show), findings.Compare(a, b))
	})
	chosen = findings.Together(chosen)
	v.turnTo(r.URL.Query(), len(chosen))
	v.Findings, err = s.findingRows(ctx, chosen[v.First:v.Last])
	return v, err
}

// readChoice reads which findings an address asks for.
func (s *Server) readChoice(r *http.Request) (findingsView, error) {
	q := r.URL.Query()
	v := findingsView{Kind: catalog.FindingKind(q.Get("kind")), Channel: q.Get("channel"), Accepted: q.Get("accepted") != "", Findings: []findingRow{}}
	var err error
	if v.Shows, err = s.store.Shows(r.Context(), catalog.ShowFilter{}); err != nil {
		return v, err
	}
	if v.Kind != "" {
		if v.Kind, err = catalog.ParseFindingKind(string(v.Kind)); err != nil {
			return v, err
		}
	}
	switch show := q.Get("show"); {
	case show == "all":
	case show != "":
		key, err := catalog.ParseShowKey(show)
		if err != nil {
			return v, &badRequest{err.Error(), ""}
		}
		chosen, err := s.store.Show(r.Context(), key)
		if err != nil {
			return v, err
		}
		v.Show = chosen.Key
	case len(v.Shows) > 0:
		v.Show = v.Shows[len(v.Shows)-1].Key // tonight's
	}
	return v, nil
}

// nameFindings lists the kinds and channels that findings are about, to choose
// from.
func (s *Server) nameFindings(ctx context.Context, v *findingsView, all []catalog.Finding) error {
	tracks := s.tracksOnce(ctx)
	add := func(channel string) {
		if channel != "" && !slices.Contains(v.Channels, channel) {
			v.Channels = append(v.Channels, channel)
		}
	}
	for _, f := range all {
		if !slices.Contains(v.Kinds, f.Kind) {
			v.Kinds = append(v.Kinds, f.Kind)
		}
		add(f.Channel)
		if f.Channel != "" || len(f.Tracks) == 0 {
			continue
		}
		of, err := tracks(f.RecordingID)
		if err != nil {
			return err
		}
		for _, t := range of {
			if f.Concerns(t.Number) {
				add(t.Channel)
			}
		}
	}
	slices.Sort(v.Kinds)
	return nil
}

// concerning returns what tells whether a finding concerns a channel, alone or
// with others; "" is any channel.
func (s *Server) concerning(ctx context.Context, show catalog.ShowKey, channel string) (func(catalog.Finding) bool, error) {
	if channel == "" {
		return func(catalog.Finding) bool { return true }, nil
	}
	found, err := s.store.Findings(ctx, catalog.FindingFilter{Show: show, Channel: channel})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		if err := s.store.KnowsChannel(ctx, channel); err != nil {
			return nil, err
		}
	}
	ids := map[catalog.FindingID]bool{}
	for _, f := range found {
		ids[f.ID] = true
	}
	return func(f catalog.Finding) bool { return ids[f.ID] }, nil
}

// turnTo chooses which of the findings are on this page.
func (v *findingsView) turnTo(q url.Values, of int) {
	v.Of = of
	v.First, _ = strconv.Atoi(q.Get("after"))
	v.First = min(max(0, v.First), max(0, v.Of-1))
	v.Last = min(v.Of, v.First+findingsPerPage)
	page := func(after int) string {
		u := maps.Clone(q)
		u.Set("after", fmt.Sprint(after))
		return "/findings?" + u.Encode()
	}
	if v.First > 0 {
		v.Earlier = page(max(0, v.First-findingsPerPage))
	}
	if v.Last < v.Of {
		v.Later = page(v.Last)
	}
}

// unknownShow is a show that is not wholly read and judged.
type unknownShow struct {
	Show catalog.ShowKey
	verdict.Verdict
}

// unknown returns of one show, or of all for "", those that are not wholly read
// and judged.
func (s *Server) unknown(ctx context.Context, shows []catalog.Show, only catalog.ShowKey) ([]unknownShow, error) {
	if only != "" {
		shows = slices.DeleteFunc(slices.Clone(shows), func(sh catalog.Show) bool { return sh.Key != only })
	}
	verdicts, err := verdict.Load(ctx, s.store, shows, s.jobs.working())
	unknown := []unknownShow{}
	for i, v := range verdicts {
		if !v.Known() {
			unknown = append(unknown, unknownShow{shows[i].Key, v.Verdict})
		}
	}
	return unknown, err
}

// Unread reports whether a scan is needed before all findings are known.
func (v findingsView) Unread() bool {
	return slices.ContainsFunc(v.Unknown, func(u unknownShow) bool { return u.Answer == verdict.NotRead })
}

// findingRows finds the tracks of each finding.
func (s *Server) findingRows(ctx context.Context, found []catalog.Finding) ([]findingRow, error) {
	rows := make([]findingRow, 0, len(found))
	tracks := s.tracksOnce(ctx)
	for i, f := range found {
		of, err := tracks(f.RecordingID)
		if err != nil {
			return nil, err
		}
		t := firstOf(f, of)
		rows = append(rows, findingRow{Finding: f, TrackID: t.ID, Number: t.Number, Heard: t.Channel, ListenS: max(0, f.StartS()-listenBeforeS), Mark: marks[f.Severity],
			Again: i > 0 && findings.Alike(found[i-1], f)})
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
func firstOf(f catalog.Finding, tracks []catalog.Track) catalog.Track {
	for _, number := range f.Tracks {
		for _, t := range tracks {
			if t.Number == number {
				return t
			}
		}
	}
	return catalog.Track{}
}

// findingOf returns the finding that an address names, with its first track.
func (s *Server) findingOf(r *http.Request) (catalog.Finding, catalog.Track, error) {
	id, err := number(r.PathValue("id"), "finding")
	if err != nil {
		return catalog.Finding{}, catalog.Track{}, err
	}
	findings, err := s.store.Findings(r.Context(), catalog.FindingFilter{ID: catalog.FindingID(id)})
	if err != nil {
		return catalog.Finding{}, catalog.Track{}, err
	}
	if len(findings) == 0 {
		return catalog.Finding{}, catalog.Track{}, &catalog.NotFoundError{Kind: "finding", Name: r.PathValue("id"), Try: "a later refresh may have replaced it; the findings page lists what there is"}
	}
	tracks, err := s.store.Tracks(r.Context(), catalog.TrackFilter{Recording: findings[0].RecordingID})
	if err != nil {
		return catalog.Finding{}, catalog.Track{}, err
	}
	return findings[0], firstOf(findings[0], tracks), nil
}

// editFinding accepts a finding, or opens it again.
func (s *Server) editFinding(w http.ResponseWriter, r *http.Request) error {
	id, err := number(r.PathValue("id"), "finding")
	if err != nil {
		return err
	}
	switch r.FormValue("do") {
	case "accept":
		err = s.store.AcceptFinding(r.Context(), catalog.FindingID(id), strings.TrimSpace(r.FormValue("note")))
	case "reopen":
		err = s.store.UnacceptFinding(r.Context(), catalog.FindingID(id))
	default:
		err = &badRequest{"choose what to do with the finding: accept or reopen", ""}
	}
	if err != nil {
		return err
	}
	if wantsPage(r) {
		http.Redirect(w, r, "/findings", http.StatusSeeOther)
		return nil
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// acceptFindings accepts several findings with one note: none if one of them is
// not there any more.
func (s *Server) acceptFindings(w http.ResponseWriter, r *http.Request) error {
	ids := []catalog.FindingID{}
	for _, text := range r.Form["finding"] {
		id, err := number(text, "finding")
		if err != nil {
			return err
		}
		found, err := s.store.Findings(r.Context(), catalog.FindingFilter{ID: catalog.FindingID(id)})
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return &catalog.NotFoundError{Kind: "finding", Name: text, Try: "a later refresh may have replaced it; none was accepted"}
		}
		ids = append(ids, found[0].ID)
	}
	if len(ids) == 0 {
		return &badRequest{"no finding was chosen", "tick the findings first"}
	}
	for _, id := range ids {
		if err := s.store.AcceptFinding(r.Context(), id, strings.TrimSpace(r.FormValue("note"))); err != nil {
			return err
		}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
