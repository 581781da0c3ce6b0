package record

import (
	"context"
	"iter"
)

// FindReports is Find with the reports, for what is asked of every report.
func (s *Store) FindReports(ctx context.Context, q Query) iter.Seq2[Record, error] {
	return s.find(ctx, q, wholeRow, withReport)
}
