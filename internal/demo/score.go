package demo

import (
	"math"
	"math/rand/v2"
)

// hit is one stroke on a drum or cymbal.
type hit struct {
	at   float64 // s from the start of the main recording
	vel  float64 // 0 to 1
	open bool    // an open hat
}

// note is one note of an instrument or syllable of a voice.
type note struct {
	at, dur float64 // s
	freq    float64 // Hz
	vel     float64 // 0 to 1
	vowel   int     // of a voice
	long    bool    // of a guitar or keys: it rings on, else it is damped
}

// swell is a span in which the audience is louder than its murmur.
type swell struct {
	at, dur, level float64
}

// score is everything that sounds in a show, before any microphone picks it up.
type score struct {
	length                       float64 // s
	takes                        []Take  // Show is not filled in
	kick, snare, hat, tom, crash []hit
	bass, guitarL, guitarR, keys []note
	lead, second, guest          []note
	crowd                        []swell
	snareHard, bassHard          []swell // added level in dB
	rng                          *rand.Rand
}

// perform makes the score of a show's takes, with audience and talk between
// them. Small plays one bar a section instead of two and shorter pauses.
func perform(sh showPlan, songs []song, scale Scale) *score {
	sc := &score{rng: rand.New(rand.NewPCG(20310502, uint64(sh.seed)))}
	bars, pause := 2, 1.0
	if scale == Small {
		bars, pause = 1, 0.5
	}
	t := sh.walkOn * pause
	sc.crowd = append(sc.crowd, swell{0.2, t * 0.8, 0.6})
	for i, tp := range sh.takes {
		s := songs[tp.song]
		start := t
		if s.countIn {
			beat := 60 / (s.bpm * tp.tempo)
			for b := range 2 {
				sc.hat = append(sc.hat, hit{at: start - float64(2-b)*beat, vel: 0.6})
			}
		}
		t = sc.play(s, tp, start, bars)
		sc.takes = append(sc.takes, Take{Song: s.title, StartS: start, EndS: t})
		if tp.snareDB != 0 {
			sc.snareHard = append(sc.snareHard, swell{start, t - start, tp.snareDB})
		}
		if tp.bassDB != 0 {
			sc.bassHard = append(sc.bassHard, swell{start, t - start, tp.bassDB})
		}
		gap := tp.pause * pause
		sc.crowd = append(sc.crowd, swell{t - 0.2, gap * 0.6, 1})
		if i < len(sh.takes)-1 && tp.talk {
			sc.talk(t+gap*0.3, gap*0.45)
		}
		t += gap
	}
	sc.length = t
	return sc
}

// play performs one take from start on and returns when its last note is damped.
// The form has a letter for each section: Intro, Verse, Chorus, Solo; a final
// chord follows without a letter.
func (sc *score) play(s song, tp takePlan, start float64, bars int) float64 {
	step := 60 / (s.bpm * tp.tempo) / 4
	t, bar := start, 0
	for _, sec := range tp.form {
		p := s.verse
		if sec == 'C' || sec == 'S' {
			p = s.chorus
		}
		n := bars
		if sec == 'I' {
			n = 1
		}
		for b := range n {
			// There is no click: the tempo drifts by some tenths of a percent a
			// bar.
			st := step * (1 + 0.004*math.Sin(float64(bar)*1.7) - 0.001*float64(bar))
			sc.bar(p, p.chords[b%len(p.chords)], sec, b, t, st)
			sc.sing(s, p, tp, sec, b, n, t, st)
			t += 16 * st
			bar++
		}
	}
	return sc.final(s, t, 12*step)
}

// human returns a time near t, with a player's imprecision.
func (sc *score) human(t float64) float64 { return t + 0.003*sc.rng.NormFloat64() }

// strokes turns a pattern into hits.
func (sc *score) strokes(pattern string, t, step float64) []hit {
	var hs []hit
	for i, c := range pattern {
		if c == '.' {
			continue
		}
		h := hit{at: sc.human(t + float64(i)*step), vel: 0.62 + 0.08*sc.rng.Float64(), open: c == 'o'}
		if c == 'X' {
			h.vel = 0.85 + 0.15*sc.rng.Float64()
		}
		hs = append(hs, h)
	}
	return hs
}

