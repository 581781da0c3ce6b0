package record

import (
	"context"
	"database/sql"

	"github.com/jackc/pgx/v5"
)

// A sending is statements for a server that are sent together, in order and within the transaction: a way there
// and back for each would take most of the time.
type sending struct {
	conn  *sql.Conn // that of the transaction
	batch pgx.Batch
}

func (s *sending) add(statement string, args []any) { s.batch.Queue(postgres(statement), args...) }

// send sends what was added, and gives the first error of it.
func (s *sending) send(ctx context.Context) error {
	if s.batch.Len() == 0 {
		return nil
	}
	batch := s.batch
	s.batch = pgx.Batch{}
	return s.conn.Raw(func(driver any) error {
		return driver.(translated).Conn.Conn().SendBatch(ctx, &batch).Close()
	})
}
