package catalog

import (
	"context"
	"database/sql"
	"embed"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID is in the header of every catalog ("nrel"; PRAGMA
// application_id), so that no other program's database is taken for one.
const applicationID = 0x6e72656c

// VersionError reports that a newer nightreel wrote the catalog.
type VersionError struct {
	Have, Know int // the file's version, and the newest that this program can read
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("the catalog has version %d, this nightreel knows versions up to %d", e.Have, e.Know)
}

// Hint returns what to do about it.
func (e *VersionError) Hint() string {
	return "use the newer nightreel that wrote it, or another --catalog"
}

// NotCatalogError reports that a file is not a catalog. It was not touched.
type NotCatalogError struct{}

func (*NotCatalogError) Error() string { return "this file is not a nightreel catalog" }

// Hint returns what to do about it.
func (*NotCatalogError) Hint() string {
	return "give another --catalog; if its file does not exist, it is created"
}

// checkHeader refuses a file that is not a catalog before SQLite opens it:
// opening would switch another program's database to the write-ahead log. The
// header is that of the SQLite file format: magic text, page count at byte 28,
// user version at 60, application id at 68, big-endian.
func checkHeader(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	var h [100]byte
	switch _, err := io.ReadFull(f, h[:]); {
	case errors.Is(err, io.EOF):
		return &EmptyError{}
	case errors.Is(err, io.ErrUnexpectedEOF):
		return &NotCatalogError{}
	case err != nil:
		return err
	}
	pages, version, id := binary.BigEndian.Uint32(h[28:]), binary.BigEndian.Uint32(h[60:]), binary.BigEndian.Uint32(h[68:])
	if string(h[:16]) != "SQLite format 3\x00" {
		return &NotCatalogError{}
	}
	// The content of a new catalog may still be in its log, with one blank page
	// in the file.
	if id != applicationID && (id != 0 || version != 0 || pages > 1) {
		return &NotCatalogError{}
	}
	return checkLength(f, h[:])
}

// checkLength returns a *cutError for a file that is shorter than its header
// says. The header has the size of a page at byte 16. It has the number of pages
// at byte 28, which is valid if the change counters at bytes 24 and 92 agree
// (SQLite file format, 1.3). The log beside a catalog may hold pages that the
// file lacks, but no part of a page.
func checkLength(f *os.File, h []byte) error {
	st, err := f.Stat()
	if err != nil {
		return err
	}
	page := int64(binary.BigEndian.Uint16(h[16:]))
	if page == 1 {
		page = 1 << 16
	}
	if page < 512 {
		return &NotCatalogError{}
	}
	whole := page * int64(binary.BigEndian.Uint32(h[28:]))
	known := binary.BigEndian.Uint32(h[24:]) == binary.BigEndian.Uint32(h[92:])
	log, err := os.Stat(f.Name() + "-wal")
	hasLog := err == nil && log.Size() > 0
	if st.Size()%page != 0 || known && !hasLog && st.Size() < whole {
		return &cutError{st.Size(), max(whole, (st.Size()+page-1)/page*page)}
	}
	return nil
}

// cutError reports that the end of a catalog's file is missing.
type cutError struct{ bytes, whole int64 }

func (e *cutError) Error() string {
	return fmt.Sprintf("the file has %d bytes and should have %d: its end is missing", e.bytes, e.whole)
}

// isCatalog reports by its header whether a file is a catalog.
func isCatalog(path string) bool { return checkHeader(path) == nil }

// generatedCounters is the version of the schema from which on the triggers that
// count changes are generated. Older migrations contain their own.
const generatedCounters = 8

// migrate applies the missing migrations of all, in one transaction together
// with the new version. Landed migrations are never edited.
func (s *Store) migrate(ctx context.Context, all fs.FS) error {
	names, err := fs.Glob(all, "migrations/*.sql")
	if err != nil {
		return err
	}
	version, err := schemaVersion(ctx, s.db)
	if err != nil {
		return err
	}
	if version > len(names) {
		return &VersionError{Have: version, Know: len(names)}
	}
	if version == len(names) {
		return nil // without waiting for another process that writes
	}
	return s.withoutForeignKeys(ctx, func(tx *sql.Tx) error {
		// Another process may have migrated it meanwhile: check again within the
		// transaction.
		version, err := schemaVersion(ctx, tx)
		if err != nil {
			return err
		}
		if version > 0 && version < len(names) {
			// Through another connection, which sees the state before the
			// transaction.
			if err := s.backup(ctx, version); err != nil {
				return err
			}
		}
		seeded := false
		for i := version; i < len(names); i++ {
			if i >= generatedCounters {
				if err := dropCounters(ctx, tx); err != nil {
					return err
				}
			}
			text, err := fs.ReadFile(all, names[i])
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return fmt.Errorf("migration %s: %w", path.Base(names[i]), err)
			}
			if strings.HasSuffix(names[i], factsMigration) {
				if err := s.seed(ctx, tx); err != nil {
					return fmt.Errorf("migration %s: %w", path.Base(names[i]), err)
				}
				seeded = true
			}
			if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", i+1)); err != nil {
				return err
			}
		}
		if seeded { // by now all tables are as this program expects them
			if err := s.reproject(ctx, tx); err != nil {
				return err
			}
		}
		if version == len(names) || len(names) <= generatedCounters {
			return nil
		}
		return makeCounters(ctx, tx)
	})
}

