package catalog

import "testing"

func TestReadState(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	v := must(s.AddVolume(ctx, Volume{Name: "drive", Root: "/drive"}))(t)
	show := must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	const rate = 48000
	// Two mono files of two minutes and a bit.
	const frames = 2*60*rate + 1
	r := must(s.SaveRecording(ctx, Recording{ShowID: show.ID, Rig: MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames},
		[]File{{VolumeID: v.ID, Path: "1.wav", Size: 1000, FirstTrack: 1, Channels: 1, Frames: frames}, {VolumeID: v.ID, Path: "2.wav", Size: 1000, FirstTrack: 2, Channels: 1, Frames: frames}},
		[]Track{{Number: 1, Frames: frames}, {Number: 2, Frames: frames}}, nil))(t)
	files := must(s.Files(ctx, FileFilter{}))(t)
	tracks := must(s.Tracks(ctx, TrackFilter{}))(t)
	want := func(when string, filesRead, tracksRead int, whole bool) {
		t.Helper()
		got := must(s.ReadStates(ctx, "2031-05-02"))(t)[r.ID]
		if got != (ReadState{2, filesRead, 2, tracksRead}) || got.Whole() != whole {
			t.Errorf("%s: %+v, whole %v; want %d files and %d tracks of 2, whole %v", when, got, got.Whole(), filesRead, tracksRead, whole)
		}
	}
	want("nothing read", 0, 0, false)
	put := func(track, minute int, pieces ...Piece) {
		t.Helper()
		ok(t, s.PutParts(ctx, []Part{{Track: tracks[track].ID, Part: minute, Data: []byte("x")}}, pieces))
	}
	put(0, 0, Piece{File: files[0].ID, Length: 400})
	put(0, 1, Piece{File: files[0].ID, Offset: 400, Length: 400})
	want("one minute is missing", 0, 0, false)
	put(0, 2, Piece{File: files[0].ID, Offset: 800, Length: 199})
	want("one byte is missing, all minutes are there", 0, 1, false)
	put(0, 2, Piece{File: files[0].ID, Offset: 800, Length: 200})
	want("one of two", 1, 1, false)
	for m := range 3 {
		put(1, m, Piece{File: files[1].ID, Offset: int64(400 * m), Length: 400 - 200*int64(m/2)})
	}
	want("all", 2, 2, true)
	ok(t, s.DropParts(ctx, PartFilter{Track: tracks[1].ID, From: 2}, nil, 0))
	want("the checksums are there, one minute is not", 2, 1, false)
	put(1, 2)
	want("measured again", 2, 2, true)
	ok(t, s.ForgetChanged(ctx, Change{File: files[0].ID, FromByte: 0, ToByte: 1}))
	want("the header changed", 1, 2, false)
	if got := must(s.ReadStates(ctx, ""))(t); len(got) != 1 {
		t.Errorf("of all shows: %v", got)
	}
	if got := must(s.ReadStates(ctx, "2031-05-03"))(t); len(got) != 0 {
		t.Errorf("of another show: %v", got)
	}
	if (ReadState{}).Whole() {
		t.Error("nothing at all is whole")
	}
}
