package scan

import (
	"fmt"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// monoStrips returns strips of one track each, of a file of so many frames.
func monoStrips(first, count int, start, frames int64) []*strip {
	var all []*strip
	for i := range count {
		id := first + i
		all = append(all, &strip{
			files:    []catalog.File{{ID: catalog.FileID(id), FirstTrack: id, Channels: 1, StartFrame: start, Frames: frames}},
			tracks:   []catalog.TrackID{catalog.TrackID(id)},
			channels: 1,
			frames:   start + frames,
		})
	}
	return all
}

// Mono files are read in step, as many as the meter takes, part after part;
// those that lie otherwise around a part, are not among them.
func TestUnits(t *testing.T) {
	const rate = 8000
	length := partFrames(rate)
	j := &job{config: meter.Config{SampleRate: rate}}
	j.strips = monoStrips(1, 20, 0, 2*length+5000)
	j.strips = append(j.strips, monoStrips(21, 1, 0, 2*length+5001)...) // one frame longer: the last part differs
	j.strips = append(j.strips, monoStrips(22, 1, 7, 2*length+4000)...) // starts later
	poly := monoStrips(23, 1, 0, 2*length+5000)[0]
	poly.channels, poly.files[0].Channels = 4, 4
	j.strips = append(j.strips, poly)
	for _, s := range j.strips {
		s.parts = []int{0, 1, 2}
	}
	j.strips[3].parts = []int{1, 2} // measured before

	var got []string
	for _, u := range j.units() {
		ids := ""
		for _, s := range u.strips {
			ids += fmt.Sprint(" ", s.tracks[0])
		}
		got = append(got, fmt.Sprint(u.part, ":", ids))
	}
	want := []string{
		"0: 1 2 3 5 6 7 8 9 10 11 12 13 14 15 16 17", "0: 18 19 20 21", "0: 22", "0: 23",
		"1: 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16", "1: 17 18 19 20 21 22", "1: 23",
		"2: 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16", "2: 17 18 19 20", "2: 21", "2: 22", "2: 23",
	}
	if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", want) {
		t.Errorf("units\n%q\nwant\n%q", got, want)
	}
}

// A disk that is said to have heads is read in long stretches only while it is
// as slow as one.
func TestPace(t *testing.T) {
	p := &pace{rotational: true}
	if p.long() {
		t.Error("long stretches before anything was read")
	}
	note := func(bytes int, rate float64) { p.note(bytes, time.Duration(float64(bytes)/rate*1e9)) }
	note(paceOver/2, 150e6)
	if p.long() {
		t.Error("judged too early")
	}
	note(paceOver/2, 150e6)
	if !p.long() {
		t.Error("150 MB/s is not taken for a disk with heads")
	}
	note(paceOver, 3e9)
	if p.long() {
		t.Error("3 GB/s is taken for a disk with heads")
	}
	p = &pace{}
	note(paceOver, 150e6)
	if p.long() {
		t.Error("a slow disk without heads is read in long stretches")
	}
}
