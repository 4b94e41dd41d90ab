package compare_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/meter"
)

const rate = 8000 // Hz

func openStore(t *testing.T) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(context.Background(), filepath.Join(t.TempDir(), "catalog"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

// addRecording stores tracks of 16-bit samples, measured, in the catalog.
func addRecording(t *testing.T, store *catalog.Store, date catalog.ShowKey, rig string, offsetS float64, names []string, samples [][]byte) catalog.Recording {
	t.Helper()
	ctx := context.Background()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: date.Date()})
	if err != nil {
		t.Fatal(err)
	}
	var tracks []catalog.Track
	var longest int64
	for i, name := range names {
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: name, Frames: int64(len(samples[i]) / 2)})
		longest = max(longest, tracks[i].Frames)
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: rig, SampleRate: rate, BitDepth: 16, SampleBytes: 2, Encoding: "pcm", Frames: longest, OffsetS: offsetS}, nil, tracks, nil)
	if err != nil {
		t.Fatal(err)
	}
	saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		t.Fatal(err)
	}
	for i, track := range saved {
		long := int64(meter.PartBlocks * meter.BlockFrames(rate))
		for first := int64(0); first < track.Frames; first += long {
			frames := min(long, track.Frames-first)
			runUp := int64(0)
			if first > 0 {
				runUp = int64(meter.RunUpFrames(rate))
			}
			to := min(track.Frames, first+frames+int64(meter.RunOutFrames(rate)))
			part := measure(t, meter.Config{RunUp: int(runUp), First: first, Frames: frames}, samples[i][2*(first-runUp):2*to])
			if err := store.PutParts(ctx, []catalog.Part{{Track: track.ID, Part: int(first / long), Data: meter.Encode(part)}}, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
	return rec
}

func measure(t *testing.T, cfg meter.Config, data []byte) meter.Part {
	t.Helper()
	cfg.SampleRate, cfg.Channels, cfg.Type = rate, 1, meter.Int16
	m, err := meter.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Write(len(data)/2, data); err != nil {
		t.Fatal(err)
	}
	return m.Finish()[0]
}

// noise returns samples whose level changes every second or so.
func noise(seed uint64, seconds float64) []byte {
	rng := rand.New(rand.NewPCG(seed, 3))
	data := make([]byte, 0, int(seconds*rate)*2)
	level := 0.1
	for i := range int(seconds * rate) {
		if i%7919 == 0 {
			level = 0.3 * rng.Float64()
		}
		data = binary.LittleEndian.AppendUint16(data, uint16(int16(32767*max(-1, min(1, level*rng.NormFloat64())))))
	}
	return data
}

// steady returns white noise of an RMS in dBFS; -Inf is silence.
func steady(db, seconds float64) []byte {
	rng := rand.New(rand.NewPCG(5, 5))
	data := make([]byte, 0, int(seconds*rate)*2)
	for range int(seconds * rate) {
		data = binary.LittleEndian.AppendUint16(data, uint16(int16(math.Round(32768*math.Pow(10, db/20)*rng.NormFloat64()))))
	}
	return data
}

func addTake(t *testing.T, store *catalog.Store, date catalog.ShowKey, rec catalog.Recording, song string, startS, endS float64) catalog.Take {
	t.Helper()
	take, err := store.SaveTake(context.Background(), catalog.Take{Show: date, Song: song, RecordingID: rec.ID, StartFrame: rec.Frame(startS), EndFrame: rec.Frame(endS), FoundBy: catalog.ByPerson, Confidence: 1})
	if err != nil {
		t.Fatal(err)
	}
	return take
}

// TestFiguresAreThoseOfTheSamples: for any span, Levels returns what another
// meter measures in the span's samples alone, preceded by their run-up; also
// after the boundary moved.
func TestFiguresAreThoseOfTheSamples(t *testing.T) {
	ctx := context.Background()
	store := openStore(t)
	const long = 130 // s, three parts
	data := noise(1, long)
	rec := addRecording(t, store, "2031-05-02", "main", 0, []string{"Kick"}, [][]byte{data})
	take := addTake(t, store, "2031-05-02", rec, "A", 1, 2)
	rng := rand.New(rand.NewPCG(9, 9))
	for range 25 {
		block := int64(meter.BlockFrames(rate))
		from := rng.Int64N(long*10-40) * block
		to := from + (35+rng.Int64N(long*10-from/block-34))*block
		// Off the block grid by less than half a block: spans are rounded to it.
		take.StartFrame = max(0, from+rng.Int64N(block-1)-block/2+1)
		take.EndFrame = min(rec.Frames, to+rng.Int64N(block-1)-block/2+1)
		if _, err := store.SaveTake(ctx, take); err != nil {
			t.Fatal(err)
		}
		levels, err := compare.Levels(ctx, store, compare.Filter{Song: "A"})
		if err != nil {
			t.Fatal(err)
		}
		if len(levels) != 1 {
			t.Fatalf("%d levels", len(levels))
		}
		runUp := min(from, 20*block)
		after := min(rec.Frames, to+int64(meter.RunOutFrames(rate)))
		part := measure(t, meter.Config{RunUp: int(runUp), First: from, Frames: to - from}, data[2*(from-runUp):2*after])
		want := meter.Join(rate, to-from, 0, part).Figures(0, to-from)
		if got := levels[0].Figures; !close(got, want) {
			t.Fatalf("frames %d to %d: figures are\n\t%+v\nmeasured again\n\t%+v", from, to, got, want)
		}
		// Compute the RMS independently.
		sum := 0.0
		for i := from; i < to; i++ {
			x := float64(int16(binary.LittleEndian.Uint16(data[2*i:]))) / 32768
			sum += x * x
		}
		if rms := 10 * math.Log10(sum/float64(to-from)); math.Abs(rms-float64(levels[0].RMS)) > 1e-4 {
			t.Fatalf("RMS is %v, the samples' %v", levels[0].RMS, rms)
		}
	}
}

// close compares figures to a thousandth of a dB: the catalog's binary form
// rounds true peak up by 0.0002 dB, and a settled filter's state differs
// slightly from a fresh one's.
func close(a, b meter.Figures) bool {
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range va.NumField() {
		x, y := va.Field(i), vb.Field(i)
		if x.CanInt() && x.Int() != y.Int() || x.CanFloat() && !(math.Abs(x.Float()-y.Float()) < 1e-3) {
			return false
		}
	}
	return va.NumField() > 5
}

// tourOf builds nights on which song A is played from second 2 to 12 at the
// given RMS of the bass in dBFS, with a kick that never changes. From the second
// half of the nights on the two have exchanged tracks.
func tourOf(t *testing.T, bass ...float64) (*catalog.Store, []catalog.Take) {
	t.Helper()
	ctx := context.Background()
	store := openStore(t)
	var takes []catalog.Take
	for i, db := range bass {
		date := catalog.ShowKey(fmt.Sprintf("2031-05-%02d", i+1))
		inputs := []catalog.Input{{Track: 1, Channel: "Kick"}, {Track: 2, Channel: "Bass"}}
		samples := [][]byte{steady(-20, 14), steady(db, 14)}
		if i >= len(bass)/2 {
			inputs[0].Track, inputs[1].Track = 2, 1
			slices.Reverse(samples)
		}
		if err := store.SaveInputList(ctx, catalog.InputList{From: date, Inputs: inputs}); err != nil {
			t.Fatal(err)
		}
		rec := addRecording(t, store, date, "main", 0, []string{"", ""}, samples)
		takes = append(takes, addTake(t, store, date, rec, "A", 2, 12))
	}
	return store, takes
}

func song(t *testing.T, store *catalog.Store, opt compare.Options) compare.Comparison {
	t.Helper()
	c, err := compare.Song(context.Background(), store, "a", opt)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(c); err != nil {
		t.Errorf("not to be printed: %v", err)
	}
	return c
}

func channel(t *testing.T, c compare.Comparison, name string) compare.Channel {
	t.Helper()
	for _, ch := range c.Channels {
		if ch.Channel == name {
			return ch
		}
	}
	t.Fatalf("no channel %q in %+v", name, c)
	return compare.Channel{}
}

func TestSong(t *testing.T) {
	store, takes := tourOf(t, -30, -30.5, -22, -29.5, -30)
	c := song(t, store, compare.Options{})
	if len(c.Takes) != 5 || c.Song != "A" || math.Abs(c.Takes[0].LengthS-10) > 1e-9 {
		t.Errorf("takes are %+v", c.Takes)
	}
	bass, kick := channel(t, c, "Bass"), channel(t, c, "Kick")
	if math.Abs(float64(bass.Median.RMS)+30) > 0.05 { // one odd night in five does not move the median
		t.Errorf("the bass's median is %v", bass.Median.RMS)
	}
	for i, v := range bass.Values {
		if v.Outlier != (i == 2) || v.Outlier != (len(v.Reasons) > 0) {
			t.Errorf("night %d: outlier %v, %v", i+1, v.Outlier, v.Reasons)
		}
		if v.Take != takes[i].ID || v.Rig != "main" {
			t.Errorf("night %d: %+v", i+1, v)
		}
		// Re-patched on the last nights, the channel is still the bass.
		if want := 1 + (5-i)/4; i < 2 && v.Track != 2 || i >= 2 && v.Track != 1 {
			t.Errorf("night %d: track %d, want %d", i+1, v.Track, want)
		}
	}
	if d := float64(bass.Values[2].Delta); math.Abs(d-8) > 0.05 {
		t.Errorf("delta is %v", d)
	}
	if !bass.Values[0].Change.IsZero() || math.Abs(float64(bass.Values[3].Change)+7.5) > 0.05 {
		t.Errorf("changes are %v and %v", bass.Values[0].Change, bass.Values[3].Change)
	}
	for i, v := range kick.Values {
		if v.Outlier || math.Abs(float64(v.Delta)) > 0.01 {
			t.Errorf("kick, night %d: %+v", i+1, v)
		}
	}
	var changes []string
	for _, ch := range c.Changes {
		changes = append(changes, fmt.Sprintf("%s %s %.1f", ch.Show, ch.Channel, float64(ch.ChangeDB)))
	}
	if want := []string{"2031-05-03 Bass 8.5", "2031-05-04 Bass -7.5"}; !slices.Equal(changes, want) {
		t.Errorf("changes are %q, want %q", changes, want)
	}
	if one := song(t, store, compare.Options{Channel: "BASS", MostChanges: 1}); len(one.Channels) != 1 || len(one.Changes) != 1 {
		t.Errorf("one channel: %+v", one)
	}
}

// TestSongFollowsABoundary: if a take moves to where the channel is silent, the
// comparison shows that at once.
func TestSongFollowsABoundary(t *testing.T) {
	ctx := context.Background()
	store := openStore(t)
	rec := addRecording(t, store, "2031-05-01", "main", 0, []string{"Bass"}, [][]byte{append(steady(-20, 10), steady(-40, 10)...)})
	take := addTake(t, store, "2031-05-01", rec, "A", 0, 10)
	before := channel(t, song(t, store, compare.Options{}), "Bass").Values[0].RMS
	take.StartFrame, take.EndFrame = rec.Frame(10), rec.Frame(20)
	if _, err := store.SaveTake(ctx, take); err != nil {
		t.Fatal(err)
	}
	after := channel(t, song(t, store, compare.Options{}), "Bass").Values[0].RMS
	if math.Abs(float64(before)+20) > 0.1 || math.Abs(float64(after)+40) > 0.1 {
		t.Errorf("RMS was %v and is %v", before, after)
	}
}

func TestSongWithSilence(t *testing.T) {
	silent := math.Inf(-1)
	for _, tc := range []struct {
		name    string
		bass    []float64
		median  float64
		outlier []int
	}{
		{"one night of four", []float64{-30, silent, -30, -31}, -30, []int{1}},
		{"half the nights", []float64{-30, silent, -30, silent}, -30, []int{1, 3}},
		{"all but one", []float64{silent, silent, -30}, -30, nil},
		{"all nights", []float64{silent, silent}, silent, nil},
		{"two nights, one loud", []float64{-30, -10}, -20, nil},
		{"one night", []float64{-30}, -30, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			store, _ := tourOf(t, tc.bass...)
			ch := channel(t, song(t, store, compare.Options{}), "Bass")
			if got := float64(ch.Median.RMS); got != tc.median && math.Abs(got-tc.median) > 0.05 {
				t.Errorf("median is %v, want %v", got, tc.median)
			}
			for i, v := range ch.Values {
				if v.Outlier != slices.Contains(tc.outlier, i) {
					t.Errorf("night %d: outlier %v %v", i+1, v.Outlier, v.Reasons)
				}
				if d := v.Delta; tc.bass[i] == silent && !d.IsSilence() && !d.IsZero() || tc.bass[i] != silent && math.IsInf(float64(d), 0) {
					t.Errorf("night %d: delta %v", i+1, d)
				}
			}
		})
	}
}

func TestSongGainAndNotes(t *testing.T) {
	ctx := context.Background()
	store, _ := tourOf(t, -30, -30, -30, -24)
	gain := func(db float64) *float64 { return &db }
	for i, db := range []float64{20, 20, 20, 26} {
		date := catalog.ShowKey(fmt.Sprintf("2031-05-%02d", i+1))
		lists, err := store.InputLists(ctx)
		if err != nil {
			t.Fatal(err)
		}
		inputs := catalog.InForce(lists, date, "main")
		for k := range inputs {
			if inputs[k].Channel == "Bass" {
				inputs[k].GainDB = gain(db)
			}
		}
		if err := store.SaveInputList(ctx, catalog.InputList{From: date, Inputs: inputs}); err != nil {
			t.Fatal(err)
		}
	}
	for _, n := range []struct {
		date catalog.ShowKey
		text string
	}{{"2031-05-04", "hotter bass"}, {"2031-05-02", "new kick pedal"}, {"2031-05-09", "after the last take"}} {
		if _, err := store.EnsureShow(ctx, catalog.Show{Date: n.date.Date()}); err != nil {
			t.Fatal(err)
		}
		if _, err := store.AddNote(ctx, n.date, n.text); err != nil {
			t.Fatal(err)
		}
	}
	c := song(t, store, compare.Options{})
	if want := []compare.Note{{Show: "2031-05-02", Text: "new kick pedal"}, {Show: "2031-05-04", Text: "hotter bass"}}; !slices.Equal(c.Notes, want) {
		t.Errorf("notes are %v", c.Notes)
	}
	last := channel(t, c, "Bass").Values[3]
	if last.GainDB == nil || *last.GainDB != 26 || last.GainChangeDB == nil || *last.GainChangeDB != 6 {
		t.Errorf("gain is %v, its change %v", last.GainDB, last.GainChangeDB)
	}
	if !last.Outlier || !strings.Contains(strings.Join(last.Reasons, "; "), "gain is 6.0 dB above") {
		t.Errorf("outlier %v: %q", last.Outlier, last.Reasons)
	}
	if kick := channel(t, c, "Kick").Values[3]; kick.GainDB != nil || kick.GainChangeDB != nil {
		t.Errorf("the kick's gain is not known: %+v", kick)
	}
}

// TestTwoRigs: the backup starts 3 s late, has one channel more, and its track
// 1 reaches further than the main rig's.
func TestTwoRigs(t *testing.T) {
	ctx := context.Background()
	store := openStore(t)
	const date = "2031-05-01"
	main := addRecording(t, store, date, "main", 0, []string{"Kick", "Short"}, [][]byte{steady(-20, 20), steady(-20, 4)})
	addRecording(t, store, date, "backup", 3, []string{"Kick", "Guest", "Short"}, [][]byte{steady(-26, 20), append(steady(-40, 5), steady(-10, 15)...), steady(-33, 20)})
	addTake(t, store, date, main, "A", 8, 18)
	addTake(t, store, date, main, "B", 1, 5)
	addTake(t, store, date, main, "C", 0, 2)

	c := song(t, store, compare.Options{})
	for _, want := range []struct {
		channel, rig string
		rms          float64
	}{{"Kick", "main", -20}, {"Guest", "backup", -10}, {"Short", "backup", -33}} {
		v := channel(t, c, want.channel).Values
		if len(v) != 1 || v[0].Rig != want.rig || math.Abs(float64(v[0].RMS)-want.rms) > 0.1 {
			t.Errorf("%s: %+v", want.channel, v)
		}
	}
	levels, err := compare.Levels(ctx, store, compare.Filter{Show: date})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, l := range levels {
		got = append(got, fmt.Sprintf("%s %s %d %s %.1f–%.1f", l.Song, l.Rig, l.Track, l.Channel, l.StartS, l.EndS))
	}
	want := []string{
		"C main 1 Kick 0.0–2.0", "C main 2 Short 0.0–2.0",
		"B main 1 Kick 1.0–5.0", "B main 2 Short 1.0–5.0", "B backup 1 Kick 0.0–2.0", "B backup 2 Guest 0.0–2.0", "B backup 3 Short 0.0–2.0",
		"A main 1 Kick 8.0–18.0", "A main 2 Short 8.0–18.0", "A backup 1 Kick 5.0–15.0", "A backup 2 Guest 5.0–15.0", "A backup 3 Short 5.0–15.0",
	}
	if !slices.Equal(got, want) {
		t.Errorf("levels are\n\t%s\nwant\n\t%s", strings.Join(got, "\n\t"), strings.Join(want, "\n\t"))
	}
	if short := levels[8]; !short.RMS.IsZero() { // nothing of it lies within A
		t.Errorf("a track that ended has figures %+v", short)
	}
	only, err := compare.Levels(ctx, store, compare.Filter{Song: "a", Channel: "guest", Rig: "backup"})
	if err != nil || len(only) != 1 {
		t.Errorf("one channel of one rig: %v %v", only, err)
	}
	var out bytes.Buffer
	if err := compare.WriteLevelsCSV(&out, levels); err != nil {
		t.Fatal(err)
	}
	checkCSV(t, out.String(), levels)
	out.Reset()
	if err := c.WriteCSV(&out); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Errorf("comparison as CSV: %q %v", rows, err)
	}
}

