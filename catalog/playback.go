package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// PlaybackState is the state of a session's playback. It survives the player.
type PlaybackState struct {
	Session   SessionID       `json:"session"`
	SavedAt   time.Time       `json:"saved_at"`
	Item      int             `json:"item"` // index into the session's items, from 0
	AtS       float64         `json:"at_s"` // from the take's start
	LoopOn    bool            `json:"loop_on"`
	LoopItem  int             `json:"loop_item"`
	LoopFromS float64         `json:"loop_from_s"`
	LoopToS   float64         `json:"loop_to_s"`
	LevelDB   float64         `json:"level_db"`
	FadeMS    float64         `json:"fade_ms"`
	PreRollS  float64         `json:"pre_roll_s"`
	AtEnd     string          `json:"at_end"` // "next" or "stop"
	Trims     map[int]float64 `json:"trims"`  // dB by desk input, live, beside the session's own
	Muted     []int           `json:"muted"`  // desk inputs
}

// PlaybackState returns the state of a session's playback; ok is false if it was
// never played.
func (s *Store) PlaybackState(ctx context.Context, id SessionID) (st PlaybackState, ok bool, err error) {
	var doc, at string
	err = s.db.QueryRowContext(ctx, "SELECT document, saved_at FROM playback_states WHERE session_id = ? AND document <> ''", id).Scan(&doc, &at)
	if errors.Is(err, sql.ErrNoRows) {
		return st, false, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(doc), &st)
	}
	if err == nil {
		st.SavedAt, err = time.Parse(time.RFC3339, at)
	}
	if err != nil {
		return st, false, fmt.Errorf("could not read the catalog: %w", err)
	}
	st.Session = id
	return st, true, nil
}

// SavePlaybackState stores the state of the playback of st.Session.
func (s *Store) SavePlaybackState(ctx context.Context, st PlaybackState) error {
	doc, err := json.Marshal(st)
	if err != nil {
		return fmt.Errorf("could not store the playback state: %w", err)
	}
	_, err = exec(ctx, s.db, `INSERT INTO playback_states (session_id, saved_at, document) VALUES (?, ?, ?)
		ON CONFLICT (session_id) DO UPDATE SET saved_at = excluded.saved_at, document = excluded.document`,
		st.Session, s.now().UTC().Format(time.RFC3339), string(doc))
	return err
}

// BackInput is one desk input of a session that is fed from the recording.
type BackInput struct {
	DeskInput int    `json:"desk_input"`
	Channel   string `json:"channel"`
	Back      bool   `json:"back"` // a person ticked that it is back on the stage
}

// BackToStage returns the desk inputs that a session feeds, with their ticks, in
// order. fed reports whether any sound was made since the list was last
// complete: only then does an open line matter.
func (s *Store) BackToStage(ctx context.Context, ses Session) (list []BackInput, fed bool, err error) {
	return backToStage(ctx, s.db, ses)
}

func backToStage(ctx context.Context, q querier, ses Session) (list []BackInput, fed bool, err error) {
	ticked := map[int]bool{}
	inputs, err := ticks(ctx, q, ses.ID)
	if err != nil {
		return nil, false, err
	}
	for _, t := range inputs {
		ticked[t.input] = true
	}
	list = []BackInput{}
	seen := map[int]bool{}
	for _, in := range ses.Inputs {
		if in.Status == Playback && !seen[in.DeskInput] {
			seen[in.DeskInput] = true
			list = append(list, BackInput{in.DeskInput, in.Channel, ticked[in.DeskInput]})
		}
	}
	slices.SortFunc(list, func(a, b BackInput) int { return a.DeskInput - b.DeskInput })
	err = q.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM playback_states WHERE session_id = ? AND fed = 1)", ses.ID).Scan(&fed)
	if err != nil {
		return nil, false, fmt.Errorf("could not read the catalog: %w", err)
	}
	return list, fed, nil
}

// Unreturned is a session that fed a desk, with inputs that no person has ticked
// back to the stage since.
type Unreturned struct {
	Session SessionID
	Open    int // desk inputs
}

