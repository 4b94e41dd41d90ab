-- What a file itself says, so that all files of a date can be grouped without
-- opening those that are not there. header is JSON, '' where the file was not
-- seen since this migration; content is the address of the file's bytes.
ALTER TABLE files ADD COLUMN sample_rate INTEGER NOT NULL DEFAULT 0;
ALTER TABLE files ADD COLUMN bit_depth INTEGER NOT NULL DEFAULT 0;
ALTER TABLE files ADD COLUMN sample_bytes INTEGER NOT NULL DEFAULT 0;
ALTER TABLE files ADD COLUMN encoding TEXT NOT NULL DEFAULT '';
ALTER TABLE files ADD COLUMN header TEXT NOT NULL DEFAULT '';
ALTER TABLE files ADD COLUMN content TEXT NOT NULL DEFAULT '';
UPDATE files SET (sample_rate, bit_depth, sample_bytes, encoding) =
	(SELECT r.sample_rate, r.bit_depth, r.sample_bytes, r.encoding FROM recordings r WHERE r.id = files.recording_id);
-- The recording on which the show's positions count, and whether a person chose
-- it. layout counts how often the places of files and tracks changed: what was
-- measured of an earlier layout is not stored.
ALTER TABLE recordings ADD COLUMN reference INTEGER NOT NULL DEFAULT 0;
ALTER TABLE recordings ADD COLUMN chosen INTEGER NOT NULL DEFAULT 0;
ALTER TABLE recordings ADD COLUMN layout INTEGER NOT NULL DEFAULT 1;
-- What a person said about files. It is kept by the files' content, so that it
-- outlives the recording that the files are grouped into.
CREATE TABLE said (
	content TEXT NOT NULL,
	about   TEXT NOT NULL,
	value   TEXT NOT NULL,
	subject TEXT NOT NULL, -- of the fact that says so
	PRIMARY KEY (content, about)
) WITHOUT ROWID;
