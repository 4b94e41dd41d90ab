package evaluate

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// brokenNight is one night as audio: what sounds, and what is broken.
type brokenNight struct {
	frames int
	sounds [allSounds]audio
	played []Played
	harms  map[int]*harm // by track index
	seed   uint64
	bits   int
}

// compose puts a night together: takes, talk and applause between them.
func compose(rng *rand.Rand, titles []string, stems []audioStems, speech []audio) *brokenNight {
	n := &brokenNight{seed: rng.Uint64(), bits: []int{24, 24, 16}[rng.IntN(3)], harms: map[int]*harm{}}
	at := between(rng, 7, 12)
	type place struct {
		at int
		s  audioStems
	}
	var places []place
	type clap struct{ from, to float64 }
	claps := []clap{{0, 3}}
	for i, s := range stems {
		length := 0
		for _, x := range s {
			length = max(length, len(x))
		}
		places = append(places, place{int(at * audioRate), s})
		end := at + float64(length)/audioRate - 2.5
		n.played = append(n.played, Played{Song: titles[i], StartS: at, EndS: end})
		claps = append(claps, clap{end, end + between(rng, 3, 6)})
		at = end + between(rng, 9, 16)
	}
	n.frames = int((at + 4) * audioRate)
	for s := range n.sounds {
		n.sounds[s] = make(audio, n.frames)
	}
	mix := func(s int, x audio, at int, g float32) {
		to := n.sounds[s]
		for k, v := range x {
			if at+k >= 0 && at+k < len(to) {
				to[at+k] += g * v
			}
		}
	}
	for _, p := range places {
		for s, x := range p.s {
			if len(x) == 0 {
				continue
			}
			if level := x.loudness(); level > 0 {
				// How loud everybody plays differs from song to song and night to night.
				mix(s, x, p.at, float32(math.Pow(10, 0.8*rng.NormFloat64()/20)/level))
			}
		}
	}
	say := func(s int, from, to, share float64) {
		for t := from; t < to-1; {
			x := speech[rng.IntN(len(speech))]
			if rng.Float64() < share && t+float64(len(x))/audioRate < to {
				mix(s, x, int(t*audioRate), float32(1/max(1e-3, x.loudness())))
			}
			t += float64(len(x))/audioRate + between(rng, 0.1, 1)
		}
	}
	for i, p := range n.played {
		say(voice1, p.StartS, p.EndS, 0.75)
		say(voice2, p.StartS, p.EndS, 0.35)
		if i+1 < len(n.played) && rng.Float64() < 0.5 {
			say(voice1, p.EndS+5, n.played[i+1].StartS-1, 0.5)
		}
	}
	for side := range 2 {
		x := n.sounds[crowdL+side]
		noise := rand.New(rand.NewPCG(n.seed, uint64(side)))
		var slow, low float64
		murmur := between(rng, 0.03, 0.08)
		c := 0
		for i := range x {
			t := float64(i) / audioRate
			for c < len(claps)-1 && t > claps[c].to {
				c++
			}
			e := murmur
			if t >= claps[c].from && t < claps[c].to {
				u := (t - claps[c].from) / (claps[c].to - claps[c].from)
				e += min(1, 6*u) * (1 - u)
			}
			w := float64(int32(noise.Uint32())) / (1 << 31)
			low += 0.25 * (w - low)
			slow += 0.05 * (w - slow)
			x[i] = float32(3 * e * (low - slow))
		}
	}
	for s := range n.sounds {
		n.sounds[s].blockDC() // recorded strokes have some; no microphone passes it
	}
	pa := make(audio, n.frames)
	for s, p := range stand {
		if p.pa > 0 {
			for i, v := range n.sounds[s] {
				pa[i] += float32(p.pa) * v
			}
		}
	}
	decay := between(rng, 0.8, 1.8)
	sideBySide(2, func(side int) { n.sounds[hallL+side] = room(pa, side, decay) })
	return n
}

