package session_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/session"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// tourFixture is three nights of one song, measured, each a second long,
// re-patched on the last. All tracks hold a sine of 997 Hz, of which ITU-R
// BS.1770-5 Annex 1 says that 0 dBFS is -3.01 LKFS; so night 2 comes to -13.16
// LUFS in all and night 1 to -17.94.
type tourFixture struct {
	*fixture
	recs  []catalog.Recording
	takes []catalog.Take
}

func newTour(t *testing.T) *tourFixture {
	fx := &tourFixture{fixture: newFixture(t)}
	f := mono(48000, 24, 3, wavfile.PCM)
	// Level of kick, snare, voice in dBFS.
	levels := [][3]float64{{-20, -18, -22}, {-14, -15, -16}, {-21, -24, -20}}
	dates := []catalog.ShowKey{"2031-05-02", "2031-05-03", "2031-05-05"}
	order := [][3]int{{0, 1, 2}, {0, 1, 2}, {2, 0, 1}}
	channels := [3]string{"Kick In", "Snare Top", "Lead Vox"}
	for n, date := range dates {
		r := rig{name: "main", format: f, measure: true}
		list := []catalog.Input{}
		for tr, ch := range order[n] {
			r.tracks = append(r.tracks, sine(f, 60000, 997, levels[n][ch]))
			r.names = append(r.names, fmt.Sprintf("Input %d", tr+1))
			group := "Drums"
			if ch == 2 {
				group = "Vocals"
			}
			list = append(list, catalog.Input{Track: tr + 1, Channel: channels[ch], GainDB: db(30), Group: group})
		}
		fx.inputs(date, true, list...)
		rec := fx.record(date, r)
		fx.recs = append(fx.recs, rec)
		fx.takes = append(fx.takes, fx.take(rec, "Slow Lantern", 4800, 52800))
	}
	fx.desk(catalog.DeskInput{Input: 1, Channel: "KICK IN", GainDB: db(30)}, catalog.DeskInput{Input: 2, Channel: "Snare-Top", GainDB: db(30)}, catalog.DeskInput{Input: 5, Channel: "lead vox", GainDB: db(30), Output: 17})
	return fx
}

func (fx *tourFixture) finding(n, track int, kind catalog.FindingKind, severity catalog.Severity, start, end int64) {
	fx.t.Helper()
	old, err := fx.store.Findings(fx.t.Context(), catalog.FindingFilter{Recording: fx.recs[n].ID})
	ok(fx.t, err)
	old = append(old, catalog.Finding{Track: track, Kind: kind, Severity: severity, StartFrame: start, EndFrame: end, Text: "t"})
	ok(fx.t, fx.store.ReplaceFindings(fx.t.Context(), fx.recs[n].ID, old))
}

