// Package web is the local web app. Start with [New] and [Server.Serve].
//
// It judges nothing itself: every page calls the packages that the command line
// calls, and draws what they return. Pages are rendered here; the scripts in assets
// only draw envelopes, move boundaries, play a channel and keep a page fresh. All
// assets are embedded; no page needs another server.
//
// Answers are kept in memory until the catalog changes: see cache.go. guard.go and
// auth.go decide who may send which request.
package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
)

// Options are the choices of New.
type Options struct {
	Store *catalog.Store
	// Look and Operate are the pass-phrases of the two roles. If both are "",
	// everybody who reaches the server may do everything; only a loopback address
	// allows that.
	Look, Operate string
	// Hosts are further names of the server, beside "localhost", this machine's name
	// and the server's addresses.
	Hosts []string
	// Folders may be scanned, beside the places that recordings were scanned
	// from before. With AnyFolder a person may name any.
	Folders   []string
	AnyFolder bool
	// Drives lists the drives that are mounted now; nil is [scan.Drives].
	Drives func() []string
	// Renders is the folder that sessions are rendered below.
	Renders string
	// Player is the argv that starts the player; nil is this program's own.
	Player []string
	// Devices lists the sound devices by name; nil lists none.
	Devices func(context.Context) []string
	Log     *slog.Logger     // nil = nothing is logged
	Now     func() time.Time // for the age of log-ins and for rendered pages
}

// Server is the web app over one catalog.
type Server struct {
	opt     Options
	store   *catalog.Store
	log     *slog.Logger
	watcher *catalog.Watcher
	cache   *cache
	hub     *hub
	jobs    *jobs
	edits   *edits
	doors   *doors
	stage   *stage
	handler http.Handler

	verified verification
	line     lineCheck
}

// New makes the server and starts to watch the catalog until ctx ends.
func New(ctx context.Context, opt Options) (*Server, error) {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.Now == nil {
		return nil, errors.New("web: no clock was given")
	}
	if (opt.Look == "") != (opt.Operate == "") {
		return nil, errors.New("web: both pass-phrases are needed, or none")
	}
	if opt.Look != "" && opt.Look == opt.Operate {
		return nil, errors.New("web: the two pass-phrases must differ")
	}
	if opt.Renders == "" {
		opt.Renders = filepath.Join(filepath.Dir(opt.Store.Path()), "sessions")
	}
	if opt.Drives == nil {
		opt.Drives = scan.Drives
	}
	w, err := opt.Store.Watch(ctx)
	if err != nil {
		return nil, err
	}
	s := &Server{opt: opt, store: opt.Store, log: opt.Log, watcher: w, hub: newHub()}
	s.cache = newCache()
	s.jobs = newJobs(ctx, s)
	s.edits = newEdits()
	s.doors = newDoors(opt)
	s.stage = newStage(s)
	s.doors.holds = s.stage.holds
	s.handler = s.routes()
	go s.watch(ctx)
	return s, nil
}

// Close ends what was started; it waits for running jobs to be interrupted.
func (s *Server) Close() error {
	s.jobs.stop()
	s.stage.close()
	s.hub.close()
	return s.watcher.Close()
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Limits of a request. A page's form is small; the largest body is a list that
// was pasted.
const (
	maxHeaderBytes = 16 << 10
	maxBodyBytes   = 1 << 20
	readTimeout    = 10 * time.Second // of a request's header; of its body, see guard
	idleTimeout    = 2 * time.Minute
	closeTimeout   = 3 * time.Second
)

// Serve answers on a listener until ctx ends.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	if !s.doors.locked() && !loopback(l.Addr()) {
		return fmt.Errorf("%s: not served without pass-phrases: that address is reached from the network", l.Addr())
	}
	if err := s.catchUp(ctx); ctx.Err() != nil {
		return nil
	} else if err != nil {
		return err
	}
	srv := &http.Server{
		Handler: s, MaxHeaderBytes: maxHeaderBytes, ReadHeaderTimeout: readTimeout, IdleTimeout: idleTimeout,
		ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
		BaseContext: func(net.Listener) context.Context {
			return ctx // event streams and long reads end with the server
		},
	}
	done := make(chan error, 1)
	go func() {
		<-ctx.Done()
		closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), closeTimeout)
		defer cancel()
		done <- srv.Shutdown(closing)
	}()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	<-done
	return nil
}

// catchUp brings results up to date, in the background, that an interrupted run left
// stale or that another version computed.
func (s *Server) catchUp(ctx context.Context) error {
	stale, err := refresh.Stale(ctx, s.store)
	if err == nil && len(stale) > 0 && !s.store.ReadOnly() {
		s.jobs.refresh()
	}
	return err
}

// loopback tells whether an address is reached from this machine only.
func loopback(a net.Addr) bool {
	tcp, ok := a.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// Loopback tells whether a listening address, host:port, is reached from this
// machine only. An address that cannot be read is not.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// hostname is this machine's name, "" where it has none.
func hostname() string {
	name, err := os.Hostname()
	if err != nil {
		return ""
	}
	return name
}
