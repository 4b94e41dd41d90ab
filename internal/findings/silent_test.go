package findings

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

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
			var others []evidence.Take
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
		{"a cable that always plays in every song begins the first one late", 2, func(sc *scene) {
			playsOnly(sc, "Bass DI", 0, 1, 2, 3)
			sc.tape("Bass DI").silence(0, sc.in(0, 0)+150, -98)
		}, nil},
		{"the same where it rests in that song on one other night", 2, func(sc *scene) {
			sc.tape("Bass DI").silence(sc.in(2, 0)-20, sc.in(2, 1)+20, -98)
			for _, k := range sc.past[0].Takes {
				if k.Song == sc.st.takes[2].Song {
					for i := range sc.past[0].Tracks {
						if t := &sc.past[0].Tracks[i]; t.Channel == "Bass DI" {
							for b := t.Bin(k.Start); b < t.Bin(k.End); b++ {
								t.Levels[b] = -98
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
				l := track(p, 15).Levels
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

// A cable that has nothing to play at first, and later holds its floor in a song
// where it plays on all other nights: that alone is told.
func TestSilenceMissed(t *testing.T) {
	sc := newScene(3, 2)
	sc.tape("Bass DI").silence(0, sc.in(0, 0.6), -98)
	sc.tape("Bass DI").silence(sc.in(2, 0)-20, sc.in(2, 1)+20, -98)
	f := sc.check(t, want{catalog.WentSilent, "Bass DI", catalog.WarningSeverity})[0]
	if start := int64(sc.in(2, 0)-20) * 4800; f.StartFrame < start-24000 || f.StartFrame > start+24000 || f.Evidence["spells"] != 1 {
		t.Errorf("from frame %d, want %d; %g spells", f.StartFrame, start, f.Evidence["spells"])
	}
}
