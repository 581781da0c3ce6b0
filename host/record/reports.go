package record

import (
	"context"
	"iter"
)

// FindReports is Find with the reports, for what is asked of every report.
func (s *Store) FindReports(ctx context.Context, q Query) iter.Seq2[Record, error] {
	q.benches, q.remote = s.all, s.remote != nil
	statement, args := q.statement(wholeRow, withReport)
	return s.lettered(read(ctx, s.db, statement, args...))
}
