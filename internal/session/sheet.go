package session

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
)

// Sheet is the paper that lies beside the desk for one session.
type Sheet struct {
	Session   catalog.SessionID `json:"session"`
	Desk      string            `json:"desk"`
	CreatedAt time.Time         `json:"created_at"`
	Cautions  []string          `json:"cautions"`
	Switch    []SheetInput      `json:"switch"` // inputs to switch to playback, and back, in order
	Stay      []SheetInput      `json:"stay"`   // inputs that stay on the stage or have no source
	Questions []string          `json:"questions"`
	Order     []SheetItem       `json:"order"` // the items, in playing order

	inputs []catalog.SessionInput
}

// SheetItem is one line of the running order.
type SheetItem struct {
	Number     int             `json:"number"` // from 1
	Song       string          `json:"song"`
	Show       catalog.ShowKey `json:"show"`
	Venue      string          `json:"venue"`
	Rig        string          `json:"rig"`
	SampleRate int             `json:"sample_rate"`
	LengthS    float64         `json:"length_s"`
	Why        string          `json:"why"`
}

// SheetInput is one desk input.
type SheetInput struct {
	DeskInput int           `json:"desk_input"`
	Channel   string        `json:"channel"`
	Output    int           `json:"output"`
	Sources   []SheetSource `json:"sources"` // the usual one first; none for an input that stays
	Why       string        `json:"why"`     // for an input that stays
}

// SheetSource is what feeds a desk input in some of the items.
type SheetSource struct {
	Items  string              `json:"items"` // numbers, "1, 3", or "all"
	Status catalog.InputStatus `json:"status"`
	Rig    string              `json:"rig"`
	Track  int                 `json:"track"`
	TrimDB float64             `json:"trim_db"`
}

// Columns deals the inputs to switch out to n columns, of equal length but for the
// last: for paper, where a column has its own heading.
func (s Sheet) Columns(n int) [][]SheetInput {
	columns := [][]SheetInput{}
	for c := range slices.Chunk(s.Switch, max(1, (len(s.Switch)+n-1)/n)) {
		columns = append(columns, c)
	}
	return columns
}

// Others are the inputs that some items feed in another way than most do.
func (s Sheet) Others() []SheetInput {
	return slices.DeleteFunc(slices.Clone(s.Switch), func(in SheetInput) bool { return len(in.Sources) < 2 })
}

// NewSheet lays a session out for paper.
func NewSheet(ctx context.Context, store *catalog.Store, ses catalog.Session) (Sheet, error) {
	s := Sheet{Session: ses.ID, Desk: ses.Desk, CreatedAt: ses.CreatedAt, Cautions: cautionTexts(),
		Switch: []SheetInput{}, Stay: []SheetInput{}, Questions: Troubles(ses), Order: []SheetItem{}, inputs: ses.Inputs}
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return Sheet{}, err
	}
	venue := map[catalog.ShowKey]string{}
	for _, sh := range shows {
		venue[sh.Key] = sh.Venue
		if sh.Venue == "" {
			venue[sh.Key] = sh.Name
		}
	}
	for i, it := range ses.Items {
		s.Order = append(s.Order, SheetItem{Number: i + 1, Song: it.Song, Show: it.Show, Venue: venue[it.Show], Rig: it.Rig,
			SampleRate: it.SampleRate, LengthS: it.EndS - it.StartS, Why: it.Why})
	}
	byInput := map[int][]catalog.SessionInput{}
	numbers := []int{}
	for _, in := range ses.Inputs {
		if byInput[in.DeskInput] == nil {
			numbers = append(numbers, in.DeskInput)
		}
		byInput[in.DeskInput] = append(byInput[in.DeskInput], in)
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		row, plays := sheetInput(byInput[n])
		if plays {
			s.Switch = append(s.Switch, row)
		} else {
			s.Stay = append(s.Stay, row)
		}
	}
	return s, nil
}

// sheetInput gathers what a desk input gets over the items; the same source in
// several items is one line.
func sheetInput(all []catalog.SessionInput) (row SheetInput, plays bool) {
	row = SheetInput{DeskInput: all[0].DeskInput, Channel: all[0].Channel, Output: all[0].Output, Sources: []SheetSource{}}
	sources := []SheetSource{}
	at := [][]string{}
	reasons := []string{}
	for _, in := range all {
		src := SheetSource{Status: in.Status}
		if in.Status == catalog.Playback {
			plays = true
			src.Rig, src.Track, src.TrimDB = in.Rig, in.Track, in.TrimDB
		} else if !slices.Contains(reasons, in.Why) {
			reasons = append(reasons, in.Why)
		}
		i := slices.Index(sources, src)
		if i < 0 {
			i = len(sources)
			sources, at = append(sources, src), append(at, nil)
		}
		at[i] = append(at[i], fmt.Sprint(in.Item+1))
	}
	if !plays {
		row.Why = strings.Join(reasons, "; ")
		return row, false
	}
	usual := 0 // what feeds the input in most items
	for i := range sources {
		sources[i].Items = strings.Join(at[i], ", ")
		plays, more := sources[i].Status == catalog.Playback, len(at[i]) > len(at[usual])
		if plays && (more || sources[usual].Status != catalog.Playback) {
			usual = i
		}
	}
	if len(sources) == 1 {
		sources[0].Items = "all"
	}
	row.Sources = append(row.Sources, sources[usual])
	row.Sources = append(row.Sources, slices.Delete(sources, usual, usual+1)...)
	return row, true
}
