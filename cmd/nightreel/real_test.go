package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/wavfile"
)

// Sounds that nightreel did not make itself: instruments of a sampled General
// MIDI sound font (Debian timgm6mb-soundfont, played by fluidsynth), and a
// recorded voice (Debian alsa-utils). The songs are invented here.
const (
	soundFont = "/usr/share/sounds/sf2/TimGM6mb.sf2"
	voices    = "/usr/share/sounds/alsa"
	realRate  = 48000
)

// needTool skips a test on a laptop that lacks a tool, and fails it in CI.
func needTool(t *testing.T, what string, there bool) {
	t.Helper()
	if there {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing; .ci/test installs it", what)
	}
	t.Skipf("%s is missing; .ci/test installs it", what)
}

func haveTool(name string) bool { _, err := exec.LookPath(name); return err == nil }
func haveFile(name string) bool { _, err := os.Stat(name); return err == nil }

// tool runs a reference tool and returns all that it printed.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// line is one line of the invented band: a channel, its General MIDI program
// (from 0), and the notes of one bar over a chord's root.
type line struct {
	channel string
	program byte // drums: 0xFF
	mic     bool // hears the others
	notes   func(root byte, bar int) []note
}

type note struct {
	at, length float64 // in beats
	key        byte
	velocity   byte
}

func chord(root byte, keys ...byte) func(byte, int) []note {
	return func(r byte, _ int) []note {
		var out []note
		for _, k := range keys {
			out = append(out, note{0, 3.8, r + root + k, 90})
		}
		return out
	}
}

func band() []line {
	drums := func(keys map[float64]byte) func(byte, int) []note {
		return func(byte, int) []note {
			var out []note
			for at, k := range keys {
				out = append(out, note{at, 0.2, k, 110})
			}
			sort.Slice(out, func(i, j int) bool { return out[i].at < out[j].at })
			return out
		}
	}
	melody := func(r byte, bar int) []note {
		if bar%4 == 3 {
			return nil // takes a breath
		}
		return []note{{0, 0.9, r + 24, 100}, {1, 0.9, r + 28, 100}, {2, 1.8, r + 31, 105}}
	}
	return []line{
		{"Kick", 0xFF, true, drums(map[float64]byte{0: 36, 2: 36, 2.5: 36})},
		{"Snare", 0xFF, true, drums(map[float64]byte{1: 38, 3: 38})},
		{"Hat", 0xFF, true, drums(map[float64]byte{0: 42, 0.5: 42, 1: 42, 1.5: 42, 2: 42, 2.5: 42, 3: 42, 3.5: 46})},
		{"Bass DI", 33, false, func(r byte, _ int) []note {
			return []note{{0, 0.9, r, 110}, {1, 0.9, r, 100}, {2, 0.9, r + 7, 105}, {3, 0.9, r, 100}}
		}},
		{"Guitar", 29, true, chord(12, 0, 7, 12)},
		{"Keys", 0, false, chord(24, 0, 4, 7)},
		{"Lead Vocal", 65, true, melody},
	}
}

