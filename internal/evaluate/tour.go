package evaluate

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
)

// tour is a band's tour: the same songs and the same stage, night after night.
type tour struct {
	setup  setup
	nights []*night
}

// material is what the tours of a half are made of.
type material struct {
	half   Half
	songs  []song
	speech []stem
	render renderer
	noodle []*performance // tuning, noodling, line check
}

func newMaterial(ctx context.Context, half Half) (*material, error) {
	m := &material{half: half}
	var err error
	if m.songs, err = songsOf(half); err != nil {
		return nil, err
	}
	if m.speech, err = speechOf(half); err != nil {
		return nil, err
	}
	if m.render, err = newRenderer(half); err != nil {
		return nil, err
	}
	m.noodle, err = m.noodles(ctx)
	return m, err
}

// noodles renders what musicians play between songs: strings tuned one after the
// other, a few aimless notes, strokes on a drum that is adjusted.
func (m *material) noodles(ctx context.Context) ([]*performance, error) {
	rng := rand.New(rand.NewPCG(77, uint64(m.half)))
	var all []*performance
	strings := map[int][]uint8{guitar1: {40, 45, 50, 55, 59, 64}, guitar2: {40, 45, 50, 55, 59, 64}, bass: {28, 33, 38, 43}}
	programs := map[int]uint8{guitar1: 27, guitar2: 29, bass: 33, keys1: 4, lead: 65}
	for i := range 40 {
		sc := score{}
		at := 0.0
		s := []int{guitar1, guitar2, bass, keys1, lead, kick, snare, toms}[i%8]
		add := func(key uint8, dur float64, vel float64) {
			ch := uint8(0)
			if s <= cymbals {
				ch = drumChannel
			}
			sc.notes[s] = append(sc.notes[s], note{at: at, dur: dur, channel: ch, key: key, vel: uint8(vel)})
			sc.offS = at + dur
		}
		if p, ok := programs[s]; ok {
			sc.controls[s] = []control{{msg: []byte{0xc0, p}}}
		}
		switch open, tuned := strings[s]; {
		case s <= cymbals:
			key := map[int]uint8{kick: 36, snare: 38, toms: 45}[s]
			for range 3 + rng.IntN(12) {
				add(key, 0.2, between(rng, 60, 110))
				at += between(rng, 0.4, 1.2)
			}
		case tuned && i%16 < 8:
			for _, key := range open {
				for range 1 + rng.IntN(3) {
					add(key, 1, between(rng, 40, 80))
					at += between(rng, 0.5, 1.5)
				}
			}
		default:
			root := uint8(50 + rng.IntN(12))
			if s == bass {
				root -= 20
			}
			for range 6 + rng.IntN(20) {
				add(root+[]uint8{0, 3, 5, 7, 10, 12}[rng.IntN(6)], 0.3, between(rng, 50, 100))
				at += []float64{0.15, 0.3, 0.3, 0.6}[rng.IntN(4)]
			}
		}
		p, err := m.render.cached(ctx, fmt.Append(nil, "noodle ", m.half, i), func() score { return sc })
		if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	return all, nil
}

// newTour makes a tour of some nights. Its songs are drawn from the half's.
func (m *material) newTour(ctx context.Context, seed uint64, nights int) (*tour, error) {
	rng := rand.New(rand.NewPCG(seed, 1000+uint64(m.half)))
	t := &tour{setup: newSetup(rng)}
	order := rng.Perm(len(m.songs))
	pool := order[:min(len(order), 20)]
	guests := order[len(pool):]
	usual := slices.Clone(pool[:12])
	rest := slices.Clone(pool[12:])
	for range nights {
		set := slices.Clone(usual)
		for range rng.IntN(3) { // from night to night some songs are replaced
			i, k := rng.IntN(len(set)), rng.IntN(len(rest))
			set[i], rest[k] = rest[k], set[i]
		}
		for range rng.IntN(3) { // and some exchange positions
			i, k := rng.IntN(len(set)), rng.IntN(len(set))
			set[i], set[k] = set[k], set[i]
		}
		usual = slices.Clone(set)
		n, err := m.newNight(ctx, rng, set, rest, guests)
		if err != nil {
			return nil, err
		}
		t.nights = append(t.nights, n)
	}
	t.setup.balance(rng, t.nights)
	return t, nil
}

// How often a band departs from its list, as a share of the nights.
const (
	unplayedShare = 0.3  // a song is not played
	swappedShare  = 0.3  // two change places
	extraShare    = 0.3  // one is played that is not on the list
	twiceShare    = 0.15 // one is played twice
)

// newNight plays a set, with departures from its list.
func (m *material) newNight(ctx context.Context, rng *rand.Rand, set, rest, guests []int) (*night, error) {
	n := &night{seed: rng.Uint64()}
	for _, i := range set {
		n.list = append(n.list, m.songs[i].title)
	}
	played := depart(rng, set, append(slices.Clone(rest), guests...))
	at := between(rng, 5, 60) // seconds before the show
	if rng.Float64() < 0.4 {
		if err := m.houseMusic(ctx, rng, n, at, -8); err != nil {
			return nil, err
		}
	}
	for range rng.IntN(4) {
		at = m.fill(rng, n, at) + between(rng, 1, 10)
	}
	n.crowd = append(n.crowd, swell{at, between(rng, 8, 20), power(between(rng, -30, -20))})
	at += between(rng, 3, 10)
	segue := false
	for i, k := range played {
		s := m.songs[k]
		t := newTake(rng, s)
		if !segue && rng.Float64() < 0.05 {
			broken := t
			broken.stopS = between(rng, 3, 14)
			p, err := m.render.render(ctx, s, broken)
			if err != nil {
				return nil, err
			}
			at = n.play(p, at) + p.EndS + between(rng, 2, 12)
		}
		t.countIn = t.countIn && !segue
		p, err := m.render.render(ctx, s, t)
		if err != nil {
			return nil, err
		}
		if segue { // its first note begins where the last song's last one ends
			at -= p.StartS
		}
		zero := n.play(p, at)
		at = zero + p.EndS
		n.played = append(n.played, Played{Song: s.title, StartS: zero + p.StartS, EndS: at})
		if segue = i+1 < len(played) && rng.Float64() < 0.08; segue {
			at += between(rng, -0.3, 0.3)
			continue
		}
		gap := between(rng, 4, 30)
		if i == len(played)-3 && rng.Float64() < 0.6 {
			gap = between(rng, 60, 150) // before the encore
		}
		n.crowd = append(n.crowd, swell{at - 0.5, min(gap, between(rng, 4, 12)), power(between(rng, -32, -18))})
		end := at + gap
		at += between(rng, 1, 4)
		for at < end-4 {
			at = m.fill(rng, n, at) + between(rng, 0.5, 6)
		}
		at = max(at, end)
	}
	n.crowd = append(n.crowd, swell{at, 25, power(between(rng, -24, -16))})
	n.lengthS = at + between(rng, 20, 60)
	return n, nil
}

// depart returns the songs that the band plays from a set list: one may be left
// out, two may swap, one of extra may be added and one played twice.
func depart(rng *rand.Rand, set, extra []int) []int {
	played := slices.Clone(set)
	if rng.Float64() < unplayedShare {
		i := rng.IntN(len(played))
		played = slices.Delete(played, i, i+1)
	}
	if rng.Float64() < swappedShare {
		i := rng.IntN(len(played) - 1)
		played[i], played[i+1] = played[i+1], played[i]
	}
	if rng.Float64() < extraShare { // a known song, or a guest's
		if len(extra) > 0 {
			played = slices.Insert(played, rng.IntN(len(played)+1), extra[rng.IntN(len(extra))])
		}
	}
	if rng.Float64() < twiceShare {
		i := rng.IntN(len(played))
		played = slices.Insert(played, i, played[i])
	}
	return played
}

// newTalk makes a night without a song: talk, tuning, a line check, applause,
// music from the house.
func (m *material) newTalk(ctx context.Context, seed uint64) (*tour, error) {
	rng := rand.New(rand.NewPCG(seed, 2000+uint64(m.half)))
	n := &night{seed: rng.Uint64(), lengthS: between(rng, 600, 1200)}
	for at := between(rng, 5, 20); at < n.lengthS-60; at += between(rng, 2, 20) {
		switch {
		case rng.Float64() < 0.05:
			if err := m.houseMusic(ctx, rng, n, at, 0); err != nil {
				return nil, err
			}
		case rng.Float64() < 0.1:
			n.crowd = append(n.crowd, swell{at, between(rng, 4, 15), power(between(rng, -32, -18))})
		}
		at = m.fill(rng, n, at)
	}
	t := &tour{setup: newSetup(rng), nights: []*night{n}}
	t.setup.balance(rng, t.nights)
	return t, nil
}

// play places a performance at a time, rounded to the next block, and returns
// where its time 0 is.
func (n *night) play(p *performance, at float64) float64 {
	// The stem's snapshots must coincide with the night's.
	block := int(at/blockS/hopBlocks) * hopBlocks
	n.sounds = append(n.sounds, sound{at: block, stems: p.Stems, gain: 1})
	return float64(block) * blockS
}

// fill fills a pause with talk, with playing that is no song, or with both at
// once. It returns when that ends.
func (m *material) fill(rng *rand.Rand, n *night, at float64) float64 {
	switch rng.IntN(4) {
	case 0:
		return m.fuss(rng, n, at)
	case 1:
		return max(m.fuss(rng, n, at), m.talk(rng, n, at+1))
	default:
		return m.talk(rng, n, at)
	}
}

func (m *material) talk(rng *rand.Rand, n *night, at float64) float64 {
	gain := power(between(rng, -14, -4))
	for range 1 + rng.IntN(5) {
		s := m.speech[rng.IntN(len(m.speech))]
		n.sounds = append(n.sounds, sound{at: int(at / blockS), stems: []stem{s}, gain: gain})
		at += float64(len(s.Level))*blockS + between(rng, 0, 0.8)
	}
	return at
}

func (m *material) fuss(rng *rand.Rand, n *night, at float64) float64 {
	p := m.noodle[rng.IntN(len(m.noodle))]
	n.sounds = append(n.sounds, sound{at: int(at / blockS), stems: p.Stems, gain: power(between(rng, -12, 0))})
	return at + p.EndS
}

// houseMusic plays a record over the PA: at the audience microphones it is 20 dB
// softer to 20 dB louder than the band.
func (m *material) houseMusic(ctx context.Context, rng *rand.Rand, n *night, at, loudest float64) error {
	s := m.songs[rng.IntN(len(m.songs))]
	p, err := m.render.render(ctx, s, newTake(rng, s))
	if err != nil {
		return err
	}
	gain := power(between(rng, -20, loudest)) * power(workingDB) / max(1e-9, p.loud())
	n.sounds = append(n.sounds, sound{at: int(at / blockS), stems: p.Stems, gain: gain, house: true})
	return nil
}

// loud returns the mean square of a performance's loudest tenth.
func (p *performance) loud() float64 {
	sum := make([]float64, int(p.LengthS/blockS))
	for _, s := range p.Stems {
		for i := range sum {
			if i < len(s.Level) {
				sum[i] += float64(s.Level[i])
			}
		}
	}
	slices.Sort(sum)
	return sum[len(sum)*9/10]
}
