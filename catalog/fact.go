package catalog

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// FactKind is the kind of a person's fact.
type FactKind string

// The kinds of a person's facts. The tables that the rest of the catalog reads
// are projections of these facts: see project.go. Merged catalogs and other
// versions rely on these words, on the subjects, and on the form of the bodies.
const (
	FactInputList  FactKind = "input_list" // subject: first show, whether for it only, rig
	FactSetList    FactKind = "set_list"   // subject: show
	FactDesk       FactKind = "desk"       // subject: the name's key
	FactNote       FactKind = "note"       // subject: random
	FactTitle      FactKind = "title"      // subject: the title's key
	FactAlias      FactKind = "alias"      // subject: the alias's key
	FactTake       FactKind = "take"       // subject: random; takes that a person placed
	FactDismissal  FactKind = "dismissal"  // subject: digest of recording, span and song
	FactAcceptance FactKind = "acceptance" // subject: digest of recording, span, tracks and kind
	FactSession    FactKind = "session"    // subject: random
	FactWord       FactKind = "word"       // subject: the word's kind, and the file's content
)

// FactID is the global identity of a fact: the first 16 bytes of the SHA-256 of
// its content.
type FactID [16]byte

// StepID identifies facts that were written together by one command or one
// click. It holds the device's id and a random number.
type StepID [16]byte

// Fact is one entry of a person, with its time. Facts are only ever added. A
// fact that corrects another one replaces it. A fact that no other one replaces
// is a head; the heads are what holds.
type Fact struct {
	ID      FactID
	Kind    FactKind
	Subject string // the same on every machine: never a row's id
	// At orders heads of one subject that came from several machines. It is the
	// wall clock in milliseconds since 1970, or one more than the largest At in
	// the catalog if that is later. 0 means written before the catalog had
	// facts.
	At     int64
	Author string
	Step   StepID
	Body   []byte // JSON with sorted keys; nil says that the subject is deleted
}

// factID hashes a fact's content, each part with its length in front.
func factID(f Fact, replaces []FactID) FactID {
	h := sha256.New()
	part := func(b []byte) {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	part([]byte(f.Kind))
	part([]byte(f.Subject))
	if f.Body != nil { // a deletion hashes differently from an empty body
		part([]byte{1})
	}
	part(f.Body)
	part([]byte(f.Author))
	part(binary.BigEndian.AppendUint64(nil, uint64(f.At)))
	part(f.Step[:])
	slices.SortFunc(replaces, func(a, b FactID) int { return bytes.Compare(a[:], b[:]) })
	for _, old := range replaces {
		part(old[:])
	}
	return FactID(h.Sum(nil)[:16])
}

// digest returns a hash of some values: 32 hexadecimal digits.
func digest(parts ...any) string {
	text, err := json.Marshal(parts)
	if err != nil {
		panic(err) // only strings and integers are ever passed
	}
	sum := sha256.Sum256(text)
	return fmt.Sprintf("%x", sum[:16])
}

// randomName returns a subject for a fact without a natural one.
func randomName() string {
	var b [16]byte
	rand.Read(b[:]) // never fails
	return fmt.Sprintf("%x", b)
}

// canonical writes a body so that equal bodies have equal bytes: keys sorted,
// numbers as they are, no escapes beyond those that JSON needs.
func canonical(body any) ([]byte, error) {
	plain, err := json.Marshal(body)
	if err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(plain))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimRight(out.Bytes(), "\n"), nil
}

// writing is a transaction in which facts are written and projected.
type writing struct {
	s     *Store
	tx    *sql.Tx
	step  StepID
	at    int64           // of the latest fact in the catalog; 0 until it is read
	songs map[string]bool // keys of songs whose names must be settled
	all   bool            // settle all songs
	names *names          // nil until they are read
	refs  map[fileRef]location
	sums  map[string][]foundFile // nil until they are read
	stmts map[string]*sql.Stmt
}

// write runs f in one transaction. f writes facts with [writing.put], and may
// change other tables. Songs that this touches are settled at the end.
func (s *Store) write(ctx context.Context, f func(w *writing) error) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		w := s.writing(ctx, tx)
		defer w.close()
		if err := f(w); err != nil {
			return err
		}
		return w.settle(ctx)
	})
}

func (s *Store) writing(ctx context.Context, tx *sql.Tx) *writing {
	return &writing{s: s, tx: tx, songs: map[string]bool{}, refs: map[fileRef]location{}, stmts: map[string]*sql.Stmt{}}
}

func (w *writing) close() {
	for _, stmt := range w.stmts {
		stmt.Close()
	}
}

// prepared returns a statement that is compiled once a transaction.
func (w *writing) prepared(ctx context.Context, query string) (*sql.Stmt, error) {
	stmt := w.stmts[query]
	if stmt == nil {
		var err error
		if stmt, err = w.tx.PrepareContext(ctx, query); err != nil {
			return nil, err
		}
		w.stmts[query] = stmt
	}
	return stmt, nil
}

// QueryContext, QueryRowContext and ExecContext make a writing a [querier].
func (w *writing) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	stmt, err := w.prepared(ctx, query)
	if err != nil {
		return nil, err
	}
	return stmt.QueryContext(ctx, args...)
}

func (w *writing) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	stmt, err := w.prepared(ctx, query)
	if err != nil {
		return w.tx.QueryRowContext(ctx, query, args...) // reports the error when scanned
	}
	return stmt.QueryRowContext(ctx, args...)
}

