// Package overview shows a tour at a glance: which songs were played on which
// night, how long, whether the take has findings, and the verdict on each night.
// Start with [Tour]. It reads the catalog only; no audio is read.
package overview

import (
	"context"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/verdict"
)

// State is what happened to a song on a night.
type State string

// The states of a song on a night.
const (
	Clean    State = "clean"     // a take without open findings
	Found    State = "reported"  // a take with findings that are not accepted
	NotFound State = "not_found" // on the set list, no take
	None     State = ""          // not known to have been played
)

// Glance is the tour at a glance: songs × nights.
type Glance struct {
	Nights []Night `json:"nights"` // in order of date
	Songs  []Song  `json:"songs"`  // in order of title; songs that were played or are on a set list
}

// Night is a column.
type Night struct {
	catalog.Show
	verdict.Verdict
}

// Song is a row, with a cell a night.
type Song struct {
	catalog.Song
	Cells []Cell `json:"cells"`
}

// Cell is a song on a night. If the song was played more than once, Takes counts
// its takes and the other fields describe the first.
type Cell struct {
	State    State          `json:"state"`
	Take     catalog.TakeID `json:"take"`
	Takes    int            `json:"takes"`
	LengthS  float64        `json:"length_s"`
	Findings int            `json:"findings"`
}

// Tour returns the tour at a glance. working says that a refresh is running: see
// [verdict.Load].
func Tour(ctx context.Context, store *catalog.Store, working bool) (Glance, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return Glance{}, err
	}
	songs, err := store.Songs(ctx)
	if err != nil {
		return Glance{}, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return Glance{}, err
	}
	findings, err := store.OpenSpans(ctx, "")
	if err != nil {
		return Glance{}, err
	}
	verdicts, err := verdict.LoadWith(ctx, store, shows, findings, working)
	if err != nil {
		return Glance{}, err
	}
	wanted, err := store.SetLists(ctx)
	if err != nil {
		return Glance{}, err
	}
	g := Glance{Nights: make([]Night, 0, len(shows)), Songs: make([]Song, 0, len(songs))}
	column, row := map[catalog.ShowKey]int{}, map[catalog.SongID]int{}
	byRecording := map[catalog.RecordingID][]catalog.OpenSpan{}
	for _, f := range findings {
		byRecording[f.Recording] = append(byRecording[f.Recording], f)
	}
	for i, s := range shows {
		column[s.Key] = i
		g.Nights = append(g.Nights, Night{Show: s, Verdict: verdicts[i].Verdict})
	}
	for i, s := range songs {
		row[s.ID] = i
		g.Songs = append(g.Songs, Song{Song: s, Cells: make([]Cell, len(shows))})
	}
	for _, e := range wanted {
		if r, ok := row[e.Song]; ok {
			g.Songs[r].Cells[column[e.Show]].State = NotFound
		}
	}
	for _, t := range takes {
		r, ok := row[t.SongID]
		if !ok {
			continue // made between the two reads
		}
		c := &g.Songs[r].Cells[column[t.Show]]
		c.Takes++
		if c.Takes == 1 {
			c.Take, c.LengthS, c.State = t.ID, t.EndS()-t.StartS(), Clean
		}
		c.Findings += Touching(byRecording[t.RecordingID], t.StartFrame, t.EndFrame)
		if c.Findings > 0 {
			c.State = Found
		}
	}
	// A title without a night would be an empty row.
	g.Songs = slices.DeleteFunc(g.Songs, func(s Song) bool {
		return !slices.ContainsFunc(s.Cells, func(c Cell) bool { return c.State != None })
	})
	return g, nil
}

// Touching counts the findings that touch a span of their recording.
func Touching(findings []catalog.OpenSpan, start, end int64) int {
	n := 0
	for _, f := range findings {
		if f.Start < end && max(f.End, f.Start+1) > start {
			n++
		}
	}
	return n
}
