package main

import (
	"bufio"
	"bytes"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"nightreel/catalog"
)

// serving starts nightreel serve with a new catalog and returns what it said until
// it could be asked, and the address; the test's end ends it.
func serving(t *testing.T, env []string, lines int, args ...string) (said, address string) {
	t.Helper()
	said, address, end := servingAt(t, filepath.Join(t.TempDir(), "c.nightreel"), env, lines, args...)
	t.Cleanup(end)
	return said, address
}

// servingAt starts nightreel serve with a catalog, which is made if it is not
// there. end interrupts it and wants status 0.
func servingAt(t *testing.T, file string, env []string, lines int, args ...string) (said, address string, end func()) {
	t.Helper()
	store, err := catalog.Open(t.Context(), file) // a catalog that is named has to be there
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	cmd := program(t, file, append([]string{"serve"}, args...)...)
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	end = func() {
		cmd.Process.Signal(os.Interrupt)
		io.Copy(io.Discard, out)
		if err := cmd.Wait(); err != nil {
			t.Errorf("after an interrupt: %v", err)
		}
	}
	text := bufio.NewReader(out)
	for range lines {
		line, err := text.ReadString('\n')
		if err != nil {
			t.Fatalf("%s: %v", said, err)
		}
		said += line
	}
	port := regexp.MustCompile(`http://\S+:(\d+)/`).FindStringSubmatch(said)
	if port == nil {
		t.Fatalf("no address in %q", said)
	}
	return said, "http://127.0.0.1:" + port[1], end
}

func TestServe(t *testing.T) {
	said, address := serving(t, nil, 1, "--listen", "127.0.0.1:0")
	if strings.Contains(said, "operate") {
		t.Errorf("pass-phrases on a loopback address: %s", said)
	}
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	page, _ := io.ReadAll(r.Body)
	r.Body.Close()
	if r.StatusCode != 200 || !strings.Contains(string(page), "Nothing has been scanned yet") {
		t.Errorf("status %d: %s", r.StatusCode, page)
	}
}

// TestServeNetwork: an address that others reach gets two pass-phrases, one of
// which is taken from the environment here.
func TestServeNetwork(t *testing.T) {
	said, address := serving(t, []string{"NIGHTREEL_LOOK=only looking"}, 4, "--listen", "0.0.0.0:0")
	operate := regexp.MustCompile(`to operate: +([a-z0-9]{4}-[a-z0-9]{4}-[a-z0-9]{4})\n`).FindStringSubmatch(said)
	if operate == nil || !strings.Contains(said, "to look and listen: only looking\n") || !strings.Contains(said, "not encrypted") {
		t.Fatalf("it said %q", said)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for phrase, want := range map[string]int{"guess": 401, "only looking": 303, operate[1]: 303} {
		r, err := client.PostForm(address+"/login", url.Values{"phrase": {phrase}, "to": {"/"}})
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want {
			t.Errorf("pass-phrase %q: status %d, want %d", phrase, r.StatusCode, want)
		}
	}
}

// A port that another program has is named, with what to do.
func TestServeOnAUsedPort(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	var messages bytes.Buffer
	status := run(t.Context(), []string{"serve", "--listen", l.Addr().String()}, io.Discard, &messages, false)
	if text := messages.String(); status != statusFailed || !strings.Contains(text, "could not serve at "+l.Addr().String()) || !strings.Contains(text, "hint: another program") {
		t.Errorf("status %d: %s", status, text)
	}
}
