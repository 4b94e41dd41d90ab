package session_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/scan"
	"nightreel/internal/session"
	"nightreel/internal/wavfile"
)

// demoTour makes and scans the demo tour and stores its lists and takes in the
// catalog.
func demoTour(t *testing.T) (*fixture, *demo.Truth) {
	t.Helper()
	ctx := t.Context()
	dir := t.TempDir()
	root := filepath.Join(dir, "tour")
	truth, err := demo.Make(ctx, root, demo.Options{Scale: demo.Small})
	ok(t, err)
	store, err := catalog.Open(ctx, filepath.Join(dir, "catalog.db"))
	ok(t, err)
	t.Cleanup(func() { store.Close() })
	result, err := scan.Run(ctx, store, []string{root}, scan.Options{}, nil)
	ok(t, err)
	if len(result.Shows) != len(truth.Shows) {
		t.Fatalf("%d shows scanned, want %d; problems %v", len(result.Shows), len(truth.Shows), result.Problems)
	}
	for _, l := range truth.InputLists {
		list := catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only}
		for _, in := range l.Inputs {
			list.Inputs = append(list.Inputs, catalog.Input{Track: in.Track, Channel: in.Channel, GainDB: db(in.GainDB), Group: in.Group})
		}
		ok(t, store.SaveInputList(ctx, list))
	}
	for _, tk := range truth.Takes {
		recs, err := store.Recordings(ctx, catalog.RecordingFilter{Show: catalog.ShowKey(tk.Show)})
		ok(t, err)
		_, err = store.SaveTake(ctx, catalog.Take{Show: catalog.ShowKey(tk.Show), Song: tk.Song, RecordingID: recs[0].ID,
			StartFrame: recs[0].Frame(tk.StartS), EndFrame: recs[0].Frame(tk.EndS), FoundBy: catalog.ByPerson, Confidence: 1})
		ok(t, err)
	}
	for _, sh := range truth.Shows {
		near, err := evidence.FindNeighbours(ctx, store, catalog.ShowKey(sh.Date))
		ok(t, err)
		_, err = findings.Judge(ctx, store, near, evidence.Options{})
		ok(t, err)
	}
	return &fixture{t: t, store: store, root: root}, truth
}

func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo tour")
	}
	fx, truth := demoTour(t)
	t.Run("renders bit for bit", func(t *testing.T) { fx.t = t; demoRenders(t, fx, truth) })
	t.Run("session", func(t *testing.T) { fx.t = t; demoSession(t, fx, truth) })
}

// The demo tour's recordings render bit for bit in every form that recorders
// write, on every rig and night. The source's samples are taken from the files'
// bytes, the rendered ones are read by sndfile-convert.
func demoRenders(t *testing.T, fx *fixture, truth *demo.Truth) {
	check := untouched(t, fx.root)
	desk := []catalog.DeskInput{}
	for _, in := range truth.Desks[0].Inputs {
		desk = append(desk, catalog.DeskInput{Input: in.Input, Channel: in.Channel}) // no gain: no trim
	}
	fx.desk(desk...)
	compared := map[string]int{}
	for _, sh := range truth.Shows {
		for _, rec := range sh.Recordings {
			ses := fx.build(session.Request{Show: catalog.ShowKey(sh.Date), Rig: rec.Rig})
			got := fx.render(ses, session.RenderOptions{Dir: t.TempDir()})
			for _, file := range got.Files {
				it := ses.Items[file.Item]
				i := slices.IndexFunc(ses.Inputs, func(in catalog.SessionInput) bool { return in.Item == file.Item && in.DeskInput == file.DeskInput })
				f, want := fx.bytes(it.Recording, ses.Inputs[i].Track, it.StartFrame, it.EndFrame)
				if !file.BitIdentical || !bytes.Equal(samplesOf(t, file.Path, f), want) {
					t.Errorf("%s, rig %s: %s is not what was recorded", sh.Date, rec.Rig, filepath.Base(file.Path))
				}
				compared[sh.Date+" "+it.Rig]++
			}
		}
	}
	for _, sh := range truth.Shows {
		for _, rec := range sh.Recordings {
			if compared[sh.Date+" "+rec.Rig] < 16 {
				t.Errorf("%s, rig %s: only %d files compared", sh.Date, rec.Rig, compared[sh.Date+" "+rec.Rig])
			}
		}
	}
	check()
}

