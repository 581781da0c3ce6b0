package chip

import (
	"context"
	"errors"
	"fmt"

	"chipassay/host/record"
)

// ErrGiven is the error for a chip that was given away before.
var ErrGiven = errors.New("it was given away already")

// Give appends a record by which a chip was given away, to somebody if that is known. It counts
// in no stock any more; TakeBack brings it back.
func Give(ctx context.Context, s *record.Store, number int64, to string) (record.Record, error) {
	return replace(ctx, s, number, func(r *record.Record) error {
		if record.IsAway(r.Drawer) {
			return fmt.Errorf("record %d: %w", number, ErrGiven)
		}
		r.Kind, r.Drawer = record.Correction, record.Away(to)
		return nil
	})
}
