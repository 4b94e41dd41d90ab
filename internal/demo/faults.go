package demo

import (
	"fmt"
	"math/rand/v2"
	"slices"
)

// planting holds the faults of one show: damage for each track, and the truth
// that is known before the samples are made.
type planting struct {
	damage     [][]damage // [rig][track-1]
	unrecorded []bool     // [track-1]
	unfinished []int      // numbers of tracks whose file was never closed
	faults     []Fault
}

// plant adds the faults of a show. Each kind occurs once on the tour, except
// faults before the split, which both rigs record. The small tour lacks those
// that are inaudible at its rates and lengths.
func plant(sh showPlan, sc *score, rate int, scale Scale) planting {
	n := len(sh.patch)
	p := planting{unrecorded: make([]bool, n)}
	for range sh.rigs {
		d := make([]damage, n)
		for i := range d {
			d[i] = noDamage()
		}
		p.damage = append(p.damage, d)
	}
	frame := func(s float64) int64 { return int64(s * float64(rate)) }
	in := func(take int, part float64) float64 {
		t := sc.takes[take]
		return t.StartS + part*(t.EndS-t.StartS)
	}
	of := func(ch int) *damage { return &p.damage[0][sh.track(ch)-1] }
	add := func(ch int, kind string, from, to float64, samples int, why string) {
		p.faults = append(p.faults, Fault{Show: sh.date(), Rig: "main", Channel: channels()[ch].name, Track: sh.track(ch),
			Kind: kind, StartS: from, EndS: to, Samples: samples, Why: why})
	}
	zeros := func(ch int, from, dur float64, why string) {
		z := span{frame(from), frame(from + dur)}
		of(ch).zeros = append(of(ch).zeros, z)
		add(ch, "dropout", float64(z.from)/float64(rate), float64(z.to)/float64(rate), int(z.to-z.from), why)
	}

	if scale == Full {
		p.plantSubtle(sh, sc, rate, add, of)
	}
	switch sh.seed {
	case 1:
		of(hat).ends = frame(0.72 * sc.length)
		add(hat, "short_track", float64(of(hat).ends)/float64(rate), sc.length, 0, "the track was disarmed before the end")
		// The old bass rig's output clips when the player digs in; span and
		// samples are counted while the track is made.
		of(bassDI).ceiling = dB(-7.5)

	case 2:
		of(floorTom).offset = 0.02
		add(floorTom, "dc_offset", 0, sc.length, 0, "offset of 0.02 of full scale")
		dies := in(2, 0.62)
		of(vocal2).silentFrom = frame(dies)
		add(vocal2, "went_silent", dies, sc.length, 0, "the microphone's cable gave up in the middle of a song")
		at := within(sc.lead, in(1, 0.4), 0.2)
		zeros(leadVocal, at+0.09, 0.014, "zeros in a sung note")

	case 3:
		for rig := range sh.rigs {
			p.damage[rig][sh.track(snareBottom)-1].silentFrom = 0
		}
		add(snareBottom, "dead", 0, sc.length, 0, "the microphone was never plugged in again after the change-over")
		at := within(sc.bass, in(2, 0.55), 0.2)
		for _, ch := range sh.patch[:8] {
			if ch != snareBottom {
				zeros(ch, at+0.06, 0.023, "one stretch of zeros on all tracks of the rig's first eight")
			}
		}

	case 4:
		p.unrecorded[sh.track(guitarR)-1] = true
		add(guitarR, "missing_track", 0, sc.length, 0, "the track was not armed")
		for track := 13; track <= n; track++ {
			p.unfinished = append(p.unfinished, track)
			add(sh.patch[track-1], "unfinished_file", 0, sc.length, 0, "the power went while the recorder was closing its files")
		}
	}
	return p
}

