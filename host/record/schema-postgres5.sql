-- Version 5 of the records on a PostgreSQL server: the tables of the file at its version 5,
-- with the bench before each key.
--
-- Each table is partitioned by bench, and the partitions of bench A are in the schema
-- chipassay_a. So a statement for the file works on one bench where the search path begins with its
-- schema, and on all benches where it begins with chipassay. Each bench has chains of its own, and
-- writes to its own partitions: no bench waits for another.
--
-- Rows of record, report, lot, picture, photo, bench, tie and version are only added. Nobody is
-- granted more, also not the owner; triggers hold a superuser to it.

CREATE SCHEMA chipassay;

CREATE TABLE chipassay.version (
	version bigint PRIMARY KEY,
	set_id  text COLLATE "C" NOT NULL -- of this set of records, random
);

CREATE TABLE chipassay.bench (
	letter text COLLATE "C" PRIMARY KEY CHECK (letter ~ '^[A-Z]{1,3}$'),
	id     text COLLATE "C" NOT NULL UNIQUE -- of the bench's own file
);

CREATE TABLE chipassay.record (
	bench             text COLLATE "C" NOT NULL,
	serial            bigint NOT NULL, -- 1, 2, 3 … of a bench without a gap
	kind              text COLLATE "C" NOT NULL CHECK (kind IN ('test', 'correction', 'void')),
	time              text COLLATE "C" NOT NULL, -- RFC 3339, UTC, ms
	part              text COLLATE "C" NOT NULL,
	type              text COLLATE "C" NOT NULL,
	family            text COLLATE "C" NOT NULL,
	drawer            text COLLATE "C" NOT NULL,
	lot               text COLLATE "C" NOT NULL,
	operator          text COLLATE "C" NOT NULL,
	marking           text COLLATE "C" NOT NULL,
	date_code         text COLLATE "C" NOT NULL,
	date_from         text COLLATE "C" NOT NULL, -- ISO 8601 day, or ''
	date_to           text COLLATE "C" NOT NULL,
	date_year         bigint NOT NULL,
	verdict           text COLLATE "C" NOT NULL,
	grade             text COLLATE "C" NOT NULL,
	reason            text COLLATE "C" NOT NULL,
	note              text COLLATE "C" NOT NULL,
	pins_failed       text COLLATE "C" NOT NULL,
	adapter           text COLLATE "C" NOT NULL,
	firmware          text COLLATE "C" NOT NULL,
	definition_sha256 text COLLATE "C" NOT NULL,
	vectors_sha256    text COLLATE "C" NOT NULL,
	chip              bigint NOT NULL,
	retest_of         bigint NOT NULL,
	corrects          bigint NOT NULL,
	imported_serial   bigint NOT NULL,
	imported_digest   text COLLATE "C" NOT NULL,
	previous          text COLLATE "C" NOT NULL,
	digest            text COLLATE "C" NOT NULL,
	PRIMARY KEY (serial, bench)
) PARTITION BY LIST (bench);

CREATE TABLE chipassay.report (
	bench  text COLLATE "C" NOT NULL,
	serial bigint NOT NULL,
	report bytea NOT NULL, -- JSON, byte for byte as its digest was taken
	PRIMARY KEY (serial, bench)
) PARTITION BY LIST (bench);

-- A text may have 10,000 bytes, and an index row here 2,704: so indexes are on the first 200 letters.
CREATE INDEX ON chipassay.record (time, bench, serial); -- the newest of all benches
CREATE INDEX ON chipassay.record (left(part, 200), date_from);
CREATE INDEX ON chipassay.record (left(type, 200), date_from);
CREATE INDEX ON chipassay.record (left(drawer, 200), time, bench, serial);
CREATE INDEX ON chipassay.record (left(lot, 200), time, bench, serial) WHERE lot <> '';
CREATE INDEX ON chipassay.record (chip) WHERE chip <> serial;

CREATE TABLE chipassay.replaced (
	bench  text COLLATE "C" NOT NULL,
	serial bigint NOT NULL,
	PRIMARY KEY (serial, bench)
) PARTITION BY LIST (bench);

CREATE TABLE chipassay.tally (
	bench     text COLLATE "C" NOT NULL,
	drawer    text COLLATE "C" NOT NULL,
	part      text COLLATE "C" NOT NULL,
	type      text COLLATE "C" NOT NULL,
	family    text COLLATE "C" NOT NULL,
	date_year bigint NOT NULL,
	lot       text COLLATE "C" NOT NULL,
	verdict   text COLLATE "C" NOT NULL,
	grade     text COLLATE "C" NOT NULL,
	n         bigint NOT NULL,
	key       text COLLATE "C" GENERATED ALWAYS AS (md5(drawer || chr(31) || part || chr(31) || type || chr(31) || family || chr(31) ||
		date_year::text || chr(31) || lot || chr(31) || verdict || chr(31) || grade)) STORED,
	PRIMARY KEY (key, bench)
) PARTITION BY LIST (bench);

