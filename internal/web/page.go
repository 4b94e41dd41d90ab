package web

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/linecheck"
	"nightreel/internal/lists"
	"nightreel/internal/playback"
	"nightreel/internal/scan"
	"nightreel/internal/session"
	"nightreel/internal/tracks"
)

//go:embed assets templates
var embedded embed.FS

// assetHash changes whenever an asset does; it is part of their addresses, so
// that browsers keep them for good.
var assetHash = sync.OnceValue(func() string {
	h := xxh3.New()
	fs.WalkDir(embedded, "assets", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			data, _ := embedded.ReadFile(name)
			h.WriteString(name)
			h.Write(data)
		}
		return nil
	})
	return strconv.FormatUint(h.Sum64(), 36)
})

var templates = sync.OnceValues(func() (map[string]*template.Template, error) {
	funcs := template.FuncMap{
		"asset": func(name string) string { return "/assets/" + assetHash() + "/" + name },
		"clock": catalog.Clock, "tenths": catalog.ClockTenths, "minutes": minutes, "length": func(t catalog.Take) string { return minutes(t.EndS() - t.StartS()) }, "db": decibels, "signed": signed, "khz": kilohertz, "words": words, "gain": gain, "turned": turned,
		"count": count, "answer": stateOf, "night": nightPath, "venue": venue, "size": size, "json": asJSON, "day": weekday, "short": shortDate, "percent": percent, "queryescape": urlQuery, "severities": severities, "mark": func(s catalog.Severity) string { return marks[s] }, "longday": longDay, "trim": trim, "figure": figure, "change": change, "lineSign": func(st linecheck.Status) sign { return lineSigns[st] },
		"safe": func(b []byte) template.HTML { return template.HTML(b) }, // written by plot.go and table.go, which escape
	}
	names, err := fs.Glob(embedded, "templates/*.html")
	if err != nil {
		return nil, err
	}
	all := map[string]*template.Template{}
	for _, name := range names {
		if path.Base(name) == "layout.html" {
			continue
		}
		t, err := template.New("layout.html").Funcs(funcs).ParseFS(embedded, "templates/layout.html", name)
		if err != nil {
			return nil, err
		}
		all[path.Base(name)] = t
	}
	return all, nil
})

// frame is what every page gets beside its own view.
type frame struct {
	Title    string
	Page     string // the template's name without ending, for styles and scripts
	Path     string
	Role     Role
	Locked   bool // pass-phrases are in use
	Operates bool
	View     any
}

// render writes a page.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, name, title string, view any) error {
	all, err := templates()
	if err != nil {
		return err
	}
	role := whoIs(r).Role
	var b bytes.Buffer
	err = all[name].Execute(&b, frame{Title: title, Page: strings.TrimSuffix(name, ".html"), Path: r.URL.Path, Role: role,
		Locked: s.doors.locked(), Operates: role == Operator, View: view})
	if err != nil {
		return fmt.Errorf("the page could not be drawn: %w", err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
	return nil
}

// sendJSON writes a document.
func (s *Server) sendJSON(w http.ResponseWriter, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Write(data)
	return nil
}

// badRequest is an error that the person who sent the request can correct.
type badRequest struct{ problem, hint string }

func (e *badRequest) Error() string { return e.problem }
func (e *badRequest) Hint() string  { return e.hint }

// conflict is an error that the person who sent the request can resolve elsewhere:
// on a device, or in another window.
type conflict struct{ problem, hint string }

func (e *conflict) Error() string { return e.problem }
func (e *conflict) Hint() string  { return e.hint }

// handler answers a request, or returns why it did not. An error that comes
// after the first byte of an answer reaches only the log.
type handler func(w http.ResponseWriter, r *http.Request) error

// handle makes a handler one of net/http: an error becomes a page or a document
// that says what happened and what to do.
func (s *Server) handle(h handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := h(w, r); err != nil {
			s.failed(w, r, err)
		}
	}
}

// failed answers with an error.
func (s *Server) failed(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() != nil {
		return // the browser has hung up
	}
	status := statusOf(err)
	if status == http.StatusInternalServerError {
		s.log.Error("request failed", "path", r.URL.Path, "error", err)
	}
	problem, hint := err.Error(), hintOf(err)
	if tooLong := (*http.MaxBytesError)(nil); errors.As(err, &tooLong) {
		problem, hint = fmt.Sprintf("the request is larger than %d MB", tooLong.Limit>>20), "a list of a hundred inputs has some kilobytes: is it the right file?"
	}
	t := trouble{Status: status, Problem: problem, Hint: hint}
	if several := (*catalog.AmbiguousShowError)(nil); errors.As(err, &several) && r.Method == http.MethodGet {
		t.Choices = choices(r.URL, several)
	}
	s.say(w, r, t)
}

