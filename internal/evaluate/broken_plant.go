package evaluate

import (
	"math"
	"math/rand/v2"

	"nightreel/catalog"
)

// kindsPlanted are planted in turn, so that each comes about equally often.
var kindsPlanted = []catalog.FindingKind{
	catalog.Clipped, catalog.FlatTop, catalog.Dead, catalog.WentSilent, catalog.Dropout, catalog.DCOffset,
	catalog.Crackle, catalog.Hum, catalog.Polarity, catalog.Duplicate, catalog.Swapped, catalog.GainChange,
	catalog.MissingTrack, catalog.ShortTrack,
}

// planting breaks tracks of a night, each in one way.
type planting struct {
	*brokenNight
	rng   *rand.Rand
	setup []pickup
	free  []int        // track indices in a random order; -1 for one that is taken
	had   map[int]bool // tracks that were broken on earlier nights
	whole float64      // length of the night in seconds
}

// plant breaks some tracks, each in one way, from the list of kinds in turn, and
// adds them to had.
func (n *brokenNight) plant(rng *rand.Rand, setup []pickup, kinds []catalog.FindingKind, had map[int]bool) {
	p := &planting{brokenNight: n, rng: rng, setup: setup, free: rng.Perm(len(setup)), had: had, whole: float64(n.frames) / audioRate}
	for _, kind := range kinds {
		if i := p.take(p.fitting(kind)); i >= 0 {
			h := &harm{planted: Planted{Kind: kind, Track: i + 1, EndS: p.whole}}
			n.harms[i] = h
			if !p.harm(h, &setup[i], n.played[rng.IntN(len(n.played))]) {
				delete(n.harms, i)
			}
		}
	}
	for i := range n.harms {
		had[i] = true
	}
}

// take returns a free track that fits, -1 if there is none. It prefers tracks
// that were not broken on another night.
func (p *planting) take(fits func(*pickup) bool) int {
	for _, again := range []bool{false, true} {
		for k, i := range p.free {
			if i >= 0 && p.had[i] == again && fits(&p.setup[i]) {
				p.free[k] = -1
				return i
			}
		}
	}
	return -1
}

// plays reports whether an input's own sound is in most of the songs.
func (p *planting) plays(input *pickup) bool {
	if len(input.own) == 0 {
		return false
	}
	songs := 0
	for _, t := range p.played {
		if t.of(p.sounds[input.own[0]]).busy() > 0.3 {
			songs++
		}
	}
	return 2*songs > len(p.played)
}

// of returns a take's part of a wave.
func (t Played) of(x audio) audio {
	return x[int(t.StartS*audioRate):int(t.EndS*audioRate)]
}

// fitting returns a test for inputs on which a kind can be planted such that
// careful listening could detect it.
func (p *planting) fitting(kind catalog.FindingKind) func(*pickup) bool {
	switch kind {
	case catalog.Polarity:
		return func(i *pickup) bool { return !i.line && p.plays(i) }
	case catalog.Hum, catalog.DCOffset, catalog.MissingTrack, catalog.ShortTrack:
		return func(i *pickup) bool { return len(i.own) > 0 }
	case catalog.GainChange:
		// Below the converter's own noise a gain leaves no trace.
		return func(i *pickup) bool {
			return p.plays(i) && (p.bits == 24 && i.floor > -96 || !i.line && i.floor > -84)
		}
	case catalog.Clipped, catalog.FlatTop:
		return func(i *pickup) bool { return p.plays(i) && i.own[0] < crowdL && i.name[:2] != "Ov" }
	}
	return p.plays
}

// harm breaks one input in the chosen way, within the drawn song if the fault is
// about a song; false if nothing fits.
func (p *planting) harm(h *harm, input *pickup, song Played) bool {
	switch h.planted.Kind {
	case catalog.Clipped, catalog.FlatTop:
		p.overload(h, input, song)
	case catalog.Dead:
		h.silent = [2]int{0, p.frames}
	case catalog.WentSilent:
		// Within a song, but not in the last half minute of the night.
		song = p.played[p.rng.IntN(len(p.played)-1)]
		h.planted.StartS = song.StartS + between(p.rng, 0.3, 0.7)*(song.EndS-song.StartS)
		h.silent = [2]int{int(h.planted.StartS * audioRate), p.frames}
	case catalog.Dropout:
		at := loudAt(p.rng, p.unbroken(input, h.planted.Track-1), song)
		long := int(between(p.rng, 0.002, 0.08) * audioRate)
		h.zeros = [][2]int{{at, at + long}}
		h.planted.StartS, h.planted.EndS = float64(at)/audioRate, float64(at+long)/audioRate
	case catalog.DCOffset:
		h.offset = math.Pow(10, between(p.rng, -43, -22)/20)
		if p.rng.IntN(2) == 0 {
			h.offset = -h.offset
		}
	case catalog.Crackle:
		p.crackle(h)
	case catalog.Hum:
		h.planted.Size = []float64{50, 60}[p.rng.IntN(2)]
		h.hum = humming(p.rng, p.frames, h.planted.Size, max(-74, input.target-between(p.rng, 18, 42)))
	case catalog.Polarity:
		h.turned = true
	case catalog.Duplicate:
		return p.duplicate(h, input)
	case catalog.Swapped:
		o := p.take(func(o *pickup) bool { return p.plays(o) && !(o.line && o.shares(input)) })
		if o < 0 {
			return false
		}
		h.planted.With = o + 1
		p.harms[o] = &harm{}
	case catalog.GainChange:
		p.turn(h, input)
	case catalog.MissingTrack:
		h.absent = true
	case catalog.ShortTrack:
		h.planted.StartS = p.whole * between(p.rng, 0.4, 0.9)
		h.ends = int(h.planted.StartS * audioRate)
	}
	return true
}

