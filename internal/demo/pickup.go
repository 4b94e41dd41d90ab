package demo

import (
	"context"
	"math"
	"sync"
)

// The sources of sound, by index into [sources].
const (
	srcKick = iota
	srcSnare
	srcWires
	srcHat
	srcTom
	srcCrash
	srcBass
	srcGuitarL
	srcGuitarR
	srcKeys
	srcLead
	srcSecond
	srcGuest
	srcCrowdL
	srcCrowdR
	srcHallL
	srcHallR
	nSources
)

// point is a position in metres: x to the right as the audience sees it, y away
// from the audience, z up. The stage's front edge is at y = -1.
type point struct{ x, y, z float64 }

func (p point) to(q point) float64 {
	return math.Sqrt((p.x-q.x)*(p.x-q.x) + (p.y-q.y)*(p.y-q.y) + (p.z-q.z)*(p.z-q.z))
}

// source is something that sounds.
type source struct {
	at point
	// loud is the peak level at 1 m in dB; only differences matter. A silent
	// source, such as an electric piano, reaches no microphone directly.
	loud   float64
	silent bool
	// pa is the level in the public address, as a factor; 0 = not in it.
	pa     float64
	render func(s stem, rate int, sc *score, n noise)
}

func sources() [nSources]source {
	return [nSources]source{
		srcKick:    {at: point{0, 3.2, 0.3}, loud: 104, pa: 0.5, render: kickStem},
		srcSnare:   {at: point{0.35, 3.5, 0.6}, loud: 106, pa: 0.35, render: snareStem},
		srcWires:   {at: point{0.35, 3.5, 0.55}, loud: 96, render: wiresStem},
		srcHat:     {at: point{0.75, 3.5, 0.9}, loud: 93, render: hatStem},
		srcTom:     {at: point{-0.6, 3.6, 0.5}, loud: 103, pa: 0.3, render: tomStem},
		srcCrash:   {at: point{-0.3, 3.5, 1.3}, loud: 102, pa: 0.1, render: crashStem},
		srcBass:    {at: point{-2, 3.6, 0.4}, loud: 100, pa: 0.4, render: bassStem},
		srcGuitarL: {at: point{-3, 3, 0.4}, loud: 103, pa: 0.25, render: guitarLStem},
		srcGuitarR: {at: point{3, 3, 0.4}, loud: 103, pa: 0.25, render: guitarRStem},
		srcKeys:    {silent: true, pa: 0.3, render: keysStem},
		srcLead:    {at: point{0, 0, 1.6}, loud: 88, pa: 0.55, render: leadStem},
		srcSecond:  {at: point{1.8, 0.3, 1.6}, loud: 87, pa: 0.35, render: secondStem},
		srcGuest:   {at: point{-1.8, 0.3, 1.6}, loud: 87, pa: 0.35, render: guestStem},
		srcCrowdL:  {at: point{-4.5, -4, 1.5}, loud: 97, render: crowdStem},
		srcCrowdR:  {at: point{4.5, -4, 1.5}, loud: 97, render: crowdStem},
		// The room's reflections come from everywhere; they have a level at each
		// microphone instead of a position.
		srcHallL: {},
		srcHallR: {},
	}
}

// pickup is how a channel gets its sound.
type pickup struct {
	at  point
	own int // the source it is for, -1 for none
	// target is the peak in dBFS of its own source's loudest moment, at the
	// preamp gain of the first night.
	target float64
	// reject is how much less it picks up of all other sources, by its pattern
	// and its surroundings, in dB.
	reject float64
	// hall is the room's level at the microphone, on the scale of source.loud.
	hall float64
	// line is true for a cable instead of a microphone: it carries its own
	// source alone.
	line bool
}

func pickups() []pickup {
	return []pickup{
		kickIn:      {at: point{0, 3.12, 0.3}, own: srcKick, target: -8, reject: 14, hall: 78},
		snareTop:    {at: point{0.35, 3.5, 0.66}, own: srcSnare, target: -4.5, reject: 8, hall: 82},
		snareBottom: {at: point{0.35, 3.5, 0.47}, own: srcWires, target: -13, reject: 8, hall: 82},
		hat:         {at: point{0.8, 3.55, 1.05}, own: srcHat, target: -14, reject: 9, hall: 82},
		floorTom:    {at: point{-0.6, 3.6, 0.57}, own: srcTom, target: -9, reject: 8, hall: 82},
		overheadL:   {at: point{-0.7, 3.6, 2}, own: srcCrash, target: -17, hall: 86},
		overheadR:   {at: point{0.8, 3.6, 2}, own: srcCrash, target: -18, hall: 86},
		bassDI:      {own: srcBass, target: -10, line: true},
		guitarL:     {at: point{-3, 2.94, 0.4}, own: srcGuitarL, target: -9, reject: 9, hall: 82},
		guitarR:     {at: point{3, 2.94, 0.4}, own: srcGuitarR, target: -9, reject: 9, hall: 82},
		keysDI:      {own: srcKeys, target: -12, line: true},
		leadVocal:   {at: point{0, 0.05, 1.6}, own: srcLead, target: -9, reject: 6, hall: 88},
		vocal2:      {at: point{1.8, 0.35, 1.6}, own: srcSecond, target: -10, reject: 6, hall: 88},
		guestVocal:  {at: point{-1.8, 0.35, 1.6}, own: srcGuest, target: -10, reject: 6, hall: 88},
		audienceL:   {at: point{-4, -2, 2}, own: srcCrowdL, target: -16, reject: 10, hall: 94},
		audienceR:   {at: point{4, -2, 2}, own: srcCrowdR, target: -16, reject: 10, hall: 94},
		spareDI:     {own: -1, line: true},
	}
}

