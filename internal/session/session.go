// Package session decides what the desk gets this afternoon: which take of each
// song, which track on which desk input, at which trim.
//
// Start with [Build], which chooses takes and patches them to a desk's inputs,
// and [Render], which cuts the session's audio into files. [NewSheet] makes the
// paper that lies beside the desk, [Cautions] the warnings to read first.
//
// A recording holds what the desk got, preamp gain included. A trim (tonight's
// gain minus that night's) turns the recording into what tonight's preamps would
// have given; a trim of 0 leaves every sample as it was recorded.
//
// The package opens recordings read-only and writes only below
// RenderOptions.Dir. It never derives sound pressure from levels.
//
// Rendered files are RIFF or RF64 (EBU Tech 3306) with a bext chunk (EBU Tech
// 3285).
package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
)

// Request describes the session to build.
type Request struct {
	Desk string // name of the desk

	// Songs are titles or aliases, in playing order. If it is empty and Show is
	// set, the session holds every take of that night, in the order in which
	// they were played.
	Songs []string
	// Show restricts the takes to those of one night.
	Show catalog.ShowKey
	// Pick chooses among the takes of a song: "latest" (also ""), "cleanest",
	// "typical", "loudest", or a date for the last take of that night. See
	// [Picks].
	Pick string
	// SongPicks replaces Pick for single songs: SongPicks[i] is for Songs[i]; ""
	// keeps Pick.
	SongPicks []string

	// Rig names the rig to feed the desk from. "" means the recording that the
	// takes are placed on.
	Rig string

	// Only and Except name channels or groups of the input list. With Only, all
	// other channels stay on the stage. Channels in Except always stay there.
	Only, Except []string

	// Beyond says that a person means trims beyond ±catalog.AskTrimDB.
	Beyond bool
}

// RequestError reports that a session cannot be built as requested.
type RequestError struct {
	Problem string
	Try     string // what to do about it
}

func (e *RequestError) Error() string { return "session not built: " + e.Problem }

// Hint returns what to do about it.
func (e *RequestError) Hint() string { return e.Try }

// Build chooses a take of each song, patches it to the desk's inputs, stores the
// session and returns it.
//
// Every desk input ends in every item as playback, stage or missing, with the
// reason. Channels are matched by name across re-patching, never by track
// number. Problems lists what the engineer should know before relying on the
// session.
//
// A request that cannot be met is *[RequestError]; an unknown desk, song or show
// is *[catalog.NotFoundError].
func Build(ctx context.Context, store *catalog.Store, req Request) (catalog.Session, error) {
	b, err := newBuilder(ctx, store, req)
	if err != nil {
		return catalog.Session{}, err
	}
	ses := catalog.Session{Desk: b.desk.Name, Items: []catalog.SessionItem{}, Inputs: []catalog.SessionInput{}, Problems: []string{}}
	chosen, problems, err := b.choose(ctx)
	if err != nil {
		return catalog.Session{}, err
	}
	ses.Problems = append(ses.Problems, problems...)
	if err := b.wild(chosen); err != nil {
		return catalog.Session{}, err
	}
	for i, c := range chosen {
		ses.Items = append(ses.Items, c.item())
		for _, in := range c.inputs {
			in.Item = i
			ses.Inputs = append(ses.Inputs, in.SessionInput)
		}
		more, err := b.problems(ctx, c)
		if err != nil {
			return catalog.Session{}, err
		}
		ses.Problems = append(ses.Problems, more...)
	}
	if p := mixedRates(ses.Items); p != "" {
		ses.Problems = append(ses.Problems, p)
	}
	return store.SaveSession(ctx, ses)
}

