package songs

import (
	"context"
	"maps"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/stats"
)

// recognition holds how well each part of a night sounds like each known song.
type recognition struct {
	songs []heardSong
}

// heardSong is a song with at least one reference take.
type heardSong struct {
	takes  []likenessSum // one for each reference
	titles []float64     // the probability of each title
	none   float64       // the probability that it has none of these titles
}

// likenessSum holds sums over the seconds before each.
type likenessSum []float64

const (
	// Measured on rendered songs (task evaluate): the likeness of a song to
	// its own reference from another night is 0.66 (0.50 to 0.84 for 98 in a
	// hundred), to another song's reference 0.30 (0.04 to 0.54). Both have a
	// standard deviation of about 0.09, which gives a slope of about 40.
	evenLike  = 0.5
	likeSlope = 40
	// The right title is 0.22 (0.085 to 0.36) ahead of the next.
	evenMargin  = 0.06
	marginSlope = 25
	// mostTold limits, in ln(odds), how far the sound can outweigh the list: a
	// guest may play, or a rig may have died.
	mostTold = 8
	// soundS is the length in seconds at which the sound counts half as much
	// as over a long stretch.
	soundS = 10
	// leastDoubt is the doubt that remains whoever placed the references:
	// people err too.
	leastDoubt = 0.0005
)

// knows reports whether any song may have a title.
func (r recognition) knows(title int) bool { return r.titled(title) > 0 }

// titled returns the largest probability of a title over all songs.
func (r recognition) titled(title int) float64 {
	p := 0.0
	for _, s := range r.songs {
		p = max(p, s.titles[title])
	}
	return p
}

// soundOdds holds, for each known song, the ln of a likelihood ratio: that the
// sound of some blocks comes from this song, against that it does not.
type soundOdds struct {
	recognition
	weight []float64
}

// odds returns the likelihood ratios for blocks from to to-1.
func (r recognition) odds(from, to int) soundOdds {
	w := soundOdds{r, make([]float64, len(r.songs))}
	likes := make([]float64, len(r.songs))
	seconds, best, next := 0.0, -1, 0.0 // the best-matching song, and the second best likeness
	for i, s := range r.songs {
		l, n := s.like(from, to)
		likes[i], seconds = l, max(seconds, n)
		switch {
		case best < 0 || l > likes[best]:
			if best >= 0 {
				next = max(next, likes[best])
			}
			best = i
		default:
			next = max(next, l)
		}
	}
	for i, like := range likes {
		other := 0.0 // likeness of the best alternative
		if i != best {
			other = max(0, likes[best])
		} else {
			other = next
		}
		v := likeSlope * (like - evenLike)
		if other > 0 {
			v = float64(v/2) + float64(marginSlope*(like-other-evenMargin))
		}
		w.weight[i] = max(-mostTold, min(mostTold, v*seconds/(seconds+soundS)))
	}
	return w
}

// of returns ln of the likelihood ratio that the blocks have a title, summed
// over all songs that may have it.
func (s soundOdds) of(title int) float64 {
	sum := 0.0
	for i, song := range s.songs {
		if p := song.titles[title]; p > 0 {
			sum += stats.Log1p(p * stats.Expm1(s.weight[i]))
		}
	}
	return sum
}

// none returns ln of the likelihood ratio that the blocks are a song without
// any of the titles.
func (s soundOdds) none() float64 {
	sum := 0.0
	for i, song := range s.songs {
		if song.none > 0 {
			sum += stats.Log1p(song.none * max(0, stats.Expm1(s.weight[i])))
		}
	}
	return sum
}

// like returns the mean likeness to a song's best reference, and the number of
// seconds in the mean.
func (h heardSong) like(from, to int) (like, seconds float64) {
	first, last := from/meter.BlocksPerSecond, (to+meter.BlocksPerSecond-1)/meter.BlocksPerSecond
	for _, sum := range h.takes {
		a, b := min(first, len(sum)-1), min(last, len(sum)-1)
		if b > a {
			seconds = float64(b - a)
			like = max(like, (sum[b]-sum[a])/seconds)
		}
	}
	return like, seconds
}

// recogniseFrom is the least confidence of a take that may serve as a
// reference. It may be low, because doubtful takes count less.
const recogniseFrom = 0.3

// leastTrust is the least trust of a take that may serve as a reference.
const leastTrust = 0.15

