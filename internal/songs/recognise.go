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
	titles [][]likenessSum // by title: one for each reference
	doubt  []float64       // by title: the probability that no reference is of this song
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
	// neighbours are the titles that a wrong one may have been mistaken for.
	neighbours = 3
)

// knows tells whether there is anything to compare a title with.
func (r recognition) knows(title int) bool {
	return title < len(r.titles) && len(r.titles[title]) > 0
}

// says weighs that blocks from … to-1 are a title: the logarithm of how much
// likelier they sound like this if they are than if they are not.
func (r recognition) says(title, from, to int) float64 {
	like, seconds := r.like(title, from, to)
	other := 0.0 // what else it might be
	for t := range r.titles {
		if t != title {
			l, _ := r.like(t, from, to)
			other = max(other, l)
		}
	}
	w := likeSlope * (like - evenLike)
	if other > 0 {
		w = w/2 + marginSlope*(like-other-evenMargin)
	}
	w = max(-mostTold, min(mostTold, w*seconds/(seconds+soundS)))
	// Who sounds like a take of this title is of this title if that take was;
	// if it was not, it was most likely one of a few neighbours on the list.
	doubt := max(leastDoubt, r.doubt[title])
	return max(math.Log(doubt), min(math.Log(neighbours*(1-doubt)/doubt), w))
}

// like returns the mean likeness to a title's best reference, and over how many
// seconds.
func (r recognition) like(title, from, to int) (like, seconds float64) {
	first, last := from/meter.BlocksPerSecond, (to+meter.BlocksPerSecond-1)/meter.BlocksPerSecond
	for _, sum := range r.titles[title] {
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

// leastTrust is the trust from which a take may stand for its song on its own.
// One that was known by its sound alone may too, if it was clearly known.
const leastTrust = 0.15

// mostReferences is how many takes of a song a night is compared with.
const mostReferences = 3

// chosen is a take that stands for its song.
type chosen struct {
	catalog.Take
	trust float64 // see trust
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
		c := chosen{t, trust(t, known)}
		if c.trust >= leastTrust || t.Confidence >= 0.9 {
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
func apart(a, b catalog.Date) int {
	day := func(d catalog.Date) int {
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
			r := reference{key: key, title: t.Song, doubt: 1 - t.trust, person: t.FoundBy == catalog.ByPerson, plays: b[from:to]}
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
	n.music = n.partByTitle(n.music)
	n.joinByCourse(n.music)
	return nil
}

// leastReferenceS is the length below which a take tells nothing about its
// song: a false start that somebody kept.
const leastReferenceS = 20

// recognition returns what the sound says about some titles.
func (n *night) recognition(titles []wanted) recognition {
	r := recognition{titles: make([][]likenessSum, len(titles)), doubt: make([]float64, len(titles))}
	for t := range titles {
		key := catalog.Key(titles[t].title)
		r.doubt[t] = 1
		for i, ref := range n.refs {
			if ref.key != key {
				continue
			}
			sum := make(likenessSum, len(n.likes[i].like)+1)
			for k, v := range n.likes[i].like {
				sum[k+1] = sum[k] + float64(v)
			}
			r.titles[t] = append(r.titles[t], sum)
			r.doubt[t] *= ref.doubt
		}
	}
	return r
}
