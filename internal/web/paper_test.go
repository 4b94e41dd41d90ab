package web_test

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"nightreel/catalog"
	"nightreel/internal/session"
)

// TestSheetOnPaper prints the sheet of 64 inputs with long names: a page to read the
// cautions, to tick and to sign, and a page with the patch.
func TestSheetOnPaper(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	s := serve(t, filepath.Join(t.TempDir(), "empty.nightreel"), nil)
	ses := catalog.Session{ID: 1, Desk: "FOH"}
	for i := range 7 {
		ses.Items = append(ses.Items, catalog.SessionItem{Song: fmt.Sprintf("Song %d", i+1), Show: "2031-05-03", Rig: "main", SampleRate: 48000, EndS: 240, Why: "cleanest of 4 takes"})
		for n := range 64 {
			ses.Inputs = append(ses.Inputs, catalog.SessionInput{Item: i, DeskInput: n + 1, Output: n + 1, Channel: fmt.Sprintf("Backing vocal no. %d", n+1), Rig: "main", Track: n + 1, TrimDB: -3, Status: catalog.Playback})
		}
	}
	sheet, err := session.NewSheet(t.Context(), s.store, ses)
	must(t, err)
	var b bytes.Buffer
	must(t, session.WriteSheetHTML(&b, sheet))
	paper := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Write(b.Bytes())
	}))
	defer paper.Close()
	p := open(t, s, 1000, 800, false)
	p.do(chromedp.Navigate(paper.URL), chromedp.WaitReady("body"))
	var pdf []byte
	p.do(func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
		r, err := cdp.Call(ctx, target, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PreferCSSPageSize: new(true)})
		pdf = r.Data
		return chromedp.Void{}, err
	})
	if dir := os.Getenv("SHOTS"); dir != "" {
		must(t, os.WriteFile(filepath.Join(dir, "sheet.pdf"), pdf, 0o644))
	}
	if n := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1)); n != 2 {
		t.Errorf("64 inputs take %d pages, want 2", n)
	}
}
