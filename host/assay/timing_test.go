package assay_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/timing"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
)

// timedChip tests a virtual chip with a capacitor, which is clipped on unless it is left off.
func timedChip(t *testing.T, name string, p timing.Plan, clip bool, defects ...string) *assay.Result {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	var parsed []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		parsed = append(parsed, d)
	}
	chip, err := virtual.NewChip(typ, parsed...)
	if err != nil {
		t.Fatal(err)
	}
	if err := timing.Refuse(typ, p); err != nil {
		t.Fatal(err)
	}
	socket := virtual.NewSocket(chip, 1)
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := assay.NewPlan(typ, nil)
	if err != nil {
		t.Fatal(err)
	}
	at := func(pin int) int { return adapter.PositionOf(pin, len(typ.Variant.Pins)) }
	p.Clip = func(_ context.Context, c timing.Clips) error {
		if socket.Live() {
			t.Error("asked to clip while a supply switch is closed")
		}
		socket.Unclip()
		if !clip {
			return nil
		}
		socket.Clip(virtual.Capacitor{Farads: c.Farads, P: at(c.Positive), Q: at(c.Negative)})
		if c.Resistor[0] != 0 {
			socket.ClipResistor(virtual.Resistor{Ohms: c.Ohms, P: at(c.Resistor[0]), Q: at(c.Resistor[1])})
		}
		for _, w := range c.Wires {
			socket.ClipResistor(virtual.Resistor{Ohms: 0.1, P: at(w[0]), Q: at(w[1])})
		}
		return nil
	}
	plan.Timing = &p
	return assay.Run(t.Context(), seat, plan)
}

// Good chips pass, where the width is judged without "in part". The widths are the data sheets' factors
// times 10 kΩ times the capacitor, less what the higher rail takes (up to 7 %).
func TestGoodMonostablesAndOscillatorsPass(t *testing.T) {
	for _, c := range []struct {
		name         string
		farads, ohms float64
		section      string
		inPart       bool
		least, most  float64 // s, of the first section; 0 where it is not judged
	}{
		{"74122", 100e-9, 0, "", false, 210e-6, 240e-6},
		{"74LS123", 100e-9, 0, "", false, 370e-6, 450e-6},
		{"74HC423", 100e-9, 0, "2", true, 430e-6, 470e-6},
		{"74HCT221", 100e-9, 0, "", false, 670e-6, 720e-6},
		{"74121", 1e-9, 0, "", true, 0, 0},
		{"74LS221", 1e-9, 0, "1", true, 0, 0},
		{"9602", 100e-9, 0, "", false, 310e-6, 345e-6},
		{"4098B", 100e-9, 0, "", false, 460e-6, 510e-6},
		{"4528B", 100e-9, 0, "", false, 150e-6, 450e-6},
		{"4538B", 1e-6, 0, "", false, 9.6e-3, 11e-3},
		{"4047B", 1e-9, 10e3, "astable", true, 28e-6, 45e-6},
		{"4047B", 1e-9, 100e3, "monostable", true, 0, 0}, // with a second trigger, which the ring's one threshold must not end at once
		{"4060A", 1e-9, 10e3, "", false, 550e-6, 900e-6}, // 2.2 R C by 16 and twice as much: what drives the resistor is weak
		{"555", 100e-9, 10e3, "", false, 500e-6, 560e-6},
		{"555", 22e-9, 10e3, "", false, 110e-6, 125e-6}, // charged by two biases, as a wire joins THR and DIS: to be found all the same
		{"555", 10e-9, 10e3, "monostable", true, 50e-6, 56e-6},
		{"556", 100e-9, 0, "", false, 500e-6, 560e-6},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := timedChip(t, c.name, timing.Plan{Farads: c.farads, Ohms: c.ohms, Section: c.section}, true)
			if r.Verdict != assay.Pass || strings.HasPrefix(r.Reason, "in part") != c.inPart {
				t.Fatalf("%s: %s", r.Verdict, r.Reason)
			}
			s := r.Timing.Sections[0]
			if c.least > 0 && (s.Pulse.Seconds < c.least || s.Pulse.Seconds > c.most) {
				t.Errorf("%v, want %g to %g s", s.Pulse, c.least, c.most)
			}
			if s.Pulse.Uncertainty > 1e-6 && s.Pulse.Uncertainty > s.Pulse.Seconds/5 {
				t.Errorf("uncertainty %g s", s.Pulse.Uncertainty)
			}
			if s.Measured && math.Abs(s.Farads/c.farads-1) > s.Tolerance {
				t.Errorf("capacitor %g F ± %g, is %g", s.Farads, s.Tolerance, c.farads)
			}
			if open := "pin 9 (RINT): nothing that was timed shows it"; slices.Contains(r.NotTested, open) != (c.name == "74122" || c.name == "74121") {
				t.Errorf("not tested: %q", r.NotTested)
			}
			for _, text := range r.NotTested {
				if !c.inPart && (strings.Contains(text, "pulses") || strings.Contains(text, "capacitor")) {
					t.Errorf("passes, and says: not tested: %s", text)
				}
			}
		})
	}
}

