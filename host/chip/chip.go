// Package chip is a tested chip by the number on its bag: that of its first record. A
// retest, a correction or an undo is a record of its own, with a number that people need not
// see.
package chip

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/record"
	"chipassay/host/verdict"
)

// A Chip is all that is recorded of one chip.
type Chip struct {
	Number  int64
	History []record.Record // all rows, the oldest first, without reports
	Current *record.Record  // that says how the chip stands; nil where all was taken back
}

// Find finds the chip that a record is about. The error is record.ErrNone where there is none.
func Find(ctx context.Context, s *record.Store, number int64) (Chip, error) {
	history, err := s.History(ctx, number)
	if err != nil {
		return Chip{}, err
	}
	return Chip{history[0].Serial, history, record.Current(history)}, nil
}

// Serial is the number of the current record, or of the last one where all was taken back.
func (c Chip) Serial() int64 {
	if c.Current != nil {
		return c.Current.Serial
	}
	return c.History[len(c.History)-1].Serial
}

// Drawer is the drawer that the chip is in, or was in before it was given away.
func (c Chip) Drawer() string {
	for _, r := range slices.Backward(c.History) {
		if r.Kind != record.Void && !record.IsAway(r.Drawer) {
			return r.Drawer
		}
	}
	return ""
}

// ParseNumber reads the number of a chip, or of a record.
func ParseNumber(typed string) (int64, error) {
	n, err := strconv.ParseInt(strings.TrimSpace(typed), 10, 64)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%q is not a record number: chipassay log lists the records", typed)
	}
	return n, nil
}

// Words say what a row of a chip's history is.
func Words(r record.Record) string {
	switch {
	case r.Kind == record.Void:
		return "taken back: " + r.Reason
	case r.Kind == record.Correction && record.IsAway(r.Drawer):
		return fmt.Sprintf("%s: %s %s", r.Drawer, r.Type, r.Verdict)
	case r.Kind == record.Correction:
		return fmt.Sprintf("corrected: %s %s", r.Type, r.Verdict)
	case r.RetestOf != 0:
		return strings.TrimSpace(fmt.Sprintf("tested again: %s %s %s", r.Type, r.Verdict, r.Grade))
	}
	return strings.TrimSpace(fmt.Sprintf("tested: %s %s %s", r.Type, r.Verdict, r.Grade))
}

// DateCode is the date code of a record with its year, "7938 (1979)"; empty for none.
func DateCode(r record.Record) string {
	if r.DateCode == "" {
		return ""
	}
	return fmt.Sprintf("%s (%d)", r.DateCode, r.Year)
}

// Remark is what a list says of a chip in a few words: why its verdict is what it is, and
// the note of a person; of a pass with a note that alone.
func Remark(r record.Record) string {
	switch {
	case r.Note == "":
		return r.Reason
	case r.Verdict == verdict.Pass:
		return r.Note
	}
	return r.Reason + " (" + r.Note + ")"
}
