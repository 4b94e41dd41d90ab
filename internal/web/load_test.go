package web_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"nightreel/catalog"
)

func containsQuery(path string) bool { return strings.Contains(path, "?") }

// fetch asks for an address and reads the answer to its end.
func (s *site) fetch(tb testing.TB, path string) {
	tb.Helper()
	if err := s.get(tb.Context(), http.DefaultClient, path); err != nil {
		tb.Fatal(err)
	}
}

func (s *site) get(ctx context.Context, client *http.Client, path string) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+path, nil)
	if err != nil {
		return err
	}
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Accept-Encoding", "gzip") // as a browser; it is not unpacked here, which would be the browser's time
	resp, err := client.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", path, resp.Status)
	}
	_, err = io.Copy(io.Discard, resp.Body)
	return err
}

// TestLoad is 20 browsers on the big tour for as many seconds as LOAD says, on
// loopback: each asks for another page, with what it draws from, every second,
// and keeps its event stream open; LOAD_WRITE=1 has somebody change the catalog
// every second beside it, so that nothing stays kept. It reports; it fails on
// errors alone, never by time.
func TestLoad(t *testing.T) {
	seconds, _ := strconv.Atoi(os.Getenv("LOAD"))
	if seconds <= 0 || seconds > 120 {
		t.Skip("LOAD=60 runs it for a minute")
	}
	s := bigSite(t)
	for _, page := range bigPages { // the first visit of the evening
		s.fetch(t, page.path)
	}
	memory := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapInuse
	}
	memoryBefore := memory()
	ctx, cancel := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second)
	defer cancel()
	var mu sync.Mutex
	var took []time.Duration
	var failed []error
	var wg sync.WaitGroup
	if os.Getenv("LOAD_WRITE") != "" {
		wg.Go(func() {
			tick := time.NewTicker(time.Second)
			defer tick.Stop()
			for i := 0; ; i++ {
				select {
				case <-ctx.Done():
					return
				case <-tick.C:
					if err := s.store.AcceptFinding(context.Background(), catalog.FindingID(i%100+1), fmt.Sprint(i)); err != nil {
						t.Error(err)
					}
				}
			}
		})
	}
	for n := range 20 {
		client := &http.Client{Transport: &http.Transport{MaxConnsPerHost: 6}}
		wg.Go(func() { // the event stream
			r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+"/events", nil)
			if err != nil {
				t.Error(err)
				return
			}
			if resp, err := client.Do(r); err == nil {
				io.Copy(io.Discard, resp.Body)
				resp.Body.Close()
			}
		})
		wg.Go(func() {
			tick := time.NewTicker(time.Second)
			defer tick.Stop()
			for i := n; ; i++ {
				begun := time.Now()
				err := s.get(ctx, client, bigPages[i%len(bigPages)].path)
				if ctx.Err() != nil {
					return
				}
				mu.Lock()
				took = append(took, time.Since(begun))
				if err != nil {
					failed = append(failed, err)
				}
				mu.Unlock()
				if i%3 != 0 { // a page brings two more requests at once
					continue
				}
				select {
				case <-ctx.Done():
					return
				case <-tick.C:
				}
			}
		})
	}
	wg.Wait()
	slices.Sort(took)
	at := func(part float64) time.Duration {
		return took[int(part*float64(len(took)-1))].Round(10 * time.Microsecond)
	}
	t.Logf("%d requests in %d s: p50 %v, p90 %v, p99 %v, worst %v; %d errors; heap in use %d MB before, %d MB after",
		len(took), seconds, at(0.5), at(0.9), at(0.99), at(1), len(failed), memoryBefore>>20, memory()>>20)
	for _, err := range failed[:min(3, len(failed))] {
		t.Error(err)
	}
}

// TestFirstPaint reports when Chromium first paints each page, and when the
// night's strips stand, on the demo and on the big tour: FIRST_PAINT=1 runs it,
// FIRST_PAINT=big on the big tour alone.
func TestFirstPaint(t *testing.T) {
	if os.Getenv("FIRST_PAINT") == "" {
		t.Skip("FIRST_PAINT=1 runs it")
	}
	measure := func(name string, s *site, paths map[string]string) {
		for page, path := range paths {
			times := []float64{}
			p := open(t, s, 1366, 800, false)
			for range 5 {
				p.visit("/assets/none") // the browser stands on the site, as a person's does
				p.visit(path)
				p.until(`performance.getEntriesByName("first-contentful-paint").length`)
				times = append(times, eval[float64](p, `performance.getEntriesByName("first-contentful-paint")[0].startTime`))
				if page == "night" {
					p.until(`document.querySelector("#night").dataset.drawn > 0`)
					if len(times) == 5 {
						drawn := eval[float64](p, `performance.getEntriesByType("resource").filter((r) => r.name.includes("/data/strips")).map((r) => r.responseEnd - r.startTime)[0]`)
						t.Logf("%s %s: strips were there %.0f ms after they were asked for, %.0f ms after the page was", name, page, drawn, eval[float64](p, `performance.getEntriesByType("resource").filter((r) => r.name.includes("/data/strips"))[0].responseEnd`))
					}
				}
			}
			slices.Sort(times)
			t.Logf("%s %s: first contentful paint %.0f ms (median of 5; worst %.0f)", name, page, times[2], times[4])
		}
	}
	if os.Getenv("FIRST_PAINT") != "big" {
		demo := demoSite(t, nil)
		measure("demo", demo, pages(t, demo))
	}
	big := map[string]string{}
	for _, page := range bigPages {
		if !strings.HasPrefix(page.path, "/data/") && page.name != "plot" && page.name != "evidence" {
			big[page.name] = page.path
		}
	}
	measure("big", bigSite(t), big)
}
