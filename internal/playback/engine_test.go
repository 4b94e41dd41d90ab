package playback

import "testing"

// fade is the default fade in frames at 48 kHz.
const fade = 480

var twoSongs = []tapeItem{
	{start: 100_000, end: 300_000, segments: []int64{0, 150_001, 250_000, 900_000}},
	{start: 500_000, end: 650_000, segments: []int64{0, 520_000, 900_000}, poly: true},
}

// From the first item over two ends of files into the second, and to the end:
// every sample outside the fades is the recording's.
func TestPlaysWhatWasRecorded(t *testing.T) {
	r := newRig(t, tapeProgram(3, twoSongs...), openTape)
	r.quiet("before play", r.pull(1000), 0, 1000)
	r.do(Command{Do: Play})
	out := r.pull(350_000)
	r.exact("first item", out, fade, 200_000, 100_000+fade)
	r.exact("second item", out, 200_000+fade, 350_000, 500_000+fade)
	out = r.pull(4096)
	r.quiet("after the end", out, fade, 4096)
	s := r.Status()
	if s.State != Stopped || s.Item != 1 || s.AtS != 0 || s.Underruns != 0 {
		t.Errorf("after the end: %+v", s)
	}
}
