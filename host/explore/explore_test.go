package explore_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"chipassay/host/explore"
	"chipassay/vectors/logic"
)

// The 7400's function table: data books, positive NAND, Y is the complement of AB.
func TestTruthTableOfANAND(t *testing.T) {
	for _, family := range []string{"7400", "74LS00", "74HC00"} {
		b := powered(t, family)
		for _, row := range []string{"1A=L 1B=L 1Y=H", "1A=L 1B=H 1Y=H", "1A=H 1B=L 1Y=H", "1A=H 1B=H 1Y=L"} {
			set, want, _ := strings.Cut(row, " 1Y")
			state := b.do(set)
			b.shows(row)
			if d := state.Differences(); d != 0 || b.pin("1Y").Expected.String() != map[string]string{"=H": "1", "=L": "0"}[want] || !b.pin("1Y").Compared {
				t.Errorf("%s: %s: differences %v, expected %v", family, row, d, b.pin("1Y").Expected)
			}
		}
	}
}

// An open TTL input stands at 1.4 to 1.6 V and acts as a high (data books; the range:
// common practice). The second input shows that: the gate follows it inverted.
func TestOpenTTLInputActsAsAHigh(t *testing.T) {
	b := powered(t, "7400")
	b.do("1A=H 1B=L; 1B=open")
	b.volts("1B", 1.4, 1.6)
	b.shows("1B=between 1Y=L")
	if p := b.pin("1B"); p.Takes != logic.One {
		t.Errorf("the gate takes it for %v", p.Takes)
	}
	b.said("acts as H", true)
	b.do("1A=L") // now the output does not depend on it
	b.shows("1Y=H")
	if p := b.pin("1B"); p.Takes != logic.X {
		t.Errorf("nothing shows what the gate takes it for, and %v is given", p.Takes)
	}
	b.said("counts as H; the outputs do not show it", true)
}

// A CMOS input left open is undefined (data books: unused inputs must be tied), and so is
// what depends on it; nothing else is.
func TestOpenCMOSInputIsUndefined(t *testing.T) {
	b := powered(t, "4011")
	b.do("1A=H 1B=open")
	b.shows("1B=Z 1Y=undefined 2Y=H")
	if b.pin("1Y").Compared {
		t.Error("something is expected of an output that follows an open input")
	}
	b.said("undefined", true)
	b.said("1Y goes where it goes", true)
	b.do("1A=L") // a NAND with a low is high whatever the other input is
	b.shows("1Y=H")
	b.said("goes where it goes", false)
	if !b.pin("1Y").Compared {
		t.Error("nothing is expected of an output that a low decides")
	}
}

// 7474, data books: D is taken at the rise of the clock alone; preset and clear act at once.
func TestClocking(t *testing.T) {
	b := powered(t, "7474")
	b.do("/1CLR=L; /1CLR=H; 1D=H")
	b.shows("1Q=L /1Q=H")
	b.do("1CLK=H")
	b.shows("1Q=H /1Q=L")
	b.do("1D=L; 1CLK=L")
	b.shows("1Q=H")
	b.do("clock 1CLK")
	b.shows("1Q=L 1CLK=L")
	b.do("/1PRE=L")
	b.shows("1Q=H")
	if err := b.try("clock"); err == nil || !strings.Contains(err.Error(), "1CLK") || !strings.Contains(err.Error(), "2CLK") {
		t.Errorf("of two clocks neither is asked for: %v", err)
	}
	if got := b.ClockBy(b.Type.Variant.Pin("2Q").Number); got != b.Type.Variant.Pin("2CLK").Number {
		t.Errorf("the clock of 2Q is pin %d", got)
	}
	b.do("1CLK=open")
	if err := b.try("clock 1CLK"); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("an open pin is clocked: %v", err)
	}
}

// Of a chip just powered nothing is known of its state, and nothing is expected.
func TestStateAtPowerUpIsUnknown(t *testing.T) {
	b := powered(t, "7493")
	if p := b.pin("QA"); p.Compared {
		t.Errorf("QA of a counter that was not reset is expected to be %v", p.Expected)
	}
	b.do("R01=H R02=H; R01=L")
	if p := b.pin("QA"); !p.Compared || p.Expected != logic.Zero {
		t.Errorf("after a reset QA is expected to be %v", p.Expected)
	}
}

