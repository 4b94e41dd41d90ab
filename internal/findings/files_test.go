package findings

import (
	"fmt"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

func TestTracksAndFiles(t *testing.T) {
	const second = testRate
	for _, row := range []struct {
		what   string
		change func(n *evidence.Recording)
		want   []string // kind, track, severity
	}{
		{"whole", func(n *evidence.Recording) {}, nil},
		{"a line without a track that other nights have", func(n *evidence.Recording) { drop(n, 10) }, []string{"missing_track 10 fault"}},
		{"a rig of which no track is in the list", func(n *evidence.Recording) {
			drop(n, 10)
			for i := range n.Tracks {
				n.Tracks[i].Input = catalog.Input{}
			}
		}, nil},
		{"a line that three other nights lack, too", func(n *evidence.Recording) {
			n.Inputs = append(n.Inputs, catalog.Input{Track: 30, Channel: "Talkback"})
		}, []string{"missing_track 30 note"}},
		{"a line that the only other night lacks, too", func(n *evidence.Recording) {
			n.Inputs = append(n.Inputs, catalog.Input{Track: 30, Channel: "Talkback"})
			n.Others = 1
		}, []string{"missing_track 30 warning"}},
		{"a line without a track on a first night", func(n *evidence.Recording) {
			drop(n, 10)
			n.Usual, n.Others = nil, 0
		}, []string{"missing_track 10 warning"}},
		{"a rig that records half of the list on a first night", func(n *evidence.Recording) {
			for k := 8; k <= 17; k++ {
				drop(n, k)
			}
			n.Usual, n.Others = nil, 0
		}, []string{"missing_track 0 warning"}},
		{"a line that another recording of the rig holds", func(n *evidence.Recording) {
			drop(n, 10)
			n.Elsewhere[10] = true
		}, nil},
		{"a rig that records half of the list", func(n *evidence.Recording) {
			for k := 8; k <= 17; k++ {
				drop(n, k)
			}
		}, []string{"missing_track 0 fault"}},
		{"told of another recording already", func(n *evidence.Recording) {
			drop(n, 10)
			n.Elsewhere = nil
		}, nil},
		{"a track that ends early", func(n *evidence.Recording) { track(n, 4).Frames -= 10 * second }, []string{"short_track 4 fault"}},
		{"2 s early", func(n *evidence.Recording) { track(n, 4).Frames -= 2 * second }, nil},
		{"one track that was left running", func(n *evidence.Recording) {
			track(n, 4).Frames += 600 * second
			n.Frames += 600 * second
		}, nil},
		{"a file never closed", func(n *evidence.Recording) {
			n.Files[4].Unfinished = true
			n.Files[4].Repairs = []catalog.Repair{{Offset: 40, Problem: "data size is 0"}}
		}, []string{"unfinished_file 5 warning"}},
		{"all files never closed", func(n *evidence.Recording) {
			for i := range n.Files {
				n.Files[i].Unfinished = true
			}
		}, []string{"unfinished_file 0 warning"}},
		{"a repair that harms nothing", func(n *evidence.Recording) {
			n.Files[4].Repairs = []catalog.Repair{{Offset: 900, Problem: "pad byte missing"}}
		}, nil},
		{"a segment missing", func(n *evidence.Recording) {
			f := n.Files[4]
			n.Files[4].Frames = 20 * second
			f.StartFrame = 40 * second
			f.Frames -= f.StartFrame
			n.Files = append(n.Files, f)
		}, []string{"short_track 5 fault"}},
		{"a segment missing of one file with all tracks", func(n *evidence.Recording) {
			whole := catalog.File{Path: "show_0001.wav", FirstTrack: 1, Channels: 18, Frames: 20 * second}
			n.Files = []catalog.File{whole, {Path: "show_0003.wav", FirstTrack: 1, Channels: 18, StartFrame: 40 * second, Frames: n.Frames - 40*second}}
		}, []string{"short_track 0 fault"}},
		{"segments a second apart by their time stamps", func(n *evidence.Recording) {
			f := n.Files[4]
			n.Files[4].Frames = 20 * second
			f.StartFrame = 21 * second
			f.Frames -= f.StartFrame
			n.Files = append(n.Files, f)
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(9, 0)
			n := night(sc.st, sc.voices, sc.tapes)
			row.change(n)
			var got []string
			for _, f := range judged(t, n) {
				got = append(got, fmt.Sprint(f.Kind, " ", f.Track, " ", f.Severity))
			}
			if strings.Join(got, ", ") != strings.Join(row.want, ", ") {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func track(n *evidence.Recording, number int) *evidence.Track {
	for i := range n.Tracks {
		if n.Tracks[i].Number == number {
			return &n.Tracks[i]
		}
	}
	panic(number)
}

func drop(n *evidence.Recording, number int) {
	var tracks []evidence.Track
	var files []catalog.File
	for _, t := range n.Tracks {
		if t.Number != number {
			tracks = append(tracks, t)
		}
	}
	for _, f := range n.Files {
		if f.FirstTrack != number {
			files = append(files, f)
		}
	}
	n.Tracks, n.Files = tracks, files
}
