package catalog

import (
	"context"
	"database/sql"
	"fmt"
)

// projection maintains the rows of one kind of fact.
type projection struct {
	kind FactKind
	// project sets the rows of f's subject to the content of f, and keeps their
	// ids. If f refers to a show or a recording that is not in the catalog,
	// there are no rows: see [writing.sited].
	project func(w *writing, ctx context.Context, f Fact) error
	// table holds the rows, identified by their subject.
	table string
	// sited facts refer to a recording or a show.
	sited bool
}

// projections are in the order in which facts are projected: sessions look up
// takes.
func projections() []projection {
	return []projection{
		{FactInputList, (*writing).projectInputList, "input_lists", false},
		{FactDesk, (*writing).projectDesk, "desks", false},
		{FactTitle, (*writing).projectTitle, "", false},
		{FactAlias, (*writing).projectAlias, "", false},
		{FactSetList, (*writing).projectSetList, "", true},
		{FactNote, (*writing).projectNote, "notes", true},
		{FactTake, (*writing).projectTake, "takes", true},
		{FactDismissal, (*writing).projectDismissal, "dismissed", true},
		{FactAcceptance, (*writing).projectAcceptance, "acceptances", true},
		{FactSession, (*writing).projectSession, "sessions", false},
		{FactWord, (*writing).projectWord, "said", false},
	}
}

// project updates the rows of a fact's subject. f must be the only head of its
// subject.
func (w *writing) project(ctx context.Context, f Fact) error {
	for _, p := range projections() {
		if p.kind == f.Kind {
			return w.show(ctx, p, f)
		}
	}
	return nil // no table shows facts of this kind
}

// Reproject rebuilds all tables that show a person's facts. The result does not
// depend on the order in which the facts were written. Rows that stay keep their
// ids.
func (s *Store) Reproject(ctx context.Context) error {
	return s.update(ctx, func(tx *sql.Tx) error { return s.reproject(ctx, tx) })
}

func (s *Store) reproject(ctx context.Context, tx *sql.Tx) error {
	w := s.writing(ctx, tx)
	defer w.close()
	if _, err := exec(ctx, w, "DELETE FROM set_list_entries WHERE show_id NOT IN (SELECT id FROM shows)"); err != nil {
		return err
	}
	for _, p := range projections() {
		if p.table != "" {
			if _, err := exec(ctx, w, fmt.Sprintf("DELETE FROM %s WHERE subject <> '' AND subject NOT IN (SELECT subject FROM facts WHERE kind = ?)", p.table), p.kind); err != nil {
				return err
			}
		}
		all, err := standing(ctx, w, p.kind, "")
		if err != nil {
			return err
		}
		for _, f := range all {
			if err := p.project(w, ctx, f); err != nil {
				return err
			}
		}
		if p.table == "" || !p.sited {
			continue
		}
		for _, q := range []string{"DELETE FROM waiting WHERE kind = ?",
			fmt.Sprintf("INSERT INTO waiting (kind, subject) SELECT DISTINCT f.kind, f.subject FROM facts f WHERE f.kind = ? AND f.body IS NOT NULL AND %s AND NOT EXISTS (SELECT 1 FROM %s x WHERE x.subject = f.subject)", isHead, p.table)} {
			if _, err := exec(ctx, w, q, p.kind); err != nil {
				return err
			}
		}
	}
	w.all = true
	return w.settle(ctx)
}

// show projects a fact, and lists it as waiting if its rows need a show or a
// recording that is missing.
func (w *writing) show(ctx context.Context, p projection, f Fact) error {
	if err := p.project(w, ctx, f); err != nil || !p.sited || p.table == "" {
		return err
	}
	query := "DELETE FROM waiting WHERE kind = ?1 AND subject = ?2"
	if f.Body != nil {
		query += fmt.Sprintf(" AND EXISTS (SELECT 1 FROM %s WHERE subject = ?2)", p.table)
		if _, err := exec(ctx, w, fmt.Sprintf("INSERT OR IGNORE INTO waiting (kind, subject) SELECT ?1, ?2 WHERE NOT EXISTS (SELECT 1 FROM %s WHERE subject = ?2)", p.table), f.Kind, f.Subject); err != nil {
			return err
		}
	}
	_, err := exec(ctx, w, query, f.Kind, f.Subject)
	return err
}

// sited projects again the facts that refer to a show and its recordings, and
// those that wait for a show or a recording. Call it after these have changed.
func (w *writing) sited(ctx context.Context, show ShowID) error {
	ref, err := refOfShow(ctx, w, show)
	if err != nil {
		return err
	}
	clear(w.refs)
	w.sums = nil
	for _, p := range projections() {
		if !p.sited {
			continue
		}
		subjects := []string{ref}
		if p.table != "" {
			subjects, err = list(ctx, w, fmt.Sprintf("SELECT subject FROM %s WHERE show_id = ?1 AND subject <> '' UNION SELECT subject FROM waiting WHERE kind = ?2 ORDER BY 1", p.table), []any{show, p.kind},
				func(row scanner) (s string, err error) { return s, row.Scan(&s) })
			if err != nil {
				return err
			}
		}
		for _, subject := range subjects {
			all, err := standing(ctx, w, p.kind, " AND f.subject = ?", subject)
			if err != nil {
				return err
			}
			for _, f := range all {
				if err := w.show(ctx, p, f); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
