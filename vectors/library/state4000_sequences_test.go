package library_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A row of a printed functional test sequence: the pins that change, and what the
// data sheet then says of the outputs; an empty want says nothing.
type row struct {
	set  map[string]bool
	want map[string]logic.Value
}

// followRows takes a chip through rows; what a definition forbids fails the test, and so
// do pins that change in one step without being joined.
func followRows(t *testing.T, number string, start map[string]bool, rows []row) {
	t.Helper()
	p, err := library.Builtin().Find(number)
	require.NoError(t, err)
	v := p.Variants[0]
	c, err := logic.Compile(v)
	require.NoError(t, err)
	m := c.NewMachine()
	var levels part.Pins
	apply := func(set map[string]bool) (changed part.Pins) {
		before := levels
		for name, high := range set {
			pin := v.Pin(name)
			require.NotNil(t, pin, name)
			levels = levels.With(pin.Number, high)
			m.Set(pin.Number, logic.Splat(logic.FromBool(high)))
		}
		m.Settle()
		return before ^ levels
	}
	apply(start)
	rules := stimulus.RulesOf(c)
	for i, r := range rows {
		before := levels
		if changed := apply(r.set); changed.Len() > 1 {
			require.True(t, joined(v, changed), "row %d: pins %v change together", i+1, changed)
		} else {
			require.True(t, rules.Allows(before, levels), "row %d: the definition does not allow its change", i+1)
		}
		for _, n := range c.Never {
			require.NotEqual(t, logic.One, m.Node(n).Lane(0), "row %d: forbidden", i+1)
		}
		for name, want := range r.want {
			require.Equal(t, want, m.Out(v.Pin(name).Number).Lane(0), "row %d: %s", i+1, name)
		}
	}
}

// joined reports whether a definition lets pins change together.
func joined(v *part.Variant, pins part.Pins) bool {
	for _, g := range v.Logic.Together {
		var group part.Pins
		for _, s := range g.Signals {
			group = group.With(v.Logic.Signals[s].Pin, true)
		}
		if pins == group {
			return true
		}
	}
	return false
}

// set gives pins a level.
func set(high bool, names ...string) map[string]bool {
	levels := map[string]bool{}
	for _, n := range names {
		levels[n] = high
	}
	return levels
}

// all expects one level of several pins.
func all(level logic.Value, names ...string) map[string]logic.Value {
	levels := map[string]logic.Value{}
	for _, n := range names {
		levels[n] = level
	}
	return levels
}

// pulses are n pulses of pins that are joined, from low.
func pulses(n int, names ...string) (rows []row) {
	for range n {
		rows = append(rows, row{set: set(true, names...)}, row{set: set(false, names...)})
	}
	return rows
}

// The 4521 does what its functional test sequence says (MC14521B, CMOS Logic Data,
// Motorola, figure 8 and the table below it): reset in three sections in parallel,
// 255 rises at IN2 and OUT2 joined, back to one chain, and one more count.
func TestThe4521FollowsItsFunctionalTestSequence(t *testing.T) {
	q := []string{"Q18", "Q19", "Q20", "Q21", "Q22", "Q23", "Q24"}
	rows := []row{
		{set: set(false, "VDDO")},
		{set: set(false, "IN2")},
		{set: set(true, "VSSO"), want: all(logic.Zero, q...)}, // three 8-stage sections, reset
		{set: set(false, "R"), want: all(logic.Zero, q...)},
	}
	// a rise counts (HEF4521B, from memory): stage 18, the second of its section, goes high at the second
	rows = append(rows, pulses(1, "IN2", "OUT2")...)
	rows = append(rows, row{set: set(true, "IN2", "OUT2"), want: all(logic.One, "Q18")}, row{set: set(false, "IN2", "OUT2")})
	rows = append(rows, pulses(252, "IN2", "OUT2")...)
	rows = append(rows,
		row{set: set(true, "IN2", "OUT2"), want: all(logic.One, q...)}, // the 255th rise
		row{set: set(false, "IN2", "OUT2")},
		row{set: set(false, "VSSO"), want: all(logic.One, q...)}, // 24 stages again
		row{set: set(true, "IN2"), want: all(logic.One, q...)},
		row{set: set(true, "VDDO"), want: all(logic.Zero, "OUT2")}, // OUT2 is an output again
		row{set: set(false, "IN2"), want: all(logic.Zero, q...)},   // all ones ripple to all zeros
	)
	followRows(t, "4521", map[string]bool{"R": true, "IN1": false, "IN2": true, "OUT2": false, "VDDO": true, "VSSO": false}, rows)
}

