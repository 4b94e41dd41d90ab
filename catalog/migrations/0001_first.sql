-- The first schema. Where a person or a document may remember an id it is never
-- given a second time: AUTOINCREMENT.
PRAGMA application_id = 0x6e72656c; -- "nrel"

CREATE TABLE volumes (
	id   INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE,
	root TEXT NOT NULL UNIQUE -- absolute folder where the volume is mounted now
);

CREATE TABLE shows (
	id    INTEGER PRIMARY KEY,
	date  TEXT NOT NULL UNIQUE, -- YYYY-MM-DD, the day it began
	name  TEXT NOT NULL DEFAULT '',
	venue TEXT NOT NULL DEFAULT ''
);

CREATE TABLE recordings (
	id           INTEGER PRIMARY KEY AUTOINCREMENT,
	show_id      INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	rig          TEXT NOT NULL,
	sample_rate  INTEGER NOT NULL,
	bit_depth    INTEGER NOT NULL,
	sample_bytes INTEGER NOT NULL,
	encoding     TEXT NOT NULL, -- pcm, float
	frames       INTEGER NOT NULL,
	starts_at    TEXT,          -- RFC 3339
	offset_s     REAL NOT NULL DEFAULT 0
);
CREATE INDEX recordings_show ON recordings (show_id);

CREATE TABLE files (
	id           INTEGER PRIMARY KEY,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	volume_id    INTEGER NOT NULL REFERENCES volumes (id),
	path         TEXT NOT NULL, -- from the volume's root, with /
	size         INTEGER NOT NULL,
	mod_time     INTEGER NOT NULL, -- ns since 1970
	segment      INTEGER NOT NULL,
	first_track  INTEGER NOT NULL,
	channels     INTEGER NOT NULL,
	start_frame  INTEGER NOT NULL,
	frames       INTEGER NOT NULL,
	data_offset  INTEGER NOT NULL,
	unfinished   INTEGER NOT NULL DEFAULT 0,
	repairs      TEXT NOT NULL DEFAULT '[]',
	UNIQUE (volume_id, path)
);
CREATE INDEX files_recording ON files (recording_id);

CREATE TABLE pieces (
	file_id INTEGER NOT NULL REFERENCES files (id) ON DELETE CASCADE,
	offset  INTEGER NOT NULL,
	length  INTEGER NOT NULL,
	sum     INTEGER NOT NULL, -- XXH3-64 of the bytes
	PRIMARY KEY (file_id, offset)
) WITHOUT ROWID;

CREATE TABLE tracks (
	id           INTEGER PRIMARY KEY AUTOINCREMENT,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	number       INTEGER NOT NULL,
	name         TEXT NOT NULL DEFAULT '',
	frames       INTEGER NOT NULL, -- from the recording's first frame to the track's last
	UNIQUE (recording_id, number)
);

CREATE TABLE parts (
	track_id INTEGER NOT NULL REFERENCES tracks (id) ON DELETE CASCADE,
	part     INTEGER NOT NULL, -- minute of the recording, from 0
	data     BLOB NOT NULL,
	PRIMARY KEY (track_id, part)
);

CREATE TABLE markers (
	id           INTEGER PRIMARY KEY,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	frame        INTEGER NOT NULL,
	length       INTEGER NOT NULL DEFAULT 0,
	label        TEXT NOT NULL DEFAULT ''
);
CREATE INDEX markers_recording ON markers (recording_id);

CREATE TABLE input_lists (
	id        INTEGER PRIMARY KEY,
	from_date TEXT NOT NULL,
	only      INTEGER NOT NULL DEFAULT 0, -- 1: for that night only, laid over the list in force
	rig       TEXT NOT NULL DEFAULT '',   -- '' : all rigs
	UNIQUE (from_date, only, rig)
);
CREATE TABLE inputs (
	list_id INTEGER NOT NULL REFERENCES input_lists (id) ON DELETE CASCADE,
	track   INTEGER NOT NULL,
	channel TEXT NOT NULL,
	gain_db REAL,
	grp     TEXT NOT NULL DEFAULT '',
	notes   TEXT NOT NULL DEFAULT '',
	PRIMARY KEY (list_id, track)
) WITHOUT ROWID;