// Unreturned returns the sessions that fed a desk within the last [StaleTicks]
// and whose list back to the stage is not complete, the latest fed first. Every
// page shows them until the list is complete.
func (s *Store) Unreturned(ctx context.Context) ([]Unreturned, error) {
	since := s.now().UTC().Add(-StaleTicks).Format(time.RFC3339)
	fed, err := list(ctx, s.db, "SELECT session_id FROM playback_states WHERE fed = 1 AND saved_at > ? ORDER BY saved_at DESC, session_id DESC", []any{since},
		func(row scanner) (id SessionID, err error) { return id, row.Scan(&id) })
	if err != nil {
		return nil, err
	}
	all := []Unreturned{}
	for _, id := range fed {
		ses, err := s.Session(ctx, id)
		if err != nil {
			return nil, err
		}
		back, _, err := backToStage(ctx, s.db, ses)
		if err != nil {
			return nil, err
		}
		u := Unreturned{Session: id}
		for _, b := range back {
			if !b.Back {
				u.Open++
			}
		}
		if u.Open > 0 {
			all = append(all, u)
		}
	}
	return all, nil
}

type tick struct {
	input int
	at    time.Time
}

func ticks(ctx context.Context, q querier, id SessionID) ([]tick, error) {
	return list(ctx, q, "SELECT desk_input, ticked_at FROM playback_ticks WHERE session_id = ?", []any{id}, func(row scanner) (t tick, err error) {
		var at string
		if err := row.Scan(&t.input, &at); err != nil {
			return t, err
		}
		t.at, err = time.Parse(time.RFC3339, at)
		return t, err
	})
}

// TickBack stores that a desk input is back on the stage, or that it is not.
// Only inputs that the session feeds can be ticked.
func (s *Store) TickBack(ctx context.Context, ses Session, input int, back bool) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		list, _, err := backToStage(ctx, tx, ses)
		if err != nil {
			return err
		}
		known := false
		for _, b := range list {
			known = known || b.DeskInput == input
		}
		if !known {
			return &NotFoundError{Kind: "desk input on playback", Name: fmt.Sprint(input), Try: "nightreel session sheet - lists the inputs of the session"}
		}
		if back {
			_, err = exec(ctx, tx, "INSERT INTO playback_ticks (session_id, desk_input, ticked_at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", ses.ID, input, s.now().UTC().Format(time.RFC3339))
		} else {
			_, err = exec(ctx, tx, "DELETE FROM playback_ticks WHERE session_id = ? AND desk_input = ?", ses.ID, input)
		}
		return err
	})
}

// StaleTicks is the age from which ticks belong to another day: a person who
// plays again after that switches every input again (our choice).
const StaleTicks = 12 * time.Hour

// BeginFeeding stores that sound leaves the outputs. A list that is complete, or
// older than [StaleTicks], starts over: all inputs count as on playback again. A
// list that is ticked in part stays: some inputs went back while others still
// play.
func (s *Store) BeginFeeding(ctx context.Context, ses Session) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		list, fed, err := backToStage(ctx, tx, ses)
		if err != nil {
			return err
		}
		complete := true
		for _, b := range list {
			complete = complete && b.Back
		}
		old := true
		all, err := ticks(ctx, tx, ses.ID)
		if err != nil {
			return err
		}
		for _, t := range all {
			old = old && s.now().Sub(t.at) > StaleTicks
		}
		if complete || old || !fed {
			if _, err := exec(ctx, tx, "DELETE FROM playback_ticks WHERE session_id = ?", ses.ID); err != nil {
				return err
			}
		}
		_, err = exec(ctx, tx, `INSERT INTO playback_states (session_id, saved_at, fed, document) VALUES (?, ?, 1, '')
			ON CONFLICT (session_id) DO UPDATE SET fed = 1, saved_at = excluded.saved_at`, ses.ID, s.now().UTC().Format(time.RFC3339))
		return err
	})
}