// checkCSV checks that the columns are the JSON fields in their order, with the
// same values.
func checkCSV(t *testing.T, text string, levels []compare.TakeLevel) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range levels {
		data, err := json.Marshal(l)
		if err != nil {
			t.Fatal(err)
		}
		var fields map[string]any
		if err := json.Unmarshal(data, &fields); err != nil {
			t.Fatal(err)
		}
		for k, name := range rows[0] {
			text := rows[i+1][k]
			want, there := fields[name]
			switch {
			case !there && text == "", there && want == nil && text == "-inf":
			case there && want != nil && sameValue(text, want):
			default:
				t.Errorf("row %d: %s is %q, in JSON %v", i+1, name, text, want)
			}
			delete(fields, name)
		}
		if len(fields) > 0 {
			t.Errorf("row %d has no column for %v", i+1, fields)
		}
	}
}

func sameValue(text string, want any) bool {
	if s, ok := want.(string); ok {
		return text == s
	}
	var got float64
	_, err := fmt.Sscan(text, &got)
	return err == nil && math.Abs(got-want.(float64)) <= 1e-5*max(1, math.Abs(got))
}

func TestTracks(t *testing.T) {
	store := openStore(t)
	addRecording(t, store, "2031-05-01", "main", 0, []string{"Kick", ""}, [][]byte{steady(-20, 5), steady(math.Inf(-1), 4)})
	levels, err := compare.Tracks(context.Background(), store, "2031-05-01")
	if err != nil {
		t.Fatal(err)
	}
	if len(levels) != 2 || levels[0].Channel != "Kick" || levels[1].Channel != "Track 2" || levels[1].DurationS != 4 || !levels[1].RMS.IsSilence() || math.Abs(float64(levels[0].RMS)+20) > 0.1 {
		t.Errorf("levels are %+v", levels)
	}
	data, err := json.Marshal(levels[1])
	if err != nil || !strings.Contains(string(data), `"rms_dbfs":null`) {
		t.Errorf("JSON is %s %v", data, err)
	}
}

