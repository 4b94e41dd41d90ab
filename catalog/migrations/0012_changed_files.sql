-- A file whose bytes changed after they were measured is measured again. The
-- catalog keeps the checksums that it had first until the file changes again after
-- a person accepted it; the acceptance is a fact.
CREATE TABLE changed_files (
	file_id     INTEGER PRIMARY KEY REFERENCES files (id) ON DELETE CASCADE,
	size        INTEGER NOT NULL, -- bytes, when it was read first
	found_at    TEXT NOT NULL     -- RFC 3339: when a scan last found it changed
);
CREATE TABLE first_pieces (
	file_id INTEGER NOT NULL REFERENCES files (id) ON DELETE CASCADE,
	offset  INTEGER NOT NULL,
	length  INTEGER NOT NULL,
	sum     INTEGER NOT NULL, -- as in pieces
	PRIMARY KEY (file_id, offset)
) WITHOUT ROWID;
