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
	"nightreel/internal/lists"
	"nightreel/internal/session"
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
		"count": count, "answer": stateOf, "size": size, "json": asJSON, "day": weekday, "short": shortDate, "percent": percent, "queryescape": urlQuery,
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
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, name, title string, view any) {
	all, err := templates()
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	role := whoIs(r).Role
	var b bytes.Buffer
	err = all[name].Execute(&b, frame{Title: title, Page: strings.TrimSuffix(name, ".html"), Path: r.URL.Path, Role: role,
		Locked: s.doors.locked(), Operates: role == Operator, View: view})
	if err != nil {
		s.log.Error("page not drawn", "page", name, "error", err)
		http.Error(w, "the page could not be drawn: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

// sendJSON writes a document.
func (s *Server) sendJSON(w http.ResponseWriter, r *http.Request, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Write(data)
}

// badRequest is something that the one who asked can mend.
type badRequest struct{ problem, hint string }

func (e *badRequest) Error() string { return e.problem }
func (e *badRequest) Hint() string  { return e.hint }

// failed answers with an error: 404 for what is not there, 400 for what was
// asked wrongly, 409 for what another change or job stands in the way of, else
// 500. What happened and what to do stands on the page.
func (s *Server) failed(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() != nil {
		return // nobody is there any more
	}
	status := http.StatusInternalServerError
	var gone *catalog.NotFoundError
	var tooLong *http.MaxBytesError
	switch {
	case errors.As(err, &gone), is[*catalog.AmbiguousShowError](err):
		status = http.StatusNotFound
	case is[*catalog.ReadOnlyError](err):
		status = http.StatusForbidden
	case errors.As(err, &tooLong):
		s.fail(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("that is more than %d MB", tooLong.Limit>>20), "a list of a hundred inputs has some kilobytes: is it the right file?")
		return
	case is[*busyError](err), isConflict(err):
		status = http.StatusConflict
	case is[*badRequest](err), is[*catalog.AmbiguousShowError](err), is[*lists.Error](err), is[*lists.TimeError](err), is[*session.RequestError](err), is[*session.RenderError](err), is[*session.ExistsError](err):
		status = http.StatusBadRequest
	default:
		s.log.Error("request failed", "path", r.URL.Path, "error", err)
	}
	s.fail(w, r, status, err.Error(), hintOf(err))
}

// fail answers with a problem, as a page or as a document.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, status int, problem, hint string) {
	if wantsPage(r) {
		s.render(w, r, status, "problem.html", http.StatusText(status), map[string]any{"Status": status, "Problem": problem, "Hint": hint})
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]string{"problem": problem, "hint": hint})
}

// wantsPage tells whether a browser is to show the answer, or a script reads it.
func wantsPage(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "text/html") && !strings.HasPrefix(r.URL.Path, "/data/")
}

func is[E error](err error) bool {
	var e E
	return errors.As(err, &e)
}

// hintOf returns what an error knows to do about it.
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
		return "", &badRequest{err.Error(), "a night's address is /night/YYYY-MM-DD"}
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

func urlQuery(s string) string { return url.QueryEscape(s) }