// choices returns the addresses that a request may have meant whose date has
// several shows.
func choices(asked *url.URL, several *catalog.AmbiguousShowError) []choice {
	all := make([]choice, 0, len(several.Shows))
	for _, key := range several.Shows {
		parts := strings.Split(asked.EscapedPath(), "/")
		for i, part := range parts {
			if part == string(several.Date) {
				parts[i] = url.PathEscape(string(key))
			}
		}
		query := asked.Query()
		for name, values := range query {
			for i, v := range values {
				if v == string(several.Date) {
					query[name][i] = string(key)
				}
			}
		}
		to := strings.Join(parts, "/")
		if len(query) > 0 {
			to += "?" + query.Encode()
		}
		all = append(all, choice{to, string(key)})
	}
	return all
}

// statusOf returns the status of an answer to a request that failed: 500 where
// the request was not to blame.
func statusOf(err error) int {
	switch {
	case is[*catalog.AmbiguousShowError](err):
		return http.StatusMultipleChoices
	case is[*catalog.NotFoundError](err):
		return http.StatusNotFound
	case is[*catalog.ReadOnlyError](err):
		return http.StatusForbidden
	case is[*catalog.GoneError](err):
		return http.StatusServiceUnavailable
	case is[*http.MaxBytesError](err):
		return http.StatusRequestEntityTooLarge
	case is[*conflict](err), is[*busyError](err), isConflict(err),
		is[*heldError](err), is[goneError](err), is[*playback.RefusedError](err), is[*playback.OpenError](err), is[*playback.BusyError](err),
		is[*tracks.UnreadableError](err), is[*tracks.ChangedError](err): // mostly a drive that is not plugged in
		return http.StatusConflict
	case is[*badRequest](err), is[*lists.Error](err), is[*lists.TimeError](err), is[*session.RequestError](err), is[*session.RenderError](err), is[*session.ExistsError](err), is[*scan.WordError](err), is[*linecheck.NotReadError](err),
		is[*tracks.SpanError](err):
		return http.StatusBadRequest
	}
	return http.StatusInternalServerError
}

// fail answers with a problem, as a page or as a document.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, status int, problem, hint string) {
	s.say(w, r, trouble{Status: status, Problem: problem, Hint: hint})
}

// trouble is what went wrong, and what to do about it.
type trouble struct {
	Status  int      `json:"-"`
	Problem string   `json:"problem"`
	Hint    string   `json:"hint"`
	Choices []choice `json:"choices,omitempty"`
}

// choice is an address that may be meant.
type choice struct {
	To   string `json:"to"`
	Name string `json:"name"`
}

func (s *Server) say(w http.ResponseWriter, r *http.Request, t trouble) {
	if wantsPage(r) {
		if err := s.render(w, r, t.Status, "problem.html", http.StatusText(t.Status), t); err != nil {
			s.log.Error("page not drawn", "page", "problem", "error", err)
			http.Error(w, t.Problem, http.StatusInternalServerError)
		}
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(t.Status)
	json.NewEncoder(w).Encode(t)
}

// wantsPage reports whether a browser shows the answer; else a script reads it.
func wantsPage(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "text/html") && !strings.HasPrefix(r.URL.Path, "/data/")
}

func is[E error](err error) bool {
	var e E
	return errors.As(err, &e)
}

// hintOf returns what an error suggests to do; "" for nothing.
func hintOf(err error) string {
	var h interface{ Hint() string }
	if errors.As(err, &h) {
		return h.Hint()
	}
	return ""
}

// assets sends what is embedded; its address names its content.
func (s *Server) assets(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	data, err := embedded.ReadFile("assets/" + name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	types := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
	if r.PathValue("hash") == assetHash() {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	w.Header().Set("Content-Type", types[path.Ext(name)])
	w.Write(data)
}

// pathDate reads the show in a page's address; a date that has several is an
// error that lists them.
func (s *Server) pathDate(r *http.Request) (catalog.ShowKey, error) {
	d, err := catalog.ParseShowKey(r.PathValue("date"))
	if err != nil {
		return "", &badRequest{err.Error(), "a night's address is /night/YYYY-MM-DD, followed by the show's name where the date has several"}
	}
	return s.store.Address(r.Context(), d)
}

// number reads a positive whole number.
func number(text, what string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 1 {
		return 0, &badRequest{fmt.Sprintf("%q is no %s", text, what), ""}
	}
	return n, nil
}

// seconds reads a place in a recording.
func seconds(text, what string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= -1e6 && v <= 1e6) {
		return 0, &badRequest{fmt.Sprintf("%s: %q is no time in seconds", what, text), ""}
	}
	return v, nil
}

// nightPath is the address of a show's page. A show's key holds a space where its
// date has several.
func nightPath(key catalog.ShowKey) string { return "/night/" + url.PathEscape(string(key)) }

func urlQuery(s string) string { return url.QueryEscape(s) }
