package catalog

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// counted is a table whose changes are counted for [Changes].
type counted struct {
	table string
	about About
	// show is the SQL expression of the show that a row belongs to, with ROW for
	// the row; "0" counts for the tour.
	show string
	// only restricts what is counted; "" counts every change.
	only string
}

const (
	ofTour      = "0"
	ofShow      = "ROW.show_id"
	ofRecording = "(SELECT show_id FROM recordings WHERE id = ROW.recording_id)"
	ofFile      = "(SELECT r.show_id FROM files f JOIN recordings r ON r.id = f.recording_id WHERE f.id = ROW.file_id)"
	ofTrack     = "(SELECT r.show_id FROM tracks t JOIN recordings r ON r.id = t.recording_id WHERE t.id = ROW.track_id)"
)

// countedTables lists what the triggers count. A new table that a page shows
// needs a line here. Cached values are not counted, nor is the position of a
// player, which is stored every second.
var countedTables = []counted{
	{table: "volumes", about: AboutVolumes, show: ofTour},
	{table: "shows", about: AboutShows, show: ofTour},
	{table: "said", about: AboutShows, show: ofTour},
	{table: "said", about: AboutFiles, show: ofTour, only: "ROW.about = 'right'"},
	{table: "recordings", about: AboutRecordings, show: ofShow},
	{table: "files", about: AboutFiles, show: ofRecording},
	{table: "changed_files", about: AboutFiles, show: ofFile},
	{table: "tracks", about: AboutRecordings, show: ofRecording},
	{table: "parts", about: AboutParts, show: ofTrack},
	{table: "parts", about: AboutMeasured, show: ofTrack, only: "EXISTS (SELECT 1 FROM takes k WHERE k.show_id = changed.show_id)"},
	{table: "markers", about: AboutRecordings, show: ofRecording},
	{table: "input_lists", about: AboutLists, show: ofTour},
	{table: "inputs", about: AboutLists, show: ofTour},
	{table: "songs", about: AboutSongs, show: ofTour},
	{table: "song_keys", about: AboutSongs, show: ofTour},
	{table: "set_list_entries", about: AboutTakes, show: ofShow},
	{table: "takes", about: AboutTakes, show: ofShow},
	{table: "dismissed", about: AboutTakes, show: ofShow},
	{table: "findings", about: AboutFindings, show: ofShow},
	{table: "results", about: AboutFindings, show: ofShow, only: "ROW.kind = 'findings'"}, // that a show was judged, even without a finding
	{table: "acceptances", about: AboutFindings, show: ofShow},
	{table: "notes", about: AboutNotes, show: ofShow},
	{table: "desks", about: AboutDesks, show: ofTour},
	{table: "desk_inputs", about: AboutDesks, show: ofTour},
	{table: "sessions", about: AboutSessions, show: ofTour},
	{table: "playback_ticks", about: AboutSessions, show: ofTour},
}

// dropCounters removes the triggers that count changes, so that a migration can
// rename and rebuild tables without counting.
func dropCounters(ctx context.Context, tx *sql.Tx) error {
	names, err := list(ctx, tx, "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'changed!_%' ESCAPE '!'", nil,
		func(row scanner) (name string, err error) { return name, row.Scan(&name) })
	for _, name := range names {
		if err == nil {
			_, err = exec(ctx, tx, "DROP TRIGGER "+name)
		}
	}
	return err
}

// makeCounters creates the triggers that count changes. A row that is deleted
// with its parent no longer finds its show; the parent's own trigger counts
// instead.
func makeCounters(ctx context.Context, tx *sql.Tx) error {
	body := map[string]string{} // by table, with ROW for the row
	abouts := map[About]bool{}
	for _, c := range countedTables {
		only := ""
		if c.only != "" {
			only = " AND " + c.only
		}
		body[c.table] += fmt.Sprintf("UPDATE changed SET n = n + 1 WHERE kind = '%s' AND show_id = %s%s;\n", c.about, c.show, only)
		if abouts[c.about] {
			continue
		}
		abouts[c.about] = true
		shows := "SELECT 0 AS id"
		if c.show != ofTour {
			shows = "SELECT id FROM shows"
			body["shows"] += fmt.Sprintf("INSERT INTO changed (kind, show_id) SELECT '%[1]s', ROW.id WHERE ROW.id IN (SELECT id FROM shows) AND NOT EXISTS (SELECT 1 FROM changed WHERE kind = '%[1]s' AND show_id = ROW.id);\n", c.about)
		}
		if _, err := exec(ctx, tx, fmt.Sprintf("INSERT OR IGNORE INTO changed (kind, show_id) SELECT '%s', id FROM (%s)", c.about, shows)); err != nil {
			return err
		}
	}
	for table, statements := range body {
		for event, row := range map[string]string{"INSERT": "NEW", "UPDATE": "NEW", "DELETE": "OLD"} {
			trigger := fmt.Sprintf("CREATE TRIGGER changed_%s_%s AFTER %s ON %s BEGIN\n%sEND", table, strings.ToLower(event), event, table, strings.ReplaceAll(statements, "ROW", row))
			if _, err := exec(ctx, tx, trigger); err != nil {
				return err
			}
		}
	}
	return nil
}
