-- Version 5 of the file of records: the bench whose own file this is, where several benches
-- have one set of records on a server. A file of one bench alone has no row here.

CREATE TABLE bench (
	one    INTEGER PRIMARY KEY CHECK (one = 1), -- one row at most
	letter TEXT NOT NULL, -- before the bench's numbers: 'A' in A17; in no digest
	id     TEXT NOT NULL, -- of this chain, hexadecimal and random: no two files claim one letter
	server TEXT NOT NULL  -- the id of the server's set of records
) STRICT;

CREATE TRIGGER bench_no_update BEFORE UPDATE ON bench
BEGIN SELECT RAISE(ABORT, 'the bench is set once'); END;
CREATE TRIGGER bench_no_delete BEFORE DELETE ON bench
BEGIN SELECT RAISE(ABORT, 'the bench is set once'); END;

-- How many rows the server was known to have last, so that it can be said what waits while it is away.
CREATE TABLE handed (
	one     INTEGER PRIMARY KEY CHECK (one = 1),
	records INTEGER NOT NULL,
	lots    INTEGER NOT NULL,
	photos  INTEGER NOT NULL
) STRICT;
