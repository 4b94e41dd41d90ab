package web

import (
	"bytes"
	"compress/gzip"
	"container/list"
	"fmt"
	"net/http"
	"strings"
	"sync"

	"github.com/zeebo/xxh3"
)

// cache keeps answers until what they are made of changes: see version.go. Every
// request first reads the counts of changes from SQLite, which takes microseconds,
// so the next request sees every change, also one made on the command line. If
// several requests need the same answer, one works it out and the others wait.
type cache struct {
	mu      sync.Mutex
	bytes   int
	entries map[string]*list.Element
	order   *list.List // of *answer, the latest used first
	flights map[string]*flight
}

const (
	mostCacheBytes = 64 << 20
	mostEntryBytes = 8 << 20
	leastZipBytes  = 1 << 10
)

// answer is what was sent for a request.
type answer struct {
	key     string
	version int64
	status  int
	header  http.Header
	body    []byte
	zipped  []byte // nil where it is not worth it
	etag    string
}

type flight struct {
	done   chan struct{}
	answer *answer // nil where the one that worked it out gave up
}

func newCache() *cache {
	return &cache{entries: map[string]*list.Element{}, order: list.New(), flights: map[string]*flight{}}
}

// cached answers from the cache. If the answer is not there, next works it out, and
// the cache keeps it if its status is 200.
func (s *Server) cached(next http.HandlerFunc, of version) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		changes, err := s.watcher.Changes(r.Context())
		if err != nil {
			return err
		}
		version := of(r, changes)
		key := fmt.Sprintf("%d %s", whoIs(r).Role, r.URL.RequestURI())
		a, mine := s.cache.get(r, key, version)
		if mine != nil {
			rec := &recorder{header: http.Header{}, status: http.StatusOK}
			func() {
				defer func() { s.cache.land(key, version, mine, a) }() // even if next panics, so that no request waits for ever
				next(rec, r)
				if r.Context().Err() == nil {
					a = rec.answer(key, version)
				}
			}()
			if a == nil {
				return nil // the browser has hung up
			}
		}
		if a == nil { // the request that we waited for was cancelled
			next(w, r)
			return nil
		}
		a.send(w, r)
		return nil
	}
}

// get returns a kept answer, or waits for one that another request is working out.
// Otherwise it returns the flight that the caller must land.
func (c *cache) get(r *http.Request, key string, version int64) (*answer, *flight) {
	c.mu.Lock()
	if e, ok := c.entries[key]; ok && e.Value.(*answer).version == version {
		c.order.MoveToFront(e)
		c.mu.Unlock()
		return e.Value.(*answer), nil
	}
	name := fmt.Sprintf("%d %s", version, key)
	if f, ok := c.flights[name]; ok {
		c.mu.Unlock()
		select {
		case <-f.done:
			return f.answer, nil
		case <-r.Context().Done():
			return nil, nil
		}
	}
	f := &flight{done: make(chan struct{})}
	c.flights[name] = f
	c.mu.Unlock()
	return nil, f
}

// land ends a flight and keeps its answer.
func (c *cache) land(key string, version int64, f *flight, a *answer) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.flights, fmt.Sprintf("%d %s", version, key))
	f.answer = a
	close(f.done)
	if a == nil || a.status != http.StatusOK || a.size() > mostEntryBytes {
		return
	}
	if old, ok := c.entries[key]; ok {
		if old.Value.(*answer).version > version {
			return // a later request was faster; counts only rise
		}
		c.drop(old)
	}
	c.entries[key] = c.order.PushFront(a)
	c.bytes += a.size()
	for c.bytes > mostCacheBytes {
		c.drop(c.order.Back())
	}
}

func (c *cache) drop(e *list.Element) {
	a := c.order.Remove(e).(*answer)
	delete(c.entries, a.key)
	c.bytes -= a.size()
}

func (a *answer) size() int { return len(a.body) + len(a.zipped) + len(a.key) }

// send writes an answer, or status 304 if the browser has it already.
func (a *answer) send(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	for name, values := range a.header {
		h[name] = values
	}
	if a.status == http.StatusOK {
		h.Set("ETag", a.etag)
		h.Set("Cache-Control", "no-cache") // keep it, and ask whether it still holds
		h.Set("Vary", "Accept-Encoding, Cookie")
		if strings.Contains(r.Header.Get("If-None-Match"), a.etag) {
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	body := a.body
	if a.zipped != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = a.zipped
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	w.WriteHeader(a.status)
	if r.Method != http.MethodHead {
		w.Write(body)
	}
}

// recorder holds an answer while it is worked out.
type recorder struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (r *recorder) Header() http.Header         { return r.header }
func (r *recorder) WriteHeader(status int)      { r.status = status }
func (r *recorder) Write(b []byte) (int, error) { return r.body.Write(b) }

func (r *recorder) answer(key string, version int64) *answer {
	a := &answer{key: key, version: version, status: r.status, header: r.header, body: r.body.Bytes()}
	a.etag = fmt.Sprintf(`"%016x"`, xxh3.Hash(a.body))
	if len(a.body) >= leastZipBytes {
		var z bytes.Buffer
		gz, _ := gzip.NewWriterLevel(&z, gzip.BestSpeed)
		gz.Write(a.body)
		gz.Close()
		if z.Len() < len(a.body)*9/10 {
			a.zipped = z.Bytes()
		}
	}
	return a
}