// Every defect of what is timed fails, and the reason names the output.
func TestBrokenMonostablesFail(t *testing.T) {
	for _, c := range []struct {
		name   string
		plan   timing.Plan
		defect string
		named  string
	}{
		{"74HC123", timing.Plan{Farads: 100e-9}, "pulse of 1Q 3 times too long", "1Q: pulse "},
		{"74123", timing.Plan{Farads: 100e-9}, "pulse of 2Q 3 times too short", "2Q: pulse "},
		{"74123", timing.Plan{Farads: 100e-9}, "pulse of 2Q 1.6 times too long", "2Q: pulse "},
		{"4538B", timing.Plan{Farads: 100e-9}, "no pulse of Q2", "Q2: "},
		{"74LS123", timing.Plan{Farads: 100e-9}, "1Q not retriggered", "1Q: a second "},
		{"74LS123", timing.Plan{Farads: 100e-9}, "pulse of 1Q not cleared", "did not end the pulse"},
		{"74123", timing.Plan{Farads: 100e-9}, "trigger by 1B dead", "rise of 1B "},
		{"74121", timing.Plan{Farads: 1e-9}, "trigger by A2 dead", "fall of A2 "},
		{"555", timing.Plan{Farads: 100e-9, Section: "monostable"}, "pulse of OUT 3 times too long", "OUT: pulse "},
		{"4047B", timing.Plan{Farads: 1e-9, Ohms: 10e3, Section: "astable"}, "pulse of Q 3 times too short", "Q: period "},
		{"4060B", timing.Plan{Farads: 1e-9, Ohms: 10e3}, "pulse of Q4 3 times too long", "Q4: period "},
		{"74HC123", timing.Plan{Farads: 100e-9}, "13 late 900 us", "1Q"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "1"}, "13 late 10 us", "1Q: the pulse begins 9.5 µs after the trigger"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "1"}, "4 late 10 us", "/1Q: the pulse begins 9.5 µs after the trigger"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "1"}, "13 falls 10 us late", "did not end the pulse at once: it ended after 10 µs"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "1"}, "1 stuck low", "1A is stuck low: rise of /1CLR with 1A=H 1B=H gave a pulse"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "1"}, "3 stuck high", "/1CLR is stuck high, or open inside: "},
		{"4047B", timing.Plan{Farads: 1e-9, Ohms: 100e3, Section: "monostable"}, "5 stuck high", "Q: it oscillates, and should be at rest but for a pulse: /AST or AST or "},
	} {
		t.Run(c.name+" "+c.defect, func(t *testing.T) {
			r := timedChip(t, c.name, c.plan, true, c.defect)
			if sections := len(r.GatesFailed) + len(r.GatesSound); sections > 0 && len(r.GatesFailed) != 1 {
				t.Errorf("failed %v, sound %v", r.GatesFailed, r.GatesSound)
			}
			if r.Verdict != assay.Fail || !strings.Contains(r.Reason, c.named) || len(r.PinsFailed) == 0 {
				t.Errorf("%s: %s, pins %v", r.Verdict, r.Reason, r.PinsFailed)
			}
		})
	}
}

// Sections that are each in the limits, but further apart than those of one die, make a pass doubtful (common practice).
func TestUnevenSections(t *testing.T) {
	for defect, doubtful := range map[string]bool{"pulse of 1Q 1.18 times too long": true, "pulse of 1Q 1.05 times too long": false} {
		r := timedChip(t, "74123", timing.Plan{Farads: 100e-9}, true, defect)
		if r.Verdict != assay.Pass || (r.Grade == "doubtful") != doubtful || doubtful != strings.Contains(r.GradeReasons[0], "% apart, with one capacitor") {
			t.Errorf("%s: %s %s, %q", defect, r.Verdict, r.Grade, r.GradeReasons)
		}
	}
}

// Without the capacitor nothing is passed and nothing is held against the chip; a capacitor of
// another value than was said is not taken for it.
func TestMissingCapacitorIsSaid(t *testing.T) {
	for _, c := range []struct {
		name string
		plan timing.Plan
		says string
	}{
		{"74HC123", timing.Plan{Farads: 100e-9}, "there is no capacitor of 100 nF between pin 14 (1CX) and pin 15 (1RCX)"},
		{"4538B", timing.Plan{Farads: 1e-6}, "there is no capacitor of 1 µF"},
		{"555", timing.Plan{Farads: 100e-9, Section: "monostable"}, "there is no capacitor"},
		{"74121", timing.Plan{Farads: 1e-9}, "there is no capacitor of 1 nF between pin 10 (CX) and pin 11 (RCX)"},
		{"74121", timing.Plan{Farads: 220e-12}, "no pulse was seen"}, // too small to be told from none
		{"4047B", timing.Plan{Farads: 1e-9, Ohms: 10e3, Section: "astable"}, ""},
	} {
		r := timedChip(t, c.name, c.plan, false)
		if r.Verdict != assay.NotTested || !strings.Contains(r.Reason, c.says) {
			t.Errorf("%s: %s: %s", c.name, r.Verdict, r.Reason)
		}
	}
}

// What may not be clipped on is refused before anything is powered.
func TestRefusedCapacitors(t *testing.T) {
	for _, c := range []struct {
		name string
		plan timing.Plan
		says string
	}{
		{"74121", timing.Plan{Farads: 100e-9}, "220 pF to 1 nF"},
		{"4047B", timing.Plan{Farads: 100e-9, Ohms: 10e3}, "220 pF to 1 nF"},
		{"4047B", timing.Plan{Farads: 1e-9}, "--resistor 10k"},
		{"74123", timing.Plan{Farads: 100e-6}, "to 4.7 µF"},
		{"74123", timing.Plan{Farads: 100e-9, Section: "3"}, "no section 3"},
		{"7400", timing.Plan{Farads: 100e-9}, "times nothing"},
	} {
		typ, err := library.Open(c.name)
		if err != nil {
			t.Fatal(err)
		}
		if err := timing.Refuse(typ, c.plan); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %v: %v", c.name, c.plan, err)
		}
	}
}
