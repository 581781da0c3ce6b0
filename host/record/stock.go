package record

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/verdict"
)

// A Tally counts chips by how they stand.
type Tally struct {
	Strong       int
	Sound        int
	FunctionOnly int // passed, and its levels were not measured
	Doubtful     int
	Reject       int

	NotTested int
}

// Good is how many passed with nothing wrong that was looked at.
func (t Tally) Good() int { return t.Strong + t.Sound + t.FunctionOnly }

// Tested is how many have a verdict.
func (t Tally) Tested() int { return t.Good() + t.Doubtful + t.Reject }

// Add counts n chips of a verdict and grade.
func (t *Tally) Add(v verdict.Verdict, g verdict.Grade, n int) {
	switch {
	case Record{Verdict: v, Grade: g}.Nonconforming(ByFunction):
		t.Reject += n
	case !v.Passed():
		t.NotTested += n
	case v == verdict.PassBut || g == verdict.Doubtful:
		t.Doubtful += n
	case g == verdict.Strong:
		t.Strong += n
	case g == verdict.Sound:
		t.Sound += n
	default:
		t.FunctionOnly += n
	}
}

// Sum counts the chips of both.
func (t Tally) Sum(o Tally) Tally {
	return Tally{t.Strong + o.Strong, t.Sound + o.Sound, t.FunctionOnly + o.FunctionOnly, t.Doubtful + o.Doubtful, t.Reject + o.Reject, t.NotTested + o.NotTested}
}

// A Holding is what one drawer has of one type and year.
type Holding struct {
	Bench                      string // where there are several
	Drawer, Part, Type, Family string
	Year                       int // of the date code, or 0
	Tally
}

// Stock counts the chips asked for by bench, drawer, type and year, in that order; without those
// that were given away, unless just they are asked for by their drawer.
// All, NewestFirst, Limit and After do not matter.
func (s *Store) Stock(ctx context.Context, q Query) ([]Holding, error) {
	var list []Holding
	var last []string
	err := s.tally(ctx, q, s.benchColumn()+", drawer, part, type, family, date_year", 6, func(key []string, v verdict.Verdict, g verdict.Grade, n int) error {
		if IsAway(key[1]) && q.Drawer == "" {
			return nil
		}
		if !slices.Equal(key, last) {
			last = slices.Clone(key)
			year, err := strconv.Atoi(key[5])
			if err != nil {
				return err
			}
			list = append(list, Holding{Bench: key[0], Drawer: key[1], Part: key[2], Type: key[3], Family: key[4], Year: year})
		}
		list[len(list)-1].Add(v, g, n)
		return nil
	})
	return list, err
}

// benchColumn is what a statement has for the bench of a row.
func (s *Store) benchColumn() string {
	if s.remote != nil {
		return "bench"
	}
	return "'" + s.bench + "'" // its letter
}

// A Count is how the chips of one part, drawer or the like stand.
type Count struct {
	Key string // "74LS10", "D3", "1979"; empty, for a year "0", where it is not known
	Tally
}

// What Counts counts by.
const (
	ByPart   = "part"
	ByType   = "type"
	ByFamily = "family"
	ByDrawer = "drawer"
	ByLot    = "lot"
	ByYear   = "year" // of the date code
	ByBench  = "bench"
)

// Counts counts the chips asked for by one of ByPart to ByBench, in the order of
// the key. All, NewestFirst, Limit and After do not matter.
func (s *Store) Counts(ctx context.Context, q Query, by string) ([]Count, error) {
	column := by
	switch by {
	case ByPart, ByType, ByFamily, ByDrawer, ByLot:
	case ByYear:
		column = "date_year"
	case ByBench:
		column = s.benchColumn()
	default:
		return nil, fmt.Errorf("count by %q: not part, type, family, drawer, lot, year or bench", by)
	}
	var list []Count
	err := s.tally(ctx, q, column, 1, func(key []string, v verdict.Verdict, g verdict.Grade, n int) error {
		if len(list) == 0 || list[len(list)-1].Key != key[0] {
			list = append(list, Count{Key: key[0]})
		}
		list[len(list)-1].Add(v, g, n)
		return nil
	})
	return list, err
}

// tally yields the number of current records by key columns, verdict and grade,
// in that order. It counts rows only where the tally table does not suffice.
func (s *Store) tally(ctx context.Context, q Query, key string, width int, yield func(key []string, v verdict.Verdict, g verdict.Grade, n int) error) error {
	q.remote, q.benches = s.remote != nil, s.all
	where, args := q.where()
	from, n := "tally", "sum(n)"
	q.All = false
	if q.Text != "" || !q.From.IsZero() || !q.To.IsZero() {
		own, more := q.whereRow()
		from, n, where, args = "record", "count(*)", where+own+q.current(), append(args, more...)
	}
	group := key + ", verdict, grade"
	rows, err := s.db.QueryContext(ctx, strings.Join([]string{
		"SELECT", group + ",", n, "AS total FROM", from, "WHERE true", where, "GROUP BY", group, "HAVING", n, "<> 0 ORDER BY", group}, " "), args...)
	if err != nil {
		return damaged(err)
	}
	defer rows.Close()
	values := make([]string, width+2)
	var total int
	into := []any{}
	for i := range values {
		into = append(into, &values[i])
	}
	into = append(into, &total)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := yield(values[:width], verdict.Verdict(values[width]), verdict.Grade(values[width+1]), total); err != nil {
			return err
		}
	}
	return damaged(rows.Err())
}