// A released output follows both pulls (74125, data books: /G high releases Y).
func TestReleasedOutputIsZ(t *testing.T) {
	b := powered(t, "74125")
	b.do("/1G=H 1A=H")
	b.shows("1Y=Z 2Y=L")
	b.do("/1G=L")
	b.shows("1Y=H")
	for _, leak := range []string{"3 leaks 2 mA", "3 leaks 0.1 mA"} { // it follows the pull up to less than the rail
		b = powered(t, "74125", leak)
		b.do("/1G=H")
		if p := b.pin("1Y"); p.Seen == explore.Released || !p.Differs() {
			t.Errorf("%s: it is taken for released: %v", leak, p.Seen)
		}
	}
}

// A 7410 with an open bond at pin 2: the contact test says so, and that input acts as a high.
func TestOpenBond(t *testing.T) {
	b := powered(t, "7410", "2 open")
	b.said("pin 2 makes no contact", true)
	b.do("1A=H 1B=L 1C=H")
	b.shows("1Y=L")
	if p := b.pin("1Y"); !p.Differs() || p.Expected != logic.One {
		t.Errorf("1Y is %v, expected %v, differs %v", p.Seen, p.Expected, p.Differs())
	}
	b.said("1Y: L seen, H by the data sheet", true)
	b.said("pin 2 makes no contact", true)
	b.do("2A=H") // the first gate is as wrong as before, which the second one's rows are not
	if seen, differ, _ := b.Tables()[1].Ticked(); seen != 2 || differ != 0 {
		t.Errorf("of the second gate %d rows seen, and %d differ", seen, differ)
	}
	seen, differ, all := b.Tables()[0].Ticked()
	if seen != 1 || differ != 1 || all != 4 {
		t.Errorf("%d rows seen and %d that differ, of %d", seen, differ, all)
	}
}

// What is not seated right is not powered.
func TestUnsafeSeatingIsRefused(t *testing.T) {
	for _, c := range []struct{ inside, defect, says string }{
		{"7400", "1 shorted to ground", "short"},
		{"7400", "1 shorted to 2", "pins 1 and 2"},
		{"7400", "14 open", "pin 14 makes no contact"},
	} {
		b := at(t, "7400", c.inside, c.defect)
		_, err := b.PowerOn(t.Context())
		if !errors.Is(err, explore.ErrSeating) || !strings.Contains(err.Error(), c.says) || b.On() || b.socket.Live() {
			t.Errorf("%s: %v; on %v, live %v", c.defect, err, b.On(), b.socket.Live())
		}
		if err := b.try("1A=H"); !errors.Is(err, explore.ErrRefused) {
			t.Errorf("%s: a pin is driven: %v", c.defect, err)
		}
	}
}

// Outputs are never driven, nor what turns out to be one: a 7402 has its outputs where
// the 7400 has 1A, 2A … (data books' pinouts).
func TestOutputsAreNeverDriven(t *testing.T) {
	b := powered(t, "7400")
	if err := b.try("1Y=L"); err == nil || !strings.Contains(err.Error(), "outputs are never driven") {
		t.Errorf("an output is set: %v", err)
	}
	b = at(t, "7400", "7402")
	if _, err := b.PowerOn(t.Context()); err != nil {
		t.Fatal(err)
	}
	b.do("1B=H; 1A=H") // a 7402 with a high at pin 2 has its output low, at pin 1
	if d := b.Drive(1); d != explore.Open {
		t.Errorf("pin 1 pulls against the drive, and is driven %v", d)
	}
	b.said("1A was driven H and is released", true)
	b.shows("1A=L")
	if b.pin("1Y").Compared { // nobody knows what stands at 1A
		t.Errorf("1Y is expected to be %v", b.pin("1Y").Expected)
	}
}

