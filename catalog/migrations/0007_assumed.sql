-- 1 where neither the recorder nor a file's name told a track's number, so that
-- it was given in some order and says nothing about the input list.
ALTER TABLE tracks ADD COLUMN assumed INTEGER NOT NULL DEFAULT 0;
