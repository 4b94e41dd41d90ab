package catalog

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestSaveRecordingAgainKeepsIDs(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	sh := must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	vol := must(s.AddVolume(ctx, Volume{Name: "a", Root: "/a"}))(t)
	at := time.Date(2031, 5, 2, 21, 0, 0, 123456789, time.FixedZone("", 7200))
	r := Recording{ShowID: sh.ID, Rig: MainRig, SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 480, StartsAt: &at}
	files := []File{
		{VolumeID: vol.ID, Path: "n/a_1.wav", Size: 10, ModTime: at, FirstTrack: 1, Channels: 2, Frames: 240, DataOffset: 44},
		{VolumeID: vol.ID, Path: "n/a_2.wav", Size: 10, ModTime: at, FirstTrack: 1, Channels: 2, Segment: 1, StartFrame: 240, Frames: 240, DataOffset: 44, Unfinished: true, Repairs: []Repair{{Offset: 4, Problem: "size is 0"}}},
	}
	tracks := []Track{{Number: 1, Name: "Kick", Frames: 480}, {Number: 2, Frames: 480}}
	markers := []Marker{{Frame: 9, Length: 2, Label: "b"}, {Frame: 3, Label: "a"}}
	save := func() Recording { t.Helper(); return must(s.SaveRecording(ctx, r, files, tracks, markers))(t) }
	read := func() (Recording, []File, []Track, []Part) {
		t.Helper()
		return must(s.Recordings(ctx, RecordingFilter{ID: r.ID}))(t)[0], must(s.Files(ctx, FileFilter{Recording: r.ID}))(t),
			must(s.Tracks(ctx, TrackFilter{Recording: r.ID}))(t), must(s.Parts(ctx, PartFilter{Recording: r.ID}))(t)
	}

	r = save()
	if r.Tracks != 2 || r.Files != 2 || r.Show != "2031-05-02" || !r.StartsAt.Equal(at) {
		t.Fatalf("stored %+v", r)
	}
	_, f, tr, _ := read()
	if f[1].FullPath() != "/a/n/a_2.wav" || !f[0].ModTime.Equal(at) || !reflect.DeepEqual(f[1].Repairs, files[1].Repairs) {
		t.Errorf("files %+v", f)
	}
	ok(t, s.PutParts(ctx, []Part{{Track: tr[0].ID, Part: 0, Data: []byte("a0")}, {Track: tr[0].ID, Part: 1, Data: []byte("a1")}, {Track: tr[1].ID, Part: 0, Data: []byte("b0")}},
		[]Piece{{f[0].ID, 0, 44, math.MaxUint64}, {f[1].ID, 0, 44, 2}}))
	wantR, wantF, wantT, wantP := read()

	for range 2 {
		save()
		gotR, gotF, gotT, gotP := read()
		if !reflect.DeepEqual(gotR, wantR) || !reflect.DeepEqual(gotF, wantF) || !reflect.DeepEqual(gotT, wantT) || !reflect.DeepEqual(gotP, wantP) {
			t.Fatalf("saved again, it differs: %+v %+v %+v %+v", gotR, gotF, gotT, gotP)
		}
	}
	if m := must(s.Markers(ctx, r.ID))(t); len(m) != 2 || m[0].Label != "a" || m[1].Length != 2 {
		t.Errorf("markers %+v", m)
	}
	if p := must(s.Pieces(ctx, f[0].ID))(t); len(p) != 1 || p[0].Sum != math.MaxUint64 {
		t.Errorf("pieces %+v", p)
	}

	// A deleted track and a deleted file take their rows with them.
	files, tracks = files[1:], tracks[1:]
	save()
	_, f2, t2, p2 := read()
	if len(f2) != 1 || f2[0].ID != wantF[1].ID || len(t2) != 1 || t2[0].ID != wantT[1].ID {
		t.Errorf("left: %+v, %+v", f2, t2)
	}
	if len(p2) != 1 || p2[0].Track != wantT[1].ID {
		t.Errorf("parts left: %+v", p2)
	}
	if p := must(s.Pieces(ctx, wantF[0].ID))(t); len(p) != 0 {
		t.Errorf("pieces of a file that is gone: %+v", p)
	}
	ok(t, s.Check(ctx))
}

func TestSaveRecordingIsWholeOrNot(t *testing.T) {
	s := testStore(t)
	r := addRecording(t, s, "2031-05-02", MainRig, 2)
	r.Frames = 7
	// If a file's volume is missing, the write fails after the rest was written.
	if _, err := s.SaveRecording(t.Context(), r, []File{{VolumeID: 99, Path: "x"}}, nil, nil); err == nil {
		t.Fatal("a file without volume was stored")
	}
	got := must(s.Recordings(t.Context(), RecordingFilter{}))(t)
	if len(got) != 1 || got[0].Frames == 7 || got[0].Tracks != 2 {
		t.Errorf("half stored: %+v", got)
	}
	r.ID = 99
	_, err := s.SaveRecording(t.Context(), r, nil, nil, nil)
	wantNotFound(t, err, "recording")
}