// render makes the samples of a track. The sounds a fault is of its own are made
// louder before anything else hears of it.
func (n *brokenNight) render(stage []pickup, track int, rng *rand.Rand) audio {
	p := &stage[track]
	h := n.harms[track]
	if h == nil {
		h = &harm{}
	}
	x := n.heard(p, rng, h)
	if h.copyOf > 0 {
		other := n.heard(&stage[h.copyOf-1], rand.New(rand.NewPCG(n.seed, uint64(h.copyOf-1))), &harm{})
		for i := range x {
			x[i] = 0
			if k := i - h.copyLag; k >= 0 && k < len(x) {
				x[i] = h.copyGain * other[k]
			}
		}
	}
	if h.turned {
		for i := range x {
			x[i] = -x[i]
		}
	}
	noise := rand.New(rand.NewPCG(n.seed+7, uint64(track)))
	floor := math.Pow(10, p.floor/20)
	mains := audio(nil)
	if p.mains != 0 {
		mains = humming(rand.New(rand.NewPCG(uint64(track), 5)), len(x), 50, p.mains)
	}
	converter := math.Pow(10, -114./20)
	if n.bits == 16 {
		converter = math.Ldexp(1, -15) / math.Sqrt(6)
	}
	gain := float32(math.Pow(10, h.gainDB/20))
	for i := range x {
		v := x[i]
		if i >= h.silent[0] && i < h.silent[1] {
			v = 0
		} else if mains != nil {
			v += mains[i]
		}
		v += float32(floor) * triangle(noise)
		if h.hum != nil {
			v += h.hum[i]
		}
		if h.gainDB != 0 && i >= h.gainFrom {
			v *= gain
		}
		if c := float32(h.ceiling); c > 0 && i >= int(h.planted.StartS*audioRate) && i < int(h.planted.EndS*audioRate) {
			v = max(-c, min(c, v))
		}
		if h.cracks != nil {
			v += h.cracks[i]
		}
		x[i] = v + float32(converter)*triangle(noise) + float32(h.offset)
	}
	for _, c := range h.contact {
		for i := c[0]; i < min(c[1], len(x)); i++ {
			x[i] = float32(converter) * triangle(noise)
		}
	}
	for _, z := range h.zeros {
		clear(x[z[0]:min(z[1], len(x))])
	}
	return x
}

// triangle returns noise of RMS 1.
func triangle(rng *rand.Rand) float32 {
	u := rng.Uint64()
	return float32(int64(u&0xFFFFFFFF)+int64(u>>32)-0xFFFFFFFF) * (2.449489742783178 / (1 << 32))
}

// heard returns what an input hears on a night, as its routes say; a fault may
// make its own sounds louder within the fault's span.
func (n *brokenNight) heard(p *pickup, rng *rand.Rand, h *harm) audio {
	x := make(audio, n.frames)
	routes := p.routes(rng)
	from, to := n.frames, n.frames
	boost := float32(1)
	if h.boostDB != 0 {
		from, to = int(h.planted.StartS*audioRate), int(h.planted.EndS*audioRate)
		boost = float32(math.Pow(10, h.boostDB/20))
	}
	// A stretch at a time, all routes of it: it stays in the processor's cache.
	for at := 0; at < len(x); at += 1 << 12 {
		end := min(at+1<<12, len(x))
		for _, r := range routes {
			s := n.sounds[r.sound]
			g := r.gain
			if at < to && end > from && r.sound < crowdL && slices.Contains(p.own, r.sound) {
				for i := max(at, r.delay); i < end; i++ {
					g := r.gain
					if i >= from && i < to {
						g *= boost
					}
					x[i] += g * s[i-r.delay]
				}
				continue
			}
			first := min(max(at, r.delay), end)
			mixed := x[first:end]
			source := s[first-r.delay:][:len(mixed)]
			for i, v := range source {
				mixed[i] += g * v
			}
		}
	}
	return x
}