func TestPick(t *testing.T) {
	for _, tt := range []struct {
		name, pick string
		prepare    func(fx *tourFixture)
		want       catalog.ShowKey
		why        string
	}{
		{"latest by default", "", nil, "2031-05-05", "latest of 3 takes"},
		{"latest", "latest", nil, "2031-05-05", "latest of 3 takes"},
		{"date", "2031-05-03", nil, "2031-05-03", "the take of 2031-05-03, as asked"},
		{"loudest", "loudest", nil, "2031-05-03", "loudest of 3 takes: -13.2 LUFS summed over its channels after trim; 2031-05-02 has -17.9"},
		{"loudest counts the trim", "loudest", func(fx *tourFixture) {
			fx.inputs("2031-05-03", true, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(50)}, catalog.Input{Track: 2, Channel: "Snare Top", GainDB: db(50)}, catalog.Input{Track: 3, Channel: "Lead Vox", GainDB: db(50)})
		}, "2031-05-02", "loudest of 3 takes: -17.9"},
		{"typical", "typical", nil, "2031-05-02", "most typical of 3 takes: 0.7 dB from the channels' median RMS after trim; 2031-05-05 is 2.3 dB off"},
		{"cleanest of equals is the latest", "Cleanest", nil, "2031-05-05", "cleanest of 3 takes: no findings; 2031-05-03 has no findings"},
		{"cleanest", "cleanest", func(fx *tourFixture) {
			fx.finding(2, 1, catalog.Clipped, catalog.FaultSeverity, 5000, 5010)
			fx.finding(2, 2, catalog.Dropout, catalog.FaultSeverity, 9000, 9010)
			fx.finding(1, 1, catalog.DCOffset, catalog.WarningSeverity, 0, 60000)
		}, "2031-05-02", "cleanest of 3 takes: no findings; 2031-05-03 has 1 warning"},
		{"losses of the recorder count", "cleanest", func(fx *tourFixture) {
			fx.finding(2, 0, catalog.Dropout, catalog.FaultSeverity, 9000, 9010)
		}, "2031-05-03", "cleanest of 3 takes: no findings; 2031-05-02 has no findings"},
		{"an unfinished file outside the take does not count", "cleanest", func(fx *tourFixture) {
			fx.finding(2, 0, catalog.UnfinishedFile, catalog.WarningSeverity, 0, 60000)
		}, "2031-05-05", "no findings"},
		{"a warning weighs more than five notes", "cleanest", func(fx *tourFixture) {
			for i := range int64(5) {
				fx.finding(2, 1, catalog.Clipped, catalog.NoteSeverity, 5000+100*i, 5010+100*i)
			}
			fx.finding(1, 1, catalog.Clipped, catalog.WarningSeverity, 5000, 5010)
			fx.finding(0, 1, catalog.Clipped, catalog.FaultSeverity, 5000, 5010)
		}, "2031-05-05", "cleanest of 3 takes: 5 notes; 2031-05-03 has 1 warning"},
		{"findings outside the take do not count", "cleanest", func(fx *tourFixture) {
			fx.finding(2, 1, catalog.Clipped, catalog.FaultSeverity, 0, 4800)
			fx.finding(2, 1, catalog.Clipped, catalog.FaultSeverity, 52800, 60000)
		}, "2031-05-05", "no findings"},
		{"findings on tracks that are not patched do not count", "cleanest", func(fx *tourFixture) {
			fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In"})
			fx.finding(2, 1, catalog.Clipped, catalog.FaultSeverity, 5000, 6000) // the voice that night
		}, "2031-05-05", "no findings"},
		{"accepted findings do not count", "cleanest", func(fx *tourFixture) {
			fx.finding(2, 1, catalog.Clipped, catalog.FaultSeverity, 5000, 6000)
			findings, err := fx.store.Findings(fx.t.Context(), catalog.FindingFilter{})
			ok(fx.t, err)
			ok(fx.t, fx.store.AcceptFinding(fx.t.Context(), findings[0].ID, "wanted"))
		}, "2031-05-05", "no findings"},
		{"a missing channel weighs as a fault", "cleanest", func(fx *tourFixture) {
			fx.inputs("2031-05-05", true, catalog.Input{Track: 1, Channel: "Lead Vox"}, catalog.Input{Track: 2, Channel: "Kick In"}, catalog.Input{Track: 3, Channel: "Tambourine"})
			fx.finding(1, 1, catalog.Clipped, catalog.WarningSeverity, 5000, 6000)
			fx.finding(0, 1, catalog.Clipped, catalog.WarningSeverity, 5000, 6000)
		}, "2031-05-03", "cleanest of 3 takes: 1 warning; 2031-05-02 has 1 warning"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fx := newTour(t)
			if tt.prepare != nil {
				tt.prepare(fx)
			}
			ses := fx.build(session.Request{Songs: []string{"slow lantern!"}, Pick: tt.pick})
			if len(ses.Items) != 1 || ses.Items[0].Show != tt.want || !strings.Contains(ses.Items[0].Why, tt.why) {
				t.Errorf("items %+v, want %s: %s", ses.Items, tt.want, tt.why)
			}
		})
	}
}

// A take that was never measured is skipped, with a note.
func TestPickUnmeasured(t *testing.T) {
	fx := newTour(t)
	f := mono(48000, 24, 3, wavfile.PCM)
	r := rig{name: "main", format: f, names: []string{"Kick In"}, tracks: [][]byte{sine(f, 60000, 400, -1)}}
	fx.take(fx.record("2031-05-07", r), "Slow Lantern", 0, 48000)
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "loudest"})
	if ses.Items[0].Show != "2031-05-03" || !has(ses.Problems, "Slow Lantern (2031-05-07): skipped, because it is not measured to its end") {
		t.Errorf("%+v, problems %q", ses.Items, ses.Problems)
	}
}