// setOffset sets by how many seconds a recording starts after its show's
// reference.
func setOffset(t *testing.T, s *Store, r Recording, offsetS float64) {
	t.Helper()
	r.OffsetS = offsetS
	if changed := must(s.SetReference(t.Context(), r.ShowID, []Recording{r}))(t); !changed {
		t.Fatalf("the offset of recording %d did not change", r.ID)
	}
}

func TestReferenceComesFirst(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	const d = "2031-05-02"
	a := addRecording(t, s, d, "alpha", 1)
	b := addRecording(t, s, d, "beta", 1)
	setOffset(t, s, b, -4) // beta started earlier; takes still count on alpha
	order := func() (rigs []string) {
		for _, r := range must(s.Recordings(ctx, RecordingFilter{Show: d}))(t) {
			rigs = append(rigs, fmt.Sprint(r.Rig, r.OffsetS))
		}
		return rigs
	}
	if got := order(); !reflect.DeepEqual(got, []string{"alpha0", "beta-4"}) {
		t.Errorf("got %v", got)
	}
	m2 := addRecording(t, s, d, MainRig, 1)
	setOffset(t, s, m2, 3600)
	addRecording(t, s, d, MainRig, 1)
	if got := order(); !reflect.DeepEqual(got, []string{"main0", "main3600", "alpha0", "beta-4"}) {
		t.Errorf("got %v", got)
	}
	ok(t, s.DeleteRecording(ctx, a.ID))
	var rigs []string
	for _, tr := range must(s.Tracks(ctx, TrackFilter{}))(t) {
		rigs = append(rigs, tr.Rig)
	}
	if !reflect.DeepEqual(rigs, []string{MainRig, MainRig, "beta"}) {
		t.Errorf("tracks in order of %v", rigs)
	}
}

