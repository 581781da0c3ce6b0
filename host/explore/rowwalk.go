package explore

import (
	"context"
	"time"
)

// How often a view looks at the chip, which also tells the adapter that the host is there,
// and how long each row of a walk stands.
const (
	LookPace = 500 * time.Millisecond
	RowPace  = 350 * time.Millisecond
)

// A Walk brings the chip to all rows of its function tables, one after the other.
type Walk struct {
	session *Session
	rows    []RowAt // that are left
}

// A RowAt is a row of a table, both counted from 0.
type RowAt struct{ Table, Row int }

// Walk begins at the first row. An ErrRefused where there is no table to walk.
func (s *Session) Walk() (*Walk, error) {
	if len(s.tables) == 0 {
		return nil, refuse("the function table of a %s is too large to walk", s.Type.Name())
	}
	w := &Walk{session: s}
	for t, table := range s.tables {
		for r := range table.Rows {
			w.rows = append(w.rows, RowAt{t, r})
		}
	}
	return w, nil
}

// Left is how many rows are to come; none where there is no walk.
func (w *Walk) Left() int {
	if w == nil {
		return 0
	}
	return len(w.rows)
}

// Next brings the chip to the next row, and gives which it was. After an ErrRefused the
// row stays without its tick, and the walk may go on.
func (w *Walk) Next(ctx context.Context) (at RowAt, err error) {
	at, w.rows = w.rows[0], w.rows[1:]
	s := w.session
	s.state.Did = s.tables[at.Table].Words(at.Row)
	_, err = s.Apply(ctx, at.Table, at.Row)
	return at, err
}

// TableOf is the function table that goes with a pin: that of its gate, or one that has
// it as a column; the first where none does.
func (s *Session) TableOf(pin int) (index int) {
	v := s.Type.Variant
	name := v.Pins[pin-1].Name
	for i, t := range s.tables {
		if gate := v.GateOf(pin); gate != "" && t.Title == gate {
			return i
		}
		for _, column := range t.Columns {
			if column == name {
				return i
			}
		}
	}
	return 0
}
