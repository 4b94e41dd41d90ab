package catalog

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"os"
	"path"
)

//go:embed migrations/*.sql
var migrations embed.FS

// VersionError says that a catalog was written by a newer nightreel.
type VersionError struct {
	Have, Know int // the file's version, the newest this program knows
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("the catalog has version %d, this nightreel knows versions up to %d", e.Have, e.Know)
}

// Hint says what to do about it.
func (e *VersionError) Hint() string {
	return "use the newer nightreel that wrote it, or another --catalog"
}

// migrate brings the schema up to date. Each migration runs in a transaction
// of its own, together with the version it leads to. Landed migrations are
// never edited.
func (s *Store) migrate(ctx context.Context) error {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	var version int
	if err := s.db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if version > len(names) {
		return &VersionError{Have: version, Know: len(names)}
	}
	if version > 0 && version < len(names) {
		if err := s.backup(ctx, version); err != nil {
			return err
		}
	}
	for i, name := range names {
		if i < version {
			continue
		}
		text, err := migrations.ReadFile(name)
		if err != nil {
			return err
		}
		err = s.update(ctx, func(tx *sql.Tx) error {
			// Another process may have been faster: look again inside.
			var now int
			if err := tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&now); err != nil {
				return err
			}
			if now > i {
				return nil
			}
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return fmt.Errorf("migration %s: %w", path.Base(name), err)
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", i+1))
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// backup keeps a copy of the catalog as it is before it is migrated.
func (s *Store) backup(ctx context.Context, version int) error {
	copy := fmt.Sprintf("%s.v%d", s.path, version)
	if _, err := os.Stat(copy); err == nil {
		return nil // kept at an earlier try
	}
	if _, err := s.db.ExecContext(ctx, "VACUUM INTO ?", copy); err != nil {
		return fmt.Errorf("could not keep a copy as %s: %w", copy, err)
	}
	return nil
}