func TestNotThere(t *testing.T) {
	ctx := context.Background()
	store, _ := tourOf(t, -30)
	var notFound *catalog.NotFoundError
	if _, err := compare.Song(ctx, store, "Nobody's", compare.Options{}); !errors.As(err, &notFound) || notFound.Kind != "song" {
		t.Errorf("error is %v", err)
	}
	if _, err := compare.Song(ctx, store, "A", compare.Options{Channel: "Tuba"}); !errors.As(err, &notFound) || notFound.Kind != "channel" {
		t.Errorf("error is %v", err)
	}
	if _, err := compare.Levels(ctx, store, compare.Filter{Song: "Nobody's"}); !errors.As(err, &notFound) {
		t.Errorf("error is %v", err)
	}
	if levels, err := compare.Levels(ctx, store, compare.Filter{Show: "2031-01-01"}); err != nil || levels == nil || len(levels) > 0 {
		t.Errorf("levels are %v, error %v", levels, err)
	}
	if levels, err := compare.Tracks(ctx, store, "2031-01-01"); err != nil || levels == nil || len(levels) > 0 {
		t.Errorf("levels are %v, error %v", levels, err)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := compare.Song(cancelled, store, "A", compare.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("error is %v", err)
	}
}

// TestNotMeasured: a recording whose scan was interrupted is not measured,
// rather than silent.
func TestNotMeasured(t *testing.T) {
	ctx := context.Background()
	store, takes := tourOf(t, -30, -30)
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{Show: takes[1].Show})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.DropParts(ctx, catalog.PartFilter{Recording: recs[0].ID}, nil, 0); err != nil {
		t.Fatal(err)
	}
	c := song(t, store, compare.Options{})
	if v := channel(t, c, "Bass").Values; len(v) != 1 || v[0].Take != takes[0].ID {
		t.Errorf("values are %+v", v)
	}
	levels, err := compare.Levels(ctx, store, compare.Filter{Show: takes[1].Show})
	if err != nil || len(levels) != 2 || !levels[0].RMS.IsZero() {
		t.Errorf("levels are %+v %v", levels, err)
	}
}