// Channels are matched by name, on whatever track they are that night.
func TestBuildFollowsRepatching(t *testing.T) {
	fx := newTour(t)
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern", "Slow Lantern"}, Pick: "2031-05-05"})
	if len(ses.Items) != 2 || len(ses.Inputs) != 6 {
		t.Fatalf("%+v", ses)
	}
	for i, want := range []int{2, 3, 1, 2, 3, 1} {
		in := ses.Inputs[i]
		if in.Track != want || in.Status != catalog.Playback || in.Item != i/3 || in.Rig != "main" || in.Why == "" {
			t.Errorf("input %+v, want track %d", in, want)
		}
	}
	if ses.Inputs[2].Output != 17 || ses.Inputs[2].DeskInput != 5 || ses.Inputs[2].Group != "Vocals" || ses.Inputs[0].Output != 1 {
		t.Errorf("%+v", ses.Inputs[2])
	}
	it := ses.Items[0]
	if it.Recording != fx.recs[2].ID || it.StartFrame != 4800 || it.EndFrame != 52800 || it.StartS != 0.1 || it.EndS != 1.1 || it.Rig != "main" || it.SampleRate != 48000 || it.Take != fx.takes[2].ID {
		t.Errorf("item %+v", it)
	}
	stored, err := fx.store.Session(t.Context(), ses.ID)
	ok(t, err)
	if fmt.Sprint(stored.Items) != fmt.Sprint(ses.Items) || fmt.Sprint(stored.Inputs) != fmt.Sprint(ses.Inputs) || ses.ID == 0 {
		t.Error("the returned session differs from the stored one")
	}
}

// The whole set of a night is every take in the order it was played.
func TestBuildWholeSet(t *testing.T) {
	fx := newTour(t)
	fx.take(fx.recs[1], "Harbour", 52800, 57600)
	fx.take(fx.recs[1], "Opening", 0, 4000)
	ses := fx.build(session.Request{Show: "2031-05-03"})
	songs := []string{}
	for _, it := range ses.Items {
		songs = append(songs, it.Song)
		if it.Why != "from the whole set of 2031-05-03" {
			t.Errorf("why %q", it.Why)
		}
	}
	if !slices.Equal(songs, []string{"Opening", "Slow Lantern", "Harbour"}) {
		t.Errorf("%q", songs)
	}
	// A song that was not played that night is left out, with a note.
	ses = fx.build(session.Request{Songs: []string{"Harbour", "Slow Lantern"}, Pick: "2031-05-05"})
	if len(ses.Items) != 1 || !has(ses.Problems, "Harbour: there is no take on 2031-05-05, so it is left out") {
		t.Errorf("%+v, problems %q", ses.Items, ses.Problems)
	}
	// If the song was played twice, the last take is used, with a note.
	fx.take(fx.recs[1], "Slow Lantern", 57600, 59000)
	ses = fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-03"})
	if ses.Items[0].StartFrame != 57600 || ses.Items[0].Why != "the last of 2 takes of 2031-05-03, as asked" {
		t.Errorf("%+v", ses.Items)
	}
}

func TestTrim(t *testing.T) {
	for _, tt := range []struct {
		tonight, then *float64
		want          float64
		why           string
	}{
		{db(33), db(30), 3, "trim +3.0 dB: gain 33 dB tonight, 30 dB that night"},
		{db(30.1), db(32.1), -2, "trim -2.0 dB: gain 30.1 dB tonight, 32.1 dB that night"},
		{db(30), db(30), 0, "no trim: the gain is 30 dB on both nights"},
		{nil, db(30), 0, "no trim: tonight's gain is not in the desk's patch"},
		{db(30), nil, 0, "no trim: that night's gain is not in the input list"},
		{nil, nil, 0, "no trim: neither tonight's nor that night's gain is known"},
	} {
		fx := newTour(t)
		fx.inputs("2031-05-03", true, catalog.Input{Track: 1, Channel: "Kick In", GainDB: tt.then})
		fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: tt.tonight})
		in := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-03"}).Inputs[0]
		if in.TrimDB != tt.want || in.Why != tt.why || fmt.Sprint(in.TrimDB) == "-0" {
			t.Errorf("trim %v, %q; want %v, %q", in.TrimDB, in.Why, tt.want, tt.why)
		}
	}
	// If a trim drives a channel over full scale, building the session reports
	// it.
	fx := newTour(t)
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(46)})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-03"})
	if !has(ses.Problems, "desk input 1 Kick In: peaks at -14.0 dBFS; the trim of +16.0 dB would drive it 2.0 dB over full scale") {
		t.Errorf("problems %q", ses.Problems)
	}
}

