package web_test

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"nightreel/internal/web"
)

// TestForeignRequests: what another site's page, or a name that was made to
// lead here, asks for is refused.
func TestForeignRequests(t *testing.T) {
	s := emptySite(t, func(o *web.Options) { o.Hosts = []string{"foh.lan"} })
	port := s.url[strings.LastIndex(s.url, ":"):]
	for _, c := range []struct {
		name, method string
		header       map[string]string
		want         int
	}{
		{"plain", "GET", nil, 200},
		{"localhost", "GET", map[string]string{"Host": "localhost" + port}, 200},
		{"a name that was given", "GET", map[string]string{"Host": "foh.lan" + port}, 200},
		{"rebound name", "GET", map[string]string{"Host": "evil.example" + port}, 421},
		{"another machine's address", "GET", map[string]string{"Host": "192.0.2.7" + port}, 421},
		{"no name", "GET", map[string]string{"Host": "x"}, 421},
		{"picture on another site", "GET", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		{"sound in a page of another port", "GET", map[string]string{"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		{"a name that begins like ours", "GET", map[string]string{"Host": "localhost.evil.example" + port}, 421},
		{"form of another port", "POST", map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"link on another site", "GET", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, 200},
		{"form of another site", "POST", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, 403},
		{"form of another site, older browser", "POST", map[string]string{"Origin": "http://evil.example"}, 403},
		{"form of a sandboxed page", "POST", map[string]string{"Origin": "null"}, 403},
		{"own form", "POST", map[string]string{"Origin": s.url, "Sec-Fetch-Site": "same-origin"}, 400},
	} {
		t.Run(c.name, func(t *testing.T) {
			path, form := "/", url.Values(nil)
			if c.method == "POST" {
				path, form = "/scan", url.Values{} // no folder: 400 when it gets there
			}
			if status, _, body := s.ask(t, c.method, path, form, c.header); status != c.want {
				t.Errorf("status %d, want %d: %s", status, c.want, body)
			}
		})
	}
}

func TestHeaders(t *testing.T) {
	s := emptySite(t, nil)
	for _, path := range []string{"/", "/nowhere", "/data/jobs"} {
		_, h, _ := s.ask(t, "GET", path, nil, nil)
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: no %s in %q", path, want, csp)
			}
		}
		if strings.Contains(csp, "unsafe") {
			t.Errorf("%s: %q", path, csp)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin"} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q", path, name, h.Get(name))
			}
		}
	}
}