// 74LS245: DIR turns the pins round (data books: DIR high is A to B); what is driven
// there is released before, and is not driven while the chip drives it.
func TestBidirectionalPins(t *testing.T) {
	b := powered(t, "74LS245")
	b.do("/G=L DIR=H; A1=H A2=L")
	b.shows("B1=H B2=L")
	if err := b.try("B1=L"); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("an output is driven: %v", err)
	}
	b.do("DIR=L")
	if a := b.Drive(b.Type.Variant.Pin("A1").Number); a != explore.Open {
		t.Errorf("A1 is driven %v while the chip drives it", a)
	}
	b.do("B1=L B2=H")
	b.shows("A1=L A2=H")
	b.do("/G=H; A1=open A2=open")
	b.shows("A1=Z A2=Z")
}

// What the data sheet forbids is refused with the reason, and nothing has moved: J and K
// of a 7476 while its clock is high (data books: the data must be stable then).
func TestForbiddenStepsAreRefused(t *testing.T) {
	b := powered(t, "7476")
	b.do("1CLK=H")
	err := b.try("1J=H")
	if !errors.Is(err, explore.ErrRefused) || !strings.Contains(err.Error(), "must not change while") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
	if d := b.Drive(b.Type.Variant.Pin("1J").Number); d != explore.Low {
		t.Errorf("1J is %v", d)
	}
	b.do("1CLK=L; 1J=H")
	b = powered(t, "40192") // data books: the clock that does not count stays high
	b.do("CPU=H; CPD=H; CPU=L")
	if err := b.try("CPD=open"); err == nil || !strings.Contains(err.Error(), "one clock stays high") {
		t.Errorf("an open input may be low: %v", err)
	}
	if err := b.try("CPD=L"); err == nil || err.Error() != "one clock stays high while the other counts (data sheet)" {
		t.Errorf("%v", err)
	}
}

// The load of a 74161 should not rise while the clock is low, which "is not applicable to the
// 'LS160A thru 'LS163A or 'S162 or 'S163" (SN54160 to SN74S163 data sheet, Texas Instruments).
func TestARuleOfOneFamilyBindsNoOther(t *testing.T) {
	const load = "CLK=H; /CLR=L; /CLR=H; B=H ENP=H ENT=H /LOAD=L; CLK=L"
	b := powered(t, "74161")
	b.do(load)
	if err := b.try("/LOAD=H"); err == nil || err.Error() != "pin 9 (/LOAD) must not change while pin 2 (CLK) is low (data sheet)" {
		t.Errorf("%v", err)
	}
	b = powered(t, "74LS161")
	b.do(load + "; /LOAD=H; CLK=H") // it counts from 0 instead of loading 2
	b.shows("QA=H QB=L QC=L QD=L")
	b.do("CLK=L; ENP=L; CLK=H")
	b.shows("QA=H QB=L QC=L QD=L")
}

// LED of 1.8 V from 5 V to the output of a 7400, at most 10 mA: (5 - 1.8 - 0.4) / 10 mA is
// 280 Ω, in E12 330 Ω, 8.5 mA at VOL of 0.4 V (Ohm's law). With the output at 0.06 V, and
// the supply at 4.93 V, 9.3 mA at most flow, and 200 Ω before the output leave
// (4.93 - 1.8 - 0.1) / (330 + 200) = 5.7 mA, at 1.2 V.
func TestLamp(t *testing.T) {
	b := powered(t, "7400", "3 weak 200 ohms")
	b.do("1A=H 1B=H 2A=H 2B=H")
	for _, c := range []struct {
		name       string
		mA, within float64
		words      string
	}{{"1Y", 5.7, 0.2, "half lit"}, {"2Y", 9.1, 0.4, "lit"}, {"3Y", 0, 0.01, "off"}} {
		lamp := b.pin(c.name).Lamp
		if lamp.Ohms != 330 || math.Abs(lamp.MA-c.mA) > c.within || lamp.Words() != c.words {
			t.Errorf("%s: %+v, %s, want %.1f mA, %s", c.name, *lamp, lamp.Words(), c.mA, c.words)
		}
	}
	if lamp := b.pin("1Y").Lamp; math.Abs(lamp.Share-5.7/8.5) > 0.03 || math.Abs(lamp.Volts-1.2) > 0.1 {
		t.Errorf("its brightness is %.2f, at %.2f V", lamp.Share, lamp.Volts)
	}
	b.said("1Y: lamp half lit, 5.7 of 8.5 mA: with it the output stands at 1.2", true)
	b.said("V, between a low, 0.8 V at most, and a high, 2.0 V at least", true)
}