// feed is the way of one source into one channel.
type feed struct {
	source int
	gain   float64 // factor to full scale
	delay  int     // frames
}

// speedOfSound in m/s, at about 20 degrees.
const speedOfSound = 343

// feeds returns everything that reaches a channel's preamp input, at the given
// preamp gain. Bleed follows from the distance: level falls with 1/r, and sound
// takes its time. Only the directions are set by hand.
func (p pickup) feeds(rate int, gainDB, firstGainDB float64) []feed {
	if p.own < 0 {
		return nil
	}
	src := sources()
	gained := gainDB - firstGainDB
	if p.line {
		return []feed{{source: p.own, gain: dB(p.target + gained)}}
	}
	near := func(s source) float64 { return max(0.05, s.at.to(p.at)) }
	full := src[p.own].loud - 20*math.Log10(near(src[p.own])) - p.target
	var fs []feed
	for i, s := range src {
		level, delay := p.hall, 0
		switch {
		case s.silent:
			continue
		case i == srcHallL || i == srcHallR:
			// A microphone at one side picks up more of its own side.
			if i == srcHallL == (p.at.x > 0.5) {
				level -= 6
			}
		default:
			r := near(s)
			level = s.loud - 20*math.Log10(r)
			if i != p.own {
				level -= p.reject
			}
			delay = int(math.Round(r / speedOfSound * float64(rate)))
		}
		fs = append(fs, feed{source: i, gain: dB(level - full + gained), delay: delay})
	}
	return fs
}

// floorDBFS returns the RMS of the noise at a preamp's output at a gain; it
// rises with the gain. Full scale is 18 dBu. The equivalent input noise is that
// of a preamp alone for a cable from an instrument, and of a microphone on a
// stage full of mains cables (common practice, no source).
func (p pickup) floorDBFS(gainDB float64) float64 {
	ein := -108.0
	if p.line {
		ein = -124
	}
	return ein + gainDB - 18
}

// converterDBFS returns the RMS of a converter's noise: a good one's own at 24
// bit, TPDF dither of one step at 16 bit, without which quiet inputs would be
// digital silence.
func converterDBFS(bits int) float64 {
	if bits > 16 {
		return -116
	}
	step := math.Ldexp(1, 1-bits)
	return 20 * math.Log10(step/math.Sqrt(6))
}

// makeStems renders everything that sounds in a show, on two goroutines.
func makeStems(ctx context.Context, sh showPlan, sc *score, rate int) ([nSources]stem, error) {
	var stems [nSources]stem
	frames := int(math.Round(sc.length * float64(rate)))
	src := sources()
	// Every player's level differs by some tenths of a dB from night to night.
	mood := func(i int) float64 { return dB(0.7 * newNoise(sh.seed, i, 77).at(0)) }

	err := parallel(ctx, nSources, func(i int) error {
		s := make(stem, frames)
		stems[i] = s
		if src[i].render == nil {
			return nil
		}
		src[i].render(s, rate, sc, newNoise(sh.seed, i))
		s.blockDC(rate)
		if i != srcCrowdL && i != srcCrowdR {
			s.normalise()
		}
		if i == srcGuitarL || i == srcGuitarR {
			s.hiss(newNoise(sh.seed, i, 99))
		}
		gain := float32(mood(i))
		if i == srcBass {
			gain *= float32(dB(sh.bassRigDB))
			if sh.bassRigDB != 0 {
				s.brighter(rate, 160, 0.8) // the new rig is brighter, too
			}
		}
		for k := range s {
			s[k] *= gain
		}
		switch i {
		case srcSnare, srcWires:
			s.louder(rate, sc.snareHard)
		case srcBass:
			s.louder(rate, sc.bassHard)
		}
		return nil
	})
	if err != nil {
		return stems, err
	}
	pa := make(stem, frames)
	for i, s := range src {
		if s.pa == 0 {
			continue
		}
		g := float32(s.pa)
		for k, x := range stems[i] {
			pa[k] += g * x
		}
	}
	err = parallel(ctx, 2, func(side int) error {
		stems[srcHallL+side] = hall(pa, rate, 0.019+0.006*float64(side), side)
		return nil
	})
	return stems, err
}

// workers is the number of goroutines that share the work: the machine that the
// tour is measured on has two cores.
const workers = 2

// parallel runs f for 0 to n-1 on some goroutines. It returns the error of the
// smallest index that has one, or ctx's.
func parallel(ctx context.Context, n int, f func(i int) error) error {
	errs := make([]error, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := range next {
				errs[i] = f(i)
			}
		})
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