// A trim beyond 20 dB needs a person's confirmation and one beyond 40 dB is
// refused, with the input, both gains and the trim: such a gain is a typing
// error.
func TestWildTrims(t *testing.T) {
	for _, tt := range []struct {
		tonight float64
		beyond  bool
		refused string // "" = built
	}{
		{50, false, ""},
		{10, false, ""},
		{50.1, false, "Slow Lantern (2031-05-03), desk input 1 Kick In: trim +20.1 dB: gain 50.1 dB tonight, 30 dB that night"},
		{9.9, false, "trim -20.1 dB"},
		{50.1, true, ""},
		{70, true, ""},
		{99, false, "trim +69.0 dB: gain 99 dB tonight, 30 dB that night"},
		{99, true, "trim +69.0 dB"},
		{-60, true, "trim -90.0 dB"},
	} {
		fx := newTour(t)
		fx.inputs("2031-05-03", true, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(30)})
		fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(tt.tonight)})
		ses, err := session.Build(t.Context(), fx.store, session.Request{Desk: "foh", Songs: []string{"Slow Lantern"}, Pick: "2031-05-03", Beyond: tt.beyond})
		if tt.refused == "" {
			if err != nil || math.Abs(ses.Inputs[0].TrimDB-(tt.tonight-30)) > 1e-9 {
				t.Errorf("gain %g, meant %v: trim %+v, %v", tt.tonight, tt.beyond, ses.Inputs, err)
			}
			continue
		}
		var e *session.RequestError
		if !errors.As(err, &e) || !strings.Contains(e.Problem, tt.refused) || strings.Contains(e.Hint(), "--beyond") == (math.Abs(tt.tonight-30) > 40) {
			t.Errorf("gain %g, meant %v: %v, want %q", tt.tonight, tt.beyond, err, tt.refused)
		}
	}
}

func TestOnlyExcept(t *testing.T) {
	for _, tt := range []struct {
		only, except []string
		want         string // status of kick, snare, voice
		why          string // of the first input that stays
	}{
		{nil, nil, "playback playback playback", ""},
		{[]string{"drums"}, nil, "playback playback stage", "left on the stage as asked (only drums)"},
		{[]string{"Lead Vox", "snare top"}, nil, "stage playback playback", "left on the stage as asked (only Lead Vox, snare top)"},
		{nil, []string{"VOCALS"}, "playback playback stage", "left on the stage as asked (except VOCALS)"},
		{[]string{"Drums"}, []string{"Kick In"}, "stage playback stage", "left on the stage as asked (except Kick In)"},
	} {
		fx := newTour(t)
		ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Only: tt.only, Except: tt.except})
		got, why := []string{}, ""
		for _, in := range ses.Inputs {
			got = append(got, string(in.Status))
			if in.Status == catalog.Stage && why == "" {
				why = in.Why
				if in.Track != 0 || in.TrimDB != 0 {
					t.Errorf("%+v", in)
				}
			}
		}
		if strings.Join(got, " ") != tt.want || why != tt.why {
			t.Errorf("only %q, except %q: %q, %q", tt.only, tt.except, got, why)
		}
	}
}

