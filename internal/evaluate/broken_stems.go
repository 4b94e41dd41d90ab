package evaluate

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
)

// Timbre is the source of a tour's instrument sounds.
type Timbre int

const (
	Sampled     Timbre = iota // a General MIDI sound font
	Synthesised               // oscillators and noise
	Recorded                  // recorded drums, and the sound font for the rest
	timbres
)

func (t Timbre) String() string {
	return [...]string{"sound font", "synthesised", "recorded drums"}[t]
}

// audioStems are the instruments of one performance as they sound.
type audioStems [sources]audio

// drumFiles are recorded strokes, by half and drum: of Debian's
// hydrogen-drumkits.
var drumFiles = [2][cymbals + 1]string{
	Tuning: {"ForzeeStereo/Kick-*.wav", "ForzeeStereo/Snare*.wav", "ForzeeStereo/HiHatClosed-*.wav", "ForzeeStereo/Tom*.wav", "ForzeeStereo/Crash18-*.wav"},
	Held: {"ColomboAcousticDrumkit/bassdrum-*.flac", "ColomboAcousticDrumkit/snare-*normal*.flac", "ColomboAcousticDrumkit/hihat-closed-*.flac",
		"ColomboAcousticDrumkit/tom-*.flac", "ColomboAcousticDrumkit/crash*crash*.flac"},
}

const drumFolder = "/usr/share/hydrogen/data/drumkits/"

// readAudio reads a recording of any form as one channel at audioRate, by
// ffmpeg.
func readAudio(ctx context.Context, path string) (audio, error) {
	cmd := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-i", path, "-f", "s16le", "-ac", "1", "-ar", fmt.Sprint(audioRate), "-")
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: ffmpeg: %w", path, err)
	}
	x := make(audio, len(out)/2)
	for i := range x {
		x[i] = float32(int16(binary.LittleEndian.Uint16(out[2*i:]))) / 32768
	}
	return x, nil
}

// strokes reads some recorded strokes of each drum.
func strokes(ctx context.Context, half Half) ([cymbals + 1][]audio, error) {
	var all [cymbals + 1][]audio
	for d, pattern := range drumFiles[half] {
		paths, _ := filepath.Glob(drumFolder + pattern)
		if len(paths) == 0 {
			return all, fmt.Errorf("%s: install Debian's package hydrogen-drumkits", drumFolder+pattern)
		}
		for _, p := range paths[:min(len(paths), 5)] {
			x, err := readAudio(ctx, p)
			if err != nil {
				return all, err
			}
			all[d] = append(all[d], x)
		}
	}
	return all, nil
}

// phrases reads spoken phrases, which replace singing in these nights, in time
// with the songs.
func phrases(ctx context.Context, half Half) ([]audio, error) {
	paths, _ := filepath.Glob("/usr/share/asterisk/sounds/en_US_f_Allison/*.g722")
	if len(paths) < 100 {
		return nil, fmt.Errorf("install Debian's package asterisk-core-sounds-en-g722")
	}
	var all []audio
	for i, p := range paths {
		if i%16 != 8*int(half) {
			continue
		}
		x, err := readAudio(ctx, p)
		if err != nil {
			return nil, err
		}
		if len(x) > audioRate {
			all = append(all, x)
		}
	}
	return all, nil
}

// excerpt returns a take of some 40 seconds of a song.
func excerpt(rng *rand.Rand, s song) take {
	t := newTake(rng, s)
	t.countIn = false
	bars := len(s.bars) - 1
	seconds := between(rng, 34, 46)
	from := rng.IntN(max(1, bars/3))
	to := from + 1
	for to < bars && s.bars[to]-s.bars[from] < seconds {
		to++
	}
	t.form = [][2]int{{from, to}}
	return t
}

// sounding renders a score.
func (r renderer) sounding(ctx context.Context, sc score, kind Timbre, drums [cymbals + 1][]audio, id string) (audioStems, error) {
	var out audioStems
	length := int((sc.offS + 3) * audioRate)
	if kind == Synthesised {
		for s := range out {
			if len(sc.notes[s]) > 0 {
				out[s] = synthesise(sc, s, length)
			}
		}
		return out, nil
	}
	played, err := r.fontStems(ctx, sc, id)
	if err != nil {
		return out, err
	}
	for s, x := range played {
		if len(x) > 0 {
			out[s] = append(make(audio, 0, length), x...)
			out[s] = append(out[s], make(audio, max(0, length-len(x)))...)[:length]
		}
	}
	if kind == Recorded {
		for d := range drums {
			if len(sc.notes[d]) == 0 {
				continue
			}
			x := make(audio, length)
			for i, n := range sc.notes[d] {
				stroke := drums[d][(i*7+int(n.key))%len(drums[d])]
				g := float32(n.vel) / 127
				at := int(n.at * audioRate)
				for k := 0; k < len(stroke) && at+k < length; k++ {
					x[at+k] += g * stroke[k]
				}
			}
			out[d] = x
		}
	}
	return out, nil
}

