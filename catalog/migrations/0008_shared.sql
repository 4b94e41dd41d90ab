-- The numbers of the tracks that a finding without a track of its own is about,
-- "1 2 5", so that accepting it quiets no other one at the same time.
ALTER TABLE flags ADD COLUMN tracks TEXT NOT NULL DEFAULT '';
ALTER TABLE acceptances ADD COLUMN tracks TEXT NOT NULL DEFAULT '';
DROP INDEX acceptances_about;
CREATE INDEX acceptances_about ON acceptances (show_id, rig, track, kind, tracks);
