package evaluate

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Goal is a goal of the evaluation, and whether the nights reach it.
type Goal struct {
	Want string
	Met  bool
	Got  string
}

func (g Goal) String() string {
	met := "missed"
	if g.Met {
		met = "met"
	}
	return fmt.Sprintf("%-6s  %s: %s", met, g.Want, g.Got)
}

const (
	wantListed   = 0.98 // of titles, with a set list
	wantUnlisted = 0.95 // without one, earlier nights confirmed
	wantMiddle   = 1.5  // s, median error of starts and ends
	wantEdges    = 4    // s, error of 95 in 100 of them
	wantSure     = 0.97 // of the takes with a confidence of 0.9 and more
	wantFaults   = 0.97 // of each kind: share found, and share of findings that are true
	wantFalse    = 1    // false findings a night of 64 tracks
)

// Goals returns how far the goals of song finding were reached.
func (r *SongsReport) Goals() []Goal {
	var goals []Goal
	titles := func(what string, t *Tally, want float64) {
		goals = append(goals, shareGoal(what, t.Titles, want))
	}
	titles("titles right, set list, earlier nights confirmed", &r.Confirmed, wantListed)
	titles("titles right, set list, the first night confirmed", &r.One, wantListed)
	titles("titles right, set list, nothing confirmed, later nights known", &r.Again, wantListed)
	titles("titles right, set list, nothing confirmed", &r.Listed, wantListed)
	titles("titles right, set list, first night", &r.First, wantListed)
	titles("titles right, no set list, earlier nights confirmed", &r.Unlisted, wantUnlisted)
	for _, row := range []struct {
		what string
		t    *Tally
	}{{"set list", &r.Confirmed}, {"no set list", &r.Unlisted}} {
		for _, edge := range []struct {
			what   string
			errors []float64
		}{{"starts", row.t.Starts}, {"ends", row.t.Ends}} {
			if len(edge.errors) == 0 {
				continue
			}
			middle, most := within(edge.errors, 50), within(edge.errors, 95)
			goals = append(goals, Goal{
				Want: fmt.Sprintf("%s, %s, earlier nights confirmed, within %.1f s (median) and %d s (95 of 100)", edge.what, row.what, wantMiddle, wantEdges),
				Met:  middle <= wantMiddle && most <= wantEdges, Got: fmt.Sprintf("%.2f and %.2f s", middle, most),
			})
		}
	}
	var sure Share
	for _, t := range []*Tally{&r.First, &r.Listed, &r.One, &r.Confirmed, &r.Unlisted} {
		sure.Hits, sure.Of = sure.Hits+t.Sure.Hits, sure.Of+t.Sure.Of
	}
	goals = append(goals, shareGoal("takes with a confidence of 0.9 and more, right", sure, wantSure))
	if r.Talk.Nights > 0 {
		goals = append(goals, Goal{Want: "no takes in nights without a song", Met: r.Talk.Invented == 0,
			Got: fmt.Sprintf("%d takes in %d nights", r.Talk.Invented, r.Talk.Nights)})
	}
	return goals
}

// Goals returns how far the goals of judging channels were reached.
func (r *FaultsReport) Goals() []Goal {
	var found, held []string
	for _, kind := range slices.Sorted(maps.Keys(r.Kinds)) {
		k := r.Kinds[kind]
		if !k.Found.reaches(wantFaults) {
			found = append(found, fmt.Sprintf("%s %d of %d", kind, k.Found.Hits, k.Found.Of))
		}
		if !k.True.reaches(wantFaults) {
			held = append(held, fmt.Sprintf("%s %d of %d", kind, k.True.Hits, k.True.Of))
		}
	}
	rate := float64(r.False) / float64(r.Tracks) * 64
	return []Goal{
		kindsGoal("of each kind, found", found),
		kindsGoal("of each kind's findings, true", held),
		{Want: fmt.Sprintf("fewer than %d false findings a night of 64 tracks", wantFalse), Met: rate < wantFalse, Got: fmt.Sprintf("%.2f", rate)},
	}
}

// reaches reports whether a share is as large as wanted; an empty share passes.
func (s Share) reaches(want float64) bool {
	return s.Of == 0 || float64(s.Hits) >= want*float64(s.Of)
}

func shareGoal(what string, s Share, want float64) Goal {
	return Goal{Want: fmt.Sprintf("%s, %.0f %%", what, 100*want), Met: s.reaches(want), Got: s.String()}
}

func kindsGoal(what string, below []string) Goal {
	g := Goal{Want: fmt.Sprintf("%s, %.0f %%", what, 100*wantFaults), Met: len(below) == 0, Got: "every kind"}
	if !g.Met {
		g.Got = "below: " + strings.Join(below, ", ")
	}
	return g
}
