-- What was worked out of the measured parts and may be worked out again: the
-- figures of spans, the strips that a screen draws. An edition counts the
-- changes of a recording's parts; what was worked out of another edition is not
-- given out any more.
CREATE TABLE editions (
	recording_id INTEGER PRIMARY KEY REFERENCES recordings (id) ON DELETE CASCADE,
	edition      INTEGER NOT NULL
);
CREATE TABLE derived (
	id           INTEGER PRIMARY KEY,
	recording_id INTEGER NOT NULL REFERENCES recordings (id) ON DELETE CASCADE,
	kind         TEXT NOT NULL,
	start_frame  INTEGER NOT NULL,
	end_frame    INTEGER NOT NULL,
	edition      INTEGER NOT NULL,
	data         BLOB NOT NULL,
	UNIQUE (recording_id, kind, start_frame, end_frame)
);
-- A track that is going takes its parts along; then there is no row to count.
CREATE TRIGGER parts_come AFTER INSERT ON parts BEGIN
	INSERT INTO editions (recording_id, edition) SELECT recording_id, 1 FROM tracks WHERE id = NEW.track_id
		ON CONFLICT (recording_id) DO UPDATE SET edition = edition + 1;
END;
CREATE TRIGGER parts_go AFTER DELETE ON parts BEGIN
	INSERT INTO editions (recording_id, edition) SELECT recording_id, 1 FROM tracks WHERE id = OLD.track_id
		ON CONFLICT (recording_id) DO UPDATE SET edition = edition + 1;
END;
