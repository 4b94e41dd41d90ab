package catalog

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

func dB(g float64) *float64 { return &g }

// fill stores one of every kind: two nights of an invented tour.
func fill(t testing.TB, s *Store) {
	t.Helper()
	ctx := t.Context()
	const rate = 48000
	vol := must(s.AddVolume(ctx, Volume{Name: "Drive A", Root: "/drives/a"}))(t)
	first := must(s.EnsureShow(ctx, Show{Date: "2031-05-02", Venue: "Some Hall", Name: "Spring tour"}))(t)
	second := must(s.EnsureShow(ctx, Show{Date: "2031-05-03"}))(t)
	at := time.Date(2031, 5, 2, 20, 15, 0, 500_000_000, time.UTC)
	night := must(s.SaveRecording(ctx,
		Recording{ShowID: first.ID, Rig: MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 600 * rate, StartsAt: &at},
		[]File{{VolumeID: vol.ID, Path: "2031-05-02/a.wav", Size: 1 << 20, ModTime: at, FirstTrack: 1, Channels: 3, Frames: 600 * rate, DataOffset: 44, Unfinished: true, Repairs: []Repair{{Offset: 4, Problem: "size is 0"}}}},
		[]Track{{Number: 1, Name: "TRK01", Frames: 600 * rate}, {Number: 2, Frames: 600 * rate}, {Number: 3, Frames: 600 * rate}},
		[]Marker{{Frame: 10 * rate, Length: 0, Label: "Paper Lanterns"}}))(t)
	backup := must(s.SaveRecording(ctx, Recording{ShowID: first.ID, Rig: "backup", SampleRate: 96000, BitDepth: 32, SampleBytes: 4, Encoding: "float", Frames: 600 * 96000, OffsetS: -2.5},
		nil, []Track{{Number: 1, Frames: 1}}, nil))(t)
	must(s.SaveRecording(ctx, Recording{ShowID: second.ID, Rig: MainRig, SampleRate: rate, BitDepth: 16, SampleBytes: 2, Encoding: "pcm", Frames: rate / 2}, nil, nil, nil))(t)
	ok(t, s.PutParts(ctx, []Part{{Track: 1, Part: 0, Data: []byte{1, 2, 3}}}, []Piece{{File: 1, Offset: 0, Length: 44, Sum: math.MaxUint64}}))
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: []Input{
		{Track: 1, Channel: "Kick In", GainDB: dB(24), Group: "Drums", Notes: "gate"}, {Track: 2, Channel: "Bass DI"}}}))
	ok(t, s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "Paper Lanterns", StartS: dB(10), EndS: dB(200.25)}, {Song: "Low Tide"}, {Song: "Third Rail", StartS: dB(75900), Clock: true}}))
	song := must(s.Song(ctx, "Paper Lanterns"))(t)
	must(s.AddAlias(ctx, song.ID, "Lanterns", true))(t)
	must(s.SaveTake(ctx, Take{Show: "2031-05-02", Song: "lanterns", RecordingID: night.ID, StartFrame: 10 * rate, EndFrame: 200*rate + rate/4, FoundBy: BySetList, Confidence: 0.875}))(t)
	must(s.SaveTake(ctx, Take{Show: "2031-05-02", Song: "Low Tide", RecordingID: night.ID, StartFrame: 210 * rate, EndFrame: 400 * rate, FoundBy: ByPerson, Confidence: 1}))(t)
	gone := must(s.SaveTake(ctx, Take{Show: "2031-05-02", Song: "Third Rail", RecordingID: night.ID, StartFrame: 410 * rate, EndFrame: 500 * rate, FoundBy: ByMusic, Confidence: 0.5}))(t)
	ok(t, s.DismissTake(ctx, gone.ID))
	ok(t, s.ReplaceFindings(ctx, night.ID, []Finding{
		{Track: 1, Kind: Clipped, StartFrame: 20 * rate, EndFrame: 20*rate + 5, Severity: WarningSeverity, Evidence: Evidence{"runs": 1, "longest_samples": 5}, Text: "Kick In clipped once."},
		{Track: 2, Kind: Dead, StartFrame: 0, EndFrame: 600 * rate, Severity: FaultSeverity, Evidence: Evidence{"floor_dbfs": math.Inf(-1)}, Text: "Bass DI is dead."},
		{Track: 0, Kind: UnfinishedFile, Severity: NoteSeverity, Text: "A file was never finished."}}))
	ok(t, s.ReplaceFindings(ctx, backup.ID, nil))
	findings := must(s.Findings(ctx, FindingFilter{Kind: Clipped}))(t)
	ok(t, s.AcceptFinding(ctx, findings[0].ID, "known, harmless"))
	must(s.AddNote(ctx, "2031-05-02", "new bass rig"))(t)
	ok(t, s.SaveDesk(ctx, Desk{Name: "foh", Inputs: []DeskInput{{Input: 1, Channel: "Kick In", GainDB: dB(23)}, {Input: 2, Channel: "Bass DI", Output: 12}}}))
	ok(t, s.SaveDesk(ctx, Desk{Name: "broadcast"}))
	must(s.SaveSession(ctx, Session{Desk: "foh",
		Items:  []SessionItem{{Take: 1, Show: "2031-05-02", Song: "Paper Lanterns", Recording: night.ID, Rig: MainRig, SampleRate: rate, StartFrame: 10 * rate, EndFrame: 200 * rate, StartS: 10, EndS: 200, Why: "the latest"}},
		Inputs: []SessionInput{{DeskInput: 1, Output: 1, Channel: "Kick In", Group: "Drums", Rig: MainRig, Track: 1, TrimDB: -1, Status: Playback, Why: "gain 24 dB then, 23 dB tonight"}}}))(t)
	must(s.SaveSession(ctx, Session{Desk: "broadcast"}))(t)
}

