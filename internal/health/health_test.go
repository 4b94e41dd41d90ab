package health

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// scene is a night of the invented band with two nights before it.
type scene struct {
	st     *stageNight
	voices []voice
	tapes  []*tape
	past   []*Night
}

func newScene(seed uint64, past int) *scene {
	rng := rand.New(rand.NewPCG(2031, seed))
	sc := &scene{voices: band(rng)}
	gains := func() []float64 {
		g := make([]float64, len(sc.voices))
		for i := range g {
			g[i] = 4*rng.Float64() - 2
		}
		return g
	}
	for range past {
		st := newStage(rng, 4+rng.IntN(2))
		sc.past = append(sc.past, night(st, sc.voices, st.perform(sc.voices, gains())))
	}
	sc.st = newStage(rng, 4)
	sc.tapes = sc.st.perform(sc.voices, gains())
	return sc
}

func (sc *scene) tape(name string) *tape {
	for _, t := range sc.tapes {
		if t.name == name {
			return t
		}
	}
	panic(name)
}

func (sc *scene) voice(name string) voice {
	for _, v := range sc.voices {
		if v.name == name {
			return v
		}
	}
	panic(name)
}

// in returns the block at a part of a take.
func (sc *scene) in(take int, part float64) int {
	t := sc.st.takes[take]
	return int((float64(t.Start) + part*float64(t.End-t.Start)) / 4800)
}

func (sc *scene) judge() []catalog.Flag {
	n := night(sc.st, sc.voices, sc.tapes)
	for i, p := range sc.past {
		n.remember(catalog.Date(fmt.Sprintf("2031-04-%02d", i+1)), p)
	}
	return n.Flags()
}

// want is a flag that a row expects.
type want struct {
	kind     catalog.FlagKind
	channel  string
	severity catalog.Severity
}

func (sc *scene) check(t *testing.T, wants ...want) []catalog.Flag {
	t.Helper()
	flags := sc.judge()
	var got []string
	for _, f := range flags {
		name := ""
		if f.Track > 0 {
			name = sc.voices[f.Track-1].name
		}
		got = append(got, fmt.Sprint(f.Kind, " ", name, " ", f.Severity))
		if f.EndFrame < f.StartFrame || len(f.Evidence) == 0 || !strings.HasSuffix(f.Text, ".") || strings.Contains(f.Text, "%!") {
			t.Errorf("malformed flag: %+v", f)
		}
	}
	var expected []string
	for _, w := range wants {
		expected = append(expected, fmt.Sprint(w.kind, " ", w.channel, " ", w.severity))
	}
	if strings.Join(got, "; ") != strings.Join(expected, "; ") {
		t.Errorf("got  %q\nwant %q", got, expected)
		for _, f := range flags {
			t.Log(f.Text)
		}
	}
	return flags
}

// A night with nothing broken has no flags: a spare DI, a guest for one song, a
// voice silent between lines, digitally quiet keys, an acoustic guitar for one
// song, audience microphones, an encore break. With other nights and without.
func TestHealthyNights(t *testing.T) {
	for seed := range uint64(6) {
		for past := range 3 {
			t.Run(fmt.Sprint("seed ", seed, ", nights before ", past), func(t *testing.T) {
				sc := newScene(seed, past)
				if seed%2 == 1 {
					sc.st.takes = nil // nobody told the songs
				}
				sc.check(t)
			})
		}
	}
}

