package songs

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// recognition is what the sound of a night says about the titles.
type recognition struct {
	songs []heardSong
}

// heardSong is a song that is known by its sound.
type heardSong struct {
	takes  []likenessSum // one for each reference
	titles []float64     // the probability of each title
	none   float64       // that it has none of them
}

// likenessSum holds sums over the seconds before each.
type likenessSum []float64

const (
	// A song runs like its reference of another night with a likeness of 0.66
	// (0.50 to 0.84 for 98 in a hundred), and like that of another song with
	// 0.30 (0.04 to 0.54): measured on rendered songs, see task evaluate. Both
	// scatter by some 0.09, which makes a slope of about 40.
	evenLike  = 0.5
	likeSlope = 40
	// The right title is 0.22 (0.085 to 0.36) ahead of the next.
	evenMargin  = 0.06
	marginSlope = 25
	// mostTold bounds what sound can say against the list: a guest on the song,
	// or a rig that died.
	mostTold = 8
	// soundS is the length at which sound says half of what it says about a
	// long stretch.
	soundS = 10
	// leastDoubt is left whoever placed the references: persons err too.
	leastDoubt = 0.0005
)

// knows tells whether any song may have a title.
func (r recognition) knows(title int) bool { return r.titled(title) > 0 }

// titled returns how sure it is which song has a title.
func (r recognition) titled(title int) float64 {
	p := 0.0
	for _, s := range r.songs {
		p = max(p, s.titles[title])
	}
	return p
}

// said is what the sound of some blocks says: for each song that is known the
// logarithm of how much likelier they sound like this if they are it than if
// they are not.
type said struct {
	recognition
	weight []float64
}

// says weighs what blocks from … to-1 are.
func (r recognition) says(from, to int) said {
	w := said{r, make([]float64, len(r.songs))}
	likes := make([]float64, len(r.songs))
	seconds, best, next := 0.0, -1, 0.0 // the likest song, and the likeness of the one after
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
		other := 0.0 // what else it might be
		if i != best {
			other = max(0, likes[best])
		} else {
			other = next
		}
		v := likeSlope * (like - evenLike)
		if other > 0 {
			v = v/2 + marginSlope*(like-other-evenMargin)
		}
		w.weight[i] = max(-mostTold, min(mostTold, v*seconds/(seconds+soundS)))
	}
	return w
}

// of weighs that this is a title: over all songs, that it is this one and has
// that title, or that it is not.
func (s said) of(title int) float64 {
	sum := 0.0
	for i, song := range s.songs {
		if p := song.titles[title]; p > 0 {
			sum += math.Log1p(p * math.Expm1(s.weight[i]))
		}
	}
	return sum
}

// none weighs that this is a song without a title here.
func (s said) none() float64 {
	sum := 0.0
	for i, song := range s.songs {
		if song.none > 0 {
			sum += math.Log1p(song.none * max(0, math.Expm1(s.weight[i])))
		}
	}
	return sum
}

// like returns the mean likeness to a song's best reference, and over how many
// seconds.
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

// recogniseFrom is the confidence from which a take may stand for its song. It
// may be low: what is doubtful counts as doubtful.
const recogniseFrom = 0.3

// leastTrust is the trust from which a take may stand for its song.
const leastTrust = 0.15

// mostReferences is how many takes of a song a night is compared with.
const mostReferences = 3

// chosen is a take that stands for its song.
type chosen struct {
	catalog.Take
	titles map[string]float64 // see titlesOf
	trust  float64            // of the likeliest of them
}

