package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// InputStatus says where a desk input's signal is to come from.
type InputStatus string

const (
	// Playback: fed from the recording.
	Playback InputStatus = "playback"
	// Stage: left on the stage on purpose.
	Stage InputStatus = "stage"
	// Missing: wanted from the recording, but it is not there.
	Missing InputStatus = "missing"
)

// Session is a playback session: takes, patch and trims, ready to feed a desk.
// It is a document of its own: it keeps the spans it was built with, even when
// a take's boundary is moved later.
type Session struct {
	ID        SessionID      `json:"id"`
	Desk      string         `json:"desk"`
	CreatedAt time.Time      `json:"created_at"`
	Items     []SessionItem  `json:"items"`
	Inputs    []SessionInput `json:"inputs"`
	Problems  []string       `json:"problems"`
}

// SessionItem is one take of a session.
type SessionItem struct {
	Take       TakeID      `json:"take"`
	Show       ShowKey     `json:"show"`
	Song       string      `json:"song"`
	Recording  RecordingID `json:"recording"` // that the frames count in, and that feeds the desk
	Rig        string      `json:"rig"`
	SampleRate int         `json:"sample_rate"`
	StartFrame int64       `json:"start_frame"`
	EndFrame   int64       `json:"end_frame"`
	StartS     float64     `json:"start_s"`
	EndS       float64     `json:"end_s"`
	Why        string      `json:"why"` // why this take
}

// SessionInput is what one desk input gets in one item.
type SessionInput struct {
	Item      int         `json:"item"` // index into Items, from 0
	DeskInput int         `json:"desk_input"`
	Output    int         `json:"output"`
	Channel   string      `json:"channel"`
	Group     string      `json:"group"`
	Rig       string      `json:"rig"`
	Track     int         `json:"track"`   // number; 0 where there is none
	TrimDB    float64     `json:"trim_db"` // 0 means bit-identical
	Status    InputStatus `json:"status"`
	Why       string      `json:"why"`
}

// SaveSession stores a new session and returns it with its id and time.
func (s *Store) SaveSession(ctx context.Context, ses Session) (Session, error) {
	// Lists print as [], even in a document that was stored with none.
	ses.Items = append([]SessionItem{}, ses.Items...)
	ses.Inputs = append([]SessionInput{}, ses.Inputs...)
	ses.Problems = append([]string{}, ses.Problems...)
	ses.CreatedAt = s.now().UTC().Truncate(time.Second)
	doc, err := json.Marshal(ses)
	if err != nil {
		return Session{}, fmt.Errorf("could not store the session: %w", err)
	}
	id, err := insert(ctx, s.db, "INSERT INTO sessions (created_at, document) VALUES (?, ?)", ses.CreatedAt.Format(time.RFC3339), string(doc))
	if err != nil {
		return Session{}, err
	}
	ses.ID = SessionID(id)
	return ses, nil
}

// Sessions returns all sessions, newest last.
func (s *Store) Sessions(ctx context.Context) ([]Session, error) {
	return list(ctx, s.db, "SELECT id, document FROM sessions ORDER BY id", nil, readSession)
}

// Session returns the session with an id, the newest for 0, or *NotFoundError.
func (s *Store) Session(ctx context.Context, id SessionID) (Session, error) {
	ses, err := readSession(s.db.QueryRowContext(ctx, "SELECT id, document FROM sessions WHERE ?1 = 0 OR id = ?1 ORDER BY id DESC LIMIT 1", id))
	if errors.Is(err, sql.ErrNoRows) {
		gone := &NotFoundError{Kind: "playback session", Try: "nightreel session list shows them, nightreel session build makes one"}
		if id != 0 {
			gone.Name = fmt.Sprint(id)
		}
		return Session{}, gone
	}
	if err != nil {
		return Session{}, fmt.Errorf("could not read the catalog: %w", err)
	}
	return ses, nil
}

func readSession(row scanner) (ses Session, err error) {
	var id SessionID
	var doc string
	if err := row.Scan(&id, &doc); err != nil {
		return ses, err
	}
	err = json.Unmarshal([]byte(doc), &ses)
	ses.ID = id // the document was written before it had one
	return ses, err
}