// bytes returns a track's samples of a span as they lie in the recording's
// files, silence where there are none.
func (fx *fixture) bytes(id catalog.RecordingID, track int, start, end int64) (wavfile.Format, []byte) {
	fx.t.Helper()
	recs, err := fx.store.Recordings(fx.t.Context(), catalog.RecordingFilter{ID: id})
	ok(fx.t, err)
	size := recs[0].SampleBytes
	f := mono(recs[0].SampleRate, recs[0].BitDepth, size, wavfile.PCM)
	out := make([]byte, (end-start)*int64(size))
	all, err := fx.store.Files(fx.t.Context(), catalog.FileFilter{Recording: id})
	ok(fx.t, err)
	for _, file := range all {
		if track < file.FirstTrack || track >= file.FirstTrack+file.Channels {
			continue
		}
		data, err := os.ReadFile(file.FullPath())
		ok(fx.t, err)
		for n := max(start, file.StartFrame); n < min(end, file.StartFrame+file.Frames); n++ {
			at := file.DataOffset + ((n-file.StartFrame)*int64(file.Channels)+int64(track-file.FirstTrack))*int64(size)
			copy(out[(n-start)*int64(size):][:size], data[at:])
		}
	}
	return f, out
}

// Trims are the differences of the demo's own gains, and planted faults that
// spoil a take are reported for the inputs that they are on.
func demoSession(t *testing.T, fx *fixture, truth *demo.Truth) {
	for _, d := range truth.Desks {
		inputs := []catalog.DeskInput{}
		for _, in := range d.Inputs {
			inputs = append(inputs, catalog.DeskInput{Input: in.Input, Channel: in.Channel, GainDB: db(in.GainDB)})
		}
		ok(t, fx.store.SaveDesk(t.Context(), catalog.Desk{Name: d.Name, Inputs: inputs}))
	}
	trims, spoilt := 0, 0
	for _, sh := range truth.Shows {
		gains := map[string]float64{}
		for _, only := range []bool{false, true} { // a list for one night replaces the one in force
			for _, l := range truth.InputLists {
				if l.Only == only && (l.From == sh.Date || !only && l.From < sh.Date) {
					if !only {
						clear(gains)
					}
					for _, in := range l.Inputs {
						gains[catalog.Key(in.Channel)] = in.GainDB
					}
				}
			}
		}
		d := truth.Desks[0]
		ses, err := session.Build(t.Context(), fx.store, session.Request{Desk: d.Name, Show: catalog.ShowKey(sh.Date)})
		ok(t, err)
		if len(ses.Inputs) != len(ses.Items)*len(d.Inputs) || len(ses.Items) == 0 {
			t.Fatalf("%s: %d items, %d inputs", sh.Date, len(ses.Items), len(ses.Inputs))
		}
		for _, in := range ses.Inputs {
			if in.Why == "" {
				t.Errorf("%s: %+v has no reason", sh.Date, in)
			}
			if in.Status != catalog.Playback {
				continue
			}
			i := slices.IndexFunc(d.Inputs, func(x demo.DeskInput) bool { return x.Input == in.DeskInput })
			if want := d.Inputs[i].GainDB - gains[catalog.Key(in.Channel)]; math.Abs(in.TrimDB-want) > 1e-3 {
				t.Errorf("%s: %s: trim %g, want %g", sh.Date, in.Channel, in.TrimDB, want)
			}
			if in.TrimDB != 0 {
				trims++
			}
		}
		for _, fault := range truth.Faults {
			words, spoils := map[string]string{"dead": "dead", "went_silent": "went silent", "clipped": "clipped", "flat_top": "flat top", "dropout": "dropout"}[fault.Kind]
			if !spoils || fault.Show != sh.Date || fault.Rig != sh.Recordings[0].Rig {
				continue
			}
			for i, it := range ses.Items {
				at := slices.IndexFunc(ses.Inputs, func(in catalog.SessionInput) bool { return in.Item == i && catalog.SameName(in.Channel, fault.Channel) })
				// Allow a second at either end, since a finding may start a
				// block early.
				if at < 0 || fault.StartS >= it.EndS-1 || fault.EndS <= it.StartS+1 && fault.StartS <= it.StartS {
					continue
				}
				spoilt++
				prefix := fmt.Sprintf("%s (%s), desk input %d %s: ", it.Song, it.Show, ses.Inputs[at].DeskInput, ses.Inputs[at].Channel)
				if !slices.ContainsFunc(ses.Problems, func(p string) bool { return strings.HasPrefix(p, prefix) && strings.Contains(p, words) }) {
					t.Errorf("%s%s (%s) is not reported", prefix, words, fault.Why)
				}
			}
		}
	}
	if trims == 0 || spoilt < 4 {
		t.Errorf("only %d trims and %d spoilt inputs checked", trims, spoilt)
	}
	for _, pick := range session.Picks() {
		ses, err := session.Build(t.Context(), fx.store, session.Request{Desk: truth.Desks[0].Name, Songs: truth.Songs, Pick: pick})
		ok(t, err)
		for _, it := range ses.Items {
			t.Logf("%s: %s: %s, %s", pick, it.Song, it.Show, it.Why)
		}
	}
}
