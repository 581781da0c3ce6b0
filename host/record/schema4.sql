-- Version 4 of the file of records: photos of chips. Rows are facts and are only appended.
--
-- A picture is kept once, under its digest. A photo ties it to a chip: photos have a chain of
-- digests of their own, in which each row names the picture by its digest and the chip's
-- first record by number and digest. A later row takes a photo back; its picture stays.

CREATE TABLE picture (
	sha256 TEXT PRIMARY KEY,  -- of jpeg, hexadecimal
	width  INTEGER NOT NULL,  -- pixels
	height INTEGER NOT NULL,
	jpeg   BLOB NOT NULL
) STRICT;

CREATE TABLE photo (
	number      INTEGER PRIMARY KEY, -- 1, 2, 3 … without a gap
	time        TEXT NOT NULL,       -- RFC 3339, UTC, ms
	chip        INTEGER NOT NULL,    -- serial of the chip's first record
	chip_digest TEXT NOT NULL,       -- its digest
	sha256      TEXT NOT NULL,       -- of the picture
	takes_back  INTEGER NOT NULL,    -- number of the photo that no longer holds, or 0
	previous    TEXT NOT NULL,       -- digest of the photo before
	digest      TEXT NOT NULL
) STRICT;

CREATE INDEX photo_chip ON photo (chip);
CREATE INDEX photo_picture ON photo (sha256);

CREATE TRIGGER picture_no_update BEFORE UPDATE ON picture
BEGIN SELECT RAISE(ABORT, 'pictures are only appended'); END;
CREATE TRIGGER picture_no_delete BEFORE DELETE ON picture
BEGIN SELECT RAISE(ABORT, 'pictures are only appended'); END;
CREATE TRIGGER photo_no_update BEFORE UPDATE ON photo
BEGIN SELECT RAISE(ABORT, 'photos are only appended'); END;
CREATE TRIGGER photo_no_delete BEFORE DELETE ON photo
BEGIN SELECT RAISE(ABORT, 'photos are only appended'); END;
CREATE TRIGGER photo_in_order BEFORE INSERT ON photo
WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM photo)
BEGIN SELECT RAISE(ABORT, 'photos are only appended'); END;
