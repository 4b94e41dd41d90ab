-- What was heard in a measured part beside its levels: harmony, tone. It comes
-- and goes with the part.
CREATE TABLE features (
	track_id INTEGER NOT NULL,
	part     INTEGER NOT NULL,
	kind     TEXT NOT NULL,
	data     BLOB NOT NULL,
	PRIMARY KEY (track_id, kind, part),
	FOREIGN KEY (track_id, part) REFERENCES parts (track_id, part) ON DELETE CASCADE
) WITHOUT ROWID;