// write renders and writes all tracks, mono files named by track and channel;
// names may be exchanged.
func (n *brokenNight) write(ctx context.Context, stage []pickup, folder string, names []string) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	errs := make([]error, len(stage))
	sideBySide(len(stage), func(i int) {
		h := n.harms[i]
		if h != nil && h.absent || ctx.Err() != nil {
			return
		}
		x := n.render(stage, i, rand.New(rand.NewPCG(n.seed, uint64(i))))
		if h != nil && h.ends > 0 {
			x = x[:h.ends]
		}
		errs[i] = n.file(filepath.Join(folder, names[i]+".wav"), x)
	})
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

func (n *brokenNight) file(path string, x audio) error {
	f := wavfile.Format{SampleRate: audioRate, Channels: 1, BitDepth: n.bits, ContainerBytes: n.bits / 8}
	w, err := wavfile.Create(path, f, wavfile.Meta{})
	if err != nil {
		return err
	}
	defer w.Abort()
	buf := make([]float64, 1<<16)
	raw := make([]byte, len(buf)*f.FrameBytes())
	for len(x) > 0 {
		k := min(len(buf), len(x))
		for i, v := range x[:k] {
			buf[i] = float64(v)
		}
		f.Encode(raw[:k*f.FrameBytes()], buf[:k])
		if err := w.WriteFrames(raw[:k*f.FrameBytes()]); err != nil {
			return err
		}
		x = x[k:]
	}
	return w.Close()
}

