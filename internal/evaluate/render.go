package evaluate

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"

	"gitlab.com/gomidi/midi/v2/smf"
	"gonum.org/v1/gonum/dsp/fourier"

	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// The sound fonts of the two halves, as Debian installs them.
var (
	tuningFont = "/usr/share/sounds/sf2/TimGM6mb.sf2"       // timgm6mb-soundfont
	heldFont   = "/usr/share/sounds/sf3/FluidR3Mono_GM.sf3" // fluidr3mono-gm-soundfont
)

const (
	stemRate   = 12000 // Hz; the finder uses nothing above 5 kHz
	blockS     = 0.1
	hopBlocks  = meter.BlocksPerSecond / spectrum.LooksPerSecond
	tailS      = 6 // longest decay of a stem, in seconds
	renderEdit = 4 // raise it when the cached form of a stem changes
)

// window is the length of a spectrum in seconds, as scans take them.
const window = 1024. / 6000

// stem is the cached form of one instrument of a performance.
type stem struct {
	Source int
	Level  []float32         // mean square of each block
	Chroma []spectrum.Chroma // by snapshot
}

// performance is a score that was rendered. Times count from its first block.
type performance struct {
	Stems        []stem  // of the instruments that play
	StartS, EndS float64 // where the music starts and ends
	LengthS      float64
}

// renderer renders scores with a sound font and caches the result.
type renderer struct {
	font, cache string
}

func newRenderer(half Half) (renderer, error) {
	r := renderer{font: tuningFont, cache: filepath.Join(os.TempDir(), "nightreel-evaluate")}
	if half == Held {
		r.font = heldFont
	}
	if _, err := os.Stat(r.font); err != nil {
		return r, fmt.Errorf("sound font missing: %w", err)
	}
	return r, os.MkdirAll(r.cache, 0o777)
}

// render returns the performance of a song.
func (r renderer) render(ctx context.Context, s song, t take) (*performance, error) {
	p, err := r.cached(ctx, fmt.Append(nil, s.title, s.fingerprint(), t), func() score { return perform(s, t) })
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.title, err)
	}
	return p, nil
}

// cached returns the cache's content under a name, or renders and stores it.
func (r renderer) cached(ctx context.Context, name []byte, compose func() score) (*performance, error) {
	id := sha256.Sum256(fmt.Appendf(name, "%d %s", renderEdit, r.font))
	path := filepath.Join(r.cache, fmt.Sprintf("%x.gob", id[:12]))
	if f, err := os.Open(path); err == nil {
		defer f.Close()
		p := &performance{}
		if err := gob.NewDecoder(f).Decode(p); err == nil {
			return p, nil
		}
	}
	p, err := r.play(ctx, compose())
	if err != nil {
		return nil, err
	}
	f, err := os.CreateTemp(r.cache, ".performance-*")
	if err != nil {
		return nil, err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := gob.NewEncoder(f).Encode(p); err != nil {
		return nil, err
	}
	return p, os.Rename(f.Name(), path)
}

// play renders all instruments of a score and keeps the levels and spectra that
// nights are built from.
func (r renderer) play(ctx context.Context, sc score) (*performance, error) {
	slot, played, raw, err := r.audio(ctx, sc, stemRate)
	if err != nil {
		return nil, err
	}
	perf := &performance{StartS: sc.startS, LengthS: slot}
	a := newAnalyser(stemRate)
	for i, p := range played {
		x := make([]float64, int(slot*stemRate))
		for k := range x {
			at := 4 * (i*len(x) + k)
			if at+4 > len(raw) {
				break
			}
			left, right := int16(binary.LittleEndian.Uint16(raw[at:])), int16(binary.LittleEndian.Uint16(raw[at+2:]))
			x[k] = (float64(left) + float64(right)) / 65536
		}
		st := a.stem(x)
		st.Source = p
		perf.Stems = append(perf.Stems, st)
	}
	perf.EndS = perf.end(sc.offS)
	return perf, nil
}

// audio renders all instruments of a score in one run, one after another: slot
// seconds for each that played, in 16 bit stereo at a sample rate.
func (r renderer) audio(ctx context.Context, sc score, rate int) (slot float64, played []int, raw []byte, err error) {
	slot = math.Ceil(sc.offS + tailS)
	file := smf.New()
	file.TimeFormat = smf.MetricTicks(500) // at 120 to the minute a tick is a millisecond
	var track smf.Track
	track.Add(0, smf.MetaTempo(120))
	at := 0.0
	add := func(when float64, msg []byte) {
		track.Add(uint32(math.Round(1000*max(when, at))-math.Round(1000*at)), msg)
		at = max(when, at)
	}
	for p := range sources {
		if len(sc.notes[p]) == 0 {
			continue
		}
		base := slot * float64(len(played))
		played = append(played, p)
		for _, e := range events(sc, p) {
			add(base+e.at, e.msg)
		}
		for ch := range uint8(16) {
			add(base+slot-0.2, []byte{0xb0 | ch, 120, 0}) // all sound off
			add(base+slot-0.2, []byte{0xb0 | ch, 121, 0}) // controllers as at first
		}
	}
	track.Close(2000)
	if err := file.Add(track); err != nil {
		return 0, nil, nil, err
	}
	dir, err := os.MkdirTemp(r.cache, ".render-")
	if err != nil {
		return 0, nil, nil, err
	}
	defer os.RemoveAll(dir)
	mid := filepath.Join(dir, "song.mid")
	if err := file.WriteFile(mid); err != nil {
		return 0, nil, nil, err
	}
	raw, err = r.synthesise(ctx, mid, rate, int(slot*float64(rate))*len(played)*4)
	return slot, played, raw, err
}

// synthesise plays a MIDI file and returns its first bytes, in 16 bit stereo.
// With some sounds of some fonts the synthesiser never ends, so it is stopped
// after that many bytes.
func (r renderer) synthesise(ctx context.Context, mid string, rate, size int) ([]byte, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	cmd := exec.CommandContext(ctx, "fluidsynth", "-ni", "-q", "-r", fmt.Sprint(rate), "-g", "0.4", "-R", "0", "-C", "0",
		"-o", "synth.dynamic-sample-loading=1", "-O", "s16", "-T", "raw", "-F", "/dev/stdout", r.font, mid)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("fluidsynth: %w", err)
	}
	raw := make([]byte, size)
	n, err := io.ReadFull(out, raw)
	stop()
	cmd.Wait() // the error is irrelevant: it was stopped, or had ended
	if n == 0 {
		return nil, fmt.Errorf("fluidsynth gave no sound: %w", err)
	}
	return raw[:n], nil
}