// TestRoles: on a server with pass-phrases a stranger gets nothing, a looker
// changes nothing, and the cookie is one that only this server gets back.
func TestRoles(t *testing.T) {
	now := time.Now()
	s := emptySite(t, func(o *web.Options) {
		o.Look, o.Operate, o.Now = "look here", "hands on", func() time.Time { return now }
	})
	login := func(phrase string) (string, *http.Cookie) {
		t.Helper()
		var h http.Header
		for _, to := range []string{"/\t/evil.example", "/\x0b/evil.example", `/\evil.example`, "/\n/evil.example", "http://evil.example", "//evil.example"} {
			_, h, _ = s.ask(t, "POST", "/login", url.Values{"phrase": {phrase}, "to": {to}, "name": {"Ada"}}, nil)
			if h.Get("Location") != "/" {
				t.Errorf("the log-in leads from %q to %q", to, h.Get("Location"))
			}
		}
		cookies := (&http.Response{Header: h}).Cookies()
		if len(cookies) != 1 {
			return "", nil
		}
		return cookies[0].Name + "=" + cookies[0].Value, cookies[0]
	}
	looker, cookie := login("look here")
	if cookie == nil || !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode || cookie.Path != "/" || len(cookie.Value) < 26 {
		t.Fatalf("the cookie is %v", cookie)
	}
	operator, _ := login("hands on")
	for _, c := range []struct {
		who, cookie  string
		method, path string
		want         int
	}{
		{"stranger", "", "GET", "/", 401},
		{"stranger", "", "GET", "/listen/1", 401},
		{"stranger", "", "GET", "/events", 401},
		{"stranger", "", "POST", "/scan", 401},
		{"stranger", "nightreel=guess", "GET", "/", 401},
		{"looker", looker, "GET", "/", 200},
		{"looker", looker, "POST", "/scan", 403},
		{"looker", looker, "POST", "/findings/1", 403},
		{"looker", looker, "POST", "/findings", 403},
		{"looker", looker, "POST", "/song/1", 403},
		{"looker", looker, "POST", "/night/2031-05-02/takes", 403},
		{"operator", operator, "GET", "/", 200},
		{"operator", operator, "POST", "/scan", 400},
		{"operator", operator, "POST", "/findings/1", 400},
	} {
		var form url.Values
		if c.method == "POST" {
			form = url.Values{}
		}
		if status, _, body := s.ask(t, c.method, c.path, form, map[string]string{"Cookie": c.cookie}); status != c.want {
			t.Errorf("%s %s %s: %d, want %d: %s", c.who, c.method, c.path, status, c.want, body)
		}
	}
	for _, path := range posts(t) { // every address that changes something, as routes.go has them
		if path == "/login" || path == "/logout" {
			continue
		}
		for cookie, want := range map[string]int{"": 401, looker: 403} {
			if status, _, _ := s.ask(t, "POST", path, url.Values{}, map[string]string{"Cookie": cookie}); status != want {
				t.Errorf("POST %s with cookie %q: %d, want %d", path, cookie, status, want)
			}
		}
		if status, _, _ := s.ask(t, "POST", path, url.Values{}, map[string]string{"Cookie": operator}); status == 401 || status == 403 {
			t.Errorf("POST %s by who operates: %d", path, status)
		}
	}
	if status, h, _ := s.ask(t, "GET", "/findings?show=all", nil, map[string]string{"Accept": "text/html"}); status != 303 || h.Get("Location") != "/login?to=%2Ffindings%3Fshow%3Dall" {
		t.Errorf("a stranger's page: %d, to %s", status, h.Get("Location"))
	}
	now = now.Add(17 * time.Hour) // a log-in lasts a show day
	if status, _, _ := s.ask(t, "GET", "/", nil, map[string]string{"Cookie": operator}); status != 401 {
		t.Errorf("an old log-in: %d", status)
	}
	operator, _ = login("hands on")
	s.ask(t, "POST", "/logout", url.Values{}, map[string]string{"Cookie": operator})
	if status, _, _ := s.ask(t, "GET", "/", nil, map[string]string{"Cookie": operator}); status != 401 {
		t.Errorf("after logging out: %d", status)
	}
}

// posts are the addresses that change something, read from the source: one that
// is new is looked at, too.
func posts(t *testing.T) []string {
	t.Helper()
	all := []string{}
	for _, file := range []string{"routes.go", "transport.go"} {
		text, err := os.ReadFile(file)
		must(t, err)
		for _, m := range regexp.MustCompile(`(?:post\("|always\("POST )([^"]+)"`).FindAllSubmatch(text, -1) {
			all = append(all, strings.NewReplacer("{date}", "2031-05-02", "{id}", "1", "{kind}", "scan").Replace(string(m[1])))
		}
	}
	if len(all) < 18 {
		t.Fatalf("only %d addresses were found: %v", len(all), all)
	}
	return all
}

// TestSlowBody: who sends a form and does not end it is hung up on.
func TestSlowBody(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for the server to lose patience")
	}
	s := emptySite(t, nil)
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
	must(t, err)
	defer conn.Close()
	fmt.Fprintf(conn, "POST /scan HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 100\r\n\r\nfol")
	conn.SetReadDeadline(time.Now().Add(30 * time.Second))
	answer, err := io.ReadAll(conn)
	if err != nil || !bytes.HasPrefix(answer, []byte("HTTP/1.1 408")) {
		t.Errorf("%v, %.60s", err, answer)
	}
}

// TestGuessing: after some wrong pass-phrases even the right one has to wait a
// minute.
func TestGuessing(t *testing.T) {
	now := time.Now()
	s := emptySite(t, func(o *web.Options) {
		o.Look, o.Operate, o.Now = "look here", "hands on", func() time.Time { return now }
	})
	try := func(phrase string) int {
		status, _, _ := s.ask(t, "POST", "/login", url.Values{"phrase": {phrase}}, nil)
		return status
	}
	for range 8 {
		if status := try("guess"); status != 401 {
			t.Fatalf("status %d", status)
		}
	}
	if status := try("hands on"); status != 429 {
		t.Errorf("status %d, want 429", status)
	}
	now = now.Add(61 * time.Second)
	if status := try("hands on"); status != 303 {
		t.Errorf("a minute later: status %d, want 303", status)
	}
}