// references chooses the takes that a night's songs are known by, by key of
// their title: of each song those that are most to be trusted, and of these the
// ones nearest in time.
func (n *night) references(ctx context.Context, store *catalog.Store, takes []catalog.Take, recordings map[catalog.RecordingID]catalog.Recording) (map[string][]chosen, error) {
	of := map[string][]chosen{}
	anchors := map[catalog.RecordingID][]anchor{}
	for _, t := range takes {
		own := t.Show == n.date
		if own && t.FoundBy != catalog.ByPerson || t.Confidence < recogniseFrom {
			continue
		}
		known, ok := anchors[t.RecordingID]
		if !ok {
			var err error
			if known, err = anchorsOf(ctx, store, recordings[t.RecordingID]); err != nil {
				return nil, err
			}
			anchors[t.RecordingID] = known
		}
		key := catalog.Key(t.Song)
		c := chosen{Take: t, titles: titlesOf(t, known)}
		for _, p := range c.titles {
			c.trust = max(c.trust, p)
		}
		if c.trust >= leastTrust {
			of[key] = append(of[key], c)
		}
	}
	for key, all := range of {
		slices.SortStableFunc(all, func(a, b chosen) int {
			return cmp.Or(cmp.Compare(math.Round(5*b.trust), math.Round(5*a.trust)), cmp.Compare(apart(a.Show, n.date), apart(b.Show, n.date)), cmp.Compare(a.Show, b.Show), cmp.Compare(a.StartFrame, b.StartFrame))
		})
		of[key] = all[:min(len(all), mostReferences)]
	}
	return of, nil
}

// apart returns how many days two shows are apart.
func apart(a, b catalog.ShowKey) int {
	day := func(d catalog.ShowKey) int {
		t, err := time.Parse(time.DateOnly, string(d))
		if err != nil {
			return 0
		}
		return int(t.Unix() / (24 * 60 * 60))
	}
	x := day(a) - day(b)
	return max(x, -x)
}

// recognise compares the night with the references of its titles.
func (n *night) recognise(ctx context.Context, store *catalog.Store, takes []catalog.Take) error {
	band, err := bandOf(ctx, store, n.ref)
	if err != nil || band == nil {
		return err
	}
	n.band = band
	n.music = n.activity.part(n.music, changes(band, n.activity.levels))
	n.joinByKey(n.music)
	all, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return err
	}
	recordings := map[catalog.RecordingID]catalog.Recording{}
	for _, r := range all {
		recordings[r.ID] = r
	}
	bands := map[catalog.RecordingID][]chroma{n.ref.ID: band}
	var refs []reference
	chosen, err := n.references(ctx, store, takes, recordings)
	if err != nil {
		return err
	}
	loud := louder{store: store, n: n, of: map[catalog.RecordingID]loudness{n.ref.ID: n.activity.kept}, tracks: map[catalog.RecordingID][]catalog.Track{}}
	for key, of := range chosen {
		for _, t := range of {
			b, loaded := bands[t.RecordingID]
			if !loaded {
				if b, err = bandOf(ctx, store, recordings[t.RecordingID]); err != nil {
					return err
				}
				bands[t.RecordingID] = b
			}
			from, to := min(int(t.StartS()), len(b)), min(int(math.Ceil(t.EndS())), len(b))
			if to-from < leastReferenceS {
				continue
			}
			r := reference{key: key, titles: t.titles, person: t.FoundBy == catalog.ByPerson, plays: b[from:to]}
			if r.person {
				if r.loud, err = loud.as(ctx, recordings[t.RecordingID], from, to); err != nil {
					return err
				}
			}
			refs = append(refs, r)
		}
	}
	slices.SortStableFunc(refs, func(a, b reference) int { return cmp.Compare(a.key, b.key) })
	busy := make([]bool, len(band))
	for _, s := range n.music {
		for i := s.from / meter.BlocksPerSecond; i <= s.to/meter.BlocksPerSecond && i < len(busy); i++ {
			busy[i] = true
		}
	}
	n.refs = refs
	n.likes = resemble(band, busy, refs)
	n.cluster()
	n.music = n.partBySong(n.music)
	n.joinByCourse(n.music)
	return nil
}

// leastReferenceS is the length below which a take tells nothing about its
// song: a false start that somebody kept.
const leastReferenceS = 20

// recognition returns what the sound says about some titles.
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
