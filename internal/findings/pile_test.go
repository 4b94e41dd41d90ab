package findings

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// cap lets nothing of a tape get beyond a level, and leaves no flat top that the
// meter sees: those of a hat are too short. It returns how many blocks met it.
func (t *tape) cap(from, to int, level float32) (met int) {
	for b := from; b < to; b++ {
		if bl := &t.blocks[b]; bl.Peak > level {
			bl.Peak, bl.TruePeak = level, level
			met++
		}
	}
	return met
}

func TestCeilings(t *testing.T) {
	const top = 0.12
	capped := func(channel string, least int) func(sc *scene) {
		return func(sc *scene) {
			b := sc.tape(channel)
			for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
				b.blocks[i].Peak *= 4
			}
			if met := b.cap(sc.in(1, 0), sc.in(1, 1), top); met < least {
				t.Fatalf("%d blocks met the ceiling, want %d", met, least)
			}
		}
	}
	for _, row := range []struct {
		what   string
		past   int
		damage func(sc *scene)
		want   []want
	}{
		{"a hat that no other night tells of", 0, capped("Hat", 60), nil},
		{"a hat that other nights heard free", 2, capped("Hat", 60), []want{{catalog.FlatTop, "Hat", catalog.WarningSeverity}}},
		{"a hat that one louder stroke gets beyond every few seconds", 2, func(sc *scene) {
			capped("Hat", 60)(sc)
			b := sc.tape("Hat")
			for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
				if i%30 == 7 {
					b.blocks[i].Peak = 1.02 * top
				}
			}
		}, nil},
		{"keys may hold a steady tone", 2, capped("Keys", 60), nil},
		{"a line-up tone", 2, func(sc *scene) {
			b := sc.tape("Hat")
			for i := range 100 {
				b.blocks[20+i].Peak, b.blocks[20+i].MeanSquare = 0.2, 0.02
			}
		}, nil},
		{"a few strokes of one peak", 2, func(sc *scene) {
			b := sc.tape("Hat")
			b.cap(sc.in(1, 0), sc.in(1, 1), 0.1)
			for i := range 9 {
				b.blocks[sc.in(1, 0.3)+11*i].Peak = 0.2
			}
		}, nil},
		{"a sampled hat, every night alike", 2, func(sc *scene) {
			capped("Hat", 60)(sc)
			for _, n := range sc.past {
				for i := range n.Tracks {
					if n.Tracks[i].Channel == "Hat" {
						n.Tracks[i].Piles = []evidence.Pile{{From: 100, To: 400, Ceiling: top, Peaks: 80}}
					}
				}
			}
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(6, row.past)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

// By name or by other nights, of any channel whose signal a track may hold.
func TestRepeats(t *testing.T) {
	n := &evidence.Recording{Past: map[string][]evidence.Past{
		"hat": {{Track: evidence.Track{Piles: []evidence.Pile{{Peaks: 80}}}}}, "vocal": {{}}, catalog.Key("Drum Loop"): {{}}, "sampler": {{}},
	}}
	for i, name := range []string{"Hat", "Vocal", "Drum Loop", "Sampler", "Guest"} {
		n.Tracks = append(n.Tracks, evidence.Unmeasured(catalog.Track{Number: i + 1, Channel: name}))
		n.Tracks[i].Rests = evidence.MayRest(&n.Tracks[i])
	}
	for _, row := range []struct {
		holds []string
		want  bool
	}{
		{[]string{"hat"}, true}, {[]string{"vocal"}, false}, {[]string{catalog.Key("Drum Loop")}, true}, {[]string{"sampler"}, true}, {[]string{"vocal", "sampler"}, true}, {[]string{"guest"}, true},
	} {
		if got := repeats(&known{Recording: n}, row.holds); got != row.want {
			t.Errorf("what holds %q may repeat its peaks: %v", row.holds, got)
		}
	}
}