// recognise compares the night with the takes by which its songs are recognised.
func (n *night) recognise(ctx context.Context, store *catalog.Store, known []Reference) error {
	n.lengths, n.titles = lengthsOf(known, n.show), map[string]string{}
	band, err := bandOf(ctx, store, n.ref)
	if err != nil || band == nil {
		return err
	}
	n.band = band
	n.music = n.activity.cutAtChanges(n.music, changes(band, n.activity.levels))
	n.joinByKey(n.music)
	if n.refs, err = n.load(ctx, store, known); err != nil {
		return err
	}
	busy := make([]bool, len(band))
	for _, s := range n.music {
		for i := s.from / meter.BlocksPerSecond; i <= s.to/meter.BlocksPerSecond && i < len(busy); i++ {
			busy[i] = true
		}
	}
	n.likes = resemble(band, busy, n.refs)
	n.cluster()
	n.music = n.cutAtSongs(n.music)
	n.joinAcross(n.music)
	return nil
}

// lengthsOf returns each song's usual length in blocks on other nights, by
// key. It ignores doubtful takes, because a wrong length would mislead every
// night.
func lengthsOf(known []Reference, show catalog.ShowKey) map[string]float64 {
	all := map[string][]float64{}
	for _, r := range known {
		if r.Show != show && r.Confidence >= learnFrom && r.Rate > 0 {
			key := catalog.Key(r.Song)
			all[key] = append(all[key], float64(r.End-r.Start)/float64(r.Rate)*meter.BlocksPerSecond)
		}
	}
	lengths := map[string]float64{}
	for key, l := range all {
		lengths[key] = stats.Median(l)
	}
	return lengths
}

// load reads the harmony of all reference takes, and the levels of those that
// a person placed.
func (n *night) load(ctx context.Context, store *catalog.Store, known []Reference) ([]reference, error) {
	recordings := map[catalog.ShowKey]catalog.Recording{n.show: n.ref}
	bands := map[catalog.ShowKey][]chroma{n.show: n.band}
	loud := louder{store: store, n: n, of: map[catalog.RecordingID]loudness{n.ref.ID: n.activity.kept}, tracks: map[catalog.RecordingID][]catalog.Track{}}
	var refs []reference
	for _, k := range known {
		for _, title := range slices.Sorted(maps.Keys(k.Titles)) {
			if key := catalog.Key(title); n.titles[key] == "" {
				n.titles[key] = title
			}
		}
		if _, loaded := bands[k.Show]; !loaded {
			of, err := store.Recordings(ctx, catalog.RecordingFilter{Show: k.Show})
			if err != nil {
				return nil, err
			}
			if len(of) == 0 {
				continue // deleted since the references were chosen
			}
			recordings[k.Show] = of[0]
			if bands[k.Show], err = bandOf(ctx, store, of[0]); err != nil {
				return nil, err
			}
		}
		rec, b := recordings[k.Show], bands[k.Show]
		from, to := min(int(rec.Seconds(k.Start)), len(b)), min(int(math.Ceil(rec.Seconds(k.End))), len(b))
		if to-from < leastReferenceS {
			continue
		}
		r := reference{key: catalog.Key(k.Song), titles: map[string]float64{}, person: k.Person, plays: b[from:to]}
		for title, p := range k.Titles {
			r.titles[catalog.Key(title)] += p
		}
		if r.person {
			var err error
			if r.loud, err = loud.as(ctx, rec, from, to); err != nil {
				return nil, err
			}
		}
		refs = append(refs, r)
	}
	return refs, nil
}

// leastReferenceS is the least length in seconds of a reference. A shorter take
// is a false start that a person kept.
const leastReferenceS = 20

// recognition returns how the night's sound compares with songs of the given
// titles.
func (n *night) recognition(titles []wanted) recognition {
	r := recognition{}
	for _, c := range n.clusters {
		h := heardSong{titles: make([]float64, len(titles)), none: 1}
		for t := range titles {
			h.titles[t] = c.titles[catalog.Key(titles[t].title)]
			h.none -= h.titles[t]
		}
		h.none = max(0, h.none)
		for _, i := range c.refs {
			sum := make(likenessSum, len(n.likes[i].like)+1)
			for k, v := range n.likes[i].like {
				sum[k+1] = sum[k] + float64(v)
			}
			h.takes = append(h.takes, sum)
		}
		r.songs = append(r.songs, h)
	}
	return r
}