// midi writes a Standard MIDI File (format 0) of one line.
func midi(l line, roots []byte, bars int, bpm float64) []byte {
	const beat = 480
	type event struct {
		at   int
		data []byte
	}
	ch := byte(0)
	var events []event
	if l.program == 0xFF {
		ch = 9 // General MIDI: channel 10 is percussion
	} else {
		events = append(events, event{0, []byte{0xC0, l.program}})
	}
	for bar := range bars {
		for _, n := range l.notes(roots[bar%len(roots)], bar) {
			at := int((float64(bar)*4 + n.at) * beat)
			events = append(events, event{at, []byte{0x90 | ch, n.key, n.velocity}}, event{at + int(n.length*beat), []byte{0x80 | ch, n.key, 0}})
		}
	}
	sort.SliceStable(events, func(i, j int) bool { return events[i].at < events[j].at })
	us := int(60e6 / bpm)
	track := []byte{0, 0xFF, 0x51, 3, byte(us >> 16), byte(us >> 8), byte(us)}
	last := 0
	for _, e := range events {
		delta := uint32(e.at - last)
		last = e.at
		var quantity []byte
		for quantity = []byte{byte(delta & 0x7F)}; delta > 0x7F; {
			delta >>= 7
			quantity = append([]byte{byte(delta&0x7F) | 0x80}, quantity...)
		}
		track = append(append(track, quantity...), e.data...)
	}
	track = append(track, 0, 0xFF, 0x2F, 0)
	out := append([]byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01"), byte(beat>>8), byte(beat&0xFF))
	out = append(out, "MTrk"...)
	return append(binary.BigEndian.AppendUint32(out, uint32(len(track))), track...)
}

// samples reads a file's first channel as fractions of full scale.
func samples(t *testing.T, path string) []float64 {
	t.Helper()
	f, err := wavfile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := f.Info()
	raw := make([]byte, in.Frames*int64(in.Format.FrameBytes()))
	if _, err := f.ReadFrames(raw, 0); err != nil {
		t.Fatal(err)
	}
	all := make([]float64, int(in.Frames)*in.Format.Channels)
	in.Format.Decode(all, raw)
	out := make([]float64, in.Frames)
	for i := range out {
		out[i] = all[i*in.Format.Channels]
	}
	return out
}

// play renders one line of one song with fluidsynth.
func play(t *testing.T, l line, roots []byte, bars int, bpm float64) []float64 {
	t.Helper()
	dir := t.TempDir()
	score, sound := filepath.Join(dir, "line.mid"), filepath.Join(dir, "line.wav")
	if err := os.WriteFile(score, midi(l, roots, bars, bpm), 0o600); err != nil {
		t.Fatal(err)
	}
	tool(t, "fluidsynth", "-ni", "-q", "-g", "0.6", "-r", strconv.Itoa(realRate), "-O", "s16", "-T", "wav", "-F", sound, soundFont, score)
	return samples(t, sound)
}

type realTake struct {
	song         string
	startS, endS float64
}

// realNight plays songs with talk between them and writes a night of mono
// files. It returns where each song is.
func realNight(t *testing.T, dir string, set []string, bpm map[string]float64, bars int, seed uint64) []realTake {
	t.Helper()
	roots := map[string][]byte{"Lantern Street": {36, 36, 41, 43}, "Salt and Rope": {38, 34, 36, 33}, "Half a Moon": {40, 45, 40, 47}}
	random := rand.New(rand.NewPCG(seed, 7))
	voice := samples(t, filepath.Join(voices, "Front_Center.wav"))
	voice = append(voice, samples(t, filepath.Join(voices, "Rear_Left.wav"))...)
	lines := band()
	mix := make([][]float64, len(lines)+1) // the last is the audience's
	var takes []realTake
	talk := func(seconds float64) {
		n := int(seconds * realRate)
		for i := range mix {
			seg := make([]float64, n)
			if name := channelName(lines, i); name == "Lead Vocal" || name == "Audience" {
				gain := map[string]float64{"Lead Vocal": 0.5, "Audience": 0.02}[name]
				for at := realRate / 2; at+len(voice) < n; at += len(voice) + realRate {
					for k, v := range voice {
						seg[at+k] += gain * v
					}
				}
			}
			mix[i] = append(mix[i], seg...)
		}
	}
	talk(7)
	for _, song := range set {
		start := len(mix[0])
		length := int(float64(bars*4)*60/bpm[song]*realRate) + realRate/2
		parts := make([][]float64, len(lines))
		sum := make([]float64, length)
		for i, l := range lines {
			parts[i] = make([]float64, length)
			copy(parts[i], play(t, l, roots[song], bars, bpm[song]))
			for k, v := range parts[i] {
				sum[k] += v
			}
		}
		for i := range mix {
			seg := make([]float64, length)
			for k := range seg {
				switch {
				case i == len(lines):
					seg[k] = 0.15 * sum[k]
				case lines[i].mic:
					seg[k] = 0.8*parts[i][k] + 0.03*sum[k] // bleed
				default:
					seg[k] = 0.8 * parts[i][k]
				}
			}
			mix[i] = append(mix[i], seg...)
		}
		takes = append(takes, realTake{song, float64(start) / realRate, float64(start+length) / realRate})
		talk(6 + 3*random.Float64())
	}
	format := wavfile.Format{SampleRate: realRate, Channels: 1, BitDepth: 24, ContainerBytes: 3}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for i, x := range mix {
		for k := range x {
			x[k] += 3e-5 * random.NormFloat64() // the preamp's noise, about -90 dBFS
		}
		raw := make([]byte, len(x)*3)
		format.Encode(raw, x)
		w, err := wavfile.Create(filepath.Join(dir, fmt.Sprintf("%02d %s.wav", i+1, channelName(lines, i))), format, wavfile.Meta{})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.WriteFrames(raw); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return takes
}

func channelName(lines []line, i int) string {
	if i == len(lines) {
		return "Audience"
	}
	return lines[i].channel
}

// TestRealSounds runs the job on sampled instruments and a recorded voice, and
// compares its figures with those of SoX (stats) and ffmpeg (ebur128).
func TestRealSounds(t *testing.T) {
	if testing.Short() {
		t.Skip("renders two nights with a sound font")
	}
	needTool(t, "fluidsynth", haveTool("fluidsynth"))
	needTool(t, "sox", haveTool("sox"))
	needTool(t, "ffmpeg", haveTool("ffmpeg"))
	needTool(t, soundFont, haveFile(soundFont))
	needTool(t, voices, haveFile(voices))

	dir := t.TempDir()
	file := filepath.Join(dir, "c.nightreel")
	set := []string{"Lantern Street", "Salt and Rope", "Half a Moon"}
	nights := map[string][]realTake{
		"2031-06-01": realNight(t, filepath.Join(dir, "tour", "2031-06-01 Old Mill"), set, map[string]float64{set[0]: 116, set[1]: 92, set[2]: 138}, 12, 1),
		"2031-06-02": realNight(t, filepath.Join(dir, "tour", "2031-06-02 Harbour Hall"), set, map[string]float64{set[0]: 121, set[1]: 90, set[2]: 133}, 14, 2),
	}
	must(t, file, "scan", filepath.Join(dir, "tour"))
	list := filepath.Join(dir, "set.txt")
	if err := os.WriteFile(list, []byte(strings.Join(set, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for date, truth := range nights {
		must(t, file, "setlist", "import", list, "--show", date)
		var takes []struct {
			Song string  `json:"song"`
			S    float64 `json:"start_s"`
			E    float64 `json:"end_s"`
		}
		fromJSON(t, must(t, file, "takes", "--show", date, "--json"), &takes)
		if len(takes) != len(truth) {
			t.Errorf("%s: %d takes, want %d: %+v", date, len(takes), len(truth), takes)
			continue
		}
		for i, take := range takes {
			t.Logf("%s: %s starts %+.2f s, ends %+.2f s off", date, take.Song, take.S-truth[i].startS, take.E-truth[i].endS)
			if take.Song != truth[i].song || math.Abs(take.S-truth[i].startS) > 4 || math.Abs(take.E-truth[i].endS) > 4 {
				t.Errorf("%s: take %d is %+v, want %+v within 4 s", date, i+1, take, truth[i])
			}
		}
	}

	// Nothing was broken, so nothing may be reported.
	var findings []catalog.Finding
	fromJSON(t, must(t, file, "findings", "--json"), &findings)
	for _, f := range findings {
		t.Errorf("false finding: %s", f.Text)
	}

	for date := range nights {
		var tracks []compare.TrackLevel
		fromJSON(t, must(t, file, "tracks", "--show", date, "--json"), &tracks)
		for _, tr := range tracks {
			matches, _ := filepath.Glob(filepath.Join(dir, "tour", date+"*", fmt.Sprintf("%02d *.wav", tr.Track)))
			if len(matches) != 1 {
				t.Fatalf("track %d of %s: files %v", tr.Track, date, matches)
			}
			stats := tool(t, "sox", matches[0], "-n", "stats")
			near(t, matches[0]+": peak dBFS against SoX", float64(tr.Figures.SamplePeak), number(t, stats, `Pk lev dB\s+(\S+)`), 0.006) // SoX prints two decimals
			near(t, matches[0]+": RMS dBFS against SoX", float64(tr.Figures.RMS), number(t, stats, `RMS lev dB\s+(\S+)`), 0.006)
			loud := tool(t, "ffmpeg", "-nostats", "-hide_banner", "-i", matches[0], "-af", "ebur128=peak=none", "-f", "null", "-")
			summary := loud[strings.LastIndex(loud, "Summary:"):]
			near(t, matches[0]+": LUFS against ffmpeg", float64(tr.Figures.Loudness), number(t, summary, `I:\s+(\S+) LUFS`), 0.06)     // ffmpeg prints one decimal, of a histogram in steps of 0.01
			near(t, matches[0]+": LRA against ffmpeg", float64(tr.Figures.LoudnessRange), number(t, summary, `LRA:\s+(\S+) LU`), 0.25) // and another rule for the percentiles
		}
	}
}

func fromJSON(t *testing.T, text []byte, into any) {
	t.Helper()
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
}

func number(t *testing.T, text, pattern string) float64 {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no %s in %s", pattern, text)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.3f, want %.3f ± %.3f", what, got, want, tolerance)
	}
}