// withoutForeignKeys runs f in one transaction in which rows may refer to
// missing rows. A migration that rebuilds a table needs that: dropping the old
// table would delete its rows' children. When f returns, all references must
// hold again.
func (s *Store) withoutForeignKeys(ctx context.Context, f func(tx *sql.Tx) error) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	// SQLite ignores the pragma within a transaction, so it is set around it.
	if _, err := conn.ExecContext(ctx, "PRAGMA foreign_keys = off"); err != nil {
		return err
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA foreign_keys = on")
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // a no-op once committed
	if err := f(tx); err != nil {
		return err
	}
	if err := foreignKeysHold(ctx, tx); err != nil {
		return err
	}
	return tx.Commit()
}

// foreignKeysHold returns an error that names the first row whose parent is
// missing.
func foreignKeysHold(ctx context.Context, q querier) error {
	var table, parent sql.NullString
	err := q.QueryRowContext(ctx, `SELECT "table", parent FROM pragma_foreign_key_check LIMIT 1`).Scan(&table, &parent)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err == nil {
		err = fmt.Errorf("a row of %s refers to a missing row of %s", table.String, parent.String)
	}
	return err
}

// schemaVersion returns the version of a catalog's schema, 0 for an empty one.
func schemaVersion(ctx context.Context, q querier) (int, error) {
	var version int
	err := q.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version)
	return version, err
}

// backup copies the catalog before it is migrated. It replaces the copy of an
// earlier, failed attempt.
func (s *Store) backup(ctx context.Context, version int) error {
	name := fmt.Sprintf("%s.v%d", s.path, version)
	part := name + ".part"
	// A full disk may also have left the copy's journal.
	clean := func() error {
		for _, left := range []string{part, part + "-journal"} {
			if err := os.Remove(left); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		return nil
	}
	if err := clean(); err != nil {
		return fmt.Errorf("could not make a copy as %s: %w", name, err)
	}
	_, err := s.db.ExecContext(ctx, "VACUUM INTO ?", part)
	if err == nil {
		err = syncFile(part) // SQLite leaves the copy in the system's cache
	}
	if err == nil {
		err = os.Rename(part, name)
	}
	if err != nil {
		clean()
		return fmt.Errorf("could not make a copy as %s: %w", name, err)
	}
	s.kept = name
	return nil
}

func syncFile(name string) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
