package catalog

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// mostNear is the largest number of similar names that an error offers.
const mostNear = 3

// mostListed is the number of known names up to which an error lists all of them
// if none is similar.
const mostListed = 16

// Nearest returns the known names that a mistyped name may stand for, nearest
// first and three at most. Names are compared by [Key]. A name is near if at
// most a third of the longer name's letters differ (one letter at least), or if
// one name begins with the other.
func Nearest(name string, known []string) []string {
	type candidate struct {
		name     string
		distance int
	}
	key := Key(name)
	var found []candidate
	seen := map[string]bool{}
	for _, k := range known {
		if k == "" || seen[k] {
			continue
		}
		seen[k] = true
		other := Key(k)
		d := editDistance(key, other)
		longer := max(utf8.RuneCountInString(key), utf8.RuneCountInString(other))
		if d <= max(1, (longer+1)/3) || key != "" && (strings.HasPrefix(other, key) || strings.HasPrefix(key, other)) {
			found = append(found, candidate{k, d})
		}
	}
	slices.SortStableFunc(found, func(a, b candidate) int { return a.distance - b.distance })
	names := []string{}
	for _, c := range found[:min(len(found), mostNear)] {
		names = append(names, c.name)
	}
	return names
}

// editDistance returns the number of letters to insert, delete, replace or
// exchange with their neighbour to turn one word into the other (the optimal
// string alignment distance).
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last, now := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		now[0] = i
		for j := 1; j <= len(y); j++ {
			replace := last[j-1]
			if x[i-1] != y[j-1] {
				replace++
			}
			now[j] = min(last[j]+1, now[j-1]+1, replace)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		before, last, now = last, now, before
	}
	return last[len(y)]
}

// NotFoundError reports that a name is not in the catalog.
type NotFoundError struct {
	Kind string   // "show", "song", "desk" …
	Name string   // "" if the newest was requested and there is none
	Near []string // names that it may stand for, nearest first
	Try  string   // what to do about it; may be empty
}

// NotFound returns the error for a name that is not among the known ones, with
// similar names.
func NotFound(kind, name string, known []string, try string) *NotFoundError {
	e := &NotFoundError{Kind: kind, Name: name, Near: Nearest(name, known), Try: try}
	if len(e.Near) > 0 {
		return e
	}
	listed := []string{}
	for _, k := range known {
		if k != "" && !slices.Contains(listed, k) {
			listed = append(listed, k)
		}
	}
	if n := len(listed); n > 0 && n <= mostListed {
		if e.Try != "" {
			e.Try = "; " + e.Try
		}
		e.Try = "known: " + strings.Join(listed, ", ") + e.Try
	}
	return e
}

func (e *NotFoundError) Error() string {
	if e.Name == "" {
		return fmt.Sprintf("there is no %s in the catalog yet", e.Kind)
	}
	return fmt.Sprintf("no %s %q in the catalog", e.Kind, e.Name)
}

// Hint offers the similar names and the next step; it may be "".
func (e *NotFoundError) Hint() string { return strings.TrimSuffix(didYouMean(e.Near)+e.Try, " ") }

// didYouMean returns the question whether one of some names was meant; "" for
// none.
func didYouMean(near []string) string {
	if len(near) == 0 {
		return ""
	}
	quoted := make([]string, len(near))
	for i, n := range near {
		quoted[i] = fmt.Sprintf("%q", n)
	}
	text := quoted[len(quoted)-1]
	if len(quoted) > 1 {
		text = strings.Join(quoted[:len(quoted)-1], ", ") + " or " + text
	}
	return "did you mean " + text + "? "
}
