package web_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/lists"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
	"nightreel/internal/session"
	"nightreel/internal/web"
)

// site is a running server over a catalog.
type site struct {
	url    string
	store  *catalog.Store
	dir    string // of the tour's recordings; "" for an empty catalog
	server *web.Server
}

// serve starts a server over a catalog until the test ends.
func serve(t testing.TB, file string, change func(*web.Options)) *site {
	t.Helper()
	store, err := catalog.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	opt := web.Options{Store: store, AnyFolder: true, Renders: filepath.Join(t.TempDir(), "sessions"), Now: time.Now}
	if change != nil {
		change(&opt)
	}
	s, err := web.New(ctx, opt)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		s.Close()
		store.Close()
	})
	return &site{url: "http://" + l.Addr().String(), store: store, server: s}
}

var tourDir string

// demoTour is the invented tour, made and scanned once; each test gets a copy
// of its catalog.
var demoTour = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "nightreel-web")
	if err != nil {
		return "", err
	}
	tourDir = dir
	ctx := context.Background()
	recordings := filepath.Join(dir, "recordings")
	truth, err := demo.Make(ctx, recordings, demo.Options{Scale: demo.Small})
	if err != nil {
		return "", err
	}
	store, err := catalog.Open(ctx, filepath.Join(dir, "demo.nightreel"))
	if err != nil {
		return "", err
	}
	defer store.Close()
	if _, err := scan.Run(ctx, store, []string{recordings}, scan.Options{}, nil); err != nil {
		return "", err
	}
	return dir, papers(ctx, store, recordings, truth)
})

// papers imports the tour's input lists, set lists, notes and desk, as a person
// would.
func papers(ctx context.Context, store *catalog.Store, dir string, truth *demo.Truth) error {
	read := func(name string) (*os.File, error) { return os.Open(filepath.Join(dir, filepath.FromSlash(name))) }
	for _, l := range truth.InputLists {
		f, err := read(l.File)
		if err != nil {
			return err
		}
		inputs, err := lists.ReadInputs(f, l.File)
		f.Close()
		if err != nil {
			return err
		}
		if err := store.SaveInputList(ctx, catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only, Inputs: inputs}); err != nil {
			return err
		}
	}
	for _, s := range truth.Shows {
		if s.SetList == "" {
			continue
		}
		f, err := read(s.SetList)
		if err != nil {
			return err
		}
		entries, err := lists.ReadSetList(f, s.SetList)
		f.Close()
		if err != nil {
			return err
		}
		if err := store.SaveSetList(ctx, catalog.ShowKey(s.Date), entries); err != nil {
			return err
		}
	}
	for _, n := range truth.Notes {
		if _, err := store.AddNote(ctx, catalog.ShowKey(n.Show), n.Text); err != nil {
			return err
		}
	}
	for _, d := range truth.Desks {
		f, err := read(d.File)
		if err != nil {
			return err
		}
		inputs, err := lists.ReadDesk(f, d.File)
		f.Close()
		if err != nil {
			return err
		}
		if err := store.SaveDesk(ctx, catalog.Desk{Name: d.Name, Inputs: inputs}); err != nil {
			return err
		}
	}
	if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
		return err
	}
	_, err := session.Build(ctx, store, session.Request{Desk: truth.Desks[0].Name, Songs: truth.Songs[:2], Pick: session.Cleanest})
	return err
}

// demoSite serves a fresh copy of the demo tour's catalog.
func demoSite(t *testing.T, change func(*web.Options)) *site {
	t.Helper()
	if testing.Short() {
		t.Skip("makes and scans a tour, and starts a browser")
	}
	dir, err := demoTour()
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, "demo.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "demo.nightreel")
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, file, change)
	s.dir = filepath.Join(dir, "recordings")
	return s
}
