package evaluate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
)

// Tally counts how well songs were found in nights of one kind.
type Tally struct {
	Nights   int
	Titles   Share     // played takes that were found under their title
	Unknown  Share     // songs whose title cannot be known, that were given none
	Found    Share     // played songs that overlap a take, whatever its title
	Invented int       // number of takes at which nothing, or something else, was played
	Starts   []float64 // s, found minus played, of takes under the right title
	Ends     []float64
	// Sure counts the takes found with a confidence of 0.9 and more, Bins all
	// takes by tenths of confidence.
	Sure  Share
	Bins  [10]Share
	Wrong []string // the mistakes in words
}

// count compares the takes of a night with what was played. known are the titles
// that can be known.
func (t *Tally) count(date catalog.ShowKey, played []Played, takes []catalog.Take, known map[string]bool) {
	t.Nights++
	right := make([]bool, len(takes))
	for _, p := range played {
		found := -1
		for i, k := range takes {
			if overlap := min(p.EndS, k.EndS()) - max(p.StartS, k.StartS()); overlap > 0.5*(p.EndS-p.StartS) && overlap > 0.5*(k.EndS()-k.StartS()) {
				found = i
			}
		}
		t.Found.Of++
		if found >= 0 {
			t.Found.Hits++
		}
		told := found >= 0 && !strings.HasPrefix(takes[found].Song, "Song ")
		if !known[p.Song] {
			t.Unknown.Of++
			if !told {
				t.Unknown.Hits++
				if found >= 0 {
					right[found] = true
				}
			} else {
				t.wrong("%s %6.0f–%6.0f %s (unknown): found as %s, %.2f", date, p.StartS, p.EndS, p.Song, takes[found].Song, takes[found].Confidence)
			}
			continue
		}
		t.Titles.Of++
		if found < 0 || !catalog.SameName(takes[found].Song, p.Song) {
			what := "not found"
			if found >= 0 {
				what = fmt.Sprintf("found as %s, %.2f", takes[found].Song, takes[found].Confidence)
			}
			t.wrong("%s %6.0f–%6.0f %s: %s", date, p.StartS, p.EndS, p.Song, what)
			continue
		}
		t.Titles.Hits++
		right[found] = true
		k := takes[found]
		t.Starts, t.Ends = append(t.Starts, k.StartS()-p.StartS), append(t.Ends, k.EndS()-p.EndS)
		if s, e := k.StartS()-p.StartS, k.EndS()-p.EndS; math.Abs(s) > 4 || math.Abs(e) > 4 {
			t.wrong("%s %6.0f–%6.0f %s: starts %+.1f s, ends %+.1f s", date, p.StartS, p.EndS, p.Song, s, e)
		}
	}
	for i, k := range takes {
		if k.FoundBy == catalog.ByPerson {
			continue
		}
		if !right[i] {
			t.Invented++
			t.wrong("%s %6.0f–%6.0f invented: %s, %.2f", date, k.StartS(), k.EndS(), k.Song, k.Confidence)
		}
		hit := 0
		if right[i] {
			hit = 1
		}
		if k.Confidence >= 0.9 {
			t.Sure.Hits, t.Sure.Of = t.Sure.Hits+hit, t.Sure.Of+1
		}
		b := &t.Bins[min(9, int(10*k.Confidence))]
		b.Hits, b.Of = b.Hits+hit, b.Of+1
	}
}

func (t *Tally) wrong(format string, args ...any) {
	t.Wrong = append(t.Wrong, fmt.Sprintf(format, args...))
}

// within returns the magnitude that a percentage of the errors stays below.
func within(errors []float64, percent int) float64 {
	size := make([]float64, len(errors))
	for i, e := range errors {
		size[i] = math.Abs(e)
	}
	if len(size) == 0 {
		return math.NaN()
	}
	slices.Sort(size)
	return size[min(len(size)*percent/100, len(size)-1)]
}

func (t *Tally) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d nights; songs found %v; titles right %v; unknown left untitled %v; invented %d\n", t.Nights, t.Found, t.Titles, t.Unknown, t.Invented)
	fmt.Fprintf(&b, "  start within %.2f s (median) %.2f (95 %%) %.2f (all); end %.2f %.2f %.2f\n",
		within(t.Starts, 50), within(t.Starts, 95), within(t.Starts, 100), within(t.Ends, 50), within(t.Ends, 95), within(t.Ends, 100))
	fmt.Fprintf(&b, "  confidence 0.9 and more: right %v; by tenths:", t.Sure)
	for i, s := range t.Bins {
		if s.Of > 0 {
			fmt.Fprintf(&b, "  0.%d: %d/%d", i, s.Hits, s.Of)
		}
	}
	return b.String()
}