// fontStems renders a score with the sound font, one instrument after another,
// and cuts the result apart. The result is cached.
func (r renderer) fontStems(ctx context.Context, sc score, id string) (audioStems, error) {
	var out audioStems
	sum := sha256.Sum256(fmt.Append(nil, "48k 2", r.font, id))
	path := filepath.Join(r.cache, fmt.Sprintf("%x.s16", sum[:12]))
	var slot float64
	var played []int
	mono, err := os.ReadFile(path)
	if err == nil && len(mono) > 2*int(sources) {
		// A header: the slot in hundredths of a second, then the instruments
		// that play.
		slot = float64(binary.LittleEndian.Uint16(mono)) / 100
		for p := range sources {
			if mono[2+p] != 0 {
				played = append(played, p)
			}
		}
		mono = mono[2+sources:]
	} else {
		var stereo []byte
		if slot, played, stereo, err = r.audio(ctx, sc, audioRate); err != nil {
			return out, err
		}
		head := binary.LittleEndian.AppendUint16(nil, uint16(math.Round(100*slot)))
		head = append(head, make([]byte, sources)...)
		for _, p := range played {
			head[2+p] = 1
		}
		mono = make([]byte, len(stereo)/2)
		for k := 0; 4*k+4 <= len(stereo); k++ {
			l, r := int16(binary.LittleEndian.Uint16(stereo[4*k:])), int16(binary.LittleEndian.Uint16(stereo[4*k+2:]))
			binary.LittleEndian.PutUint16(mono[2*k:], uint16(int16((int(l)+int(r))/2)))
		}
		if err := os.WriteFile(path, append(head, mono...), 0o666); err != nil {
			return out, err
		}
	}
	data := mono
	n := int(slot * audioRate)
	for i, p := range played {
		x := make(audio, n)
		for k := range x {
			if at := 2 * (i*n + k); at+2 <= len(data) {
				x[k] = float32(int16(binary.LittleEndian.Uint16(data[at:]))) / 32768
			}
		}
		out[p] = x
	}
	return out, nil
}

// synthesise plays one instrument of a score with an oscillator or with noise.
func synthesise(sc score, s, length int) audio {
	x := make(audio, length)
	rng := rand.New(rand.NewPCG(uint64(s), 99))
	for _, n := range sc.notes[s] {
		from := int(n.at * audioRate)
		to := min(length, from+int((n.dur+0.3)*audioRate))
		g := float64(n.vel) / 127 * 0.3
		f := 440 * math.Pow(2, (float64(n.key)-69)/12)
		var low, phase float64
		for k := from; k < to; k++ {
			t := float64(k-from) / audioRate
			var v float64
			switch {
			case s == kick:
				phase += 2 * math.Pi * (50 + 100*math.Exp(-t/0.02)) / audioRate
				v = math.Sin(phase) * math.Exp(-t/0.12)
			case s == toms:
				phase += 2 * math.Pi * (f/4 + 40 + 60*math.Exp(-t/0.03)) / audioRate
				v = math.Sin(phase) * math.Exp(-t/0.2)
			case s == snare:
				phase += 2 * math.Pi * 190 / audioRate
				v = 0.5*math.Sin(phase)*math.Exp(-t/0.06) + (2*rng.Float64()-1)*math.Exp(-t/0.1)*0.6
			case s == hat, s == cymbals:
				decay := 0.05
				if s == cymbals {
					decay = 0.7
				}
				w := 2*rng.Float64() - 1
				low += 0.6 * (w - low)
				v = (w - low) * math.Exp(-t/decay)
			default:
				// A sawtooth of eight harmonics, which decay with time.
				phase += 2 * math.Pi * f / audioRate
				for h := 1.; h <= 8 && h*f < 8000; h++ {
					v += math.Sin(h*phase) / h * math.Exp(-t*h*0.4)
				}
				v *= min(1, t/0.005) * 0.6
				if t > n.dur {
					v *= math.Exp(-(t - n.dur) / 0.05)
				}
			}
			x[k] += float32(g * v * min(1, float64(to-k)/(0.01*audioRate)))
		}
	}
	return x
}
