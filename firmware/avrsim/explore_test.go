//go:build simavr

package avrsim

import (
	"errors"
	"testing"

	"chipassay/host/explore"
	"chipassay/host/link"
	"chipassay/vectors/logic"
)

// explored is a session at the chip behind a port, powered.
func explored(t testing.TB, conn link.Conn, name string) *explore.Session {
	t.Helper()
	typ := named(t, name)
	s, err := explore.New(seat(t, conn, typ.Variant), typ)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.PowerOn(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s
}

// steps takes steps and wants each to be taken.
func steps(t testing.TB, s *explore.Session, text string) {
	t.Helper()
	all, err := s.Script(text)
	if err != nil {
		t.Fatal(err)
	}
	for _, st := range all {
		if err := s.Do(t.Context(), st, func(explore.State) error { return nil }); err != nil {
			t.Fatalf("%s: %v", st.Text, err)
		}
	}
}

// Chips under a person's hands through the AVR image: levels and volts, an input left open,
// a released output, a clock, a bond wire that is open. The facts are those of the data
// books, as in host/explore.
func TestExplore(t *testing.T) {
	for _, c := range []struct {
		part, defect, steps, pin string
		seen                     explore.Level
		least, most              float64 // V
		differs                  bool
	}{
		{"7400", "", "1A=H 1B=H", "1Y", explore.StandsLow, 0, 0.4, false},
		{"7400", "", "1A=H 1B=H; 1B=L", "1Y", explore.StandsHigh, 2.4, 5.2, false},
		{"7400", "", "1A=H; 1B=open", "1B", explore.Between, 1.4, 1.6, false},
		{"7400", "", "1A=H; 1B=open", "1Y", explore.StandsLow, 0, 0.4, false},
		{"4011", "", "1A=H; 1B=open", "1Y", explore.Undefined, 0, 5.2, false},
		{"74125", "", "/1G=H", "1Y", explore.Released, 0, 5.2, false},
		{"7474", "", "/1CLR=L; /1CLR=H; 1D=H; clock 1CLK", "1Q", explore.StandsHigh, 2.4, 5.2, false},
		{"74LS245", "", "/G=L DIR=L; B1=H", "A1", explore.StandsHigh, 2.4, 5.2, false},
		{"7410", "2 open", "1A=H 1B=L 1C=H", "1Y", explore.StandsLow, 0, 0.4, true},
	} {
		t.Run(c.part+" "+c.steps, func(t *testing.T) {
			var defects []string
			if c.defect != "" {
				defects = append(defects, c.defect)
			}
			s := explored(t, open(t, c.part, defects...), c.part)
			steps(t, s, c.steps)
			state := s.State()
			p := state.Pin(s.Type.Variant.Pin(c.pin).Number)
			if p.Seen != c.seen || !(p.Volts >= c.least && p.Volts <= c.most) || p.Differs() != c.differs {
				t.Errorf("%s is %v at %.2f V, differs %v", c.pin, p.Seen, p.Volts, p.Differs())
			}
			if err := s.Close(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
}

// The walk through the function table, and an output that is never driven.
func TestExploreRows(t *testing.T) {
	s := explored(t, open(t, "7474"), "7474")
	steps(t, s, "rows")
	for _, table := range s.Tables() {
		if seen, differ, all := table.Ticked(); seen != 6 || differ != 0 || all != 6 {
			t.Errorf("gate %s: %d rows seen and %d that differ, of %d", table.Title, seen, differ, all)
		}
	}
	q := s.Type.Variant.Pin("1Q").Number
	if _, err := s.Set(t.Context(), explore.Change{Pin: q, To: explore.Low}); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("an output is driven: %v", err)
	}
	state := s.State()
	if p := state.Pin(q); p.Expected == logic.X {
		t.Error("nothing is expected of 1Q")
	}
}
