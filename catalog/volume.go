package catalog

import (
	"context"
	"fmt"
)

// Volume is a folder that recordings were scanned from. Files are kept by
// their path below it, so that a drive may come back at another place.
type Volume struct {
	ID   VolumeID `json:"-"`
	Name string   `json:"name"`
	Root string   `json:"root"` // absolute, where it is now
}

// Volumes returns all volumes in order of name.
func (s *Store) Volumes(ctx context.Context) ([]Volume, error) {
	return list(ctx, s.db, "SELECT id, name, root FROM volumes ORDER BY name", nil, func(row scanner) (v Volume, err error) {
		return v, row.Scan(&v.ID, &v.Name, &v.Root)
	})
}

// AddVolume stores a new volume. A name that is taken gets a number.
func (s *Store) AddVolume(ctx context.Context, v Volume) (Volume, error) {
	base := v.Name
	for n := 2; ; n++ {
		var taken bool
		if err := s.db.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM volumes WHERE name = ?)", v.Name).Scan(&taken); err != nil {
			return Volume{}, fmt.Errorf("could not read the catalog: %w", err)
		}
		if !taken {
			break
		}
		v.Name = fmt.Sprintf("%s %d", base, n)
	}
	id, err := insert(ctx, s.db, "INSERT INTO volumes (name, root) VALUES (?, ?)", v.Name, v.Root)
	v.ID = VolumeID(id)
	return v, err
}

// MoveVolume says where a volume is now.
func (s *Store) MoveVolume(ctx context.Context, id VolumeID, root string) error {
	_, err := exec(ctx, s.db, "UPDATE volumes SET root = ? WHERE id = ?", root, id)
	return err
}