func (w *writing) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	stmt, err := w.prepared(ctx, query)
	if err != nil {
		return nil, err
	}
	return stmt.ExecContext(ctx, args...)
}

// put writes a fact: from now on, the subject is as body says, or is deleted if
// body is nil. It replaces all heads of the subject and updates the tables that
// show it. It skips a fact that holds already.
func (w *writing) put(ctx context.Context, kind FactKind, subject string, body any) error {
	if w.step == (StepID{}) {
		w.step = w.s.step(ctx)
	}
	f := Fact{Kind: kind, Subject: subject, Author: w.s.author, Step: w.step}
	if body != nil {
		var err error
		if f.Body, err = canonical(body); err != nil {
			return fmt.Errorf("could not store the %s: %w", kind, err)
		}
	}
	old, err := heads(ctx, w, kind, subject)
	if err != nil {
		return err
	}
	same := len(old) > 0 || body == nil
	replaces := []FactID{}
	for _, h := range old {
		same = same && sameBody(h.Body, f.Body)
		replaces = append(replaces, h.ID)
	}
	if same {
		return nil
	}
	if f.At, err = w.tick(ctx); err != nil {
		return err
	}
	f.ID = factID(f, replaces)
	if err := addFact(ctx, w, f, replaces); err != nil {
		return err
	}
	return w.project(ctx, f)
}

// read decodes a fact's body; there is false if the fact is a deletion.
func (f Fact) read(into any) (there bool, err error) {
	if f.Body == nil {
		return false, nil
	}
	if err := json.Unmarshal(f.Body, into); err != nil {
		return false, fmt.Errorf("fact %x about a %s cannot be read: %w", f.ID, f.Kind, err)
	}
	return true, nil
}

func sameBody(a, b []byte) bool { return (a == nil) == (b == nil) && bytes.Equal(a, b) }

// tick returns the time of a new fact.
func (w *writing) tick(ctx context.Context) (int64, error) {
	if w.at == 0 {
		if err := w.QueryRowContext(ctx, "SELECT coalesce(max(at), 0) FROM facts").Scan(&w.at); err != nil {
			return 0, fmt.Errorf("could not read the catalog: %w", err)
		}
	}
	w.at = max(w.at+1, w.s.now().UnixMilli())
	return w.at, nil
}

// addFact adds a fact unchanged.
func addFact(ctx context.Context, q querier, f Fact, replaces []FactID) error {
	var body any
	if f.Body != nil {
		body = string(f.Body)
	}
	if _, err := exec(ctx, q, "INSERT INTO facts (id, kind, subject, at, author, step, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
		f.ID[:], f.Kind, f.Subject, f.At, f.Author, f.Step[:], body); err != nil {
		return err
	}
	for _, old := range replaces {
		if _, err := exec(ctx, q, "INSERT INTO replaces (fact, old) VALUES (?, ?)", f.ID[:], old[:]); err != nil {
			return err
		}
	}
	return nil
}

const factColumns = "f.id, f.kind, f.subject, f.at, f.author, f.step, f.body"

// isHead is the SQL condition that no fact replaces f.
const isHead = "NOT EXISTS (SELECT 1 FROM replaces r WHERE r.old = f.id)"

func readFact(row scanner) (f Fact, err error) {
	var id, step []byte
	var body sql.NullString
	if err := row.Scan(&id, &f.Kind, &f.Subject, &f.At, &f.Author, &step, &body); err != nil {
		return f, err
	}
	if len(id) != len(f.ID) || len(step) != len(f.Step) {
		return f, errors.New("a fact's id is damaged")
	}
	f.ID, f.Step = FactID(id), StepID(step)
	if body.Valid {
		f.Body = []byte(body.String)
	}
	return f, nil
}

// heads returns the heads of a subject.
func heads(ctx context.Context, q querier, kind FactKind, subject string) ([]Fact, error) {
	return list(ctx, q, "SELECT "+factColumns+" FROM facts f WHERE f.kind = ? AND f.subject = ? AND "+isHead, []any{kind, subject}, readFact)
}

// standing returns the fact that holds for each subject of a kind, in order of
// subject, deletions included.
func standing(ctx context.Context, q querier, kind FactKind, and string, args ...any) ([]Fact, error) {
	all, err := list(ctx, q, "SELECT "+factColumns+" FROM facts f WHERE f.kind = ? AND "+isHead+and+" ORDER BY f.subject", append([]any{kind}, args...), readFact)
	if err != nil {
		return nil, err
	}
	out := all[:0]
	for _, f := range all {
		if n := len(out); n > 0 && out[n-1].Subject == f.Subject {
			out[n-1] = stronger(out[n-1], f)
		} else {
			out = append(out, f)
		}
	}
	return out, nil
}

// stronger returns which of two heads of one subject holds:
//
//   - a take that one person corrected and another deleted stays, so that
//     no person's work is lost unseen
//   - a finding that one person accepted and another reopened is open
//   - otherwise the latest holds
func stronger(a, b Fact) Fact {
	if (a.Body == nil) != (b.Body == nil) {
		switch deleted := a.Body == nil; a.Kind {
		case FactTake:
			if deleted {
				return b
			}
			return a
		case FactAcceptance:
			if deleted {
				return a
			}
			return b
		}
	}
	if cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Author, b.Author), bytes.Compare(a.ID[:], b.ID[:])) > 0 {
		return a
	}
	return b
}
