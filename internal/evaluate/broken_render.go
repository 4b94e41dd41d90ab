package evaluate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// render makes the samples of a track. A fault's own sounds are made louder
// before bleed is computed.
func (n *brokenNight) render(setup []pickup, track int, rng *rand.Rand) audio {
	p := &setup[track]
	h := n.harms[track]
	if h == nil {
		h = &harm{}
	}
	x := n.heard(p, rng, h)
	if h.copyOf > 0 {
		other := n.unbroken(&setup[h.copyOf-1], h.copyOf-1)
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
	keep := math.Exp(-2 * math.Pi * h.coupling / audioRate)
	var last, coupled float64
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
		if h.coupling > 0 {
			coupled = keep*coupled + (1+keep)/2*(float64(v)-last)
			last = float64(v)
			v = float32(coupled)
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

// heard returns the signal of an input on a night, by its routes. A fault may
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
	// All routes for one stretch at a time, so that it stays in the processor's
	// cache.
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

// unbroken returns the signal of a track's input without its fault.
func (n *brokenNight) unbroken(p *pickup, track int) audio {
	return n.heard(p, rand.New(rand.NewPCG(n.seed, uint64(track))), &harm{})
}

// write renders and writes all tracks, mono files named by track and channel;
// the names of exchanged inputs are exchanged.
func (n *brokenNight) write(ctx context.Context, setup []pickup, folder string, names []string) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	errs := make([]error, len(setup))
	over := make([]bool, len(setup))
	sideBySide(len(setup), func(i int) {
		h := n.harms[i]
		if h != nil && h.absent || ctx.Err() != nil {
			return
		}
		x := n.render(setup, i, rand.New(rand.NewPCG(n.seed, uint64(i))))
		over[i] = x.peak() >= 1
		if h != nil && h.ends > 0 {
			x = x[:h.ends]
		}
		errs[i] = n.file(filepath.Join(folder, names[i]+".wav"), x)
	})
	for i := range over {
		if h := n.harms[i]; over[i] && (h == nil || h.planted.Kind != catalog.Clipped) {
			n.over = append(n.over, i+1)
		}
	}
	return errors.Join(append(errs, ctx.Err())...)
}

// trackNames returns the files' names of a night; exchanged inputs carry each
// other's name.
func (n *brokenNight) trackNames(setup []pickup) []string {
	names := make([]string, len(setup))
	of := make([]string, len(setup))
	for i, p := range setup {
		of[i] = p.name
	}
	for i, h := range n.harms {
		if h.planted.Kind == catalog.Swapped {
			k := h.planted.With - 1
			of[i], of[k] = of[k], of[i]
		}
	}
	for i := range setup {
		names[i] = fmt.Sprintf("%02d %s", i+1, of[i])
	}
	return names
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
