package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
)

// A tie is the row that ties the heads of all chains together, once a day.
type tie struct {
	number           int64
	day, heads       string
	previous, digest string
}

func (t tie) fields() []field {
	return []field{{"number", t.number}, {"day", t.day}, {"heads", t.heads}, {"previous", t.previous}, {"digest", t.digest}}
}

// tie adds the day's tie, if no bench did yet. The day is the server's: a bench whose clock is years ahead would keep all
// from tying until then.
func (s *Server) tie(ctx context.Context) error {
	var last tie
	var now time.Time
	err := s.all.QueryRowContext(ctx, `SELECT now(), coalesce(number, 0), coalesce(day, ''), coalesce(digest, '')
		FROM (SELECT) one LEFT JOIN (SELECT number, day, digest FROM tie ORDER BY number DESC LIMIT 1) last ON true`).Scan(&now, &last.number, &last.day, &last.digest)
	today := now.UTC().Format(time.DateOnly)
	if err != nil || last.day == today {
		return s.explain(err)
	}
	heads, err := s.heads(ctx)
	if err != nil || heads == "" {
		return err
	}
	t := tie{number: last.number + 1, day: today, heads: heads, previous: last.digest}
	t.digest = sumOf(t.fields())
	tx, err := s.all.BeginTx(ctx, nil)
	if err != nil {
		return s.explain(err)
	}
	defer tx.Rollback()
	err = insert(ctx, tx, "tie", t.fields())
	if err == nil {
		err = tx.Commit()
	}
	var refused *pgconn.PgError
	if errors.As(err, &refused) && (refused.Code == "23505" || refused.Code == "P0001") {
		return nil // another bench was here first
	}
	return s.explain(err)
}

// heads are the last rows of all chains: "A record 17 3f0c…; A lot 1 88ab…".
func (s *Server) heads(ctx context.Context) (string, error) {
	benches, err := s.Benches(ctx)
	if err != nil {
		return "", err
	}
	var list []string
	for _, letter := range benches {
		now, err := sealsOf(ctx, s.view(letter))
		if err != nil {
			return "", s.explain(err)
		}
		for _, c := range []struct {
			what string
			Seal
		}{{"record", now.Records}, {"lot", now.Lots}, {"photo", now.Photos}} {
			if c.Count > 0 {
				list = append(list, fmt.Sprintf("%s %s %d %s", letter, c.what, c.Count, c.Digest))
			}
		}
	}
	return strings.Join(list, "; "), nil
}

// checkTies computes the digests of the ties, and compares the chains with them.
func (s *Server) checkTies(ctx context.Context) (ties int, bad *Bad, err error) {
	rows, err := s.all.QueryContext(ctx, "SELECT number, day, heads, previous, digest FROM tie ORDER BY number")
	if err != nil {
		return 0, nil, s.explain(err)
	}
	defer rows.Close()
	previous := ""
	for rows.Next() {
		var t tie
		if err := rows.Scan(&t.number, &t.day, &t.heads, &t.previous, &t.digest); err != nil {
			return ties, nil, err
		}
		if t.number != int64(ties)+1 || t.previous != previous || sumOf(t.fields()) != t.digest {
			return ties, &Bad{Reason: fmt.Sprintf("the tie of %s was changed, or does not follow the one before it", t.day)}, nil
		}
		previous = t.digest
		ties++
		for _, head := range strings.Split(t.heads, "; ") {
			var letter, what, digest string
			var kept Seals
			var count int64
			if _, err := fmt.Sscanf(head, "%s %s %d %s", &letter, &what, &count, &digest); err != nil || !letters.MatchString(letter) {
				return ties, &Bad{Reason: "the tie of " + t.day + " names no chain: " + head}, nil
			}
			switch what {
			case "record":
				kept.Records = Seal{count, digest}
			case "lot":
				kept.Lots = Seal{count, digest}
			case "photo":
				kept.Photos = Seal{count, digest}
			}
			if bad, err := kept.check(ctx, s.view(letter), firstOnServer); bad != nil || err != nil {
				if bad != nil {
					bad = &Bad{Reason: fmt.Sprintf("bench %s: %s, by the tie of %s", letter, bad.Reason, t.day)}
				}
				return ties, bad, err
			}
		}
	}
	return ties, nil, s.explain(rows.Err())
}

// Verify computes every digest of every bench again, and says how many records are as they were
// written, and what is wrong first, or nil.
func (s *Server) Verify(ctx context.Context) (records, benches, ties int, firstBad *Bad, err error) {
	if firstBad, err = s.checkGuards(ctx); firstBad != nil || err != nil {
		return 0, 0, 0, firstBad, err
	}
	letters, err := s.Benches(ctx)
	if err != nil {
		return 0, 0, 0, nil, err
	}
	for _, letter := range letters {
		view, err := s.Of(ctx, letter)
		if err != nil {
			return records, benches, 0, nil, err
		}
		n, bad, err := view.Verify(ctx)
		if records += n; bad != nil {
			bad = &Bad{Reason: fmt.Sprintf("bench %s: %s", letter, bad)}
		}
		if bad != nil || err != nil {
			return records, benches, 0, bad, s.explain(err)
		}
		benches++
	}
	ties, firstBad, err = s.checkTies(ctx)
	return records, benches, ties, firstBad, err
}

// checkGuards looks for the triggers that let rows only be added.
func (s *Server) checkGuards(ctx context.Context) (*Bad, error) {
	var missing sql.NullString
	err := s.all.QueryRowContext(ctx, `WITH guarded AS (
			SELECT c.oid, n.nspname || '.' || c.relname AS name, c.relname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
			WHERE c.relkind IN ('r', 'p') AND (n.nspname = 'chipassay' AND c.relname IN ('record', 'report', 'lot', 'picture', 'photo', 'bench', 'tie', 'version')
				OR n.nspname IN (SELECT 'chipassay_' || lower(letter) FROM chipassay.bench) AND c.relname IN ('record', 'report', 'lot', 'picture', 'photo'))),
		wanted AS (SELECT oid, name, guard FROM guarded, unnest(ARRAY['no_change', 'no_truncate', 'in_order']) AS guard
			WHERE guard <> 'in_order' OR relname IN ('record', 'report', 'lot', 'photo', 'tie'))
		SELECT min(guard || ' of ' || name) FROM wanted
		WHERE NOT EXISTS (SELECT 1 FROM pg_trigger WHERE tgrelid = wanted.oid AND tgname = guard AND tgenabled IN ('O', 'A'))`).Scan(&missing)
	if err == nil && missing.Valid {
		return &Bad{Reason: "the trigger " + missing.String + " is missing or switched off"}, nil
	}
	return nil, s.explain(err)
}
