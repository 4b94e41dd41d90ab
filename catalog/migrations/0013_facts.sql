-- What a person said, as facts: see fact.go. Facts are only ever added; the
-- tables that hold them today become projections of the facts that no other
-- replaces. seed.go states what these tables held as facts, and reads the tables
-- that are renamed here.
CREATE TABLE facts (
	id      BLOB PRIMARY KEY, -- 16 bytes of SHA-256
	kind    TEXT NOT NULL,
	subject TEXT NOT NULL,
	at      INTEGER NOT NULL, -- ms since 1970, or later: see Fact.At
	author  TEXT NOT NULL,
	step    BLOB NOT NULL,    -- what was done at once: 8 bytes of the device, 8 of the command
	body    TEXT              -- JSON; NULL: deleted
) WITHOUT ROWID;
CREATE INDEX facts_subject ON facts (kind, subject);
CREATE INDEX facts_at ON facts (at);
CREATE TABLE replaces (
	fact BLOB NOT NULL,
	old  BLOB NOT NULL, -- may not have arrived yet
	PRIMARY KEY (fact, old)
) WITHOUT ROWID;
CREATE INDEX replaces_old ON replaces (old);
CREATE TRIGGER facts_stay BEFORE UPDATE ON facts BEGIN SELECT RAISE(ABORT, 'facts never change'); END;
CREATE TRIGGER facts_last BEFORE DELETE ON facts BEGIN SELECT RAISE(ABORT, 'facts are never deleted'); END;

-- subject: of the fact that a row shows; '' in takes that a finder placed.
ALTER TABLE input_lists ADD COLUMN subject TEXT NOT NULL DEFAULT '';
ALTER TABLE desks ADD COLUMN subject TEXT NOT NULL DEFAULT '';
ALTER TABLE notes ADD COLUMN subject TEXT NOT NULL DEFAULT '';
ALTER TABLE sessions ADD COLUMN subject TEXT NOT NULL DEFAULT '';
ALTER TABLE takes ADD COLUMN subject TEXT NOT NULL DEFAULT '';
CREATE INDEX takes_subject ON takes (subject);
CREATE INDEX notes_subject ON notes (subject);
CREATE INDEX sessions_subject ON sessions (subject);

-- spelling: a song's name as it was entered; song_key: what that comes down to.
ALTER TABLE takes ADD COLUMN spelling TEXT NOT NULL DEFAULT '';
ALTER TABLE takes ADD COLUMN song_key TEXT NOT NULL DEFAULT '';
CREATE INDEX takes_key ON takes (song_key);
ALTER TABLE songs ADD COLUMN key TEXT NOT NULL DEFAULT '';
CREATE INDEX songs_key ON songs (key);

CREATE TABLE new_entries (
	show_id  INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	position INTEGER NOT NULL, -- from 1
	song_id  INTEGER NOT NULL REFERENCES songs (id),
	spelling TEXT NOT NULL,
	song_key TEXT NOT NULL,
	start_s  REAL,
	end_s    REAL,
	clock    INTEGER NOT NULL DEFAULT 0, -- 1: times are seconds from midnight
	PRIMARY KEY (show_id, position)
) WITHOUT ROWID;
INSERT INTO new_entries (show_id, position, song_id, spelling, song_key, start_s, end_s, clock)
	SELECT e.show_id, e.position, e.song_id, g.title, '', e.start_s, e.end_s, e.clock FROM set_list_entries e JOIN songs g ON g.id = e.song_id;
DROP TABLE set_list_entries;
ALTER TABLE new_entries RENAME TO set_list_entries;
CREATE INDEX set_list_entries_key ON set_list_entries (song_key);

-- Dismissals and acceptances lie on a recording's frames: seconds on whatever
-- recording was the reference by then moved with it.
ALTER TABLE dismissed RENAME TO old_dismissed;
DROP INDEX dismissed_show;
CREATE TABLE dismissed (
	subject      TEXT PRIMARY KEY,
	show_id      INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	start_frame  INTEGER NOT NULL,
	end_frame    INTEGER NOT NULL,
	spelling     TEXT NOT NULL,
	song_key     TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX dismissed_show ON dismissed (show_id);
CREATE INDEX dismissed_recording ON dismissed (recording_id);

ALTER TABLE acceptances RENAME TO old_acceptances;
DROP INDEX acceptances_about;
CREATE TABLE acceptances (
	subject      TEXT PRIMARY KEY,
	show_id      INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	kind         TEXT NOT NULL,
	track        INTEGER NOT NULL,
	tracks       TEXT NOT NULL,
	start_frame  INTEGER NOT NULL,
	end_frame    INTEGER NOT NULL,
	note         TEXT NOT NULL,
	at           INTEGER NOT NULL -- of the fact
) WITHOUT ROWID;
CREATE INDEX acceptances_about ON acceptances (recording_id, kind, track, tracks);

-- Facts that no row shows: their show or recording is not here, or not any more.
CREATE TABLE waiting (
	kind    TEXT NOT NULL,
	subject TEXT NOT NULL,
	PRIMARY KEY (kind, subject)
) WITHOUT ROWID;
CREATE TRIGGER waiting_takes AFTER DELETE ON takes WHEN OLD.subject <> '' BEGIN INSERT OR IGNORE INTO waiting (kind, subject) VALUES ('take', OLD.subject); END;
CREATE TRIGGER waiting_notes AFTER DELETE ON notes BEGIN INSERT OR IGNORE INTO waiting (kind, subject) VALUES ('note', OLD.subject); END;
CREATE TRIGGER waiting_dismissed AFTER DELETE ON dismissed BEGIN INSERT OR IGNORE INTO waiting (kind, subject) VALUES ('dismissal', OLD.subject); END;
CREATE TRIGGER waiting_acceptances AFTER DELETE ON acceptances BEGIN INSERT OR IGNORE INTO waiting (kind, subject) VALUES ('acceptance', OLD.subject); END;
