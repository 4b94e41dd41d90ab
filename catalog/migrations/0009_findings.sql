-- What was called a flag is a finding. The triggers that count changes are
-- generated (counted.go) whenever the schema changes.
ALTER TABLE flags RENAME TO findings;
DROP INDEX flags_show;
DROP INDEX flags_recording;
CREATE INDEX findings_show ON findings (show_id);
CREATE INDEX findings_recording ON findings (recording_id);
UPDATE changed SET kind = 'findings' WHERE kind = 'flags';
DROP TABLE changed_kinds;