CREATE TABLE chipassay.lot (
	bench         text COLLATE "C" NOT NULL,
	number        bigint NOT NULL,
	time          text COLLATE "C" NOT NULL,
	name          text COLLATE "C" NOT NULL CHECK (name <> ''),
	source        text COLLATE "C" NOT NULL,
	size          bigint NOT NULL,
	aql           text COLLATE "C" NOT NULL,
	level         text COLLATE "C" NOT NULL,
	severity      text COLLATE "C" NOT NULL,
	code_letter   text COLLATE "C" NOT NULL,
	used_letter   text COLLATE "C" NOT NULL,
	sample_size   bigint NOT NULL,
	accept        bigint NOT NULL,
	reject        bigint NOT NULL,
	resumed       bigint NOT NULL CHECK (resumed IN (0, 1)),
	decides       text COLLATE "C" NOT NULL,
	record        bigint NOT NULL,
	record_digest text COLLATE "C" NOT NULL,
	previous      text COLLATE "C" NOT NULL,
	digest        text COLLATE "C" NOT NULL,
	PRIMARY KEY (number, bench)
) PARTITION BY LIST (bench);

CREATE TABLE chipassay.picture (
	bench  text COLLATE "C" NOT NULL,
	sha256 text COLLATE "C" NOT NULL,
	width  bigint NOT NULL,
	height bigint NOT NULL,
	jpeg   bytea NOT NULL,
	PRIMARY KEY (sha256, bench)
) PARTITION BY LIST (bench);

CREATE TABLE chipassay.photo (
	bench       text COLLATE "C" NOT NULL,
	number      bigint NOT NULL,
	time        text COLLATE "C" NOT NULL,
	chip        bigint NOT NULL,
	chip_digest text COLLATE "C" NOT NULL,
	sha256      text COLLATE "C" NOT NULL,
	takes_back  bigint NOT NULL,
	previous    text COLLATE "C" NOT NULL,
	digest      text COLLATE "C" NOT NULL,
	PRIMARY KEY (number, bench)
) PARTITION BY LIST (bench);

CREATE INDEX ON chipassay.photo (chip);
CREATE INDEX ON chipassay.photo (sha256);

-- The heads of all chains, once a day: a chain that is rewritten or cut off later no longer
-- fits the ties that name it, nor does a tie that is changed fit the next.
CREATE TABLE chipassay.tie (
	number   bigint PRIMARY KEY, -- 1, 2, 3 … without a gap
	day      text COLLATE "C" NOT NULL UNIQUE, -- ISO 8601, UTC
	heads    text COLLATE "C" NOT NULL, -- 'A record 17 digest; …', by bench
	previous text COLLATE "C" NOT NULL,
	digest   text COLLATE "C" NOT NULL
);

-- As SQLite's: days, from another origin; of '' null.
CREATE FUNCTION chipassay.julianday(day text) RETURNS integer IMMUTABLE PARALLEL SAFE LANGUAGE sql AS
$$ SELECT CASE WHEN day <> '' THEN make_date(left(day, 4)::integer, substr(day, 6, 2)::integer, right(day, 2)::integer) - date '2000-01-01' END $$;

CREATE FUNCTION chipassay.only_appended() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '% rows are only appended', TG_TABLE_NAME; END $$;

-- A row follows the last of its bench, by number and digest: the one before it is there, and the key keeps two from
-- following it. Each is looked up by its key, whatever the plan was when the table was empty.
CREATE FUNCTION chipassay.in_order() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog SET enable_seqscan = off AS
$$
DECLARE
	follows boolean;
BEGIN
	CASE TG_ARGV[0]
	WHEN 'record' THEN
		follows := CASE NEW.serial WHEN 1 THEN NEW.previous = '' ELSE
			EXISTS (SELECT 1 FROM chipassay.record WHERE bench = NEW.bench AND serial = NEW.serial - 1 AND digest = NEW.previous) END
			AND NOT EXISTS (SELECT 1 FROM chipassay.record WHERE bench = NEW.bench AND serial = NEW.serial);
	WHEN 'lot' THEN
		follows := CASE NEW.number WHEN 1 THEN NEW.previous = '' ELSE
			EXISTS (SELECT 1 FROM chipassay.lot WHERE bench = NEW.bench AND number = NEW.number - 1 AND digest = NEW.previous) END
			AND NOT EXISTS (SELECT 1 FROM chipassay.lot WHERE bench = NEW.bench AND number = NEW.number);
	WHEN 'photo' THEN
		follows := CASE NEW.number WHEN 1 THEN NEW.previous = '' ELSE
			EXISTS (SELECT 1 FROM chipassay.photo WHERE bench = NEW.bench AND number = NEW.number - 1 AND digest = NEW.previous) END
			AND NOT EXISTS (SELECT 1 FROM chipassay.photo WHERE bench = NEW.bench AND number = NEW.number);
	WHEN 'tie' THEN
		follows := CASE NEW.number WHEN 1 THEN NEW.previous = '' ELSE
			EXISTS (SELECT 1 FROM chipassay.tie WHERE number = NEW.number - 1 AND digest = NEW.previous) END;
	END CASE;
	IF follows IS NOT TRUE THEN
		RAISE EXCEPTION '% rows are only appended', TG_TABLE_NAME;
	END IF;
	RETURN NEW;