func TestSilence(t *testing.T) {
	for _, row := range []struct {
		what   string
		past   int
		damage func(sc *scene)
		want   []want
	}{
		{"a dead microphone, known from two nights", 2, func(sc *scene) {
			sc.tape("Snare Bottom").silence(0, sc.st.blocks, -90)
		}, []want{{catalog.Dead, "Snare Bottom", catalog.FaultSeverity}}},
		{"a dead microphone, one other night", 1, func(sc *scene) {
			sc.tape("Tom").silence(0, sc.st.blocks, -90)
		}, []want{{catalog.Dead, "Tom", catalog.WarningSeverity}}},
		{"a dead microphone on the first night", 0, func(sc *scene) {
			sc.tape("Tom").silence(0, sc.st.blocks, -90)
		}, []want{{catalog.Dead, "Tom", catalog.NoteSeverity}}},
		{"digital zero all night instead of a microphone", 2, func(sc *scene) {
			sc.tape("Hat").silence(0, sc.st.blocks, -200)
		}, []want{{catalog.Dead, "Hat", catalog.FaultSeverity}}},
		{"a dead microphone with two pops of its plug", 2, func(sc *scene) {
			sc.tape("Hat").silence(0, sc.st.blocks, -88)
			sc.tape("Hat").set(90, 0.01)
			sc.tape("Hat").set(91, 0.02)
			sc.tape("Hat").set(92, 0.02)
			sc.tape("Hat").set(700, 0.02)
		}, []want{{catalog.Dead, "Hat", catalog.FaultSeverity}}},
		{"a bass that is on every other night", 2, func(sc *scene) {
			sc.tape("Bass DI").silence(0, sc.st.blocks, -98)
		}, []want{{catalog.Dead, "Bass DI", catalog.WarningSeverity}}},
		{"the acoustic guitar's song is not played tonight", 2, func(sc *scene) {
			sc.tape("Acoustic").silence(0, sc.st.blocks, -98)
			var others []Take
			for _, k := range sc.st.takes {
				if k.Song != songNames[3] {
					others = append(others, k)
				}
			}
			sc.st.takes = others
		}, nil},
		{"a cable holds its floor in one song, where it plays on all other nights", 2, func(sc *scene) {
			sc.tape("Bass DI").silence(sc.in(2, 0)-20, sc.in(2, 1)+20, -98)
		}, []want{{catalog.WentSilent, "Bass DI", catalog.WarningSeverity}}},
		{"the same where it rests in that song on one other night", 2, func(sc *scene) {
			sc.tape("Bass DI").silence(sc.in(2, 0)-20, sc.in(2, 1)+20, -98)
			for _, k := range sc.past[0].Takes {
				if k.Song == sc.st.takes[2].Song {
					for i := range sc.past[0].Tracks {
						if t := &sc.past[0].Tracks[i]; t.Channel == "Bass DI" {
							for b := t.bin(k.Start); b < t.bin(k.End); b++ {
								t.levels[b] = -98
							}
						}
					}
				}
			}
		}, nil},
		{"a voice dies in the middle of a song", 2, func(sc *scene) {
			sc.tape("Vocal 2").silence(sc.in(1, 0.45), sc.st.blocks, sc.voice("Vocal 2").floor)
		}, []want{{catalog.WentSilent, "Vocal 2", catalog.FaultSeverity}}},
		{"the same on the first night; in its quiet room it might be a cable", 0, func(sc *scene) {
			sc.tape("Vocal 2").silence(sc.in(1, 0.45), sc.st.blocks, sc.voice("Vocal 2").floor)
		}, []want{{catalog.WentSilent, "Vocal 2", catalog.WarningSeverity}}},
		{"a microphone dies in the first song", 1, func(sc *scene) {
			sc.tape("Guitar L").silence(sc.in(0, 0.5), sc.st.blocks, -92)
		}, []want{{catalog.WentSilent, "Guitar L", catalog.FaultSeverity}}},
		{"a cable fails for 15 s and comes back", 0, func(sc *scene) {
			sc.tape("Snare Top").silence(sc.in(2, 0.3), sc.in(2, 0.3)+150, -90)
		}, []want{{catalog.WentSilent, "Snare Top", catalog.FaultSeverity}}},
		{"twice within half a minute is one spell", 0, func(sc *scene) {
			at := sc.in(2, 0.2)
			sc.tape("Snare Top").silence(at, at+120, -90)
			sc.tape("Snare Top").silence(at+150, at+270, -90)
		}, []want{{catalog.WentSilent, "Snare Top", catalog.FaultSeverity}}},
		{"digital zero to the end", 0, func(sc *scene) {
			sc.tape("Snare Top").silence(sc.in(2, 0.3), sc.st.blocks, -200)
		}, []want{{catalog.WentSilent, "Snare Top", catalog.FaultSeverity}}},
		{"a guest's microphone is plugged in for one song", 0, func(sc *scene) {
			g := sc.tape("Guest Vocal")
			g.silence(0, sc.in(1, 0)-30, -85)
			g.silence(sc.in(1, 1)+30, sc.st.blocks, -85)
		}, nil},
		{"a microphone goes after the last song", 0, func(sc *scene) {
			sc.tape("Vocal 2").silence(sc.in(3, 1)+5, sc.st.blocks, -88)
		}, nil},
		{"a bass rests for half of a song", 1, func(sc *scene) {
			sc.tape("Bass DI").silence(sc.in(1, 0.5), sc.in(1, 1), -98)
		}, nil},
		{"a bass stops within a song for good on the first night", 0, func(sc *scene) {
			playsOnly(sc, "Bass DI", 0, 1, 2, 3)
			sc.tape("Bass DI").silence(sc.in(3, 0.4), sc.st.blocks, -98)
		}, nil},
		{"a microphone does, in a quiet room", 0, func(sc *scene) {
			playsOnly(sc, "Tom", 0, 1, 2, 3)
			sc.tape("Tom").silence(sc.in(3, 0.4), sc.st.blocks, -98)
		}, []want{{catalog.WentSilent, "Tom", catalog.WarningSeverity}}},
		{"something plays no more from a song's start on", 0, func(sc *scene) {
			playsOnly(sc, "Tom", 0, 1, 2)
		}, nil},
		{"something rests for a whole song, and then for good", 0, func(sc *scene) {
			playsOnly(sc, "Tom", 0, 2, 3)
			sc.tape("Tom").silence(sc.in(3, 0.4), sc.st.blocks, -98)
		}, nil},
		{"something rests for seconds while others play, and then for good", 0, func(sc *scene) {
			rests(sc, "Tom", 45)
		}, nil},
		{"something rests for half a minute at a time, and then for good", 0, func(sc *scene) {
			rests(sc, "Tom", 200)
		}, nil},
		{"alive before and after and dead when the band plays", 2, func(sc *scene) {
			sc.tape("Tom").silence(0, sc.st.blocks, -90)
			for b := range 58 {
				sc.tape("Tom").set(b, 0.001)
				sc.tape("Tom").set(sc.st.blocks-1-b%50, 0.001)
			}
		}, []want{{catalog.Dead, "Tom", catalog.FaultSeverity}}},
		{"unplugged after its song, as on every other night", 2, func(sc *scene) {
			for _, p := range sc.past {
				l := p.track(15).levels
				for b := len(l) / 4; b < len(l); b++ {
					l[b] = -85
				}
			}
			sc.tape("Guest Vocal").silence(sc.in(1, 0.5), sc.st.blocks, -85)
		}, nil},
		{"keys play the first song only", 1, func(sc *scene) {
			sc.tape("Keys").silence(sc.in(0, 1), sc.st.blocks, -200)
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(3, row.past)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

// rests makes a channel one that is silent for every other stretch of so many
// blocks, and from the middle of the last song on.
func rests(sc *scene, name string, blocks int) {
	t := sc.tape(name)
	for b := 0; b < sc.st.blocks; b += 2 * blocks {
		t.silence(b, min(b+blocks, sc.st.blocks), -90)
	}
	t.silence(sc.in(3, 0.4), sc.st.blocks, -90)
}

// playsOnly makes a channel one that sounds all through some takes, with its
// floor before and after.
func playsOnly(sc *scene, name string, takes ...int) {
	t := sc.tape(name)
	t.silence(0, sc.st.blocks, -98)
	for _, k := range takes {
		for b := sc.in(k, 0) - 5; b < sc.in(k, 1)+5; b++ {
			t.set(b, 0.002)
		}
	}
}

func TestWentSilentPlace(t *testing.T) {
	sc := newScene(5, 2)
	at := sc.in(1, 0.45)
	sc.tape("Lead Vocal").silence(at, sc.st.blocks, -80)
	f := sc.check(t, want{catalog.WentSilent, "Lead Vocal", catalog.FaultSeverity})[0]
	if d := f.StartFrame - int64(at)*4800; d < -24000 || d > 24000 || f.EndFrame != int64(sc.st.blocks)*4800 {
		t.Errorf("silent from frame %d to %d, want about %d to %d", f.StartFrame, f.EndFrame, at*4800, sc.st.blocks*4800)
	}
	if f.Evidence["floor_dbfs"] > -79 || f.Evidence["floor_dbfs"] < -81 {
		t.Errorf("floor %.1f dBFS, want -80", f.Evidence["floor_dbfs"])
	}
}

func TestClipped(t *testing.T) {
	clips := func(sc *scene, name string, from, to, every int, frames int64) {
		for b := from; b < to; b += every {
			sc.tape(name).event(meter.ClipRun, int64(b)*4800+100, frames, 1)
		}
	}
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"a snare in one song is one flag", func(sc *scene) { clips(sc, "Snare Top", sc.in(1, 0.1), sc.in(1, 0.9), 20, 9) },
			[]want{{catalog.Clipped, "Snare Top", catalog.WarningSeverity}}},
		{"two songs are two", func(sc *scene) {
			clips(sc, "Snare Top", sc.in(1, 0.5), sc.in(1, 0.9), 20, 9)
			clips(sc, "Snare Top", sc.in(2, 0.1), sc.in(2, 0.9), 20, 9)
		}, []want{{catalog.Clipped, "Snare Top", catalog.WarningSeverity}, {catalog.Clipped, "Snare Top", catalog.WarningSeverity}}},
		{"one stroke is a note", func(sc *scene) { clips(sc, "Tom", sc.in(1, 0.5), sc.in(1, 0.5)+1, 1, 3) },
			[]want{{catalog.Clipped, "Tom", catalog.NoteSeverity}}},
		{"a roar of 3 ms is a fault", func(sc *scene) { clips(sc, "Lead Vocal", sc.in(1, 0.5), sc.in(1, 0.5)+1, 1, 144) },
			[]want{{catalog.Clipped, "Lead Vocal", catalog.FaultSeverity}}},
		{"a stroke at -0.1 dBFS is none", func(sc *scene) {
			sc.tape("Snare Top").blocks[sc.in(1, 0.5)].Peak = 0.98855
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(4, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

func TestClippedEvidence(t *testing.T) {
	sc := newScene(4, 0)
	at := int64(sc.in(1, 0.5)) * 4800
	for _, r := range []struct{ at, frames int64 }{{0, 3}, {48000 * 3, 7}, {48000*3 + 9600, 5}, {48000 * 6, 4}} {
		sc.tape("Tom").event(meter.ClipRun, at+r.at+11, r.frames, 1)
	}
	f := sc.check(t, want{catalog.Clipped, "Tom", catalog.WarningSeverity})[0]
	for name, want := range map[string]float64{"runs": 4, "samples": 19, "longest_run_samples": 7, "worst_second_samples": 12, "worst_second_s": float64(at)/48000 + 3} {
		if math.Abs(f.Evidence[name]-want) > 1e-9 {
			t.Errorf("%s = %g, want %g", name, f.Evidence[name], want)
		}
	}
	if f.StartFrame != at+11 || f.EndFrame != at+48000*6+11+4 {
		t.Errorf("from %d to %d, want %d to %d", f.StartFrame, f.EndFrame, at+11, at+48000*6+15)
	}
}

func TestFlatTop(t *testing.T) {
	const ceiling = 0.42
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"a bass rig without headroom in one song", func(sc *scene) {
			b := sc.tape("Bass DI")
			for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
				b.set(i, 2*float64(b.blocks[i].MeanSquare))
			}
			if b.ceiling(sc.in(1, 0), sc.in(1, 1), ceiling) < 40 {
				panic("nothing was cut")
			}
		}, []want{{catalog.FlatTop, "Bass DI", catalog.WarningSeverity}}},
		{"a square wave of changing levels", func(sc *scene) {
			k := sc.tape("Keys")
			for i := range k.blocks {
				if p := float64(k.blocks[i].Peak); p > 0.05 {
					for j := range 10 {
						k.event(meter.FlatTop, int64(i)*4800+int64(j)*480, 220, p)
					}
				}
			}
		}, nil},
		{"a pulse wave of one level", func(sc *scene) {
			k := sc.tape("Keys")
			for i := range k.blocks {
				if k.blocks[i].Peak > 0.01 {
					k.blocks[i].Peak = 0.3
					for j := range 10 {
						k.event(meter.FlatTop, int64(i)*4800+int64(j)*480, 120, 0.3)
					}
				}
			}
		}, nil},
		{"few flat tops", func(sc *scene) {
			for j := range 8 {
				sc.tape("Bass DI").event(meter.FlatTop, int64(sc.in(1, 0.5)+j)*4800, 6, 0.5)
			}
		}, nil},
		{"flat tops that are passed by louder notes", func(sc *scene) {
			b := sc.tape("Bass DI")
			for j := range 30 {
				b.event(meter.FlatTop, int64(sc.in(1, 0.1)+j)*4800, 6, 0.6)
			}
			b.blocks[sc.in(1, 0.1)+15].Peak = 0.7
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(6, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

func TestDropout(t *testing.T) {
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"zeros in a note", func(sc *scene) {
			sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 700, 0.2)
		}, []want{{catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"5 ms", func(sc *scene) {
			sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 240, 0.2)
		}, []want{{catalog.Dropout, "Guitar L", catalog.WarningSeverity}}},
		{"five within seconds are one spell", func(sc *scene) {
			for i := range 5 {
				sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1)+7*i)*4800+300, 240, 0.2)
			}
		}, []want{{catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"the same instant on four tracks", func(sc *scene) {
			for _, name := range []string{"Kick In", "Snare Top", "Overhead L", "Guitar L"} {
				sc.tape(name).event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "Kick In", catalog.FaultSeverity}, {catalog.Dropout, "Snare Top", catalog.FaultSeverity},
			{catalog.Dropout, "Overhead L", catalog.FaultSeverity}, {catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"on nearly all tracks it is the recorder's", func(sc *scene) {
			for i := range 14 {
				sc.tapes[i].event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "", catalog.FaultSeverity}}},
		{"zeros before a note of digitally quiet keys", func(sc *scene) {
			k := sc.tape("Keys")
			for b := 1; b+1 < len(k.blocks); b++ {
				if k.blocks[b-1].Peak == 0 && k.blocks[b].Peak > 0.01 {
					k.event(meter.ZeroRun, int64(b-5)*4800, 5*4800+100, 0.1)
				}
			}
		}, nil},
		{"a click of short pulses on digital zero", func(sc *scene) {
			k := sc.tape("Spare DI")
			for b := range k.blocks {
				k.set(b, 0.001)
				k.event(meter.ZeroRun, int64(b)*4800+200, 4000, 0.1)
			}
		}, nil},
		{"a track of zeros has no run with signal beside", func(sc *scene) { sc.tape("Spare DI").silence(0, sc.st.blocks, -200) }, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(7, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

func TestOffset(t *testing.T) {
	for _, row := range []struct {
		dc   float64
		want []want
	}{
		{0.02, []want{{catalog.DCOffset, "Tom", catalog.WarningSeverity}}},
		{-0.02, []want{{catalog.DCOffset, "Tom", catalog.WarningSeverity}}},
		{0.1, []want{{catalog.DCOffset, "Tom", catalog.FaultSeverity}}},
		{0.004, nil},
	} {
		t.Run(fmt.Sprint(row.dc), func(t *testing.T) {
			sc := newScene(8, 1)
			sc.tape("Tom").offset(row.dc)
			for _, f := range sc.check(t, row.want...) {
				if math.Abs(f.Evidence["dc_fraction"]-row.dc) > 1e-6 {
					t.Errorf("dc_fraction %g, want %g", f.Evidence["dc_fraction"], row.dc)
				}
			}
		})
	}
}

// TestLopsided has a wave whose mean goes with its level, as a reed's does: it
// stands off centre by more than the threshold while it sounds, and not in its
// rests.
func TestLopsided(t *testing.T) {
	blocks := make([]meter.Block, 3*dcStretch)
	for i := range blocks {
		blocks[i].MeanSquare, blocks[i].Mean = 1e-8, 1e-6
		if i%8 < 6 {
			blocks[i].MeanSquare, blocks[i].Mean = 0.01, 2*warningDC
		}
	}
	for i, m := range means(blocks) {
		if math.Abs(m) >= warningDC {
			t.Errorf("stretch %d: offset of %g, want none", i, m)
		}
	}
	for i := range blocks {
		blocks[i].MeanSquare += 4 * warningDC * warningDC
		blocks[i].Mean += 2 * warningDC
	}
	for i, m := range means(blocks) {
		if math.Abs(m-2*warningDC) > 1e-5 {
			t.Errorf("stretch %d: offset of %g, want %g", i, m, 2*warningDC)
		}
	}
}

// TestRumble has waves without any offset whose blocks have a mean all the same:
// noise below 10 Hz, as wind, or a loud kick drum that was clipped, leaves. With
// an offset beside them it is found, to 15 %.
func TestRumble(t *testing.T) {
	for _, row := range []struct{ rumble, dc float64 }{{0.03, 0}, {0.01, 0}, {0.003, 0}, {0.005, 0.012}, {0.003, -0.012}, {0.02, 0.05}, {0.0001, 0.0045}, {0.0001, 0.0055}} {
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(8, seed))
			blocks := make([]meter.Block, (3+rng.IntN(30))*dcStretch)
			for i := range blocks {
				m := row.rumble*rng.NormFloat64() + row.dc
				blocks[i].Mean, blocks[i].MeanSquare = float32(m), float32(m*m+0.01*rng.Float64())
			}
			n := &Night{SampleRate: testRate, Tracks: []Track{{means: means(blocks)}}}
			n.Tracks[0].SampleRate, n.Tracks[0].Frames = testRate, int64(len(blocks))*testRate/10
			flags := n.offsets()
			if want := math.Abs(row.dc) >= warningDC; want != (len(flags) == 1) {
				t.Errorf("rumble %g, offset %g, seed %d, %d blocks: %v", row.rumble, row.dc, seed, len(blocks), flags)
			} else if want && math.Abs(flags[0].Evidence["dc_fraction"]-row.dc) > 0.15*math.Abs(row.dc) {
				t.Errorf("rumble %g, offset %g, seed %d: %g", row.rumble, row.dc, seed, flags[0].Evidence["dc_fraction"])
			}
		}
	}
}

func TestTracksAndFiles(t *testing.T) {
	const second = testRate
	for _, row := range []struct {
		what   string
		change func(n *Night)
		want   []string // kind, track, severity
	}{
		{"whole", func(n *Night) {}, nil},
		{"a line without a track that other nights have", func(n *Night) { n.drop(10) }, []string{"missing_track 10 fault"}},
		{"a line that was never recorded", func(n *Night) {
			n.Inputs = append(n.Inputs, catalog.Input{Track: 30, Channel: "Talkback"})
		}, []string{"missing_track 30 note"}},
		{"a line that another recording of the rig holds", func(n *Night) {
			n.drop(10)
			n.Elsewhere[10] = true
		}, nil},
		{"a rig that records half of the list", func(n *Night) {
			for k := 8; k <= 17; k++ {
				n.drop(k)
			}
		}, []string{"missing_track 0 fault"}},
		{"told of another recording already", func(n *Night) {
			n.drop(10)
			n.Elsewhere = nil
		}, nil},
		{"a track that ends early", func(n *Night) { n.track(4).Frames -= 10 * second }, []string{"short_track 4 fault"}},
		{"2 s early", func(n *Night) { n.track(4).Frames -= 2 * second }, nil},
		{"one track that was left running", func(n *Night) {
			n.track(4).Frames += 600 * second
			n.Frames += 600 * second
		}, nil},
		{"a file never closed", func(n *Night) {
			n.Files[4].Unfinished = true
			n.Files[4].Repairs = []catalog.Repair{{Offset: 40, Problem: "data size is 0"}}
		}, []string{"unfinished_file 5 warning"}},
		{"all files never closed", func(n *Night) {
			for i := range n.Files {
				n.Files[i].Unfinished = true
			}
		}, []string{"unfinished_file 0 warning"}},
		{"a repair that harms nothing", func(n *Night) {
			n.Files[4].Repairs = []catalog.Repair{{Offset: 900, Problem: "pad byte missing"}}
		}, nil},
		{"a segment missing", func(n *Night) {
			f := n.Files[4]
			n.Files[4].Frames = 20 * second
			f.StartFrame = 40 * second
			f.Frames -= f.StartFrame
			n.Files = append(n.Files, f)
		}, []string{"short_track 5 fault"}},
		{"a segment missing of one file with all tracks", func(n *Night) {
			whole := catalog.File{Path: "show_0001.wav", FirstTrack: 1, Channels: 18, Frames: 20 * second}
			n.Files = []catalog.File{whole, {Path: "show_0003.wav", FirstTrack: 1, Channels: 18, StartFrame: 40 * second, Frames: n.Frames - 40*second}}
		}, []string{"short_track 0 fault"}},
		{"segments a second apart by their time stamps", func(n *Night) {
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
			for _, f := range n.Flags() {
				got = append(got, fmt.Sprint(f.Kind, " ", f.Track, " ", f.Severity))
			}
			if strings.Join(got, ", ") != strings.Join(row.want, ", ") {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func (n *Night) track(number int) *Track {
	for i := range n.Tracks {
		if n.Tracks[i].Number == number {
			return &n.Tracks[i]
		}
	}
	panic(number)
}

func (n *Night) drop(number int) {
	var tracks []Track
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
