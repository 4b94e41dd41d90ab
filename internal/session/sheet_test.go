package session_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/session"
)

// afternoon is a session with everything that a sheet can show.
func afternoon(t *testing.T) (*tourFixture, catalog.Session) {
	t.Helper()
	fx := newTour(t)
	fx.inputs("2031-05-03", true, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(33), Group: "Drums"}, catalog.Input{Track: 2, Channel: "Snare Top", GainDB: db(30), Group: "Drums"}, catalog.Input{Track: 3, Channel: "Harmonium"})
	fx.take(fx.recs[1], "Over & <Out>", 0, 48000)
	fx.finding(1, 2, catalog.Clipped, catalog.FaultSeverity, 24000, 24010)
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(30)}, catalog.DeskInput{Input: 2, Channel: "Snare Top", GainDB: db(30)}, catalog.DeskInput{Input: 5, Channel: "Lead Vox", GainDB: db(30), Output: 17},
		catalog.DeskInput{Input: 6, Channel: "Talkback"}, catalog.DeskInput{Input: 8, Channel: "Cowbell"})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern", "Over & <Out>"}, Except: []string{"Talkback"}})
	return fx, ses
}

func TestNewSheet(t *testing.T) {
	fx, ses := afternoon(t)
	s, err := session.NewSheet(t.Context(), fx.store, ses)
	ok(t, err)
	if len(s.Cautions) != len(session.Cautions()) || s.Cautions[0] != session.Cautions()[0].Text || !slices.Equal(s.Questions, session.Troubles(ses)) || s.Desk != "FOH" || s.Session != ses.ID {
		t.Errorf("%+v", s)
	}
	lines := []string{}
	for _, in := range s.Switch {
		for _, src := range in.Sources {
			lines = append(lines, fmt.Sprint(in.DeskInput, " ", in.Channel, " from ", in.Output, ", items ", src.Items, ": ", src.Status, " ", src.Rig, " ", src.Track, " ", src.TrimDB))
		}
	}
	want := []string{
		"1 Kick In from 1, items 1: playback main 2 0",
		"1 Kick In from 1, items 2: playback main 1 -3",
		"2 Snare Top from 2, items 1: playback main 3 0",
		"2 Snare Top from 2, items 2: playback main 2 0",
		"5 Lead Vox from 17, items 1: playback main 1 0",
		"5 Lead Vox from 17, items 2: missing  0 0",
	}
	if !slices.Equal(lines, want) {
		t.Errorf("switch\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	if len(s.Stay) != 2 || s.Stay[0].Channel != "Talkback" || s.Stay[0].Why != "left on the stage as asked (except Talkback)" || s.Stay[1].Channel != "Cowbell" || !strings.Contains(s.Stay[1].Why, "no track of this channel on 2031-05-05; ") {
		t.Errorf("stay %+v", s.Stay)
	}
	if len(s.Order) != 2 || s.Order[0].LengthS != 1 || s.Order[1].Venue != "Hall of 2031-05-03" || s.Order[1].Number != 2 {
		t.Errorf("order %+v", s.Order)
	}
	// The same source in all items is one line.
	one, err := session.NewSheet(t.Context(), fx.store, fx.build(session.Request{Songs: []string{"Slow Lantern", "Slow Lantern"}}))
	ok(t, err)
	if len(one.Switch[0].Sources) != 1 || one.Switch[0].Sources[0].Items != "all" {
		t.Errorf("%+v", one.Switch[0])
	}
}

// The page shows every input, loads nothing from elsewhere, and has two boxes
// for every input: to playback and back.
func TestSheetHTML(t *testing.T) {
	fx, ses := afternoon(t)
	ses.CreatedAt = time.Date(2031, 5, 6, 12, 0, 0, 0, time.UTC)
	s, err := session.NewSheet(t.Context(), fx.store, ses)
	ok(t, err)
	var b bytes.Buffer
	ok(t, session.WriteSheetHTML(&b, s))
	page := b.String()
	for _, want := range []string{
		"Playback session 1", "Switch to playback", "back to the stage before doors", "Patch", "Missing or questionable", "Running order",
		"NIOSH (98-126)", "2003/10/EC", "Local rules come first", "all 3 inputs are back on the stage", "signature",
		"Over &amp; &lt;Out&gt;", "main 1, trim -3.0 in 2", "silent: missing", "2031-05-05, Hall of 2031-05-05, main", "0:01", "48 kHz",
		"left on the stage as asked (except Talkback)", "clipped at 0:00:00.5", `<meta name="viewport"`, "@page",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if found := regexp.MustCompile(`(?i)(https?:|src=|@import|url\(|<link|<script|\bhref=)[^>]*`).FindString(page); found != "" {
		t.Errorf("the page needs %q", found)
	}
	if n := strings.Count(page, `<span class="box"></span>`); n != 2*len(s.Switch) {
		t.Errorf("%d boxes for %d inputs", n, len(s.Switch))
	}
	order := []int{}
	for _, head := range []string{"Before anything is switched", "Switch to playback", "Patch", "Missing or questionable", "Running order"} {
		order = append(order, strings.Index(page, ">"+head)+strings.Index(page, "</b>"+head))
	}
	if !slices.IsSorted(order) {
		t.Errorf("sections out of order: %v", order)
	}
	golden(t, "sheet.html", b.Bytes())
}

func TestSheetCSV(t *testing.T) {
	fx, ses := afternoon(t)
	s, err := session.NewSheet(t.Context(), fx.store, ses)
	ok(t, err)
	var b bytes.Buffer
	ok(t, session.WriteSheetCSV(&b, s))
	rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
	ok(t, err)
	if len(rows) != 1+len(ses.Inputs) || len(rows[0]) != 12 {
		t.Fatalf("%d rows of %d columns", len(rows), len(rows[0]))
	}
	if got := strings.Join(rows[6], "|"); got != "2|Over & <Out>|2031-05-03|1|Kick In|1|playback|main|1|-3.00|trim -3.0 dB: gain 30 dB tonight, 33 dB that night|" {
		t.Errorf("%q", got)
	}
	golden(t, "sheet.csv", b.Bytes())
	if err := session.WriteSheetCSV(full{}, s); !errors.Is(err, errFull) {
		t.Errorf("a full disk: %v", err)
	}
	if err := session.WriteSheetHTML(full{}, s); !errors.Is(err, errFull) {
		t.Errorf("a full disk: %v", err)
	}
}

// What several songs have in common is said once, with the songs.
func TestTroublesSayEachThingOnce(t *testing.T) {
	items := []catalog.SessionItem{{Song: "Slow: Lantern", Show: "2031-05-02"}, {Song: "Ninety Doors", Show: "2031-05-03"}, {Song: "Ninety Doors", Show: "2031-05-05"}}
	ses := catalog.Session{Items: items, Problems: []string{
		"Slow: Lantern (2031-05-02), desk input 9 Kick Out: rig main recorded no track of this channel on 2031-05-02; no other take is better",
		"Slow: Lantern (2031-05-02), desk input 4 Hat: clipped; no other take is better",
		"Ninety Doors (2031-05-03), desk input 9 Kick Out: rig main recorded no track of this channel on 2031-05-03; no other take is better",
		"Ninety Doors (2031-05-05), desk input 9 Kick Out: rig main recorded no track of this channel on 2031-05-05; no other take is better",
		"Ninety Doors (2031-05-05), desk input 4 Hat: clipped; no other take is better",
		"the items have different sample rates"}}
	for i := range items {
		ses.Inputs = append(ses.Inputs, catalog.SessionInput{Item: i, DeskInput: 9, Channel: "Kick Out"}, catalog.SessionInput{Item: i, DeskInput: 4, Channel: "Hat"})
	}
	want := []string{"9 Kick Out, in all songs: rig main recorded no track of this channel; no other take is better",
		"4 Hat, in Slow: Lantern (2031-05-02), Ninety Doors (2031-05-05): clipped; no other take is better",
		"the items have different sample rates"}
	if got := session.Troubles(ses); !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A session without anything on playback still makes a sheet.
func TestSheetEmpty(t *testing.T) {
	fx := newTour(t)
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Except: []string{"Drums", "Vocals"}})
	s, err := session.NewSheet(t.Context(), fx.store, ses)
	ok(t, err)
	var b bytes.Buffer
	ok(t, session.WriteSheetHTML(&b, s))
	if !strings.Contains(b.String(), "No input goes to playback.") || !strings.Contains(b.String(), "Nothing known.") {
		t.Error(b.String())
	}
	got := fx.render(ses, session.RenderOptions{Dir: filepath.Join(t.TempDir(), "out")})
	if len(got.Files) != 0 || !has(got.Problems, "no desk input is on playback, so there is nothing to render") {
		t.Errorf("%+v", got)
	}
}

var errFull = errors.New("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

// golden compares a document that people rely on with the stored one; UPDATE=1
// stores it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "session", name)
	if os.Getenv("UPDATE") == "1" {
		ok(t, os.MkdirAll(filepath.Dir(path), 0o777))
		ok(t, os.WriteFile(path, got, 0o666))
		return
	}
	want, err := os.ReadFile(path)
	ok(t, err)
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from the stored one (UPDATE=1 stores it):\n%s", name, got)
	}
}
