-- Version 2 of the file of records: the lots that were opened for inspection by a
-- sample. Rows are facts and are only appended, so that a plan that was chosen
-- before the chips were tested cannot become another one after.
--
-- Lots have a chain of digests of their own. Each row names besides the record
-- that was the last when the lot was opened, by number and digest, and so shows
-- what had been tested before; the chain of the records does not hold the lots.

CREATE TABLE lot (
	number        INTEGER PRIMARY KEY, -- 1, 2, 3 … without a gap
	time          TEXT NOT NULL,       -- RFC 3339, UTC, ms
	name          TEXT NOT NULL UNIQUE CHECK (name <> ''), -- as in record.lot
	source        TEXT NOT NULL,       -- the supplier; lots of one source and AQL are a series
	size          INTEGER NOT NULL,    -- chips
	aql           TEXT NOT NULL,       -- as the tables print it: '1.0'
	level         TEXT NOT NULL,       -- 'II'
	severity      TEXT NOT NULL,
	code_letter   TEXT NOT NULL,
	used_letter   TEXT NOT NULL,
	sample_size   INTEGER NOT NULL,    -- chips
	accept        INTEGER NOT NULL,    -- Ac
	reject        INTEGER NOT NULL,    -- Re
	resumed       INTEGER NOT NULL CHECK (resumed IN (0, 1)), -- the supplier had acted on a discontinuation
	record        INTEGER NOT NULL,    -- serial of the last record at the time, or 0
	record_digest TEXT NOT NULL,       -- its digest
	previous      TEXT NOT NULL,       -- digest of the lot before
	digest        TEXT NOT NULL
) STRICT;

CREATE TRIGGER lot_no_update BEFORE UPDATE ON lot
BEGIN SELECT RAISE(ABORT, 'lots are only appended'); END;
CREATE TRIGGER lot_no_delete BEFORE DELETE ON lot
BEGIN SELECT RAISE(ABORT, 'lots are only appended'); END;
CREATE TRIGGER lot_in_order BEFORE INSERT ON lot
WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM lot)
BEGIN SELECT RAISE(ABORT, 'lots are only appended'); END;
