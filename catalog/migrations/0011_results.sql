-- What is computed from the facts of shows. Deleting a row costs time only: it is
-- computed again. stamp says what a result was made of, digest what it holds.
CREATE TABLE results (
	kind    TEXT NOT NULL,
	show_id INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	stamp   TEXT NOT NULL,
	digest  TEXT NOT NULL,
	content BLOB NOT NULL,
	PRIMARY KEY (kind, show_id)
) WITHOUT ROWID;
-- The digest of a recording's measured parts, beside the edition that it is of.
CREATE TABLE measured_digests (
	recording_id INTEGER PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
	edition      INTEGER NOT NULL,
	digest       TEXT NOT NULL
);
DELETE FROM derived WHERE kind IN ('song titles', 'judged');