CREATE TABLE songs (
	id    INTEGER PRIMARY KEY AUTOINCREMENT,
	title TEXT NOT NULL
);
CREATE TABLE song_keys ( -- what a title or an alias comes down to
	key     TEXT PRIMARY KEY,
	song_id INTEGER NOT NULL REFERENCES songs (id) ON DELETE CASCADE,
	alias   TEXT NOT NULL DEFAULT ''
) WITHOUT ROWID;

CREATE TABLE set_list_entries (
	show_id  INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	position INTEGER NOT NULL, -- from 1
	song_id  INTEGER NOT NULL REFERENCES songs (id) ON DELETE CASCADE,
	start_s  REAL,
	end_s    REAL,
	clock    INTEGER NOT NULL DEFAULT 0, -- 1: times are seconds from midnight
	PRIMARY KEY (show_id, position)
) WITHOUT ROWID;

CREATE TABLE takes (
	id           INTEGER PRIMARY KEY AUTOINCREMENT,
	show_id      INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	song_id      INTEGER NOT NULL REFERENCES songs (id),
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	start_frame  INTEGER NOT NULL,
	end_frame    INTEGER NOT NULL,
	found_by     TEXT NOT NULL CHECK (found_by IN ('marker', 'setlist', 'music', 'person')),
	confidence   REAL NOT NULL CHECK (confidence BETWEEN 0 AND 1)
);
CREATE INDEX takes_show ON takes (show_id);
CREATE INDEX takes_song ON takes (song_id);
CREATE INDEX takes_recording ON takes (recording_id);

CREATE TABLE dismissed ( -- takes that a person deleted: no finder brings them back
	id      INTEGER PRIMARY KEY,
	show_id INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	song_id INTEGER NOT NULL REFERENCES songs (id) ON DELETE CASCADE,
	start_s REAL NOT NULL, -- from the first frame of the show's reference recording
	end_s   REAL NOT NULL
);
CREATE INDEX dismissed_show ON dismissed (show_id);

CREATE TABLE flags (
	id           INTEGER PRIMARY KEY AUTOINCREMENT,
	show_id      INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	track        INTEGER NOT NULL, -- 0: not a single track
	kind         TEXT NOT NULL,
	start_frame  INTEGER NOT NULL,
	end_frame    INTEGER NOT NULL,
	severity     TEXT NOT NULL,
	evidence     TEXT NOT NULL,
	text         TEXT NOT NULL
);
CREATE INDEX flags_show ON flags (show_id);
CREATE INDEX flags_recording ON flags (recording_id);

CREATE TABLE acceptances ( -- outlive the flags they were given to
	id          INTEGER PRIMARY KEY,
	show_id     INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	rig         TEXT NOT NULL,
	track       INTEGER NOT NULL,
	kind        TEXT NOT NULL,
	start_s     REAL NOT NULL,
	end_s       REAL NOT NULL,
	note        TEXT NOT NULL,
	accepted_at TEXT NOT NULL
);
CREATE INDEX acceptances_about ON acceptances (show_id, rig, track, kind);

CREATE TABLE notes (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	show_id INTEGER NOT NULL REFERENCES shows (id) ON DELETE CASCADE,
	text    TEXT NOT NULL,
	at      TEXT NOT NULL
);

CREATE TABLE desks (
	id   INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE
);
CREATE TABLE desk_inputs (
	desk_id INTEGER NOT NULL REFERENCES desks (id) ON DELETE CASCADE,
	input   INTEGER NOT NULL,
	channel TEXT NOT NULL,
	gain_db REAL,
	output  INTEGER NOT NULL DEFAULT 0, -- 0: the output of the same number
	PRIMARY KEY (desk_id, input)
) WITHOUT ROWID;

CREATE TABLE sessions (
	id         INTEGER PRIMARY KEY AUTOINCREMENT,
	created_at TEXT NOT NULL,
	document   TEXT NOT NULL
);