// In one chain of 24 stages the first output goes high with count 2^17, and the next
// with 2^18 (count capacity, HEF4521B, January 1995): no section is short of a stage.
func TestThe4521DividesInOneChain(t *testing.T) {
	p, err := library.Builtin().Find("4521")
	require.NoError(t, err)
	v := p.Variants[0]
	c, err := logic.Compile(v)
	require.NoError(t, err)
	m := c.NewMachine()
	set := func(name string, high bool) {
		m.Set(v.Pin(name).Number, logic.Splat(logic.FromBool(high)))
		m.Settle()
	}
	out := func(name string) logic.Value { return m.Out(v.Pin(name).Number).Lane(0) }
	for _, name := range []string{"VDDO", "R", "IN2"} {
		set(name, true)
	}
	for _, name := range []string{"VSSO", "IN1", "OUT2", "R"} {
		set(name, false)
	}
	for range 1<<17 - 1 {
		set("IN2", false)
		set("IN2", true)
	}
	require.Equal(t, logic.Zero, out("Q18"))
	set("IN2", false)
	require.Equal(t, logic.One, out("Q18"))
	require.Equal(t, logic.Zero, out("Q19"))
}

// With MODE low a 4541 keeps its first change after a reset until MODE is high, and
// divides while it is high (HEF4541B, January 1995, page 4: function table and note 2).
func TestThe4541KeepsItsFirstChangeInTheSingleCycleMode(t *testing.T) {
	// A high and B low choose 8 stages: the output changes after 128 counts
	start := map[string]bool{"AR": true, "MR": true, "MODE": false, "A": true, "B": false, "Q_SEL": false, "RS": false}
	count := func(n int, names map[string]logic.Value) []row {
		return append(pulses(n-1, "RS"), row{set: set(true, "RS"), want: names}, row{set: set(false, "RS"), want: names})
	}
	rows := []row{{set: set(false, "MR"), want: all(logic.Zero, "Q")}}
	rows = append(rows, count(127, all(logic.Zero, "Q"))...)
	rows = append(rows, count(1, all(logic.One, "Q"))...)
	rows = append(rows, count(128, all(logic.One, "Q"))...) // 256: a divider is low again
	rows = append(rows, row{set: set(true, "MODE"), want: all(logic.Zero, "Q")})
	rows = append(rows, count(128, all(logic.One, "Q"))...)
	rows = append(rows, row{set: set(false, "MODE")})
	rows = append(rows, count(128, all(logic.X, "Q"))...) // it is not specified whether that change is kept
	rows = append(rows, row{set: set(true, "MR"), want: all(logic.Zero, "Q")})
	followRows(t, "4541", start, rows)
}

// The 4536 does what its functional test sequence says (MC14536B, from memory): with
// Set, Reset and 8-Bypass high 255 falls of IN1 fill the three sections; Set and Reset,
// connected, go low together and 8-Bypass after them; one more fall empties all 24.
func TestThe4536FollowsItsFunctionalTestSequence(t *testing.T) {
	for _, stage := range []map[string]bool{set(false, "A", "B", "C", "D"), set(true, "A", "B", "C", "D"), {"A": true, "B": false, "C": true, "D": false}} {
		start := map[string]bool{"R": true, "SET": false, "BYP": true, "IN1": false, "CIN": false, "OIN": false, "MON": false}
		for name, high := range stage {
			start[name] = high
		}
		rows := []row{
			{set: set(true, "SET"), want: all(logic.Zero, "Q")},
		}
		rows = append(rows, pulses(254, "IN1")...)
		rows = append(rows,
			row{set: set(true, "IN1")},
			row{set: set(false, "IN1"), want: all(logic.One, "Q")}, // the 255th fall
			row{set: set(false, "SET", "R"), want: all(logic.One, "Q")},
			row{set: set(false, "BYP"), want: all(logic.One, "Q")}, // 24 stages again
			row{set: set(true, "IN1"), want: all(logic.One, "Q")},
			row{set: set(false, "IN1"), want: all(logic.Zero, "Q")},
		)
		followRows(t, "4536", start, rows)
	}
}