func TestMap(t *testing.T) {
	ref := Recording{ID: 1, SampleRate: 48000}
	late := Recording{ID: 2, SampleRate: 96000, OffsetS: 2.5}
	for _, c := range []struct {
		name     string
		from, to Recording
		frame    int64
		want     int64
	}{
		{"itself", ref, ref, 123, 123},
		{"to one that started later", ref, late, 48000 * 10, 96000 * 15 / 2},
		{"before it started", ref, late, 0, -240000},
		{"and back", late, ref, 96000 * 15 / 2, 48000 * 10},
	} {
		if got := c.from.Map(c.frame, c.to); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

func TestParts(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 2)
	other := addRecording(t, s, "2031-05-03", MainRig, 1)
	tr := must(s.Tracks(ctx, TrackFilter{}))(t)
	vol := must(s.AddVolume(ctx, Volume{Name: "a", Root: "/a"}))(t)
	r = must(s.SaveRecording(ctx, r, []File{{VolumeID: vol.ID, Path: "a.wav"}}, tr[:2], nil))(t)
	file := must(s.Files(ctx, FileFilter{}))(t)[0].ID
	var parts []Part
	for i, track := range tr {
		for m := range 4 {
			parts = append(parts, Part{Track: track.ID, Part: m, Data: []byte{byte(i), byte(m)}})
		}
	}
	ok(t, s.PutParts(ctx, parts, []Piece{{file, 0, 44, 1}, {file, 44, 100, 2}, {file, 144, 100, 3}}))
	ok(t, s.PutParts(ctx, parts[:1], nil)) // again

	if got := must(s.Parts(ctx, PartFilter{Recording: r.ID, From: 1, To: 3}))(t); len(got) != 4 || !reflect.DeepEqual(got[0], parts[1]) || !reflect.DeepEqual(got[3], parts[6]) {
		t.Errorf("minutes 1 and 2: %+v", got)
	}
	if got := must(s.PartKeys(ctx, PartFilter{Track: tr[2].ID}))(t); len(got) != 4 || got[3].Part != 3 || got[3].Data != nil {
		t.Errorf("keys of one track: %+v", got)
	}
	if _, err := s.Parts(ctx, PartFilter{From: 1}); err == nil {
		t.Error("parts of nothing")
	}
	if err := s.DropParts(ctx, PartFilter{}, nil, 0); err == nil {
		t.Error("nothing named, and all would be dropped")
	}
	ok(t, s.DropParts(ctx, PartFilter{Recording: r.ID, From: 2}, []FileID{file}, 100))
	if got := must(s.PartKeys(ctx, PartFilter{Recording: r.ID}))(t); len(got) != 4 {
		t.Errorf("left: %+v", got)
	}
	if got := must(s.PartKeys(ctx, PartFilter{Recording: other.ID}))(t); len(got) != 4 {
		t.Errorf("another recording lost parts: %+v", got)
	}
	if got := must(s.Pieces(ctx, file))(t); len(got) != 1 || got[0].Length != 44 {
		t.Errorf("pieces left: %+v", got)
	}
}

func TestVolumes(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	a := must(s.AddVolume(ctx, Volume{Name: "drive", Root: "/mnt/a"}))(t)
	b := must(s.AddVolume(ctx, Volume{Name: "drive", Root: "/mnt/b"}))(t)
	if a.Name != "drive" || b.Name != "drive 2" {
		t.Errorf("names %q and %q", a.Name, b.Name)
	}
	if _, err := s.AddVolume(ctx, Volume{Name: "third", Root: "/mnt/a"}); err == nil {
		t.Error("two volumes at one root")
	}
	if err := s.MoveVolume(ctx, b.ID, "/mnt/a"); err == nil {
		t.Error("moved onto another volume's root")
	}
	wantNotFound(t, s.MoveVolume(ctx, 99, "/mnt/c"), "volume")
	ok(t, s.MoveVolume(ctx, b.ID, "/mnt/b")) // its present root
	ok(t, s.MoveVolume(ctx, b.ID, "/media/b"))
	if got := must(s.Volumes(ctx))(t); !reflect.DeepEqual(got, []Volume{a, {b.ID, "drive 2", "/media/b"}}) {
		t.Errorf("got %+v", got)
	}
}

func TestEnsureShowNeverReplaces(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	for _, c := range []struct{ give, want Show }{
		{Show{Date: "2031-05-02"}, Show{}},
		{Show{Date: "2031-05-02", Venue: "Some Hall"}, Show{Venue: "Some Hall"}},
		{Show{Date: "2031-05-02", Venue: "Other Hall"}, Show{Venue: "Some Hall"}},
	} {
		got := must(s.EnsureShow(ctx, c.give))(t)
		if got.ID != 1 || got.Venue != c.want.Venue || got.Key != "2031-05-02" {
			t.Errorf("got %+v, want %+v", got, c.want)
		}
	}
	late := must(s.EnsureShow(ctx, Show{Date: "2031-05-02", Venue: "Other Hall", Name: "late"}))(t)
	if late.ID == 1 || late.Key != "2031-05-02 late" {
		t.Errorf("another name is another show: got %+v", late)
	}
	var several *AmbiguousShowError
	if _, err := s.Show(ctx, "2031-05-02"); !errors.As(err, &several) || len(several.Shows) != 2 || !strings.Contains(several.Hint(), "2031-05-02 late") {
		t.Errorf("a date with two shows: %v", err)
	}
	if got := must(s.Show(ctx, "2031-05-02 LATE"))(t); got.ID != late.ID {
		t.Errorf("got %+v", got)
	}
	for _, date := range []Date{"", "2031-5-2", "20310502", "2031-02-30", "2031-05-02x"} {
		if _, err := s.EnsureShow(ctx, Show{Date: date}); err == nil {
			t.Errorf("%q is taken for a date", date)
		}
	}
	_, err := s.Show(ctx, "2031-01-01")
	wantNotFound(t, err, "show")
}

func TestFeatures(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 2)
	tr := must(s.Tracks(ctx, TrackFilter{}))(t)
	part := func(track, minute int, harmony, tone string) Part {
		p := Part{Track: tr[track].ID, Part: minute, Data: []byte{1}}
		if harmony != "" {
			p.Features = append(p.Features, Feature{Harmony, []byte(harmony)})
		}
		if tone != "" {
			p.Features = append(p.Features, Feature{Tone, []byte(tone)})
		}
		return p
	}
	ok(t, s.PutParts(ctx, []Part{part(0, 0, "h00", "t00"), part(0, 1, "h01", ""), part(1, 0, "", "t10"), part(1, 1, "h11", "t11")}, nil))
	texts := func(f PartFilter, kind FeatureKind) (all []string) {
		for _, p := range must(s.Features(ctx, f, kind))(t) {
			all = append(all, string(p.Data))
		}
		return all
	}
	if got := texts(PartFilter{Recording: r.ID}, Harmony); !reflect.DeepEqual(got, []string{"h00", "h01", "h11"}) {
		t.Errorf("harmony: %q", got)
	}
	if got := texts(PartFilter{Track: tr[1].ID, From: 1}, Tone); !reflect.DeepEqual(got, []string{"t11"}) {
		t.Errorf("tone of a span: %q", got)
	}
	// A part that is measured again has only its new features.
	ok(t, s.PutParts(ctx, []Part{part(0, 0, "new", "")}, nil))
	if got := texts(PartFilter{Track: tr[0].ID}, Harmony); !reflect.DeepEqual(got, []string{"new", "h01"}) {
		t.Errorf("harmony, measured again: %q", got)
	}
	if got := texts(PartFilter{Track: tr[0].ID}, Tone); got != nil {
		t.Errorf("the tone of the earlier measurement is left: %q", got)
	}
	ok(t, s.DropParts(ctx, PartFilter{Recording: r.ID, From: 1}, nil, 0))
	if got := texts(PartFilter{Recording: r.ID}, Harmony); !reflect.DeepEqual(got, []string{"new"}) {
		t.Errorf("harmony of dropped parts: %q", got)
	}
	if _, err := s.Features(ctx, PartFilter{}, Harmony); err == nil {
		t.Error("features of everything")
	}
}
