-- Where the playback of a session stands, and which desk inputs were switched
-- back to the stage.
CREATE TABLE playback_states (
	session_id INTEGER PRIMARY KEY REFERENCES sessions (id) ON DELETE CASCADE,
	saved_at   TEXT NOT NULL, -- RFC 3339
	fed        INTEGER NOT NULL DEFAULT 0, -- 1: sound was made since the list was last complete
	document   TEXT NOT NULL
);

CREATE TABLE playback_ticks (
	session_id INTEGER NOT NULL REFERENCES sessions (id) ON DELETE CASCADE,
	desk_input INTEGER NOT NULL,
	ticked_at  TEXT NOT NULL, -- RFC 3339
	PRIMARY KEY (session_id, desk_input)
) WITHOUT ROWID;
