package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// hub sends events to every open page (server-sent events, WHATWG HTML §9.2).
type hub struct {
	mu     sync.Mutex
	pages  map[chan event]listener
	latest map[string]event // by name, of those that a new page wants to know
	closed bool
}

// listener is who listens on a page.
type listener struct {
	watches bool // the transport, too
	role    Role
	holds   bool // the transport, when the page was opened
}

// event is a named JSON document.
type event struct {
	name string
	data []byte
}

const (
	mostPages = 64               // of a role
	heldPages = 16               // of whoever holds the transport, beside those
	beat      = 15 * time.Second // a sign of life, so that a broken line is noticed
	watchTick = 400 * time.Millisecond
)

func newHub() *hub { return &hub{pages: map[chan event]listener{}, latest: map[string]event{}} }

// send gives an event to all pages, of the transport to those that watch it. One
// that does not keep up misses it; keep gives it to those that come later, too,
// in place of an earlier one.
func (h *hub) send(name string, v any, keep bool) {
	data, err := json.Marshal(v)
	if err != nil {
		return // our own types; a test sends each
	}
	e := event{name, data}
	h.mu.Lock()
	defer h.mu.Unlock()
	if keep {
		h.latest[name] = e
	}
	for page, who := range h.pages {
		if name == transportEvent && !who.watches {
			continue
		}
		select {
		case page <- e:
		default:
		}
	}
}

// join refuses pages beyond mostPages of a role, so that those who look leave
// room for those who operate, and these for whoever holds the transport.
func (h *hub) join(who listener) (chan event, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	n, most := 0, mostPages
	if who.holds {
		most = heldPages
	}
	for _, other := range h.pages {
		if other.holds == who.holds && (who.holds || other.role == who.role) {
			n++
		}
	}
	if h.closed || n >= most {
		return nil, false
	}
	page := make(chan event, 32)
	h.pages[page] = who
	for _, e := range h.latest {
		page <- e
	}
	return page, true
}

func (h *hub) leave(page chan event) {
	h.mu.Lock()
	delete(h.pages, page)
	h.mu.Unlock()
}

func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for page := range h.pages {
		delete(h.pages, page)
		close(page)
	}
}

// watch tells the pages when the catalog changed, whoever changed it.
func (s *Server) watch(ctx context.Context) {
	tick := time.NewTicker(watchTick)
	defer tick.Stop()
	before, _ := s.state(ctx)
	gone := false
	s.stage.tellOpen()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			version, err := s.state(ctx)
			if lost := s.store.Intact(); lost != nil && !gone {
				gone = true
				s.log.Error("nothing is served any more", "error", lost)
				before, version = 0, -1 // pages ask again and are told
			}
			if err == nil && version != before {
				before = version
				s.stage.tellOpen()
				s.hub.send("changed", map[string]int64{"version": version}, false)
			}
		}
	}
}

// events is the stream that a page listens to.
func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	page, ok := s.hub.join(listener{r.URL.Query().Get("with") == transportEvent, whoIs(r).Role, s.stage.holds(seatKey(r))})
	if !ok {
		w.Header().Set("Retry-After", "5")
		s.fail(w, r, http.StatusServiceUnavailable, "too many pages are open", "close some")
		return nil
	}
	defer s.hub.leave(page)
	rc := http.NewResponseController(w)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	fmt.Fprint(w, "retry: 2000\n\n")
	rc.Flush()
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		select {
		case <-r.Context().Done():
			return nil
		case <-tick.C:
			fmt.Fprint(w, ": still here\n\n")
		case e, open := <-page:
			if !open {
				return nil
			}
			fmt.Fprintf(w, "event: %s\ndata: %s\n\n", e.name, e.data)
		}
		if rc.Flush() != nil {
			return nil
		}
	}
}
