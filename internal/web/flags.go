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
	"nightreel/internal/envelope"
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
	chosen := []catalog.Flag{}
	for _, f := range all {
		if !slices.Contains(v.Kinds, f.Kind) {
			v.Kinds = append(v.Kinds, f.Kind)
		}
		if f.Channel != "" && !slices.Contains(v.Channels, f.Channel) {
			v.Channels = append(v.Channels, f.Channel)
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
	tracks := map[catalog.RecordingID][]catalog.Track{}
	for i, f := range flags {
		if tracks[f.RecordingID] == nil {
			var err error
			if tracks[f.RecordingID], err = s.store.Tracks(ctx, catalog.TrackFilter{Recording: f.RecordingID}); err != nil {
				return nil, err
			}
		}
		t := firstOf(f, tracks[f.RecordingID])
		rows = append(rows, flagRow{Flag: f, TrackID: t.ID, Number: t.Number, Heard: t.Channel, ListenS: max(0, f.StartS()-listenBeforeS), Mark: marks[f.Severity],
			Again: i > 0 && health.Alike(flags[i-1], f)})
	}
	return rows, nil
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

const (
	evidenceWidth   = 360
	evidenceHeight  = 64
	evidenceAroundS = 8   // shown on either side of a finding
	evidenceFloorDB = -72 // at the bottom edge
)

// evidence draws the track's envelope around a finding.
func (s *Server) evidence(w http.ResponseWriter, r *http.Request) {
	flag, track, err := s.flagOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	// Its colours follow the reader's system, which takes a style of its own.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img"><title>%s</title><style>%s</style>`, evidenceWidth, evidenceHeight,
		escape(fmt.Sprintf("Level of %s around %s", track.Channel, clock(flag.StartS()))), evidenceStyle)
	from, to := flag.StartS()-evidenceAroundS, max(flag.EndS(), flag.StartS()+0.1)+evidenceAroundS
	x := func(t float64) float64 { return (t - from) / (to - from) * evidenceWidth }
	fmt.Fprintf(&b, `<rect class="span" x="%.1f" y="0" width="%.1f" height="%d"/>`, x(flag.StartS()), max(2, x(flag.EndS())-x(flag.StartS())), evidenceHeight)
	for _, db := range []float64{-20, -40, -60} {
		fmt.Fprintf(&b, `<line class="rule" x1="0" x2="%d" y1="%.1f" y2="%.1f"/>`, evidenceWidth, evidenceY(db), evidenceY(db))
	}
	if track.ID != 0 {
		rate := float64(track.SampleRate)
		strip, err := envelope.OfTrack(r.Context(), s.store, track, int64(from*rate), int64(to*rate), evidenceWidth/2)
		if err != nil {
			s.failed(w, r, err)
			return
		}
		b.WriteString(evidencePath("peak", strip.Columns, 0))
		b.WriteString(evidencePath("rms", strip.Columns, 1))
	}
	b.WriteString(`</svg>`)
	w.Write([]byte(b.String()))
}

const evidenceStyle = `.span{fill:#e8b04a;fill-opacity:.35}.rule{stroke:#8886;stroke-width:.5}.peak{fill:#9aa7b0}.rms{fill:#2b4a66}` +
	`@media (prefers-color-scheme:dark){.peak{fill:#5d6b75}.rms{fill:#a9c7e0}.span{fill-opacity:.4}}`

// evidenceY places a level, dBFS, from the top edge.
func evidenceY(db float64) float64 {
	return min(evidenceHeight, max(0, db/evidenceFloorDB*evidenceHeight))
}

// evidencePath draws one of a strip's two levels as an area.
func evidencePath(class string, columns []byte, offset int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<path class="%s" d="`, class)
	for c := 0; 2*c < len(columns); c++ {
		code := columns[2*c+offset]
		if code < 2 {
			continue
		}
		if y := evidenceY(float64(int(code)-255) / 2); y < evidenceHeight {
			fmt.Fprintf(&b, "M%d %dV%.1fh2V%d", 2*c, evidenceHeight, y, evidenceHeight)
		}
	}
	b.WriteString(`"/>`)
	return b.String()
}
