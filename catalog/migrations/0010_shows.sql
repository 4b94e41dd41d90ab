-- A date may have several shows. A show is known by its date and name; its key
-- is its address: the date, with the name behind it where the date has several.
-- place orders the shows of one date.
CREATE TABLE new_shows (
	id    INTEGER PRIMARY KEY,
	date  TEXT NOT NULL, -- YYYY-MM-DD, the day it began
	name  TEXT NOT NULL DEFAULT '',
	venue TEXT NOT NULL DEFAULT '',
	key   TEXT NOT NULL UNIQUE,
	place INTEGER NOT NULL DEFAULT 0,
	UNIQUE (date, name)
);
INSERT INTO new_shows (id, date, name, venue, key) SELECT id, date, name, venue, date FROM shows;
DROP TABLE shows;
ALTER TABLE new_shows RENAME TO shows;