// What is compared of the timers is no more than their models know: where these leave
// open what a chip does, neither is anything promised of it.
func TestTimersPromiseNoMoreThanTheirDataSheetsSay(t *testing.T) {
	for _, number := range []string{"4490", "4521", "4536", "4541", "4553"} {
		p, err := library.Builtin().Find(number)
		require.NoError(t, err)
		c, err := logic.Compile(p.Variants[0])
		require.NoError(t, err)
		s, err := stimulus.For(c)
		require.NoError(t, err)
		m := states4000[number](p.Variants[0])
		was := s.Steps[0].Drive
		for i, st := range s.Steps {
			out := m(was, st.Drive)
			for pin := range st.Compared.All() {
				require.NotEqual(t, logic.X, out[pin], "%s step %d pin %d", number, i+1, pin)
			}
			was = st.Drive
		}
	}
}

// sequenceSteps gives the vectors of a part whose definition has a test sequence.
func sequenceSteps(t *testing.T, number string) []stimulus.Step {
	t.Helper()
	p, err := library.Builtin().Find(number)
	require.NoError(t, err)
	c, err := logic.Compile(p.Variants[0])
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	return s.Steps
}

// The vectors of the 4521 begin with its printed sequence (MC14521B, figure 8 and its
// table): 1 step, 4 to the three sections, 255 rises and falls, 3 back to one chain, in
// which all outputs are high, and the one that takes them all low.
func TestTheVectorsOfThe4521BeginWithItsPrintedSequence(t *testing.T) {
	q := part.PinSet(10, 11, 12, 13, 14, 15, 1) // Q18 to Q24
	steps := sequenceSteps(t, "4521")
	for i, want := range map[int]part.Pins{5: 0, 514: q, 518: q, 519: 0} {
		st := steps[i-1]
		require.Equal(t, q, st.Compared&q, "step %d", i)
		require.Equal(t, want, st.High&q, "step %d", i)
	}
}

// OUT2 of the 4521 (pin 4) hangs on the wire to IN2 while the inverter is off: with
// VSS' (pin 3) high, or VDD' (pin 5) and IN2 (pin 6) both low. It is driven there in
// every step, and as IN2 is while VSS' is high.
func TestTheWireOfThe4521IsNeverLeftFloating(t *testing.T) {
	for i, st := range sequenceSteps(t, "4521") {
		if st.Drive.Has(3) || !st.Drive.Has(5) && !st.Drive.Has(6) {
			require.True(t, st.Driven.Has(4), "step %d", i+1)
		}
		if st.Drive.Has(3) {
			require.Equal(t, st.Drive.Has(6), st.Drive.Has(4), "step %d", i+1)
		}
	}
}

// The printed sequence of the 4536 ends with all sixteen stages that D, C, B and A
// choose high, in eight stages and in 24, and with all of them low one clock later
// (MC14536B, from memory).
func TestTheVectorsOfThe4536BeginWithItsPrintedSequence(t *testing.T) {
	steps := sequenceSteps(t, "4536")
	const end = 708
	look := func(from int, high bool) {
		t.Helper()
		seen := map[part.Pins]bool{}
		for _, st := range steps[from : from+16] {
			require.True(t, st.Compared.Has(13))
			require.Equal(t, high, st.High.Has(13))
			seen[st.Drive&part.PinSet(9, 10, 11, 12)] = true
		}
		require.Len(t, seen, 16)
	}
	look(end-16, false)
	look(end-16-2-16, true)      // behind IN1 high and low
	look(end-16-2-16-1-16, true) // behind BYP low
}
