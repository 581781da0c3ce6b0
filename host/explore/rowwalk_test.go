package explore_test

import (
	"errors"
	"testing"

	"chipassay/host/explore"
)

// A 7400 has a NAND gate's three rows for each of four gates (data book).
func TestWalk(t *testing.T) {
	b := powered(t, "7400")
	walk, err := b.Walk()
	if err != nil || walk.Left() != 12 {
		t.Fatalf("%d rows: %v", walk.Left(), err)
	}
	var visited []explore.RowAt
	for walk.Left() > 0 {
		at, err := walk.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		visited = append(visited, at)
		if now := b.Tables()[at.Table].Now; now != at.Row {
			t.Errorf("row %d is applied, and row %d stands", at.Row, now)
		}
	}
	if len(visited) != 12 || visited[4] != (explore.RowAt{Table: 1, Row: 1}) {
		t.Errorf("visited %v", visited)
	}
	for _, table := range b.Tables() {
		if seen, differ, all := table.Ticked(); seen != 3 || differ != 0 || all != 3 {
			t.Errorf("%s", table.Heading())
		}
	}
	if got := b.State().Did; got != "row 3 4A=H 4B=H" {
		t.Errorf("did %q", got)
	}
	if got := b.Tables()[3].Heading(); got != "function table of gate 4: 3 of 3 rows as the data sheet has them" {
		t.Error(got)
	}
	b = at(t, "74LS181", "74LS181") // 14 inputs
	if _, err := b.Walk(); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("a table that is too large is walked: %v", err)
	}
	if (*explore.Walk)(nil).Left() != 0 {
		t.Error("no walk has rows")
	}
}

// No row stands while an input of the gate is open: what it acts as is not to be relied on.
func TestRowThatStands(t *testing.T) {
	b := powered(t, "7400")
	b.do("1A=H")
	if now := b.Tables()[0].Now; now != 1 {
		t.Errorf("1A=H 1B=L is row %d", now)
	}
	b.do("1B=open")
	if now := b.Tables()[0].Now; now != -1 {
		t.Errorf("with 1B open row %d stands", now)
	}
}

func TestTableOfAPin(t *testing.T) {
	for _, c := range []struct {
		typed      string
		pin, table int
	}{{"7400", 1, 0}, {"7400", 11, 3}, {"7400", 14, 0}, {"7474", 12, 1}, {"7493", 14, 0}} {
		if got := at(t, c.typed, c.typed).TableOf(c.pin); got != c.table {
			t.Errorf("%s, pin %d: table %d", c.typed, c.pin, got)
		}
	}
}

func TestTyped(t *testing.T) {
	b := powered(t, "7474")
	steps, err := b.Typed(" 1d ")
	if err != nil || len(steps) != 1 || steps[0].Text != "1D=H" || steps[0].Changes[0] != (explore.Change{Pin: 2, To: explore.High}) {
		t.Errorf("a name alone: %+v, %v", steps, err)
	}
	if steps, err = b.Typed("1D=L; clock 1CLK"); err != nil || len(steps) != 2 || steps[1].Clock != 3 {
		t.Errorf("two steps: %+v, %v", steps, err)
	}
	if _, err = b.Typed("1X"); err == nil {
		t.Error("a pin that it has not is toggled")
	}
}

// A lamp that is half lit is neither dark nor fully lit, however it is rounded.
func TestStepsOfBrightness(t *testing.T) {
	for _, c := range []struct {
		share float64
		step  int
	}{{0, 0}, {0.04, 0}, {0.1, 1}, {0.4, 1}, {0.5, 2}, {0.79, 2}, {0.8, 2}, {0.9, 3}, {1, 3}} {
		if got := (&explore.Lamp{Share: c.share}).Step(); got != c.step {
			t.Errorf("%v: step %d", c.share, got)
		}
	}
}
