package songs

import (
	"cmp"
	"context"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/evidence"
)

// Own is what a show's own facts imply about its songs: recordings, markers, the
// set list and a person's takes, without any other show. Other shows learn from
// Own alone, so that no show is evidence for itself.
type Own struct {
	// List holds the titles of the set list.
	List []string `json:"list"`
	// Takes are in order of start.
	Takes []OwnTake `json:"takes"`
}

// OwnTake is a take that a show's own facts placed, or that a person placed.
type OwnTake struct {
	Song       string  `json:"song"`
	Start      int64   `json:"start"` // frame of the show's reference recording
	End        int64   `json:"end"`   // first frame after the take
	Rate       int     `json:"rate"`  // of that recording, Hz
	Person     bool    `json:"person"`
	Confidence float64 `json:"confidence"` // 0 to 1
	// Titles holds the probability of each title, from everything but the take's
	// sound: a person's word, a marker, or the set list's order. The rest to 1
	// is the probability that it is none of them.
	Titles map[string]float64 `json:"titles"`
}

// trust returns the probability of the take's likeliest title.
func (t OwnTake) trust() float64 {
	p := 0.0
	for _, v := range t.Titles {
		p = max(p, v)
	}
	return p
}

// teaches reports whether the take may serve as a reference for its song on
// other nights.
func (t OwnTake) teaches() bool {
	return (t.Person || t.Confidence >= recogniseFrom) && t.trust() >= leastTrust
}

// FindOwn computes what a show's own facts imply about its songs. A show that is
// not in the catalog is *[catalog.NotFoundError].
func FindOwn(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (Own, error) {
	own := Own{List: []string{}, Takes: []OwnTake{}}
	n, err := newNight(ctx, store, show)
	if err != nil || n == nil {
		return own, err
	}
	if err := n.find(ctx, store, n.ownReferences()); err != nil {
		return own, err
	}
	for _, e := range n.list {
		own.List = append(own.List, e.Song)
	}
	for _, c := range n.found {
		own.Takes = append(own.Takes, OwnTake{Song: c.title, Start: c.start, End: c.end, Rate: n.ref.SampleRate, Person: c.by == catalog.ByPerson, Confidence: c.confidence, Titles: n.titlesOf(c)})
	}
	slices.SortFunc(own.Takes, func(a, b OwnTake) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End), cmp.Compare(a.Song, b.Song))
	})
	return own, nil
}

// ownReferences returns the takes of the night itself that a person placed: if a
// song is played twice, its first take helps to recognise the second.
func (n *night) ownReferences() []Reference {
	var refs []Reference
	for _, p := range n.persons {
		refs = append(refs, Reference{Show: n.show, OwnTake: OwnTake{Song: p.title, Start: p.start, End: p.end, Rate: n.ref.SampleRate, Person: true, Confidence: 1, Titles: n.titlesOf(p)}})
	}
	return choose(refs, n.show)
}

// Reference is a take by which a show's songs are recognised.
type Reference struct {
	Show catalog.ShowKey `json:"show"`
	OwnTake
}

const (
	// A night learns from the nearest shows whose titles are known, and from the
	// nearest shows that a person confirmed. Titles of its own set list are
	// looked up on the whole tour. The bounds limit how many nights must be
	// placed again after one new night or one correction. Chosen; no source.
	titledNear    = 8
	confirmedNear = 4
	// mostReferences is the largest number of takes of a song that a night is
	// compared with.
	mostReferences = 3
)

// References chooses the takes by which a show's songs are recognised, from each
// show's Own. The choice depends on the set of shows, never on the order in
// which they were entered.
func References(tour map[catalog.ShowKey]Own, show catalog.ShowKey) []Reference {
	var titled, confirmed []catalog.ShowKey
	for key, own := range tour {
		if key == show {
			continue
		}
		if slices.ContainsFunc(own.Takes, OwnTake.teaches) {
			titled = append(titled, key)
		}
		if slices.ContainsFunc(own.Takes, func(t OwnTake) bool { return t.Person }) {
			confirmed = append(confirmed, key)
		}
	}
	near := map[catalog.ShowKey]bool{}
	for _, key := range append(evidence.Near(titled, show, titledNear), evidence.Near(confirmed, show, confirmedNear)...) {
		near[key] = true
	}
	listed := map[string]bool{}
	for _, title := range tour[show].List {
		listed[catalog.Key(title)] = true
	}
	var refs []Reference
	for key, own := range tour {
		for _, t := range own.Takes {
			if !t.teaches() || key == show && !t.Person || key != show && !near[key] && !listed[catalog.Key(t.Song)] {
				continue
			}
			refs = append(refs, Reference{Show: key, OwnTake: t})
		}
	}
	return choose(refs, show)
}

// choose keeps the takes of each song whose titles are the most certain, and of
// these the nearest in time. The result is in order of title.
func choose(refs []Reference, show catalog.ShowKey) []Reference {
	slices.SortFunc(refs, func(a, b Reference) int {
		return cmp.Or(
			cmp.Compare(catalog.Key(a.Song), catalog.Key(b.Song)),
			cmp.Compare(math.Round(5*b.trust()), math.Round(5*a.trust())),
			cmp.Compare(evidence.DaysApart(a.Show, show), evidence.DaysApart(b.Show, show)),
			cmp.Compare(a.Show, b.Show), cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End))
	})
	chosen, of := []Reference{}, 0
	for i, r := range refs {
		if i > 0 && catalog.Key(refs[i-1].Song) != catalog.Key(r.Song) {
			of = 0
		}
		if of++; of <= mostReferences {
			chosen = append(chosen, r)
		}
	}
	return chosen
}
