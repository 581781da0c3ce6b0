package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/stdlib"
)

// ErrDiverged is the error for two chains of one bench of which neither is the beginning of the other.
var ErrDiverged = errors.New("have different records under the same numbers")

// What is carried in one transaction at most, and how long one takes at most.
const (
	chunk       = 200 // records
	photoChunk  = 16  // photos, of up to 1 MiB each
	chunkWithin = time.Minute
)

// take adds the rows of a bench's own file that the server lacks, in order and as they are.
func (s *Server) take(ctx context.Context, own *sql.DB, letter string) error {
	to := s.view(letter)
	until, err := sealsOf(ctx, own) // lots and photos name records: only such as are carried before them
	if err != nil {
		return err
	}
	lock := func(ctx context.Context, tx *sql.Tx) error {
		// The bench's own lock: others go on.
		_, err := tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock(1667787121, hashtext(?))", letter)
		return err
	}
	now, err := carry(ctx, own, to, until, lock)
	if err != nil {
		return err
	}
	_, err = own.ExecContext(ctx, `INSERT INTO handed (one, records, lots, photos) VALUES (1, ?1, ?2, ?3)
		ON CONFLICT DO UPDATE SET records = ?1, lots = ?2, photos = ?3`, now.Records.Count, now.Lots.Count, now.Photos.Count)
	return err
}

func (s *Store) handedBefore(ctx context.Context) (known Seals, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT records, lots, photos FROM handed").Scan(&known.Records.Count, &known.Lots.Count, &known.Photos.Count)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return known, damaged(err)
}

// carry adds the rows up to some seals that one database has and the other lacks, a chunk at a time, and
// gives the heads of the other. Each is refused that is not as it was written.
func carry(ctx context.Context, from queryer, to *sql.DB, until Seals, lock func(context.Context, *sql.Tx) error) (now Seals, err error) {
	for {
		more, err := carryChunk(ctx, from, to, until, lock, &now)
		if err != nil || !more {
			return now, err
		}
	}
}

func carryChunk(ctx context.Context, from queryer, to *sql.DB, until Seals, lock func(context.Context, *sql.Tx) error, now *Seals) (more bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, chunkWithin)
	defer cancel()
	conn, err := to.Conn(ctx)
	if err != nil {
		return false, err
	}
	defer conn.Close()
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return false, err
	}
	defer tx.Rollback() // no effect after the commit
	if err := lock(ctx, tx); err != nil {
		return false, err
	}
	heads, err := sealsOf(ctx, tx)
	if err != nil {
		return false, err
	}
	if bad, err := heads.check(ctx, from, len(migrations)); bad != nil || err != nil {
		if bad != nil {
			err = fmt.Errorf("the bench's own file and the server %w, or the file is older than what it handed over (%s): keep both, and bring the server's into a new file with records move", ErrDiverged, bad)
		}
		return false, err
	}
	w, err := newWriter(ctx, tx)
	if err != nil {
		return false, err
	}
	if isServer(to) {
		w.sends = &sending{conn: conn}
	}
	n, err := w.carryRecords(ctx, from, until.Records.Count)
	if err == nil {
		err = w.close(ctx)
	}
	if more = n == chunk; err == nil && !more {
		if err = w.carryLots(ctx, from, heads.Lots.Count, until.Lots.Count); err == nil {
			n, err = w.carryPhotos(ctx, from, heads.Photos.Count, until.Photos.Count)
			more = n == photoChunk
		}
	}
	if err != nil {
		return false, err
	}
	if *now, err = sealsOf(ctx, tx); err != nil {
		return false, err
	}
	return more, tx.Commit()
}

// isServer reports whether a database is on a server, and not a file.
func isServer(db *sql.DB) bool {
	_, is := db.Driver().(*stdlib.Driver)
	return is
}

// carryRecords adds a chunk of the records that follow the writer's last.
func (w *writer) carryRecords(ctx context.Context, from queryer, until int64) (n int, err error) {
	statement := "SELECT " + wholeRow + " FROM " + withReport + " WHERE record.serial > ? AND record.serial <= ? ORDER BY record.serial LIMIT ?"
	for r, err := range read(ctx, from, statement, w.last, until, chunk) {
		if err != nil {
			return n, err
		}
		if r.Serial != w.last+1 || r.Previous != w.digest || r.Sum() != r.Digest {
			return n, fmt.Errorf("%w: record %d is not as it was written", ErrDamaged, r.Serial)
		}
		before, err := w.before(ctx, &r)
		if err != nil {
			return n, err
		}
		if r.Sum() != r.Digest { // before completes a row: this one was complete
			return n, fmt.Errorf("%w: record %d does not fit the chip that it names", ErrDamaged, r.Serial)
		}
		if err := w.keep(ctx, before, &r); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

func (w *writer) carryLots(ctx context.Context, from queryer, after, until int64) error {
	if after >= until {
		return nil
	}
	lots, err := lotsOf(ctx, from) // and checks them
	if err != nil {
		return err
	}
	for _, l := range lots[after:until] {
		if err := insert(ctx, w.tx, "lot", l.fields()); err != nil {
			return err
		}
	}
	return nil
}

// carryPhotos adds a chunk of photos with their pictures.
func (w *writer) carryPhotos(ctx context.Context, from queryer, after, until int64) (n int, err error) {
	list, err := photos(ctx, from, "WHERE number > ? AND number <= ?", after, min(until, after+photoChunk))
	if err != nil {
		return 0, err
	}
	for _, p := range list {
		if p.Sum() != p.Digest {
			return n, fmt.Errorf("%w: photo %d is not as it was written", ErrDamaged, p.Number)
		}
		var there bool
		if err := w.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM picture WHERE sha256 = ?)", p.SHA256).Scan(&there); err != nil {
			return n, err
		}
		if !there {
			picture, err := pictureOf(ctx, from, p.SHA256)
			if err != nil {
				return n, err
			}
			if err := w.addPicture(ctx, picture); err != nil {
				return n, err
			}
		}
		if err := insert(ctx, w.tx, "photo", p.fields()); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// insert adds a row of a lot or a photo.
func insert(ctx context.Context, tx *sql.Tx, table string, fields []field) error {
	var values []any
	for _, f := range fields {
		values = append(values, f.value)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO "+table+" ("+fieldNames(fields)+") VALUES (?"+strings.Repeat(", ?", len(values)-1)+")", values...)
	return err
}
