package explore_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/explore"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A bench is a session at a virtual socket.
type bench struct {
	*explore.Session
	t      *testing.T
	socket *virtual.Socket
}

func named(t *testing.T, name string) part.Type {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	return typ
}

// at puts a chip into a virtual adapter and explores it as typed.
func at(t *testing.T, typed, inside string, defects ...string) *bench {
	t.Helper()
	var broken []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		broken = append(broken, d)
	}
	chip, err := virtual.NewChip(named(t, inside), broken...)
	if err != nil {
		t.Fatal(err)
	}
	socket := virtual.NewSocket(chip, 1)
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	typ := named(t, typed)
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	s, err := explore.New(seat, typ)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{s, t, socket}
}

// powered is at, with the supply on.
func powered(t *testing.T, typed string, defects ...string) *bench {
	t.Helper()
	b := at(t, typed, typed, defects...)
	if _, err := b.PowerOn(t.Context()); err != nil {
		t.Fatal(err)
	}
	return b
}

// do takes steps, and wants each to be taken.
func (b *bench) do(text string) explore.State {
	b.t.Helper()
	if err := b.try(text); err != nil {
		b.t.Fatalf("%s: %v", text, err)
	}
	return b.State()
}

func (b *bench) try(text string) error {
	all, err := b.Script(text)
	if err != nil {
		return err
	}
	for _, st := range all {
		if err := b.Do(b.t.Context(), st, func(explore.State) error { return nil }); err != nil {
			return err
		}
	}
	return nil
}

// pin is a pin of the state at hand, by its name.
func (b *bench) pin(name string) *explore.Pin {
	b.t.Helper()
	state := b.State()
	return state.Pin(b.Type.Variant.Pin(name).Number)
}

// shows wants pins to stand at levels: "1Y=L 2Y=Z".
func (b *bench) shows(want string) {
	b.t.Helper()
	for _, word := range strings.Fields(want) {
		name, level, _ := strings.Cut(word, "=")
		if p := b.pin(name); p.Seen.String() != level {
			b.t.Errorf("after %q %s is %v at %.2f V, want %s", b.State().Did, name, p.Seen, p.Volts, level)
		}
	}
}

// said wants a note with some words; not where none is to have them.
func (b *bench) said(words string, want bool) {
	b.t.Helper()
	notes := strings.Join(b.State().Notes, "\n")
	if strings.Contains(notes, words) != want {
		b.t.Errorf("after %q: %q in the notes: want %v, they are:\n%s", b.State().Did, words, want, notes)
	}
}

