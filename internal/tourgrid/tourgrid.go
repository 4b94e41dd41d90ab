// Package tourgrid makes the grid of a tour, songs × nights: which songs were
// played on which night, how long, whether the take has findings, and the verdict
// on each night. Start with [Load]. It reads the catalog only; no audio is read.
package tourgrid

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
	Found    State = "reported"  // a take with findings within it that are not accepted
	AsNight  State = "as_night"  // a take with only findings that last all night
	NotFound State = "not_found" // on the set list, no take
	None     State = ""          // not known to have been played
)

// Grid has a row for each song and a column for each night.
type Grid struct {
	Nights []Night `json:"nights"` // in order of date
	Songs  []Song  `json:"songs"`  // in order of title; songs that were played or are on a set list
}

// Night is a column.
type Night struct {
	catalog.Show
	verdict.Verdict
	LengthS float64 `json:"length_s"` // from the first frame of the reference recording to the end of the longest one
	Open    Counts  `json:"open"`
}

// Counts are open findings, counted by severity.
type Counts struct {
	Faults   int `json:"faults"`
	Warnings int `json:"warnings"`
	Notes    int `json:"notes"`
}

// Count counts one more finding.
func (c *Counts) Count(s catalog.Severity) {
	switch s {
	case catalog.FaultSeverity:
		c.Faults++
	case catalog.WarningSeverity:
		c.Warnings++
	default:
		c.Notes++
	}
}

// Plus adds up two counts.
func (c Counts) Plus(o Counts) Counts {
	return Counts{c.Faults + o.Faults, c.Warnings + o.Warnings, c.Notes + o.Notes}
}

// Worst is the most urgent severity that was counted; "" for none.
func (c Counts) Worst() catalog.Severity {
	switch {
	case c.Faults > 0:
		return catalog.FaultSeverity
	case c.Warnings > 0:
		return catalog.WarningSeverity
	case c.Notes > 0:
		return catalog.NoteSeverity
	}
	return ""
}

// Sum is how many findings were counted.
func (c Counts) Sum() int { return c.Faults + c.Warnings + c.Notes }

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
	Open     Counts         `json:"open"` // findings that touch the takes, but for those that last all night
	AllNight Counts         `json:"all_night"`
}

// nightLong is the part of its recording that a finding covers at least if it says
// something about the night and nothing about a song: a track that is missing, a
// polarity (chosen: a last song after the encore's pause may be cut off).
const nightLong = 0.9

// Load returns the grid of the tour in the catalog. working says that a refresh is running: see
// [verdict.Load].
func Load(ctx context.Context, store *catalog.Store, working bool) (Grid, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return Grid{}, err
	}
	songs, err := store.Songs(ctx)
	if err != nil {
		return Grid{}, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return Grid{}, err
	}
	findings, err := store.OpenSpans(ctx, "")
	if err != nil {
		return Grid{}, err
	}
	verdicts, err := verdict.LoadWith(ctx, store, shows, findings, working)
	if err != nil {
		return Grid{}, err
	}
	wanted, err := store.SetLists(ctx)
	if err != nil {
		return Grid{}, err
	}
	g := Grid{Nights: make([]Night, 0, len(shows)), Songs: make([]Song, 0, len(songs))}
	column, row := map[catalog.ShowKey]int{}, map[catalog.SongID]int{}
	byRecording, allNight := byLength(shows, findings)
	for i, s := range shows {
		column[s.Key] = i
		n := Night{Show: s, Verdict: verdicts[i].Verdict}
		for _, rec := range s.Recordings {
			n.LengthS = max(n.LengthS, rec.OffsetS+rec.Seconds(rec.Frames))
			for _, f := range slices.Concat(byRecording[rec.ID], allNight[rec.ID]) {
				n.Open.Count(f.Severity)
			}
		}
		g.Nights = append(g.Nights, n)
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
		c.Open = c.Open.Plus(Touching(byRecording[t.RecordingID], t.StartFrame, t.EndFrame))
		c.AllNight = c.AllNight.Plus(Touching(allNight[t.RecordingID], t.StartFrame, t.EndFrame))
		switch {
		case c.Open.Sum() > 0:
			c.State = Found
		case c.AllNight.Sum() > 0:
			c.State = AsNight
		}
	}
	// A title without a night would be an empty row.
	g.Songs = slices.DeleteFunc(g.Songs, func(s Song) bool {
		return !slices.ContainsFunc(s.Cells, func(c Cell) bool { return c.State != None })
	})
	return g, nil
}

// byLength groups findings by recording: those of a part of the night, and those
// that last nearly all of it.
func byLength(shows []catalog.Show, findings []catalog.OpenSpan) (parts, allNight map[catalog.RecordingID][]catalog.OpenSpan) {
	parts, allNight = map[catalog.RecordingID][]catalog.OpenSpan{}, map[catalog.RecordingID][]catalog.OpenSpan{}
	frames := map[catalog.RecordingID]int64{}
	for _, s := range shows {
		for _, rec := range s.Recordings {
			frames[rec.ID] = rec.Frames
		}
	}
	for _, f := range findings {
		into := parts
		if float64(f.End-f.Start) >= nightLong*float64(frames[f.Recording]) {
			into = allNight
		}
		into[f.Recording] = append(into[f.Recording], f)
	}
	return parts, allNight
}

// Touching counts the findings that touch a span of their recording.
func Touching(findings []catalog.OpenSpan, start, end int64) Counts {
	var c Counts
	for _, f := range findings {
		if f.Start < end && max(f.End, f.Start+1) > start {
			c.Count(f.Severity)
		}
	}
	return c
}
