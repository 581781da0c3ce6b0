package record

import (
	"context"
	"fmt"
	"time"
)

// AppendAll adds records in one transaction: all are on the disk when it returns, or none.
func (s *Store) AppendAll(ctx context.Context, list []Record) error {
	err := s.write(ctx, func(w *writer) error {
		for i, r := range list {
			r.ImportedSerial, r.ImportedDigest = 0, ""
			if r.Time.IsZero() {
				r.Time = time.Now()
			}
			if _, err := w.append(ctx, r); err != nil {
				return fmt.Errorf("chip %d of them: %w", i+1, err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("append to records: %w", err)
	}
	return nil
}