func (b *bench) volts(name string, least, most float64) {
	b.t.Helper()
	if v := b.pin(name).Volts; !(v >= least && v <= most) {
		b.t.Errorf("after %q %s stands at %.3f V, want %.2f to %.2f", b.State().Did, name, v, least, most)
	}
}

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
	b := powered(t, "74175") // no preset: its clear was never active
	b.do("/CLR=H; 1D=H")
	if p := b.pin("1Q"); p.Compared && b.State().Step == 0 {
		t.Errorf("1Q is expected to be %v", p.Expected)
	}
	b = powered(t, "7493")
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
	b = powered(t, "74125", "3 leaks 2 mA") // it follows the pull up to less than the rail
	b.do("/1G=H")
	if p := b.pin("1Y"); p.Seen == explore.Released || !p.Differs() {
		t.Errorf("an output that leaks is taken for released: %v", p.Seen)
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
	b = powered(t, "74279")
	if len(b.Type.Variant.Logic.Never) == 0 {
		t.Skip("nothing is forbidden")
	}
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

// The supply goes off after a minute without a key, and not before.
func TestSupplyGoesOffByItself(t *testing.T) {
	b := powered(t, "7400")
	begun := time.Date(1979, 9, 21, 8, 0, 0, 0, time.UTC)
	b.Touch(begun)
	for _, c := range []struct {
		after time.Duration
		left  time.Duration
	}{{0, time.Minute}, {50 * time.Second, 10 * time.Second}, {time.Minute - 1, 1}} {
		left, err := b.Watch(t.Context(), begun.Add(c.after))
		if err != nil || left != c.left || !b.On() || !b.socket.Live() {
			t.Errorf("after %v: %v left (%v), on %v", c.after, left, err, b.On())
		}
	}
	b.do("1A=H")
	b.Touch(begun.Add(30 * time.Second))
	if left, _ := b.Watch(t.Context(), begun.Add(time.Minute)); left != 30*time.Second {
		t.Errorf("a key leaves %v", left)
	}
	if left, err := b.Watch(t.Context(), begun.Add(90*time.Second)); left != 0 || err != nil || b.On() || b.socket.Live() {
		t.Errorf("it is still on: %v, %v", left, err)
	}
	if _, err := b.Refresh(t.Context()); !errors.Is(err, explore.ErrRefused) {
		t.Errorf("a chip without supply is looked at: %v", err)
	}
	if _, err := b.PowerOn(t.Context()); err != nil || b.Drive(1) != explore.Low {
		t.Errorf("powered again, pin 1 is %v: %v", b.Drive(1), err)
	}
}

// Whatever ends a session, the supply is off: also where the context is done.
func TestSupplyIsOffAtTheEnd(t *testing.T) {
	b := powered(t, "7400")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.Close(ctx); err != nil || b.socket.Live() {
		t.Errorf("closed: %v, live %v", err, b.socket.Live())
	}
	b = powered(t, "7400")
	if _, err := b.Set(ctx, explore.Change{Pin: 1, To: explore.High}); !errors.Is(err, context.Canceled) || b.On() || b.socket.Live() {
		t.Errorf("interrupted: %v, on %v, live %v", err, b.On(), b.socket.Live())
	}
}

// Wrong steps get a line that says what to do.
func TestWrongSteps(t *testing.T) {
	b := at(t, "7400", "7400")
	for text, says := range map[string]string{
		"":             "there is no step",
		"# nothing":    "there is no step",
		"1A":           "write PIN=H",
		"1A=Z":         "a pin is set to H, L or open",
		"9Z=H":         "it has 1A 1B 2A",
		"VCC=H":        "it has 1A 1B 2A",
		"1A=H 1A=L":    "set twice",
		"clock":        "has no clock",
		"clock 1A 1B":  "takes one pin",
		"1A=H\n2Q=L\n": "line 2: ",
	} {
		if _, err := b.Script(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := explore.New(nil, named(t, "2114")); err == nil || !strings.Contains(err.Error(), "is a memory") {
		t.Errorf("a memory is explored: %v", err)
	}
	all, err := b.Script("1a=h 2=OPEN # the first gate\n\n  rows;1B=l")
	if err != nil || len(all) != 3 || len(all[0].Changes) != 2 || all[0].Changes[1] != (explore.Change{Pin: 2, To: explore.Open}) || !all[1].Rows {
		t.Errorf("%+v, %v", all, err)
	}
}

// The keys of a step's object.
func TestJSON(t *testing.T) {
	b := powered(t, "7400")
	text, err := json.Marshal(b.do("1A=H 1B=H"))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Step int
		Did  string
		Pins map[string]struct {
			Drive, Seen, Expected string
			Volts                 *float64
			Differs               bool
			Lamp                  *struct{ MA, Share float64 }
		}
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	a, y := got.Pins["1A"], got.Pins["1Y"]
	if got.Step != 1 || got.Did != "1A=H 1B=H" || len(got.Pins) != 12 || a.Drive != "H" || a.Seen != "H" || a.Volts == nil || *a.Volts < 4 ||
		y.Drive != "none" || y.Seen != "L" || y.Expected != "L" || y.Lamp == nil || y.Lamp.MA < 8 || y.Lamp.Share != 1 {
		t.Errorf("%s", text)
	}
}
