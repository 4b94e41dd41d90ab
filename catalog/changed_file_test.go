package catalog

import (
	"errors"
	"testing"
)

// A person's word that a changed file is right is a fact about its bytes: it
// survives the projections, and ends when the file changes again.
func TestAcceptedChangeHoldsForTheBytes(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	track := must(s.Tracks(ctx, TrackFilter{Recording: r.ID}))(t)[0].ID
	v := must(s.AddVolume(ctx, Volume{Name: "drive", Root: "/drive"}))(t)
	r = must(s.SaveRecording(ctx, r, []File{{VolumeID: v.ID, Path: "01.wav", Size: 10, FirstTrack: 1, Channels: 1, Frames: r.Frames}}, []Track{{Number: 1, Frames: r.Frames}}, nil))(t)
	file := must(s.Files(ctx, FileFilter{Recording: r.ID}))(t)[0].ID
	measure := func(sum uint64) {
		t.Helper()
		ok(t, s.PutParts(ctx, []Part{{Track: track, Data: []byte("x")}}, []Piece{{File: file, Length: 10, Sum: sum}}))
	}
	change := func() {
		t.Helper()
		ok(t, s.ForgetChanged(ctx, Change{File: file, Tracks: []TrackID{track}, ToPart: 1}))
	}
	first := func() (sum uint64, open bool) {
		t.Helper()
		c, open := must(s.ChangedFiles(ctx, ""))(t)[file]
		if open && len(c.First) == 1 {
			sum = c.First[0].Sum
		}
		return sum, open
	}
	var none *NotFoundError
	measure(1)
	if err := s.AcceptChange(ctx, file, ""); !errors.As(err, &none) {
		t.Errorf("a file that did not change was accepted: %v", err)
	}
	change()
	if err := s.AcceptChange(ctx, file, ""); err == nil {
		t.Error("a file was accepted before it was measured again")
	}
	measure(2)
	if sum, open := first(); !open || sum != 1 {
		t.Errorf("open %v, first %d", open, sum)
	}
	ok(t, s.AcceptChange(ctx, file, "the label was mended"))
	if err := s.AcceptChange(ctx, file, ""); !errors.As(err, &none) {
		t.Errorf("accepted twice: %v", err)
	}
	ok(t, s.Reproject(ctx))
	if _, open := first(); open {
		t.Error("an accepted change is reported")
	}
	change()
	measure(3)
	if sum, open := first(); !open || sum != 2 {
		t.Errorf("after another change: open %v, first %d; want the bytes that were accepted", open, sum)
	}
}
