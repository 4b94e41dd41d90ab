package refresh_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// The invented tour of these tests is small enough to be scanned some hundred
// times: four shows at 8 kHz with songs that harmony tells apart, recorded by a
// main rig and, shorter and later, by a backup. On the first night two songs
// follow each other without a pause, and a recorder in the lobby at another rate
// lies beside the rigs. The last date has a matinee, too.

const (
	tourRate  = 8000  // Hz
	lobbyRate = 11025 // Hz
)

// tourNight describes a night.
type tourNight struct {
	folder string
	show   string
	songs  []int // in order, by number
	segue  int   // this song, counted from 1, follows the one before without a pause; 0 for none
	rigs   []string
}

var tourNights = []tourNight{
	{"2031-06-01 Harbour Hall", "2031-06-01", []int{0, 1, 2}, 2, []string{"main", "backup", "lobby"}},
	{"2031-06-03 Mill Yard", "2031-06-03", []int{2, 0, 1}, 0, []string{"main", "backup"}},
	{"2031-06-04 Old Kiln evening", "2031-06-04 evening", []int{1, 2, 0}, 0, []string{"main", "backup"}},
	{"2031-06-04 Old Kiln matinee", "2031-06-04 matinee", []int{0, 2}, 0, []string{"main"}},
}

const (
	introS   = 6.0 // seconds before the first song
	pauseS   = 7.0 // between songs
	backupS  = 3.5 // seconds by which the backup starts later
	tourFade = 0.05
)

// lengthS returns the length of a song on a night, in seconds.
func lengthS(song, night int) float64 { return 25 + 3*float64(song) + 1.5*float64(night) }

// spanOf returns start and end of the nth song of a night on the main rig, in
// seconds.
func spanOf(night, nth int) (start, end float64) {
	at := introS
	for i, song := range tourNights[night].songs {
		l := lengthS(song, night)
		if s := tourNights[night].segue; s > 0 && i == s {
			at -= pauseS
		}
		if i == nth {
			return at, at + l
		}
		at += l + pauseS
	}
	return at, at
}

// chordOf returns the pitches in hertz of a song at a time, in seconds from its
// start.
func chordOf(song int, at float64) (bass float64, chord [3]float64) {
	rng := rand.New(rand.NewPCG(uint64(song+1), uint64(at/2)))
	root := rng.IntN(12)
	third := 3 + rng.IntN(2)
	hz := func(semitone int) float64 { return 110 * math.Pow(2, float64(semitone)/12) }
	return hz(root) / 2, [3]float64{hz(root + 12), hz(root + 12 + third), hz(root + 19)}
}

var (
	mainChannels   = []string{"Kick", "Bass", "Guitar", "Keys", "Vocal", "Audience"}
	backupChannels = 4 // the first channels, which the backup records
)

// makeTour writes the recordings of the tour below dir.
func makeTour(t *testing.T, dir string) {
	t.Helper()
	for night, n := range tourNights {
		_, end := spanOf(night, len(n.songs)-1)
		frames := int((end + 5) * tourRate)
		dry := make([][]float64, len(mainChannels))
		for c := range dry {
			dry[c] = playChannel(night, c, frames)
		}
		// Every microphone picks up the others softly.
		wet := make([][]float64, len(dry))
		for c := range dry {
			wet[c] = make([]float64, frames)
			for i := range wet[c] {
				v := dry[c][i]
				for o := range dry {
					if o != c && c != 1 && c != 3 { // except bass and keys, which are on cables
						v += 0.03 * dry[o][i]
					}
				}
				wet[c][i] = v
			}
		}
		if night == 1 {
			for i := range wet[3] {
				wet[3][i] += 0.05 // a DC offset on the keys
			}
		}
		for _, rig := range n.rigs {
			folder := filepath.Join(dir, n.folder, rig)
			switch from, to := int(backupS*tourRate), frames-2*tourRate; rig {
			case "main":
				for c, name := range mainChannels {
					writeTrack(t, filepath.Join(folder, fmt.Sprintf("%02d %s.wav", c+1, name)), tourRate, wet[c])
				}
			case "backup":
				for c, name := range mainChannels[:backupChannels] {
					writeTrack(t, filepath.Join(folder, fmt.Sprintf("%02d %s.wav", c+1, name)), tourRate, wet[c][from:to])
				}
			case "lobby":
				writeTrack(t, filepath.Join(folder, "Lobby.wav"), lobbyRate, resampled(wet[5], 20*lobbyRate))
			}
		}
	}
}

// playChannel returns the samples of a channel's own source through a night.
func playChannel(night, channel, frames int) []float64 {
	out := make([]float64, frames)
	noise := rand.New(rand.NewPCG(uint64(night+1), uint64(channel+100)))
	for i := range out {
		out[i] = 0.0005 * (2*noise.Float64() - 1)
		if channel == 5 {
			out[i] *= 20 // applause and talk
		}
	}
	for nth, song := range tourNights[night].songs {
		start, end := spanOf(night, nth)
		var bass float64
		var chord [3]float64
		held := -1
		for i := int(start * tourRate); i < int(end*tourRate) && i < frames; i++ {
			at := float64(i)/tourRate - start
			left := end - float64(i)/tourRate
			gain := min(1, at/tourFade, left/tourFade)
			if now := int(at / 2); now != held {
				held = now
				bass, chord = chordOf(song, at)
			}
			beat := math.Mod(at, 0.5)
			tone := func(hz float64) float64 { return math.Sin(2 * math.Pi * hz * float64(i) / tourRate) }
			v := 0.0
			switch channel {
			case 0:
				v = 0.5 * math.Exp(-30*beat) * (2*noise.Float64() - 1)
			case 1:
				v = 0.3 * tone(bass) * math.Exp(-3*beat)
			case 2:
				v = 0.12 * (tone(chord[0]) + tone(chord[1]) + tone(chord[2])) * math.Exp(-2*beat)
			case 3:
				v = 0.1 * (tone(2*chord[0]) + tone(2*chord[1]) + tone(chord[2]))
			case 4:
				v = 0.2 * tone(2*chord[(int(at)/2)%3]) * math.Abs(math.Sin(math.Pi*at/2))
			}
			out[i] += gain * v
		}
	}
	return out
}

// resampled returns the beginning of samples, the given number of frames at the
// lobby recorder's rate.
func resampled(samples []float64, frames int) []float64 {
	out := make([]float64, frames)
	for i := range out {
		out[i] = 0.5 * samples[i*tourRate/lobbyRate]
	}
	return out
}

func writeTrack(t *testing.T, path string, rate int, samples []float64) {
	t.Helper()
	wavtest.WriteSamples(t, path, wavfile.Format{SampleRate: rate, BitDepth: 16, ContainerBytes: 2, Channels: 1}, samples)
}