type event struct {
	at  float64
	msg []byte
}

// events returns the messages of one instrument in order of time, each note's
// end before what follows it.
func events(sc score, p int) []event {
	var all []event
	for _, c := range sc.controls[p] {
		all = append(all, event{c.at, c.msg})
	}
	for _, n := range sc.notes[p] {
		all = append(all, event{n.at, []byte{0x90 | n.channel, n.key, n.vel}}, event{n.at + n.dur, []byte{0x80 | n.channel, n.key, 0}})
	}
	sortEvents(all)
	return all
}

// end is where the music ends: after the last note's end, when its decay has
// fallen 30 dB below the song. From there on it is inaudible on a stage with an
// audience (common practice, no source).
func (p *performance) end(offS float64) float64 {
	total := make([]float64, int(p.LengthS/blockS))
	mean := 0.0
	for _, s := range p.Stems {
		for i := range total {
			total[i] += float64(s.Level[i])
			mean += float64(s.Level[i])
		}
	}
	mean /= max(1, (offS-p.StartS)/blockS)
	last := 0
	for i, v := range total {
		if v > mean*1e-3 {
			last = i + 1
		}
	}
	return min(float64(last)*blockS, offS+tailS)
}

// analyser extracts from a stem the levels and spectra that nights are built
// from.
type analyser struct {
	rate    int
	fft     *fourier.FFT
	window  []float64
	harmony *spectrum.Folder
}

func newAnalyser(rate int) *analyser {
	n := int(math.Round(window*float64(rate)/2)) * 2
	a := &analyser{rate: rate, fft: fourier.NewFFT(n), window: make([]float64, n), harmony: spectrum.NewFolder(float64(rate)/float64(n), n/2+1, nil)}
	for k := range n {
		a.window[k] = (1 - math.Cos(2*math.Pi*float64(k)/float64(n))) / float64(n)
	}
	return a
}

func (a *analyser) stem(x []float64) stem {
	s := stem{}
	block := int(float64(a.rate) * blockS)
	for at := 0; at+block <= len(x); at += block {
		sum := 0.0
		for _, v := range x[at : at+block] {
			sum += v * v
		}
		s.Level = append(s.Level, float32(sum/float64(block)))
	}
	n := len(a.window)
	buf, power := make([]float64, n), make([]float32, n/2+1)
	var coeff []complex128
	for at := 0; at+n <= len(x); at += hopBlocks * block {
		for k := range buf {
			buf[k] = x[at+k] * a.window[k]
		}
		coeff = a.fft.Coefficients(coeff, buf)
		for k, c := range coeff {
			power[k] = float32(real(c)*real(c) + imag(c)*imag(c))
		}
		s.Chroma = append(s.Chroma, a.harmony.Fold(power))
	}
	return s
}

func sortEvents(all []event) {
	slices.SortStableFunc(all, func(a, b event) int {
		if c := cmp.Compare(math.Round(1000*a.at), math.Round(1000*b.at)); c != 0 {
			return c
		}
		off := func(e event) int {
			if e.msg[0]&0xf0 == 0x80 {
				return 0
			}
			return 1
		}
		return off(a) - off(b)
	})
}
