-- Version 1 of the file of records. Rows of record and report are facts and
-- are only appended. replaced and tally follow from them; they keep finding
-- quick, and Verify compares them with the rows.

CREATE TABLE record (
	serial            INTEGER PRIMARY KEY, -- 1, 2, 3 … without a gap
	kind              TEXT NOT NULL CHECK (kind IN ('test', 'correction', 'void')),
	time              TEXT NOT NULL,       -- RFC 3339, UTC, ms
	part              TEXT NOT NULL,
	type              TEXT NOT NULL,
	family            TEXT NOT NULL,
	drawer            TEXT NOT NULL,
	lot               TEXT NOT NULL,
	operator          TEXT NOT NULL,
	marking           TEXT NOT NULL,
	date_code         TEXT NOT NULL,       -- as marked
	date_from         TEXT NOT NULL,       -- ISO 8601 day, or ''
	date_to           TEXT NOT NULL,
	date_year         INTEGER NOT NULL,    -- of the ISO 8601 week, or 0
	verdict           TEXT NOT NULL,
	grade             TEXT NOT NULL,
	reason            TEXT NOT NULL,
	note              TEXT NOT NULL,
	pins_failed       TEXT NOT NULL,       -- '2 5'
	adapter           TEXT NOT NULL,
	firmware          TEXT NOT NULL,
	definition_sha256 TEXT NOT NULL,       -- hexadecimal
	vectors_sha256    TEXT NOT NULL,
	chip              INTEGER NOT NULL,    -- serial of the first test of the same chip
	retest_of         INTEGER NOT NULL,    -- serial, or 0
	corrects          INTEGER NOT NULL,
	imported_serial   INTEGER NOT NULL,    -- in the file that it came from, or 0
	imported_digest   TEXT NOT NULL,
	previous          TEXT NOT NULL,       -- digest of the row before
	digest            TEXT NOT NULL
) STRICT;

CREATE TABLE report (
	serial INTEGER PRIMARY KEY,
	report TEXT NOT NULL -- JSON
) STRICT;

CREATE INDEX record_part ON record (part, date_from);
CREATE INDEX record_type ON record (type, date_from);
CREATE INDEX record_drawer ON record (drawer);
CREATE INDEX record_lot ON record (lot) WHERE lot <> '';
CREATE INDEX record_again ON record (chip) WHERE chip <> serial;
CREATE INDEX record_digest ON record (digest);
CREATE INDEX record_imported ON record (imported_digest) WHERE imported_digest <> '';

-- Rows that no longer say how a chip stands.
CREATE TABLE replaced (serial INTEGER PRIMARY KEY) STRICT;

-- How many chips stand so.
CREATE TABLE tally (
	drawer    TEXT NOT NULL,
	part      TEXT NOT NULL,
	type      TEXT NOT NULL,
	family    TEXT NOT NULL,
	date_year INTEGER NOT NULL,
	lot       TEXT NOT NULL,
	verdict   TEXT NOT NULL,
	grade     TEXT NOT NULL,
	n         INTEGER NOT NULL,
	PRIMARY KEY (drawer, part, type, family, date_year, lot, verdict, grade)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER record_no_update BEFORE UPDATE ON record
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
CREATE TRIGGER record_no_delete BEFORE DELETE ON record
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
CREATE TRIGGER record_in_order BEFORE INSERT ON record
WHEN NEW.serial <> (SELECT coalesce(max(serial), 0) + 1 FROM record)
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
CREATE TRIGGER report_no_update BEFORE UPDATE ON report
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
CREATE TRIGGER report_no_delete BEFORE DELETE ON report
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
CREATE TRIGGER report_in_order BEFORE INSERT ON report
WHEN NEW.serial <> (SELECT coalesce(max(serial), 0) FROM record)
	OR EXISTS (SELECT 1 FROM report WHERE serial = NEW.serial)
BEGIN SELECT RAISE(ABORT, 'records are only appended'); END;