END
$$;

-- The report of a record comes right after it, once.
CREATE FUNCTION chipassay.report_in_order() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog SET enable_seqscan = off AS
$$
BEGIN
	IF NOT EXISTS (SELECT 1 FROM chipassay.record WHERE bench = NEW.bench AND serial = NEW.serial)
		OR EXISTS (SELECT 1 FROM chipassay.record WHERE bench = NEW.bench AND serial = NEW.serial + 1) THEN
		RAISE EXCEPTION '% rows are only appended', TG_TABLE_NAME;
	END IF;
	RETURN NEW;
END
$$;

DO $$
DECLARE name text;
BEGIN
	FOREACH name IN ARRAY ARRAY['record', 'report', 'lot', 'picture', 'photo', 'bench', 'tie', 'version'] LOOP
		EXECUTE format('CREATE TRIGGER no_change BEFORE UPDATE OR DELETE ON chipassay.%I FOR EACH ROW EXECUTE FUNCTION chipassay.only_appended()', name);
		EXECUTE format('CREATE TRIGGER no_truncate BEFORE TRUNCATE ON chipassay.%I EXECUTE FUNCTION chipassay.only_appended()', name);
		EXECUTE format('REVOKE UPDATE, DELETE, TRUNCATE ON chipassay.%I FROM %I', name, current_user);
		EXECUTE format('GRANT SELECT ON chipassay.%I TO PUBLIC', name);
	END LOOP;
	FOREACH name IN ARRAY ARRAY['record', 'lot', 'photo', 'tie'] LOOP
		EXECUTE format('CREATE TRIGGER in_order BEFORE INSERT ON chipassay.%I FOR EACH ROW EXECUTE FUNCTION chipassay.in_order(%L)', name, name);
	END LOOP;
END
$$;
CREATE TRIGGER in_order BEFORE INSERT ON chipassay.report FOR EACH ROW EXECUTE FUNCTION chipassay.report_in_order();

GRANT USAGE ON SCHEMA chipassay TO PUBLIC;
GRANT SELECT ON chipassay.replaced, chipassay.tally TO PUBLIC;
GRANT INSERT ON chipassay.tie TO PUBLIC;

-- Makes a bench with its partitions, and gives back the id of the file that has the letter. With
-- the owner's rights, so that a bench need not have them.
CREATE FUNCTION chipassay.add_bench(new_letter text, new_id text) RETURNS text
	LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS
$$
DECLARE
	name  text;
	own   text := 'chipassay_' || lower(new_letter);
	there text;
BEGIN
	PERFORM pg_advisory_xact_lock(1667787120, 2); -- 'chip': one new bench at a time
	SELECT id INTO there FROM chipassay.bench WHERE letter = new_letter;
	IF FOUND THEN
		RETURN there;
	END IF;
	INSERT INTO chipassay.bench (letter, id) VALUES (new_letter, new_id);
	EXECUTE format('CREATE SCHEMA %I', own);
	EXECUTE format('GRANT USAGE ON SCHEMA %I TO PUBLIC', own);
	FOREACH name IN ARRAY ARRAY['record', 'report', 'replaced', 'tally', 'lot', 'picture', 'photo'] LOOP
		-- Made first and attached then: that waits for no bench that is writing, nor does any wait for it.
		EXECUTE format('CREATE TABLE %I.%I (LIKE chipassay.%I INCLUDING ALL)', own, name, name);
		EXECUTE format('ALTER TABLE %I.%I ALTER bench SET DEFAULT %L', own, name, new_letter);
		EXECUTE format('ALTER TABLE chipassay.%I ATTACH PARTITION %I.%I FOR VALUES IN (%L)', name, own, name, new_letter);
		EXECUTE format('GRANT SELECT, INSERT ON %I.%I TO PUBLIC', own, name);
		IF name IN ('replaced', 'tally') THEN
			EXECUTE format('GRANT UPDATE, DELETE ON %I.%I TO PUBLIC', own, name);
		ELSE
			EXECUTE format('REVOKE UPDATE, DELETE, TRUNCATE ON %I.%I FROM %I', own, name, current_user);
			EXECUTE format('CREATE TRIGGER no_truncate BEFORE TRUNCATE ON %I.%I EXECUTE FUNCTION chipassay.only_appended()', own, name);
		END IF;
	END LOOP;
	EXECUTE format('CREATE UNIQUE INDEX ON %I.lot (md5(name))', own);
	RETURN new_id;
END
$$;
