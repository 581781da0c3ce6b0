package timing

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"chipassay/firmware/carrier/ngspice"
	"chipassay/host/adapter"
	"chipassay/vectors/library"
)

// spice runs a deck with the timer of transistors in ngspice, and gives the times of what is measured, s.
func spice(t *testing.T, deck, control string) map[string]float64 {
	t.Helper()
	models, err := filepath.Abs(filepath.Join("..", "..", "virtual", "testdata", "spice", "cmos555.cir"))
	if err != nil {
		t.Fatal(err)
	}
	return ngspice.Measure(t, fmt.Sprintf("* a timer\n.include %s\n%s.control\n%squit\n.endc\n.end\n", models, deck, control))
}

// supplied is a socket whose chip stands at the adapter's rail less what the supply switch takes.
type supplied struct{ fakeChip }

func (s *supplied) Constants(_ context.Context) (adapter.Constants, error) {
	return adapter.Constants{BiasOhms: biasOhms, DriveOhms: 140, SupplyVolts: railVolts}, nil
}

// The carrier as its netlist has it (firmware/carrier): the bias resistor with its register's output, the rail and, some 3 % lower, the supply.
const biasOhms, railVolts, chipVolts = 10_035, 5.05, 4.90

// A timer of transistors in ngspice, which nothing of the program knows, with the carrier's resistors, its sense lines and the microcontroller's
// inputs at the pins: its pulse with 100 nF, and its period with 10 kΩ from OUT, are in the limits that the data sheet's formula, the tolerances and
// the higher rail give; three times and a third of them are not.
func TestATimerOfTransistorsIsInTheLimits(t *testing.T) {
	sense := func(pin string) string {
		return fmt.Sprintf("Rs%s %s s%s 4700\nCs%s s%s 0 10p\nCp%s %s 0 60p\n", pin, pin, pin, pin, pin, pin, pin)
	}
	chip := fmt.Sprintf("Vr rail 0 %g\nVv v 0 %g\nXt trig out ctl thr dis v timer\n", railVolts, chipVolts) + sense("thr") + sense("dis") + sense("ctl")
	typ, err := library.Open("555")
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range []struct {
		deck, control string
		plan          Plan
	}{
		{fmt.Sprintf("Ra rail thr %d\nRb rail dis %d\nRc rail ctl %d\nRw thr dis 0.1\nCt thr 0 100n ic=0\nVt t 0 pulse(%g 0 1m 10n 10n 100u 1)\nRt t trig 145\n", biasOhms, biasOhms, biasOhms, railVolts),
			"tran 1u 3m 0 1u uic\nmeas tran t0 when v(out)=2.5 rise=last\nmeas tran t1 when v(out)=2.5 fall=last\n", Plan{Farads: 100e-9}},
		{"Ra out thr 10k\nRw thr trig 0.1\nCt thr 0 100n ic=0\nRd dis 0 1meg\n",
			"tran 2u 9m 0 2u uic\nmeas tran t0 when v(out)=2.5 rise=3\nmeas tran t1 when v(out)=2.5 rise=4\n", Plan{Farads: 100e-9, Ohms: 10e3}},
	} {
		x := &typ.Variant.Timings[i]
		got := spice(t, chip+c.deck, c.control)
		time := got["t1"] - got["t0"]
		b := &bench{ctx: t.Context(), s: &supplied{fakeChip{supply: chipVolts}}, t: typ, x: x, r: Begin(typ, x, c.plan, c.plan.Farads, 0.05)}
		if err := b.prepare(); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: ngspice %.1f µs, limits %s", x.Name, 1e6*time, b.r.LimitWords())
		for factor, wrong := range map[float64]bool{1: false, 3: true, 1. / 3: true} {
			if b.fit(Time{factor * time, 1e-6}) != wrong {
				t.Errorf("%s: %.1f µs, limits %s", x.Name, 1e6*factor*time, b.r.LimitWords())
			}
		}
	}
}