// Every input that does not play has a reason, and names another rig or night
// that has the channel.
func TestMissing(t *testing.T) {
	fx := newTour(t)
	f := mono(44100, 16, 2, wavfile.PCM)
	fx.inputs("2031-05-03", true, catalog.Input{Track: 1, Channel: "Kick In"}, catalog.Input{Track: 2, Channel: "Snare Top"}, catalog.Input{Track: 3, Channel: "Lead Vox"}, catalog.Input{Track: 9, Channel: "Sub Kick"}, catalog.Input{Track: 11, Channel: "Guest"})
	r := rig{name: "backup", format: f, offsetS: -0.5, tracks: make([][]byte, 11), names: make([]string, 11)}
	r.tracks[10] = wavtest.Noise(f, 88200, 1)
	fx.record("2031-05-03", r)
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In"}, catalog.DeskInput{Input: 2, Channel: "Guest"}, catalog.DeskInput{Input: 3, Channel: "Sub Kick"}, catalog.DeskInput{Input: 4, Channel: "Cowbell"})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-03"})
	for i, want := range []string{"", "track 11 of the input list was not recorded by rig main on 2031-05-03; rig backup has it on track 11", "track 9 of the input list was not recorded by rig main on 2031-05-03", "rig main recorded no track of this channel on 2031-05-03"} {
		in := ses.Inputs[i]
		if i > 0 && (in.Status != catalog.Missing || in.Why != want || in.Track != 0) {
			t.Errorf("%+v, want %q", in, want)
		}
		if i > 0 && !has(ses.Problems, fmt.Sprintf("desk input %d %s: %s; no other take is better", in.DeskInput, in.Channel, want)) {
			t.Errorf("problems %q lack %s", ses.Problems, in.Channel)
		}
	}
	// The other rig feeds the desk with its own frames, rate and tracks.
	ses = fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-03", Rig: "Backup"})
	it := ses.Items[0]
	if it.Rig != "backup" || it.SampleRate != 44100 || it.StartFrame != 26460 || it.EndFrame != 70560 {
		t.Errorf("%+v", it)
	}
	if in := ses.Inputs[1]; in.Status != catalog.Playback || in.Track != 11 || in.Rig != "backup" {
		t.Errorf("%+v", in)
	}
	if in := ses.Inputs[0]; in.Status != catalog.Missing || !strings.Contains(in.Why, "rig main has it on track 1") || !has(ses.Problems, "desk input 1 Kick In") || !has(ses.Problems, "fine in the take of 2031-05-05, 2031-05-02") {
		t.Errorf("%+v, problems %q", in, ses.Problems)
	}
	// If the rig did not run that night, another one is used, with a note.
	ses = fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-02", Rig: "backup"})
	if ses.Items[0].Rig != "main" || !has(ses.Problems, "rig backup did not record this take; rig main is used") {
		t.Errorf("%+v, problems %q", ses.Items, ses.Problems)
	}
	// The two rigs' nights have two rates.
	fx.take(fx.recs[0], "Harbour", 0, 4800)
	ses = fx.build(session.Request{Songs: []string{"Slow Lantern", "Harbour"}, Rig: "backup", Show: ""})
	if has(ses.Problems, "different sample rates") {
		t.Errorf("one rate, but problems %q", ses.Problems)
	}
	fx.take(fx.recs[1], "Opening", 0, 4800)
	ses = fx.build(session.Request{Songs: []string{"Opening", "Harbour"}, Rig: "backup"})
	if !has(ses.Problems, "the items have different sample rates (44.1 kHz: Opening; 48 kHz: Harbour)") {
		t.Errorf("problems %q", ses.Problems)
	}
}

// A rig that started late or stopped early still feeds the desk, with a note.
func TestRigCoversPart(t *testing.T) {
	fx := newTour(t)
	f := mono(48000, 24, 3, wavfile.PCM)
	fx.record("2031-05-02", rig{name: "backup", format: f, offsetS: 0.3, names: []string{"Kick In"}, tracks: [][]byte{wavtest.Noise(f, 24000, 1)}})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "2031-05-02", Rig: "backup"})
	if it := ses.Items[0]; it.StartFrame != 0 || it.EndFrame != 24000 || !has(ses.Problems, "rig backup started 0.2 s into the take") || !has(ses.Problems, "rig backup stopped 0.3 s before the take's end") {
		t.Errorf("%+v, problems %q", it, ses.Problems)
	}
}

