package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"nightreel/internal/playback"
)

// elsewhere is a name that leads to this machine and that the browser does not take
// for it, so that pages are used as from another machine.
const elsewhere = "stage.test"

// browser is headless Chromium, one for all tests. Debian's package; a test
// that misses it skips on a laptop and fails in CI.
var browser = sync.OnceValues(func() (context.Context, error) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		return nil, err
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("host-resolver-rules", "MAP "+elsewhere+" 127.0.0.1"), chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("force-color-profile", "srgb"))
	allocator, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancelBrowser := chromedp.NewContext(allocator, chromedp.WithErrorf(func(string, ...any) {})) // a newer Chromium sends events that the library does not know
	closeBrowser = func() { cancelBrowser(); cancel() }
	return ctx, chromedp.Do(ctx)
})

var closeBrowser = func() {}

func TestMain(m *testing.M) {
	if len(os.Args) == 2 && os.Args[1] == playback.PlayerCommand { // this binary is the player, too
		err := playback.Serve(context.Background(), os.Stdin, os.Stdout, openSink, openFile)
		if err != nil {
			os.Exit(1)
		}
		os.Exit(0)
	}
	config, err := os.MkdirTemp("", "nightreel-config-") // where the lock of the desk is
	if err != nil {
		panic(err)
	}
	os.Setenv("XDG_CONFIG_HOME", config)
	code := m.Run()
	os.RemoveAll(config)
	closeBrowser()
	for _, dir := range []string{tourDir, bigDir} {
		if dir != "" {
			os.RemoveAll(dir)
		}
	}
	os.Exit(code)
}

// page is one tab of the browser, in a window of its own: no cookies are shared.
type page struct {
	t    *testing.T
	ctx  context.Context
	site *site
	told chan struct{} // closed when its console has been read to the end
	mu   sync.Mutex
	bad  []string // errors that the page's scripts threw
}

// patience bounds a single step in the browser.
const patience = 20 * time.Second

// open opens a tab of the given size in CSS pixels, light or dark.
func open(t *testing.T, s *site, width, height int64, dark bool) *page {
	t.Helper()
	parent, err := browser()
	if errors.Is(err, exec.ErrNotFound) {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not there; .ci/test installs it")
		}
		t.Skip("chromium is not there")
	}
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(parent, chromedp.WithNewBrowserContext())
	p := &page{t: t, ctx: ctx, site: s, told: make(chan struct{})}
	messages := chromedp.Console(ctx)
	go func() {
		defer close(p.told)
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.Type == chromedp.ConsoleException || strings.Contains(m.Text, "Content Security Policy") {
				p.mu.Lock()
				p.bad = append(p.bad, m.Text)
				p.mu.Unlock()
			}
		}
	}()
	t.Cleanup(func() {
		cancel()
		<-p.told
		for _, text := range p.bad {
			t.Errorf("a script failed: %s", text)
		}
	})
	theme := "light"
	if dark {
		theme = "dark"
	}
	p.do(chromedp.EmulateViewport(width, height), func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return chromedp.Void{}, err
	})
	return p
}

// do runs actions, or fails with a picture's worth of words.
func (p *page) do(actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		p.t.Fatalf("%v\non the page %s", err, p.text())
	}
}

// text is what the page says, for a test's failure.
func (p *page) text() string {
	ctx, cancel := context.WithTimeout(p.ctx, 5*time.Second)
	defer cancel()
	text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText.slice(0, 600)`))
	return text
}

// visit opens an address of the site.
func (p *page) visit(path string) {
	p.t.Helper()
	p.do(chromedp.Navigate(p.site.url+path), chromedp.WaitReady("body"))
}

// until waits for an expression to become true, by looking, through
// navigations too.
func (p *page) until(expression string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	for {
		_, err := chromedp.Run(ctx, chromedp.Poll[bool]("(() => { try { return !!("+expression+"); } catch { return false; } })()", chromedp.WithPollingInterval(40*time.Millisecond)))
		switch {
		case err == nil:
			return
		case ctx.Err() != nil:
			p.t.Fatalf("never came true: %s (%v)\non the page %s", expression, err, p.text())
		}
	}
}

// eval returns what an expression, or the promise that it is, comes to.
func eval[T any](p *page, expression string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v\non the page %s", expression, err, p.text())
	}
	return v
}

// press sends keys to whatever has the focus. A key that a script takes types
// nothing, as on a real keyboard, where chromedp's KeyEvent would type it.
func (p *page) press(keys ...string) {
	p.t.Helper()
	for _, k := range keys {
		p.do(func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
			for _, r := range k {
				events := kb.Encode(r)
				text := ""
				for _, e := range events {
					if e.Type == input.DispatchKeyEventTypeChar {
						text = e.Text
					}
				}
				for _, e := range events {
					switch e.Type {
					case input.DispatchKeyEventTypeChar:
						continue
					case input.DispatchKeyEventTypeKeyUp:
					default:
						if text != "" {
							e.Type, e.Text = input.DispatchKeyEventTypeKeyDown, text
						}
					}
					if _, err := cdp.Call(ctx, target, input.DispatchKeyEvent, *e); err != nil {
						return chromedp.Void{}, err
					}
				}
			}
			return chromedp.Void{}, nil
		})
	}
}

// shoot takes a picture of the whole page.
func (p *page) shoot(file string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// quote writes a string for a script.
func quote(s string) string { b, _ := json.Marshal(s); return string(b) }

// pages are the addresses that every check of all pages goes through.
func pages(t *testing.T, s *site) map[string]string {
	t.Helper()
	songs, err := s.store.Songs(t.Context())
	if err != nil || len(songs) == 0 {
		t.Fatalf("%d songs, %v", len(songs), err)
	}
	all := map[string]string{
		"tour": "/", "night": "/night/2031-05-03#take-4", "findings": "/findings?show=all", "song": fmt.Sprintf("/song/%d", songs[0].ID),
		"lists": "/lists", "desk": "/lists/desk/FOH", "new-desk": "/lists/desk/new", "sessions": "/sessions", "session": "/session/1", "sheet": "/session/1/sheet",
		"transport": "/transport", "show": "/night/2031-05-05/edit", "scan": "/scan", "linecheck": "/linecheck", "problem": "/night/1999-01-01",
	}
	for _, g := range songs {
		if g.Title == "Salt on the Wire" {
			all["song"] = fmt.Sprintf("/song/%d", g.ID)
		}
	}
	return all
}