// plantSubtle plants the faults that only other nights, a quiet minute or a high
// sample rate reveal.
func (p *planting) plantSubtle(sh showPlan, sc *score, rate int, add func(ch int, kind string, from, to float64, samples int, why string), of func(ch int) *damage) {
	switch sh.seed {
	case 1:
		t := sc.takes[2]
		from, to := t.StartS+1, t.EndS-2
		c := badContact(rand.New(rand.NewPCG(7, 1)), rate, int64(from*float64(rate)), int64(to*float64(rate)), dB(-16))
		of(guitarL).cracks = c
		last := c[len(c)-1]
		add(guitarL, "crackle", float64(c[0].at)/float64(rate), float64(last.at)/float64(rate), 0, "a plug that was trodden on")

	case 2:
		of(keysDI).hum = groundLoop(rate, -52)
		add(keysDI, "hum", 0, sc.length, 0, "a ground loop through the instrument's power supply")
		of(audienceR).carries = audienceL
		add(audienceR, "duplicate", 0, sc.length, 0, "one line was patched to two inputs of the recorder")

	case 3:
		of(guitarL).carries, of(vocal2).carries = vocal2, guitarL
		add(guitarL, "swapped", 0, sc.length, 0, "guitar L and vocal 2 are exchanged at the main rig's inputs")

	case 4:
		of(overheadL).reversed = true
		add(overheadL, "polarity", 0, sc.length, 0, "its cable was soldered the wrong way round")
		at := sc.takes[1].EndS + 1.2
		of(hat).turned, of(hat).turnedAt = dB(-9), int64(at*float64(rate))
		add(hat, "gain_change", at, at, 0, "its preamp was turned down by 9 dB between two songs")
	}
}

// within returns the start of the first note from t on that lasts at least dur
// seconds.
func within(notes []note, t, dur float64) float64 {
	for _, n := range notes {
		if n.at >= t && n.dur >= dur {
			return n.at
		}
	}
	return t
}

// counted turns the counts of a track, taken while it was made, into faults.
func (t *track) counted(sh showPlan, rig rigPlan, begin int64) []Fault {
	var fs []Fault
	for _, c := range []struct {
		counter
		kind, why string
	}{
		{t.full, "clipped", "the drummer hits harder than the preamp was set for"},
		{t.flat, "flat_top", "the bass rig's output has no headroom left"},
	} {
		if c.samples == 0 {
			continue
		}
		fs = append(fs, Fault{Show: sh.date(), Rig: rig.name, Channel: channels()[t.channel].name, Track: t.number, Kind: c.kind,
			StartS: float64(c.first-begin) / float64(rig.rate), EndS: float64(c.last+1-begin) / float64(rig.rate),
			Samples: c.samples, Why: c.why})
	}
	return fs
}

// healthy lists what only looks like a fault that night.
func healthy(sh showPlan, faults []Fault) []Healthy {
	var hs []Healthy
	add := func(ch int, why string, kinds ...string) {
		kinds = slices.DeleteFunc(kinds, func(kind string) bool {
			return slices.ContainsFunc(faults, func(f Fault) bool {
				return f.Track == sh.track(ch) && f.Kind == kind && f.Kind != "dropout"
			})
		})
		if track := sh.track(ch); track > 0 && len(kinds) > 0 {
			hs = append(hs, Healthy{Show: sh.date(), Channel: channels()[ch].name, Track: track, Kinds: kinds, Why: why})
		}
	}
	add(spareDI, "nothing is plugged in; its floor is that of a healthy preamp", "dead", "went_silent", "dropout", "duplicate")
	add(keysDI, "an instrument on a cable is nearly digitally quiet between its notes", "dead", "went_silent", "dropout")
	add(bassDI, "an instrument on a cable is nearly digitally quiet between songs", "dead", "went_silent", "dropout")
	add(leadVocal, "silent between lines; it still picks up the stage", "dead", "went_silent")
	guest := "on its stand all night, used in no song; it still picks up the stage"
	for _, t := range sh.takes {
		if t.guest {
			guest = "the guest sings one song; it still picks up the stage in the others"
		}
	}
	add(guestVocal, guest, "dead", "went_silent")
	if sh.seed != 2 {
		add(vocal2, "sings choruses only", "dead", "went_silent")
	}
	if sh.seed != 3 {
		add(snareBottom, "its polarity is inverted on all nights, as for every microphone below a head", "polarity")
	}
	if sh.crackingShot {
		add(snareTop, "one stroke peaks at -0.1 dBFS", "clipped", "flat_top")
	}
	for _, ch := range []int{audienceL, audienceR} {
		add(ch, "picks up little but the room during quiet talk", "dead", "went_silent", "duplicate")
	}
	if sh.bassRigDB != 0 {
		add(bassDI, fmt.Sprintf("%+.0f dB is the new bass rig, not the preamp", sh.bassRigDB), "gain_change")
	}
	for _, ch := range sh.patch {
		if _, ok := sh.gains[ch]; ok {
			add(ch, "its gain differs from the first night's as the input list says", "gain_change")
		}
	}
	return hs
}