// A spoilt channel is reported, with the nights on which it is fine.
func TestSpoiltChannels(t *testing.T) {
	for _, tt := range []struct {
		kind catalog.FindingKind
		want string // in why and problems; "" = no problem
	}{
		{catalog.Dead, "dead"},
		{catalog.WentSilent, "went silent at 0:00:00.5"},
		{catalog.Clipped, "clipped at 0:00:00.5"},
		{catalog.FlatTop, "flat top at 0:00:00.5"},
		{catalog.Dropout, "dropout at 0:00:00.5"},
		{catalog.DCOffset, ""},
		{catalog.UnfinishedFile, ""},
	} {
		fx := newTour(t)
		fx.finding(2, 2, tt.kind, catalog.FaultSeverity, 24000, 24010)
		fx.finding(1, 1, catalog.Clipped, catalog.FaultSeverity, 24000, 24010)
		ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}})
		kick := ses.Inputs[0]
		if kick.Status != catalog.Playback || !strings.Contains(kick.Why, strings.ReplaceAll(string(tt.kind), "_", " ")) {
			t.Errorf("%s: %+v", tt.kind, kick)
		}
		want := fmt.Sprintf("Slow Lantern (2031-05-05), desk input 1 KICK IN: %s; fine in the take of 2031-05-02", tt.want)
		if tt.want == "" && len(ses.Problems) > 0 || tt.want != "" && !slices.Equal(ses.Problems, []string{want}) {
			t.Errorf("%s: problems %q, want %q", tt.kind, ses.Problems, want)
		}
	}
	fx := newTour(t)
	for i := range int64(3) {
		fx.finding(2, 2, catalog.Clipped, catalog.WarningSeverity, 24000+1000*i, 24010+1000*i)
	}
	if ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}}); !has(ses.Problems, "clipped 3 times, first at 0:00:00.5; fine in the take of 2031-05-03, 2031-05-02") {
		t.Errorf("problems %q", ses.Problems)
	}
}

func TestBuildRefuses(t *testing.T) {
	fx := newTour(t)
	ok(t, fx.store.SaveDesk(t.Context(), catalog.Desk{Name: "Empty"}))
	for name, req := range map[string]session.Request{
		"empty request":          {Desk: "FOH"},
		"unknown pick":           {Desk: "FOH", Songs: []string{"Slow Lantern"}, Pick: "nicest"},
		"two dates":              {Desk: "FOH", Show: "2031-05-02", Pick: "2031-05-03"},
		"unknown name in except": {Desk: "FOH", Songs: []string{"Slow Lantern"}, Except: []string{"Vocls"}},
		"unknown name in only":   {Desk: "FOH", Songs: []string{"Slow Lantern"}, Only: []string{"Kik In"}},
		"rig that never ran":     {Desk: "FOH", Songs: []string{"Slow Lantern"}, Rig: "third"},
		"desk without inputs":    {Desk: "Empty", Songs: []string{"Slow Lantern"}},
		"no take on that night":  {Desk: "FOH", Songs: []string{"Slow Lantern"}, Pick: "2031-05-09"},
	} {
		if name == "no take on that night" {
			_, err := fx.store.EnsureShow(t.Context(), catalog.Show{Date: "2031-05-09"})
			ok(t, err)
		}
		var bad *session.RequestError
		if _, err := session.Build(t.Context(), fx.store, req); !errors.As(err, &bad) || bad.Hint() == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, req := range map[string]session.Request{
		"unknown desk": {Desk: "Monitors", Songs: []string{"Slow Lantern"}},
		"unknown song": {Desk: "FOH", Songs: []string{"Slow Lanterns"}},
		"unknown show": {Desk: "FOH", Show: "2031-06-01"},
		"unknown date": {Desk: "FOH", Songs: []string{"Slow Lantern"}, Pick: "2031-06-01"},
	} {
		var missing *catalog.NotFoundError
		if _, err := session.Build(t.Context(), fx.store, req); !errors.As(err, &missing) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if all, err := fx.store.Sessions(t.Context()); err != nil || len(all) != 0 {
		t.Errorf("refused, but %d sessions stored (%v)", len(all), err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := session.Build(ctx, fx.store, session.Request{Desk: "FOH", Songs: []string{"Slow Lantern"}}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	// Building reads no audio: it works with the drive unplugged.
	ok(t, os.RemoveAll(fx.root))
	fx.build(session.Request{Songs: []string{"Slow Lantern"}, Pick: "loudest"})
}
