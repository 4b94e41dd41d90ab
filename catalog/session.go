package catalog

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// InputStatus is the source of a desk input's signal.
type InputStatus string

const (
	// Playback: fed from the recording.
	Playback InputStatus = "playback"
	// Stage: left on the stage on purpose.
	Stage InputStatus = "stage"
	// Missing: meant to be fed from the recording, which does not have it.
	Missing InputStatus = "missing"
)

// Session is a playback session: takes, patch and trims, ready to feed a desk.
// It keeps the spans that it was built with, even if a take's boundary moves
// later.
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
	Recording  RecordingID `json:"recording"` // recording that the frames count in, and that feeds the desk
	Rig        string      `json:"rig"`
	SampleRate int         `json:"sample_rate"`
	StartFrame int64       `json:"start_frame"`
	EndFrame   int64       `json:"end_frame"`
	StartS     float64     `json:"start_s"`
	EndS       float64     `json:"end_s"`
	Why        string      `json:"why"` // why this take was chosen
}

// Bounds of a trim in dB, whether it comes from a list, a person or both (common
// practice, no source).
const (
	AskTrimDB  = 20 // a larger trim needs a person's confirmation
	MostTrimDB = 40 // larger than any change of a preamp's gain from night to night: a typing error
)

// SessionInput is the source of one desk input in one item.
type SessionInput struct {
	Item      int         `json:"item"` // index into Items, from 0
	DeskInput int         `json:"desk_input"`
	Output    int         `json:"output"`
	Channel   string      `json:"channel"`
	Group     string      `json:"group"`
	Rig       string      `json:"rig"`
	Track     int         `json:"track"`   // number; 0 if there is none
	TrimDB    float64     `json:"trim_db"` // 0 means bit-identical
	Status    InputStatus `json:"status"`
	Why       string      `json:"why"`
}

// SaveSession stores a new session and returns it with its id and time.
func (s *Store) SaveSession(ctx context.Context, ses Session) (Session, error) {
	// Lists print as [], even in a document that was stored without them.
	ses.Items = append([]SessionItem{}, ses.Items...)
	ses.Inputs = append([]SessionInput{}, ses.Inputs...)
	ses.Problems = append([]string{}, ses.Problems...)
	ses.CreatedAt = s.now().UTC().Truncate(time.Second)
	err := s.write(ctx, func(w *writing) error {
		body, err := w.sessionFact(ctx, ses)
		if err != nil {
			return err
		}
		// The document is stored unchanged, with this catalog's ids.
		subject := randomName()
		if ses.ID, err = storeSession(ctx, w, subject, ses); err != nil {
			return err
		}
		return w.put(ctx, FactSession, subject, body)
	})
	if err != nil {
		return Session{}, err
	}
	return ses, nil
}

func storeSession(ctx context.Context, q querier, subject string, ses Session) (SessionID, error) {
	doc, err := json.Marshal(ses)
	if err != nil {
		return 0, fmt.Errorf("could not store the session: %w", err)
	}
	id, err := insert(ctx, q, "INSERT INTO sessions (created_at, document, subject) VALUES (?, ?, ?)", ses.CreatedAt.Format(time.RFC3339), string(doc), subject)
	return SessionID(id), err
}

// sessionBody is a session as a fact: without the ids of this catalog.
type sessionBody struct {
	Session
	ID    *struct{}         `json:"id,omitempty"` // hides the session's own
	Items []sessionItemBody `json:"items"`
}

type sessionItemBody struct {
	SessionItem
	Take      *struct{} `json:"take,omitempty"`      // hides the item's own
	Recording *struct{} `json:"recording,omitempty"` // hides the item's own
	File      fileRef   `json:"file"`
	Start     int64     `json:"start"` // frames from the file's first sample
	End       int64     `json:"end"`
}

func (w *writing) sessionFact(ctx context.Context, ses Session) (sessionBody, error) {
	body := sessionBody{Session: ses, Items: []sessionItemBody{}}
	for _, it := range ses.Items {
		ref, at, err := w.refOf(ctx, it.Recording)
		if gone := (*NotFoundError)(nil); errors.As(err, &gone) {
			ref, at = fileRef{Show: string(it.Show), Rig: it.Rig, Rate: it.SampleRate}, location{}
		} else if err != nil {
			return body, err
		}
		body.Items = append(body.Items, sessionItemBody{SessionItem: it, File: ref, Start: it.StartFrame - at.start, End: it.EndFrame - at.start})
	}
	return body, nil
}

// projectSession stores a session that came from another catalog. An existing
// one stays as it was built.
func (w *writing) projectSession(ctx context.Context, f Fact) error {
	var b sessionBody
	there, err := f.read(&b)
	if err != nil {
		return err
	}
	if !there {
		for _, q := range []string{"DELETE FROM playback_states WHERE session_id IN (SELECT id FROM sessions WHERE subject = ?)",
			"DELETE FROM playback_ticks WHERE session_id IN (SELECT id FROM sessions WHERE subject = ?)", "DELETE FROM sessions WHERE subject = ?"} {
			if _, err := exec(ctx, w, q, f.Subject); err != nil {
				return err
			}
		}
		return nil
	}
	var known bool
	if err := w.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM sessions WHERE subject = ?)", f.Subject).Scan(&known); err != nil || known {
		return err
	}
	ses := b.Session
	ses.Items = []SessionItem{}
	for _, item := range b.Items {
		it := item.SessionItem
		at, err := w.resolve(ctx, item.File)
		if err != nil {
			return err
		}
		it.Recording, it.StartFrame, it.EndFrame = at.recording, at.frame(item.Start, item.File), at.frame(item.End, item.File)
		// The take at that position may have another title by now.
		err = w.QueryRowContext(ctx, "SELECT id FROM takes WHERE recording_id = ?1 AND start_frame < ?3 AND end_frame > ?2 ORDER BY min(end_frame, ?3) - max(start_frame, ?2) DESC, start_frame LIMIT 1",
			it.Recording, it.StartFrame, it.EndFrame).Scan(&it.Take)
		if errors.Is(err, sql.ErrNoRows) {
			it.Take, err = 0, nil
		}
		if err != nil {
			return fmt.Errorf("could not read the catalog: %w", err)
		}
		ses.Items = append(ses.Items, it)
	}
	_, err = storeSession(ctx, w, f.Subject, ses)
	return err
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
	ses.ID = id // the document was written before it had an id
	return ses, err
}
