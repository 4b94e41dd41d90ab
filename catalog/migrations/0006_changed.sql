-- What was changed, counted by what it is about and by the night where it is
-- about one (show_id 0 where not), so that what was worked out of one night
-- outlives the changes of another: a scan stores parts every second. What is
-- derived, and where a player stands, which is stored every second, do not count.
-- "measured" are parts of nights that have takes, whose figures change with them.
-- A row that goes with its parent, which is gone by then, counts for the parent.
DROP TRIGGER changes_volumes_insert;
DROP TRIGGER changes_volumes_update;
DROP TRIGGER changes_volumes_delete;
DROP TRIGGER changes_shows_insert;
DROP TRIGGER changes_shows_update;
DROP TRIGGER changes_shows_delete;
DROP TRIGGER changes_recordings_insert;
DROP TRIGGER changes_recordings_update;
DROP TRIGGER changes_recordings_delete;
DROP TRIGGER changes_files_insert;
DROP TRIGGER changes_files_update;
DROP TRIGGER changes_files_delete;
DROP TRIGGER changes_tracks_insert;
DROP TRIGGER changes_tracks_update;
DROP TRIGGER changes_tracks_delete;
DROP TRIGGER changes_parts_insert;
DROP TRIGGER changes_parts_update;
DROP TRIGGER changes_parts_delete;
DROP TRIGGER changes_markers_insert;
DROP TRIGGER changes_markers_update;
DROP TRIGGER changes_markers_delete;
DROP TRIGGER changes_input_lists_insert;
DROP TRIGGER changes_input_lists_update;
DROP TRIGGER changes_input_lists_delete;
DROP TRIGGER changes_inputs_insert;
DROP TRIGGER changes_inputs_update;
DROP TRIGGER changes_inputs_delete;
DROP TRIGGER changes_songs_insert;
DROP TRIGGER changes_songs_update;
DROP TRIGGER changes_songs_delete;
DROP TRIGGER changes_song_keys_insert;
DROP TRIGGER changes_song_keys_update;
DROP TRIGGER changes_song_keys_delete;
DROP TRIGGER changes_set_list_entries_insert;
DROP TRIGGER changes_set_list_entries_update;
DROP TRIGGER changes_set_list_entries_delete;
DROP TRIGGER changes_takes_insert;
DROP TRIGGER changes_takes_update;
DROP TRIGGER changes_takes_delete;
DROP TRIGGER changes_dismissed_insert;
DROP TRIGGER changes_dismissed_update;
DROP TRIGGER changes_dismissed_delete;
DROP TRIGGER changes_flags_insert;
DROP TRIGGER changes_flags_update;
DROP TRIGGER changes_flags_delete;
DROP TRIGGER changes_acceptances_insert;
DROP TRIGGER changes_acceptances_update;
DROP TRIGGER changes_acceptances_delete;
DROP TRIGGER changes_notes_insert;
DROP TRIGGER changes_notes_update;
DROP TRIGGER changes_notes_delete;
DROP TRIGGER changes_desks_insert;
DROP TRIGGER changes_desks_update;
DROP TRIGGER changes_desks_delete;
DROP TRIGGER changes_desk_inputs_insert;
DROP TRIGGER changes_desk_inputs_update;
DROP TRIGGER changes_desk_inputs_delete;
DROP TRIGGER changes_sessions_insert;
DROP TRIGGER changes_sessions_update;
DROP TRIGGER changes_sessions_delete;
DROP TRIGGER changes_playback_ticks_insert;
DROP TRIGGER changes_playback_ticks_update;
DROP TRIGGER changes_playback_ticks_delete;
DROP TABLE changes;
CREATE TABLE changed (
	kind    TEXT NOT NULL,
	show_id INTEGER NOT NULL, -- not a reference: a show that is gone still counts
	n       INTEGER NOT NULL DEFAULT 0,
	PRIMARY KEY (kind, show_id)
) WITHOUT ROWID;
INSERT INTO changed (kind, show_id) VALUES ('shows', 0), ('volumes', 0), ('lists', 0), ('songs', 0), ('desks', 0), ('sessions', 0);
CREATE TABLE changed_kinds (kind TEXT PRIMARY KEY) WITHOUT ROWID; -- of what is about one night
INSERT INTO changed_kinds (kind) VALUES ('recordings'), ('files'), ('parts'), ('measured'), ('takes'), ('flags'), ('notes');
INSERT INTO changed (kind, show_id) SELECT k.kind, s.id FROM changed_kinds k, shows s;
CREATE TRIGGER changed_volumes_insert AFTER INSERT ON volumes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'volumes' AND show_id = 0; END;
CREATE TRIGGER changed_volumes_update AFTER UPDATE ON volumes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'volumes' AND show_id = 0; END;
CREATE TRIGGER changed_volumes_delete AFTER DELETE ON volumes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'volumes' AND show_id = 0; END;
CREATE TRIGGER changed_shows_insert AFTER INSERT ON shows BEGIN
	INSERT INTO changed (kind, show_id) SELECT kind, NEW.id FROM changed_kinds k WHERE NOT EXISTS (SELECT 1 FROM changed WHERE kind = k.kind AND show_id = NEW.id);
	UPDATE changed SET n = n + 1 WHERE kind = 'shows' AND show_id = 0;
