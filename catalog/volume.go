package catalog

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Volume is a folder that recordings were scanned from. Files are stored by
// their path below it, so that a drive may come back under another path.
type Volume struct {
	ID   VolumeID `json:"-"`
	Name string   `json:"name"`
	Root string   `json:"root"` // absolute, at present
}

// Volumes returns all volumes in order of name.
func (s *Store) Volumes(ctx context.Context) ([]Volume, error) {
	return list(ctx, s.db, "SELECT id, name, root FROM volumes ORDER BY name", nil, func(row scanner) (v Volume, err error) {
		return v, row.Scan(&v.ID, &v.Name, &v.Root)
	})
}

// AddVolume stores a new volume. If the name is taken, it appends a number.
func (s *Store) AddVolume(ctx context.Context, v Volume) (Volume, error) {
	err := s.update(ctx, func(tx *sql.Tx) error {
		if err := rootFree(ctx, tx, v.Root, 0); err != nil {
			return err
		}
		base := v.Name
		for n := 2; ; n++ {
			var taken bool
			if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM volumes WHERE name = ?)", v.Name).Scan(&taken); err != nil {
				return fmt.Errorf("could not read the catalog: %w", err)
			}
			if !taken {
				break
			}
			v.Name = fmt.Sprintf("%s %d", base, n)
		}
		id, err := insert(ctx, tx, "INSERT INTO volumes (name, root) VALUES (?, ?)", v.Name, v.Root)
		v.ID = VolumeID(id)
		return err
	})
	if err != nil {
		return Volume{}, err
	}
	return v, nil
}

// MoveVolume sets a volume's present root. No two volumes share a root.
func (s *Store) MoveVolume(ctx context.Context, id VolumeID, root string) error {
	return s.update(ctx, func(tx *sql.Tx) error {
		if err := rootFree(ctx, tx, root, id); err != nil {
			return err
		}
		n, err := exec(ctx, tx, "UPDATE volumes SET root = ? WHERE id = ?", root, id)
		if err == nil && n == 0 {
			err = &NotFoundError{Kind: "volume", Name: fmt.Sprint(id)}
		}
		return err
	})
}

// rootFree fails if a root belongs to another volume than id.
func rootFree(ctx context.Context, tx *sql.Tx, root string, id VolumeID) error {
	var name string
	err := tx.QueryRowContext(ctx, "SELECT name FROM volumes WHERE root = ? AND id <> ?", root, id).Scan(&name)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return fmt.Errorf("could not read the catalog: %w", err)
	}
	return fmt.Errorf("%s: the volume %q has this folder already", root, name)
}