// documents returns the catalog's listings as JSON.
func documents(t testing.TB, s *Store) map[string]string {
	t.Helper()
	ctx := t.Context()
	lists := map[string]any{
		"shows":     must(s.Shows(ctx, ShowFilter{}))(t),
		"takes":     must(s.Takes(ctx, TakeFilter{}))(t),
		"findings":  must(s.Findings(ctx, FindingFilter{}))(t),
		"songs":     must(s.Songs(ctx))(t),
		"setlist":   must(s.SetList(ctx, "2031-05-02"))(t),
		"inputs":    must(s.InputLists(ctx))(t),
		"notes":     must(s.Notes(ctx, ""))(t),
		"desks":     must(s.Desks(ctx))(t),
		"sessions":  must(s.Sessions(ctx))(t),
		"volumes":   must(s.Volumes(ctx))(t),
		"dismissed": must(s.Dismissed(ctx, "2031-05-02"))(t),
	}
	docs := map[string]string{}
	for name, v := range lists {
		text, err := json.MarshalIndent(v, "", "  ")
		ok(t, err)
		docs[name] = string(text) + "\n"
	}
	return docs
}

// Scripts rely on these fields: new ones may be added, none may be removed or
// renamed.
func TestFieldsThatScriptsRelyOn(t *testing.T) {
	s := testStore(t)
	fill(t, s)
	docs := documents(t, s)
	for name, fields := range map[string]string{
		"shows":    "date venue name recordings takes findings id rig sample_rate bit_depth encoding tracks files duration_s starts_at",
		"takes":    "id show song start_s end_s found_by confidence",
		"findings": "id show rig track channel kind start_s end_s severity evidence text accepted",
		"sessions": "id desk items inputs problems take show song start_s end_s why item desk_input channel rig track trim_db status",
	} {
		for field := range strings.FieldsSeq(fields) {
			if !strings.Contains(docs[name], `"`+field+`":`) {
				t.Errorf("%s: no field %s", name, field)
			}
		}
	}
	field := regexp.MustCompile(`"([^"]+)":`)
	snake := regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	for name, doc := range docs {
		for _, m := range field.FindAllStringSubmatch(doc, -1) {
			if !snake.MatchString(m[1]) {
				t.Errorf("%s: field %q is not in snake_case", name, m[1])
			}
		}
	}
	// null means silence or "not known"; it never stands for an empty list.
	nullable := []string{"starts_at", "start_s", "end_s", "gain_db", "floor_dbfs"}
	for name, doc := range docs {
		for _, m := range regexp.MustCompile(`"([^"]+)": null`).FindAllStringSubmatch(doc, -1) {
			if !slices.Contains(nullable, m[1]) {
				t.Errorf("%s: %s is null", name, m[1])
			}
		}
	}
}

func TestDocuments(t *testing.T) {
	s := testStore(t)
	fill(t, s)
	docs := documents(t, s)
	golden := must(filepath.Glob("testdata/*.json"))(t)
	if os.Getenv("UPDATE") == "" && len(golden) != len(docs) {
		t.Errorf("%d golden documents, want %d", len(golden), len(docs))
	}
	for name, got := range docs {
		file := filepath.Join("testdata", name+".json")
		if os.Getenv("UPDATE") != "" {
			ok(t, os.WriteFile(file, []byte(got), 0o644))
			continue
		}
		if want := string(must(os.ReadFile(file))(t)); got != want {
			t.Errorf("%s differs (UPDATE=1 writes it again):\ngot  %s\nwant %s", file, got, want)
		}
	}
}

func TestValuesThatWereNeverStoredPrint(t *testing.T) {
	for _, v := range []any{Show{}, Recording{}, Take{}, Finding{}, Session{}, Evidence(nil), Evidence{"a": math.NaN(), "b": math.Inf(1)}} {
		if _, err := json.Marshal(v); err != nil {
			t.Errorf("%T: %v", v, err)
		}
	}
	if got := fmt.Sprint(string(must(json.Marshal(Evidence(nil)))(t))); got != "{}" {
		t.Errorf("no evidence prints as %s", got)
	}
}