END;
CREATE TRIGGER changed_shows_update AFTER UPDATE ON shows BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'shows' AND show_id = 0; END;
CREATE TRIGGER changed_shows_delete AFTER DELETE ON shows BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'shows' AND show_id = 0; END;
CREATE TRIGGER changed_recordings_insert AFTER INSERT ON recordings BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_recordings_update AFTER UPDATE ON recordings BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_recordings_delete AFTER DELETE ON recordings BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_files_insert AFTER INSERT ON files BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'files' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_files_update AFTER UPDATE ON files BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'files' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_files_delete AFTER DELETE ON files BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'files' AND show_id = (SELECT show_id FROM recordings WHERE id = OLD.recording_id); END;
CREATE TRIGGER changed_tracks_insert AFTER INSERT ON tracks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_tracks_update AFTER UPDATE ON tracks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_tracks_delete AFTER DELETE ON tracks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = OLD.recording_id); END;
CREATE TRIGGER changed_parts_insert AFTER INSERT ON parts BEGIN
	UPDATE changed SET n = n + 1 WHERE kind = 'parts' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = NEW.track_id);
	UPDATE changed SET n = n + 1 WHERE kind = 'measured' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = NEW.track_id) AND EXISTS (SELECT 1 FROM takes k WHERE k.show_id = changed.show_id);
END;
CREATE TRIGGER changed_parts_update AFTER UPDATE ON parts BEGIN
	UPDATE changed SET n = n + 1 WHERE kind = 'parts' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = NEW.track_id);
	UPDATE changed SET n = n + 1 WHERE kind = 'measured' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = NEW.track_id) AND EXISTS (SELECT 1 FROM takes k WHERE k.show_id = changed.show_id);
END;
CREATE TRIGGER changed_parts_delete AFTER DELETE ON parts BEGIN
	UPDATE changed SET n = n + 1 WHERE kind = 'parts' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = OLD.track_id);
	UPDATE changed SET n = n + 1 WHERE kind = 'measured' AND show_id = (SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = OLD.track_id) AND EXISTS (SELECT 1 FROM takes k WHERE k.show_id = changed.show_id);
END;
CREATE TRIGGER changed_markers_insert AFTER INSERT ON markers BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_markers_update AFTER UPDATE ON markers BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = NEW.recording_id); END;
CREATE TRIGGER changed_markers_delete AFTER DELETE ON markers BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'recordings' AND show_id = (SELECT show_id FROM recordings WHERE id = OLD.recording_id); END;
CREATE TRIGGER changed_input_lists_insert AFTER INSERT ON input_lists BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_input_lists_update AFTER UPDATE ON input_lists BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_input_lists_delete AFTER DELETE ON input_lists BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_inputs_insert AFTER INSERT ON inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_inputs_update AFTER UPDATE ON inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_inputs_delete AFTER DELETE ON inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'lists' AND show_id = 0; END;
CREATE TRIGGER changed_songs_insert AFTER INSERT ON songs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_songs_update AFTER UPDATE ON songs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_songs_delete AFTER DELETE ON songs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_song_keys_insert AFTER INSERT ON song_keys BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_song_keys_update AFTER UPDATE ON song_keys BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_song_keys_delete AFTER DELETE ON song_keys BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'songs' AND show_id = 0; END;
CREATE TRIGGER changed_set_list_entries_insert AFTER INSERT ON set_list_entries BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_set_list_entries_update AFTER UPDATE ON set_list_entries BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_set_list_entries_delete AFTER DELETE ON set_list_entries BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_takes_insert AFTER INSERT ON takes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_takes_update AFTER UPDATE ON takes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_takes_delete AFTER DELETE ON takes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_dismissed_insert AFTER INSERT ON dismissed BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_dismissed_update AFTER UPDATE ON dismissed BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_dismissed_delete AFTER DELETE ON dismissed BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'takes' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_flags_insert AFTER INSERT ON flags BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_flags_update AFTER UPDATE ON flags BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_flags_delete AFTER DELETE ON flags BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_acceptances_insert AFTER INSERT ON acceptances BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_acceptances_update AFTER UPDATE ON acceptances BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_acceptances_delete AFTER DELETE ON acceptances BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'flags' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_notes_insert AFTER INSERT ON notes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'notes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_notes_update AFTER UPDATE ON notes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'notes' AND show_id = NEW.show_id; END;
CREATE TRIGGER changed_notes_delete AFTER DELETE ON notes BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'notes' AND show_id = OLD.show_id; END;
CREATE TRIGGER changed_desks_insert AFTER INSERT ON desks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_desks_update AFTER UPDATE ON desks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_desks_delete AFTER DELETE ON desks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_desk_inputs_insert AFTER INSERT ON desk_inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_desk_inputs_update AFTER UPDATE ON desk_inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_desk_inputs_delete AFTER DELETE ON desk_inputs BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'desks' AND show_id = 0; END;
CREATE TRIGGER changed_sessions_insert AFTER INSERT ON sessions BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
CREATE TRIGGER changed_sessions_update AFTER UPDATE ON sessions BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
CREATE TRIGGER changed_sessions_delete AFTER DELETE ON sessions BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
CREATE TRIGGER changed_playback_ticks_insert AFTER INSERT ON playback_ticks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
CREATE TRIGGER changed_playback_ticks_update AFTER UPDATE ON playback_ticks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
CREATE TRIGGER changed_playback_ticks_delete AFTER DELETE ON playback_ticks BEGIN UPDATE changed SET n = n + 1 WHERE kind = 'sessions' AND show_id = 0; END;