// An output of a 4011 behind 20 kΩ stands at 2/3 of the supply under 10 kΩ to it: neither
// a low, 1.5 V at most, nor a high, 3.5 V at least (4000B at 5 V, data books).
func TestBetweenOfCMOS(t *testing.T) {
	b := powered(t, "4011", "3 weak 20000 ohms")
	b.do("1A=H 1B=H")
	b.shows("1Y=between")
	b.do("1A=L")
	b.shows("1Y=between 2Y=H")
}

// A row is ticked off when its inputs were driven, and something was expected.
func TestRowsThatAreNotTicked(t *testing.T) {
	b := powered(t, "7400")
	b.do("1A=H; 1B=open")
	if seen, _, _ := b.Tables()[0].Ticked(); seen != 2 {
		t.Errorf("an open input counts as driven: %d rows", seen)
	}
	b = powered(t, "7474")
	b.do("1CLK=H; 1D=H")
	if rows := b.Tables()[0].Rows; rows[3].Seen || !rows[4].Seen { // ↑ with D high, and with D low
		t.Errorf("D is taken without an edge, or not at one: %v %v", rows[3].Seen, rows[4].Seen)
	}
	b = powered(t, "7493") // its count is unknown until it is reset
	b.do("clock CKA")
	if seen, differ, _ := b.Tables()[0].Ticked(); seen != 0 || differ != 0 {
		t.Errorf("a count from an unknown state is ticked off: %d, %d", seen, differ)
	}
}

// Clear of a 74S114 is seven unit loads of 2 mA (data books), which the drive, 145 Ω, does
// not hold under VIL: the load resistors help, it is said, and nothing is held against the
// chip. Those of a 7490 are held low without.
func TestHeavyInputs(t *testing.T) {
	b := powered(t, "74S114")
	b.do("/CLR=L")
	b.said("load resistors of 1 kΩ help to hold heavy inputs low", true)
	b.said("/CLR: driven low, but at", true)
	state := b.State()
	if d := state.Differences(); d != 0 {
		t.Errorf("%v differ", d)
	}
	b = powered(t, "7490")
	b.do("R01=H R02=H; R01=L; clock CKA")
	b.said("load resistors", false)
	b.shows("QA=H")
}

// The walk ticks off every row of a good chip, and marks those that a bad one has wrong.
func TestRowsAreTickedOff(t *testing.T) {
	for _, c := range []struct {
		name string
		rows int
	}{
		{"7400", 4 * 3},   // L X, H L, H H, of four gates
		{"7474", 2 * 6},   // data book
		{"74163", 3},      // clear, load, count
		{"74125", 4 * 3},  // H X, L L, L H
		{"7405", 6 * 2},   // open collectors
		{"4013", 0},       // as many as it has
		{"74LS74", 2 * 6}, //
		{"7476", 0},       // pulse-triggered
		{"74LS112", 0},    // negative edge
		{"74S114", 0},     // the adapter cannot hold its clear low
		{"7493", 0},       // asynchronous reset, two clocks
		{"74LS259", 0},    // latches
		{"74HC4017", 0},   // Johnson counter
		{"74LS245", 0},    // too wide to walk
		{"74LS138", 0},    //
		{"4511", 0},       //
	} {
		b := powered(t, c.name)
		err := b.try("rows")
		if len(b.Tables()) == 0 {
			if !errors.Is(err, explore.ErrRefused) {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		seen, differ, all := 0, 0, 0
		for _, table := range b.Tables() {
			s, d, a := table.Ticked()
			seen, differ, all = seen+s, differ+d, all+a
		}
		t.Logf("%s: %d of %d rows", c.name, seen, all)
		if differ != 0 || c.rows != 0 && (seen != c.rows || all != c.rows) {
			t.Errorf("%s: %d rows seen, %d that differ, of %d; want %d", c.name, seen, differ, all, c.rows)
		}
	}
}