// plant breaks some tracks, each in one way, from the list of kinds in turn.
func (n *brokenNight) plant(rng *rand.Rand, stage []pickup, kinds []catalog.FlagKind, had map[int]bool) {
	whole := float64(n.frames) / audioRate
	free := rng.Perm(len(stage))
	take := func(fits func(p *pickup) bool) int {
		// One that was not broken on another night, if there is one.
		for _, again := range []bool{false, true} {
			for k, i := range free {
				if i >= 0 && had[i] == again && fits(&stage[i]) {
					free[k] = -1
					return i
				}
			}
		}
		return -1
	}
	defer func() {
		for i := range n.harms {
			had[i] = true
		}
	}()
	plays := func(p *pickup) bool {
		if len(p.own) == 0 {
			return false
		}
		// Its own sound is there in most of the songs.
		songs := 0
		for _, t := range n.played {
			s := n.sounds[p.own[0]][int(t.StartS*audioRate):int(t.EndS*audioRate)]
			if s.busy() > 0.3 {
				songs++
			}
		}
		return 2*songs > len(n.played)
	}
	for _, kind := range kinds {
		fits := plays
		switch kind {
		case catalog.Polarity:
			fits = func(p *pickup) bool { return !p.line && plays(p) }
		case catalog.Hum, catalog.DCOffset, catalog.MissingTrack, catalog.ShortTrack:
			fits = func(p *pickup) bool { return len(p.own) > 0 }
		case catalog.GainChange:
			// What lies below the converter's own noise tells nobody of its gain.
			fits = func(p *pickup) bool { return plays(p) && (n.bits == 24 && p.floor > -96 || !p.line && p.floor > -84) }
		case catalog.Clipped, catalog.FlatTop:
			fits = func(p *pickup) bool { return plays(p) && p.own[0] < crowdL && p.name[:2] != "Ov" }
		}
		i := take(fits)
		if i < 0 {
			continue
		}
		h := &harm{planted: Planted{Kind: kind, Track: i + 1, EndS: whole}}
		n.harms[i] = h
		song := n.played[rng.IntN(len(n.played))]
		p := &h.planted
		switch kind {
		case catalog.Clipped, catalog.FlatTop:
			// The loudest song for it, so that it plays there at all.
			for _, t := range n.played {
				own := n.sounds[stage[i].own[0]]
				if own[int(t.StartS*audioRate):int(t.EndS*audioRate)].level() > own[int(song.StartS*audioRate):int(song.EndS*audioRate)].level() {
					song = t
				}
			}
			p.StartS, p.EndS = song.StartS, song.EndS
			x := n.heard(&stage[i], rand.New(rand.NewPCG(n.seed, uint64(i))), &harm{})
			peak := float32(0)
			for _, v := range x[int(p.StartS*audioRate):int(p.EndS*audioRate)] {
				peak = max(peak, v, -v)
			}
			p.Size = between(rng, 1.5, 6) // dB over the top
			top := 0.
			if kind == catalog.FlatTop {
				top = between(rng, -14, -4)
				h.ceiling = math.Pow(10, top/20)
			}
			h.boostDB = top + p.Size - 20*math.Log10(float64(peak))
			if h.boostDB < 0 { // already louder: it is flat from lower on
				h.boostDB, h.ceiling = 0, float64(peak)*math.Pow(10, -p.Size/20)
			}
		case catalog.Dead:
			h.silent = [2]int{0, n.frames}
		case catalog.WentSilent:
			// In a song, not the last half minute of the night.
			song = n.played[rng.IntN(len(n.played)-1)]
			p.StartS = song.StartS + between(rng, 0.3, 0.7)*(song.EndS-song.StartS)
			h.silent = [2]int{int(p.StartS * audioRate), n.frames}
		case catalog.Dropout:
			x := n.heard(&stage[i], rand.New(rand.NewPCG(n.seed, uint64(i))), &harm{})
			at := loudAt(rng, x, song)
			long := int(between(rng, 0.002, 0.08) * audioRate)
			h.zeros = [][2]int{{at, at + long}}
			p.StartS, p.EndS = float64(at)/audioRate, float64(at+long)/audioRate
		case catalog.DCOffset:
			h.offset = math.Pow(10, between(rng, -43, -22)/20)
			if rng.IntN(2) == 0 {
				h.offset = -h.offset
			}
		case catalog.Crackle:
			p.StartS = between(rng, 5, whole-30)
			p.EndS = p.StartS + between(rng, 4, 25)
			from, to := int(p.StartS*audioRate), int(p.EndS*audioRate)
			h.cracks = cracked(rng, n.frames, from, to)
			if rng.IntN(2) == 0 { // the contact opens, too
				for at := from; at < to; at += int(between(rng, 0.2, 2) * audioRate) {
					for range 2 + rng.IntN(12) {
						long := int(rng.ExpFloat64() * 0.004 * audioRate)
						h.contact = append(h.contact, [2]int{at, at + long})
						at += long + int(rng.ExpFloat64()*0.02*audioRate)
					}
				}
			}
		case catalog.Hum:
			p.Size = []float64{50, 60}[rng.IntN(2)]
			level := max(-74, stage[i].target-between(rng, 18, 42))
			h.hum = humming(rng, n.frames, p.Size, level)
		case catalog.Polarity:
			h.turned = true
		case catalog.Duplicate:
			o := take(func(p *pickup) bool { return plays(p) && !p.shares(&stage[i]) })
			if o < 0 {
				delete(n.harms, i)
				continue
			}
			h.copyOf, h.copyGain, h.copyLag = o+1, 1, 0
			switch rng.IntN(3) {
			case 1:
				h.copyGain = float32(math.Pow(10, between(rng, -10, 10)/20))
			case 2:
				h.copyGain = float32(math.Pow(10, between(rng, -6, 6)/20))
				h.copyLag = rng.IntN(240)
			}
			peak := float32(0)
			for _, v := range n.heard(&stage[o], rand.New(rand.NewPCG(n.seed, uint64(o))), &harm{}) {
				peak = max(peak, v, -v)
			}
			h.copyGain = min(h.copyGain, 0.9/peak) // a copy that clips would be two faults
			p.With = o + 1
			n.harms[o] = &harm{}
		case catalog.Swapped:
			o := take(func(p *pickup) bool { return plays(p) && !(p.line && p.shares(&stage[i])) })
			if o < 0 {
				delete(n.harms, i)
				continue
			}
			p.With = o + 1
			n.harms[o] = &harm{}
		case catalog.GainChange:
			h.gainDB = between(rng, 5, 14)
			peak := float32(0)
			for _, v := range n.heard(&stage[i], rand.New(rand.NewPCG(n.seed, uint64(i))), &harm{}) {
				peak = max(peak, v, -v)
			}
			if rng.IntN(2) == 0 || 20*math.Log10(float64(peak))+h.gainDB > -1 { // it would clip
				h.gainDB = -h.gainDB
			}
			p.Size = h.gainDB
			if rng.IntN(2) == 0 {
				song = n.played[1+rng.IntN(len(n.played)-1)]
				p.StartS = song.StartS + between(rng, 0, 0.4)*(song.EndS-song.StartS)
				p.EndS = p.StartS
				h.gainFrom = int(p.StartS * audioRate)
			}
		case catalog.MissingTrack:
			h.absent = true
		case catalog.ShortTrack:
			p.StartS = whole * between(rng, 0.4, 0.9)
			h.ends = int(p.StartS * audioRate)
		}
	}
}

