package record

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// An UnknownLotError says that no lot has a name: none of it was opened, and no record
// names it. It is an ErrNoLot.
type UnknownLotError struct {
	Name string
	Near []string // the names most like it, the most like first; all of few
	Lots int      // how many there are
}

func (e *UnknownLotError) Error() string {
	switch {
	case e.Lots == 0:
		return fmt.Sprintf("there is no lot %q; no lot exists yet", e.Name)
	case len(e.Near) == 0:
		return fmt.Sprintf("there is no lot %q, and none of the %d is similar: chipassay yield --by lot lists them", e.Name, e.Lots)
	}
	return fmt.Sprintf("there is no lot %q; similar: %s", e.Name, strings.Join(e.Near, ", "))
}

func (e *UnknownLotError) Unwrap() error { return ErrNoLot }

// FindLot gives an UnknownLotError where no lot of a name was opened and no record names
// it. An empty name is no lot, and no error.
func (s *Store) FindLot(ctx context.Context, name string) error {
	if name == "" {
		return nil
	}
	if all := s.together(ctx); all != s {
		return all.FindLot(ctx, name)
	}
	var there bool
	const known = "SELECT EXISTS (SELECT 1 FROM lot WHERE name = ?1) OR EXISTS (SELECT 1 FROM record WHERE lot = ?1 AND lot <> '')"
	if err := s.db.QueryRowContext(ctx, known, name).Scan(&there); err != nil || there {
		return damaged(err)
	}
	rows, err := s.db.QueryContext(ctx, "SELECT name FROM lot UNION SELECT lot FROM record WHERE lot <> ''")
	if err != nil {
		return damaged(err)
	}
	defer rows.Close()
	var names []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			return err
		}
		names = append(names, n)
	}
	if err := rows.Err(); err != nil {
		return damaged(err)
	}
	return &UnknownLotError{Name: name, Near: near(name, names), Lots: len(names)}
}

// mostNear is how many names are offered for a mistyped one.
const mostNear = 5

// near are the names that a mistyped one may be meant for: a third of its letters may be
// wrong, missing or too many, and capitals do not matter. Where there are few, all are.
func near(typed string, names []string) []string {
	type candidate struct {
		name     string
		distance int
	}
	var list []candidate
	for _, n := range names {
		d := levenshtein.ComputeDistance(strings.ToLower(typed), strings.ToLower(n))
		if d <= max(1, len([]rune(typed))/3) || len(names) <= mostNear {
			list = append(list, candidate{n, d})
		}
	}
	slices.SortFunc(list, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.distance, b.distance), strings.Compare(a.name, b.name))
	})
	var out []string
	for _, c := range list[:min(len(list), mostNear)] {
		out = append(out, oneLine(c.name))
	}
	return out
}

// FirstLot reports whether an UnknownLotError is for the first lot of a file, which cannot be
// another's name mistyped.
func FirstLot(err error) bool {
	var e *UnknownLotError
	return errors.As(err, &e) && e.Lots == 0
}