// wild refuses trims as large as a wrong gain in a list makes them: beyond
// ±catalog.MostTrimDB always, beyond ±catalog.AskTrimDB unless a person means
// them.
func (b *builder) wild(chosen []*candidate) error {
	most := float64(catalog.MostTrimDB)
	if !b.req.Beyond {
		most = catalog.AskTrimDB
	}
	named, more, highest := []string{}, 0, 0.0
	for _, c := range chosen {
		for _, in := range c.inputs {
			if in.Status != catalog.Playback || math.Abs(in.TrimDB) <= most {
				continue
			}
			highest = max(highest, math.Abs(in.TrimDB))
			if len(named) == maxWild {
				more++
				continue
			}
			named = append(named, fmt.Sprintf("%s, desk input %d %s: %s", c.title(), in.DeskInput, in.Channel, in.trimWhy))
		}
	}
	if len(named) == 0 {
		return nil
	}
	text := strings.Join(named, "; ")
	if more > 0 {
		text += fmt.Sprintf("; and %d more", more)
	}
	try := "correct the gain in the desk's patch or in that night's input list"
	if highest <= catalog.MostTrimDB {
		try += fmt.Sprintf("; if the gains are right, allow trims beyond %d dB with --beyond or with the tick box on the page", catalog.AskTrimDB)
	}
	return &RequestError{fmt.Sprintf("a trim beyond %g dB usually means a wrong gain: %s", most, text), try}
}

// maxWild bounds the number of inputs that wild lists.
const maxWild = 3

// choose returns one candidate per item, in playing order.
func (b *builder) choose(ctx context.Context) (chosen []*candidate, problems []string, err error) {
	if len(b.req.Songs) == 0 {
		takes, err := b.store.Takes(ctx, catalog.TakeFilter{Show: b.req.Show})
		if err != nil {
			return nil, nil, err
		}
		for _, t := range takes {
			c, err := b.candidate(ctx, t)
			if err != nil {
				return nil, nil, err
			}
			c.why = fmt.Sprintf("from the whole set of %s", t.Show)
			chosen = append(chosen, c)
		}
	}
	usual := b.pick
	for i, song := range b.req.Songs {
		b.pick = usual
		if i < len(b.req.SongPicks) && b.req.SongPicks[i] != "" {
			if b.pick, err = parsePick(b.req.SongPicks[i]); err != nil {
				return nil, nil, err
			}
		}
		c, notes, err := b.chooseTake(ctx, song)
		if err != nil {
			return nil, nil, err
		}
		problems = append(problems, notes...)
		if c != nil {
			chosen = append(chosen, c)
		}
	}
	if len(chosen) == 0 {
		what := "no take was found"
		if b.req.Show != "" {
			what += " on " + string(b.req.Show)
		}
		if len(problems) > 0 {
			what = strings.Join(problems, "; ")
		}
		return nil, nil, &RequestError{what, "nightreel takes lists what there is; nightreel takes set places a take by hand"}
	}
	return chosen, problems, nil
}

// chooseTake picks a take of one song; if there is none, it returns nil and a
// note.
func (b *builder) chooseTake(ctx context.Context, name string) (*candidate, []string, error) {
	takes, err := b.store.Takes(ctx, catalog.TakeFilter{Song: name, Show: b.req.Show})
	if err != nil {
		return nil, nil, err
	}
	night := b.req.Show
	if b.pick.date != "" {
		night = b.pick.date
		takes = slices.DeleteFunc(takes, func(t catalog.Take) bool { return t.Show != night })
	}
	if len(takes) == 0 {
		where := ""
		if night != "" {
			where = " on " + string(night)
		}
		return nil, []string{fmt.Sprintf("%s: there is no take%s, so it is left out", name, where)}, nil
	}
	candidates := make([]*candidate, len(takes))
	for i, t := range takes {
		if candidates[i], err = b.candidate(ctx, t); err != nil {
			return nil, nil, err
		}
	}
	return b.pickOne(ctx, candidates)
}

// mixedRates returns a problem if items have different sample rates, or "": a
// player and a desk's clock have one rate.
func mixedRates(items []catalog.SessionItem) string {
	songs := map[int][]string{}
	rates := []int{}
	for _, it := range items {
		if songs[it.SampleRate] == nil {
			rates = append(rates, it.SampleRate)
		}
		songs[it.SampleRate] = append(songs[it.SampleRate], it.Song)
	}
	if len(rates) < 2 {
		return ""
	}
	slices.Sort(rates)
	parts := []string{}
	for _, r := range rates {
		parts = append(parts, fmt.Sprintf("%g kHz: %s", float64(r)/1000, strings.Join(songs[r], ", ")))
	}
	return "the items have different sample rates (" + strings.Join(parts, "; ") + "); without conversion they cannot be played in one run"
}