// loudness returns by what a wave is divided so that its loud moments have an
// RMS of 1, and its peaks at most 14 dB more.
func (x audio) loudness() float64 {
	peak := float32(0)
	for _, v := range x {
		peak = max(peak, v, -v)
	}
	return max(x.level(), float64(peak)/5)
}

// settle sets the gains as an engineer would on the first night: peaks at
// -6 dBFS at most.
func (n *brokenNight) settle(stage []pickup) {
	sideBySide(len(stage), func(i int) {
		peak := float32(0)
		for _, v := range n.heard(&stage[i], rand.New(rand.NewPCG(n.seed, uint64(i))), &harm{}) {
			peak = max(peak, v, -v)
		}
		if over := 20*math.Log10(float64(peak)) + 6; over > 0 {
			stage[i].target -= over
		}
	})
}

// inaudible is what no recorder hears, -300 dBFS: what rings on in silence
// would end in numbers that a processor takes a hundred times as long for.
const inaudible = 1e-15

// blockDC takes out what lies below 4 Hz.
func (x audio) blockDC() {
	var last, y float32
	for i, v := range x {
		y = v - last + 0.9995*y
		last = v
		if max(y, -y) < inaudible {
			y = 0
		}
		x[i] = y
	}
}

// busy returns the share of the blocks that hold something.
func (x audio) busy() float64 {
	loud, all := 0, 0
	level := x.level()
	for at := 0; at+4800 <= len(x); at += 4800 {
		sum := 0.0
		for _, v := range x[at : at+4800] {
			sum += float64(v) * float64(v)
		}
		all++
		if sum/4800 > 1e-3*level*level {
			loud++
		}
	}
	if all == 0 || level == 0 {
		return 0
	}
	return float64(loud) / float64(all)
}

// loudAt returns a frame in a take where a wave is loud.
func loudAt(rng *rand.Rand, x audio, t Played) int {
	from, to := int(t.StartS*audioRate), int(t.EndS*audioRate)
	best, top := from, float32(0)
	for range 30 {
		at := from + rng.IntN(to-from-4800)
		sum := float32(0)
		for _, v := range x[at : at+480] {
			sum += v * v
		}
		if sum > top {
			best, top = at, sum
		}
	}
	return best
}

// trackNames names the files of a night; of exchanged inputs each carries the
// other's name.
func (n *brokenNight) trackNames(stage []pickup) []string {
	names := make([]string, len(stage))
	of := make([]string, len(stage))
	for i, p := range stage {
		of[i] = p.name
	}
	for i, h := range n.harms {
		if h.planted.Kind == catalog.Swapped {
			k := h.planted.With - 1
			of[i], of[k] = of[k], of[i]
		}
	}
	for i := range stage {
		names[i] = fmt.Sprintf("%02d %s", i+1, of[i])
	}
	return names
}
