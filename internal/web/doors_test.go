package web_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"nightreel/internal/web"
)

func withPhrases(o *web.Options) { o.Look, o.Operate = "look here", "hands on" }

// login returns the cookie of a log-in from an address; "" where it is refused,
// with the status.
func (s *site) login(phrase, address string) (cookie string, status int) {
	r := httptest.NewRequest("POST", "/login", strings.NewReader(url.Values{"phrase": {phrase}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Host, r.RemoteAddr = "localhost", address
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		cookie = c.Name + "=" + c.Value
	}
	return cookie, w.Code
}

// Whoever may only look pushes out nobody who operates, however often they log
// in; and nobody pushes out whoever holds the transport.
func TestLoginsKeepTheirPlace(t *testing.T) {
	s := demoSite(t, func(o *web.Options) { withPlayer(o); withPhrases(o) })
	const here = "192.0.2.1:4000"
	holder, _ := s.login("hands on", here)
	other, _ := s.login("hands on", here)
	looker, _ := s.login("look here", here)
	if status, _, body := s.ask(t, "POST", "/transport/open", url.Values{"session": {"1"}, "device": {"null"}, "caution": cautionNames()}, map[string]string{"Cookie": holder}); status != 204 {
		t.Fatalf("not opened: %d %s", status, body)
	}
	seen := func(cookie string) int {
		status, _, _ := s.ask(t, "GET", "/data/jobs", nil, map[string]string{"Cookie": cookie})
		return status
	}
	for range 450 {
		s.login("look here", here)
	}
	if seen(other) != 200 || seen(holder) != 200 || seen(looker) != 401 {
		t.Errorf("after 450 log-ins to look: who operates gets %d, the holder %d, the first who looks %d", seen(other), seen(holder), seen(looker))
	}
	for range 450 {
		s.login("hands on", here)
	}
	if seen(other) != 401 || seen(holder) != 200 {
		t.Errorf("after 450 log-ins to operate: the other gets %d, the holder %d", seen(other), seen(holder))
	}
	if status, _, body := s.ask(t, "POST", "/transport/do", nil, map[string]string{"Cookie": holder, "Content-Type": "application/json"}); status != 400 { // no command: it got there
		t.Errorf("the holder's command: %d %s", status, body)
	}
}

// Guesses keep out those who guess: the right pass-phrase from an address that
// did not fail is let in. All of an IPv6 /64 is one address.
func TestGuessesKeepOutGuessers(t *testing.T) {
	now := time.Now()
	s := emptySite(t, func(o *web.Options) { withPhrases(o); o.Now = func() time.Time { return now } })
	try := func(phrase, address string) int { _, status := s.login(phrase, address); return status }
	for i := range 100 {
		try("guess", fmt.Sprintf("192.0.2.%d:4000", 1+i/5))
	}
	if status := try("hands on", "192.0.2.3:4000"); status != 429 {
		t.Errorf("an address that guessed, while there are too many guesses: %d", status)
	}
	if status := try("hands on", "198.51.100.7:4000"); status != 303 {
		t.Errorf("an address that did not: %d", status)
	}
	now = now.Add(2 * time.Minute)
	for i := range 8 {
		if status := try("guess", fmt.Sprintf("[2001:db8:0:1::%x]:4000", 1+i)); status != 401 {
			t.Fatalf("guess %d: %d", i, status)
		}
	}
	for address, want := range map[string]int{"[2001:db8:0:1:ffff::9]:4000": 429, "[2001:db8:0:2::9]:4000": 303, "[::ffff:192.0.2.9]:4000": 303} {
		if status := try("hands on", address); status != want {
			t.Errorf("%s: %d, want %d", address, status, want)
		}
	}
}

// stream opens an event stream and returns its status; it stays open until ctx
// ends.
func (s *site) stream(t *testing.T, ctx context.Context, cookie string) int {
	t.Helper()
	r, err := http.NewRequestWithContext(ctx, "GET", s.url+"/events", nil)
	must(t, err)
	r.Header.Set("Cookie", cookie)
	resp, err := http.DefaultClient.Do(r)
	must(t, err)
	context.AfterFunc(ctx, func() { resp.Body.Close() })
	if resp.StatusCode != http.StatusOK {
		resp.Body.Close()
	}
	return resp.StatusCode
}

// Event streams are counted by role; those of whoever holds the transport have
// room of their own.
func TestStreamsByRole(t *testing.T) {
	s := demoSite(t, func(o *web.Options) { withPlayer(o); withPhrases(o) })
	const here = "192.0.2.1:4000"
	holder, _ := s.login("hands on", here)
	other, _ := s.login("hands on", here)
	looker, _ := s.login("look here", here)
	if status, _, body := s.ask(t, "POST", "/transport/open", url.Values{"session": {"1"}, "device": {"null"}, "caution": cautionNames()}, map[string]string{"Cookie": holder}); status != 204 {
		t.Fatalf("not opened: %d %s", status, body)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	count := func(cookie string, n int) (open int) {
		for range n {
			if s.stream(t, ctx, cookie) == 200 {
				open++
			}
		}
		return open
	}
	if n := count(looker, 80); n != 64 {
		t.Errorf("%d streams of those who look", n)
	}
	if n := count(other, 80); n != 64 {
		t.Errorf("%d streams of those who operate, while those who look have all of theirs", n)
	}
	if n := count(holder, 20); n != 16 {
		t.Errorf("%d streams of the holder, while all others are taken", n)
	}
}

// A page whose stream is refused says so, and asks again by itself until it is
// served.
func TestRefusedStreamAsksAgain(t *testing.T) {
	s := emptySite(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	for range 64 {
		if status := s.stream(t, ctx, ""); status != 200 {
			t.Fatalf("status %d", status)
		}
	}
	p := open(t, s, 1000, 700, false)
	p.visit("/")
	p.until(`!document.querySelector('#cut').hidden && document.querySelector('#cut').textContent.includes("cut off from the server")`)
	cancel()
	p.until(`document.querySelector('#cut').hidden`)
}