// overload drives an input's own sound beyond full scale, or beyond the limit of
// a circuit before the recorder.
func (p *planting) overload(h *harm, input *pickup, song Played) {
	// Use the input's loudest song, to be sure that it plays there.
	for _, t := range p.played {
		if own := p.sounds[input.own[0]]; t.of(own).level() > song.of(own).level() {
			song = t
		}
	}
	h.planted.StartS, h.planted.EndS = song.StartS, song.EndS
	peak := float64(song.of(p.unbroken(input, h.planted.Track-1)).peak())
	h.planted.Size = between(p.rng, 1.5, 6) // dB over the top
	top := 0.
	if h.planted.Kind == catalog.FlatTop {
		top = between(p.rng, -14, -4)
		h.ceiling = math.Pow(10, top/20)
		h.coupling = 0.2 * math.Pow(10, p.rng.Float64()) // a capacitor, or a converter's filter
	}
	h.boostDB = top + h.planted.Size - 20*math.Log10(peak)
	if h.boostDB < 0 { // it is louder already: lower the ceiling instead
		h.boostDB, h.ceiling = 0, peak*math.Pow(10, -h.planted.Size/20)
	}
}

func (p *planting) crackle(h *harm) {
	h.planted.StartS = between(p.rng, 5, p.whole-30)
	h.planted.EndS = h.planted.StartS + between(p.rng, 4, 25)
	from, to := int(h.planted.StartS*audioRate), int(h.planted.EndS*audioRate)
	h.cracks = cracked(p.rng, p.frames, from, to)
	if p.rng.IntN(2) != 0 {
		return
	}
	// The contact also opens.
	for at := from; at < to; at += int(between(p.rng, 0.2, 2) * audioRate) {
		for range 2 + p.rng.IntN(12) {
			long := int(p.rng.ExpFloat64() * 0.004 * audioRate)
			h.contact = append(h.contact, [2]int{at, at + long})
			at += long + int(p.rng.ExpFloat64()*0.02*audioRate)
		}
	}
}

// duplicate gives a track another input's signal: unchanged, or with another
// gain, or with a gain and a delay.
func (p *planting) duplicate(h *harm, input *pickup) bool {
	o := p.take(func(o *pickup) bool { return p.plays(o) && !o.shares(input) })
	if o < 0 {
		return false
	}
	h.copyOf, h.copyGain = o+1, 1
	switch p.rng.IntN(3) {
	case 1:
		h.copyGain = float32(math.Pow(10, between(p.rng, -10, 10)/20))
	case 2:
		h.copyGain = float32(math.Pow(10, between(p.rng, -6, 6)/20))
		h.copyLag = p.rng.IntN(240)
	}
	h.copyGain = min(h.copyGain, 0.9/p.unbroken(&p.setup[o], o).peak()) // a copy that clips would be two faults
	h.planted.With = o + 1
	p.harms[o] = &harm{}
	return true
}

// turn changes an input's preamp gain, for the whole night or from some point
// on.
func (p *planting) turn(h *harm, input *pickup) {
	h.gainDB = between(p.rng, 5, 14)
	peak := float64(p.unbroken(input, h.planted.Track-1).peak())
	if p.rng.IntN(2) == 0 || 20*math.Log10(peak)+h.gainDB > -1 { // it would clip
		h.gainDB = -h.gainDB
	}
	h.planted.Size = h.gainDB
	if p.rng.IntN(2) == 0 {
		song := p.played[1+p.rng.IntN(len(p.played)-1)]
		at := song.StartS + between(p.rng, 0, 0.4)*(song.EndS-song.StartS)
		h.planted.StartS, h.planted.EndS = at, at
		h.gainFrom = int(at * audioRate)
	}
}
