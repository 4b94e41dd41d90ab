package lists

import (
	"path/filepath"
	"strings"
	"testing"

	"nightreel/catalog"
)

// Names that contradict the list are reported once per recording; a few names
// that are in no list are not.
func TestNames(t *testing.T) {
	told := func(number int, name string) catalog.Track {
		return catalog.Track{Number: number, Name: name, Frames: 480}
	}
	assumed := func(number int, name string) catalog.Track {
		return catalog.Track{Number: number, Name: name, Assumed: true, Frames: 480}
	}
	for about, c := range map[string]struct {
		tracks []catalog.Track
		want   []string // what each sentence contains
	}{
		"as in the list":                             {[]catalog.Track{told(1, "Kick"), told(2, "SNARE"), told(3, "")}, nil},
		"another name, of no channel":                {[]catalog.Track{told(1, "BD"), told(2, "Snare")}, nil},
		"exchanged":                                  {[]catalog.Track{told(1, "Snare"), told(2, "Kick")}, []string{"track 1, recorded as Snare, is Kick in the list, where Snare is track 2; track 2, recorded as Kick,"}},
		"beyond the list":                            {[]catalog.Track{told(9, "Bass")}, []string{"track 9, recorded as Bass, is not in the list, where Bass is track 3"}},
		"no numbers, all names are channels":         {[]catalog.Track{assumed(1, "Bass"), assumed(2, "Kick")}, nil},
		"no numbers, one name in four is no channel": {[]catalog.Track{assumed(1, "Bass"), assumed(2, "Kick"), assumed(3, "Snare"), assumed(4, "Talkback")}, nil},
		"no numbers, too many names are no channels": {[]catalog.Track{assumed(1, "Alto"), assumed(2, "Kick")}, []string{"1 of 2 unnumbered tracks match no channel of the input list (Alto)"}},
	} {
		t.Run(about, func(t *testing.T) {
			ctx := t.Context()
			store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "c.nightreel"))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { store.Close() })
			show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-02"})
			if err == nil {
				_, err = store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: "main", SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 480}, nil, c.tracks, nil)
			}
			if err != nil {
				t.Fatal(err)
			}
			if said, err := Names(ctx, store, "2031-05-02"); err != nil || len(said) > 0 {
				t.Errorf("without a list: %q, %v", said, err)
			}
			if err := store.SaveInputList(ctx, catalog.InputList{From: "2031-05-01", Inputs: []catalog.Input{{Track: 1, Channel: "Kick"}, {Track: 2, Channel: "Snare"}, {Track: 3, Channel: "Bass"}}}); err != nil {
				t.Fatal(err)
			}
			said, err := Names(ctx, store, "2031-05-02")
			if err != nil {
				t.Fatal(err)
			}
			if len(said) != len(c.want) {
				t.Fatalf("%q, want %q", said, c.want)
			}
			for i, want := range c.want {
				if !strings.Contains(said[i], want) {
					t.Errorf("%q, want %q", said[i], want)
				}
			}
		})
	}
}