// bar plays the instruments of one bar.
func (sc *score) bar(p section, ch chord, sec rune, b int, t, step float64) {
	sc.kick = append(sc.kick, sc.strokes(p.kick, t, step)...)
	sc.hat = append(sc.hat, sc.strokes(p.hat, t, step)...)
	sc.tom = append(sc.tom, sc.strokes(p.tom, t, step)...)
	if sec != 'I' {
		sc.snare = append(sc.snare, sc.strokes(p.snare, t, step)...)
	} else {
		// The intro has no snare except for a fill.
		sc.snare = append(sc.snare, sc.strokes("............x.XX", t, step)...)
		sc.tom = append(sc.tom, sc.strokes("..........x.x...", t, step)...)
	}
	if sec == 'C' && b == 0 {
		sc.crash = append(sc.crash, hit{at: sc.human(t), vel: 0.9})
	}
	held := func(pattern string, i int) float64 {
		n := 1
		for n < 16-i && pattern[i+n] == '.' {
			n++
		}
		return float64(n) * step
	}
	for i := range 16 {
		at := t + float64(i)*step
		if c := p.bass[i]; c != '.' {
			vel := 0.75
			if c == 'X' {
				vel = 1
			}
			root := ch.root
			if c == 'x' && i%8 == 6 {
				root += 7
			}
			sc.bass = append(sc.bass, note{at: sc.human(at), dur: 0.9 * held(p.bass, i), freq: pitch(root), vel: vel})
		}
		if c := p.guitar[i]; c != '.' {
			n := note{at: sc.human(at), dur: 0.9 * held(p.guitar, i), freq: pitch(ch.root + 12), vel: 0.7 + 0.2*sc.rng.Float64(), long: c == 'o'}
			sc.guitarL = append(sc.guitarL, n)
			n.at = sc.human(at)
			if sec == 'S' {
				// The solo plays the chord's notes two octaves up, up and down.
				n.freq = pitch(ch.root + 24 + []int{0, ch.third(), 7, 12}[(i/2+b)%4])
			} else {
				n.freq *= 1.004
			}
			sc.guitarR = append(sc.guitarR, n)
		}
		if p.keys[i] != '.' {
			for _, up := range []int{0, ch.third(), 7} {
				sc.keys = append(sc.keys, note{at: sc.human(at), dur: 0.95 * held(p.keys, i), freq: pitch(ch.root + 24 + up), vel: 0.6 + 0.1*sc.rng.Float64(), long: p.keys[i] == 'o'})
			}
		}
	}
}

// sing adds the phrase's syllables that begin in this bar. The second voice
// joins in the choruses, a third above; a guest sings the verses with the lead.
func (sc *score) sing(s song, p section, tp takePlan, sec rune, b, bars int, t, step float64) {
	if sec != 'V' && sec != 'C' {
		return
	}
	for _, y := range p.line {
		if y.step/16 != b%2 {
			continue
		}
		at := sc.human(t + float64(y.step%16)*step)
		n := note{at: at, dur: 0.92 * float64(y.steps) * step, freq: pitch(s.tonic + y.pitch), vel: 0.8 + 0.2*sc.rng.Float64(), vowel: y.vowel}
		sc.lead = append(sc.lead, n)
		harmony := n
		harmony.at = sc.human(at + 0.01)
		harmony.freq = pitch(s.tonic + y.pitch + 4)
		if sec == 'C' {
			sc.second = append(sc.second, harmony)
		}
		if tp.guest {
			harmony.at = sc.human(at + 0.015)
			harmony.freq = pitch(s.tonic + y.pitch + 7)
			sc.guest = append(sc.guest, harmony)
		}
	}
}

// final strikes the last chord, lets it ring for dur and damps it.
func (sc *score) final(s song, t, dur float64) float64 {
	ch := s.verse.chords[0]
	for _, hs := range []*[]hit{&sc.kick, &sc.snare, &sc.crash} {
		*hs = append(*hs, hit{at: sc.human(t), vel: 0.9})
	}
	n := note{at: t, dur: dur, freq: pitch(ch.root), vel: 0.9, long: true}
	sc.bass = append(sc.bass, n)
	n.freq *= 2
	sc.guitarL = append(sc.guitarL, n)
	sc.guitarR = append(sc.guitarR, n)
	for _, up := range []int{0, ch.third(), 7} {
		n.freq = pitch(ch.root + 24 + up)
		sc.keys = append(sc.keys, n)
	}
	return t + dur
}

// talk adds speech of the lead singer: short syllables of a falling, restless
// pitch, softer than singing.
func (sc *score) talk(at, dur float64) {
	end := at + dur
	base := 135.0
	for at < end {
		d := 0.09 + 0.12*sc.rng.Float64()
		sc.lead = append(sc.lead, note{at: at, dur: d * 0.85, freq: base * (0.85 + 0.35*sc.rng.Float64()), vel: 0.22 + 0.12*sc.rng.Float64(), vowel: sc.rng.IntN(5)})
		at += d
		if sc.rng.IntN(5) == 0 {
			at += 0.12
		}
	}
}

// pitch returns the frequency of a MIDI note number in Hz.
func pitch(midi int) float64 { return 440 * math.Exp2(float64(midi-69)/12) }
