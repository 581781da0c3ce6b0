package calibration_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"chipassay/host/adapter"
	"chipassay/host/calibration"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
)

// bench is a virtual board with defects, with a resistor in its socket.
func bench(t interface{ Fatal(...any) }, in virtual.Resistor, defects ...string) (*adapter.Adapter, func()) {
	return benchOf(t, virtual.NewBoard(), in, defects...)
}

func benchOf(t interface{ Fatal(...any) }, b *virtual.Board, in virtual.Resistor, defects ...string) (*adapter.Adapter, func()) {
	for _, d := range defects {
		if err := b.Damage(d); err != nil {
			t.Fatal(err)
		}
	}
	board, err := virtual.Open(context.Background(), b.SocketWith(in, 1))
	if err != nil {
		t.Fatal(err)
	}
	a, err := adapter.Open(context.Background(), link.New(board, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	return a, func() { board.Close() }
}

// Outputs behind the resistors, from memory of the data sheets and as the carrier's
// SPICE deck has them: the microcontroller's 25 Ω, a 74HC595's 30 Ω low and 35 high.
const (
	lineOhms     = 25
	registerOhms = 32.5
)

// What is found is what the board was given, with the outputs behind, for any values
// within the ranges that an adapter keeps: bias within 1.5 %, load within 1 %, drive
// within 3.5 %, a gain within 0.35 %, and a voltage at mid-scale within 4 mV. The shunt
// is found within 2 %: 0.05 mA of 8 or more, and 5 % of the base's 1.9 mA. With the
// 2.500 V reference nobody gives the voltage.
func TestFindsWhatTheBoardHas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bias := rapid.IntRange(9200, 10_800).Draw(t, "bias, Ω")
		load := rapid.IntRange(920, 1050).Draw(t, "load, Ω")
		drive := rapid.IntRange(100, 170).Draw(t, "drive, Ω")
		ohms := rapid.Float64Range(1000, 2400).Draw(t, "R, Ω")
		gain := 1 + float64(rapid.IntRange(-50, 50).Draw(t, "gain"))/10_000
		offset := rapid.IntRange(-15, 15).Draw(t, "offset, mV")
		shunt := 1 + float64(rapid.IntRange(-30, 30).Draw(t, "shunt"))/1000
		in := virtual.Resistor{Ohms: ohms, P: 28, Q: 8}
		a, closed := bench(t, in,
			fmt.Sprintf("all bias %d ohms", bias), fmt.Sprintf("all load %d ohms", load), fmt.Sprintf("all drive %d ohms", drive),
			fmt.Sprintf("converter gain %g", gain), fmt.Sprintf("converter offset %d mV", offset), fmt.Sprintf("shunt %g ohms", 0.1*shunt))
		defer closed()
		r, err := calibration.Find(context.Background(), a, calibration.Resistor{Ohms: ohms, P: 28, Q: 8}, 0)
		if err != nil {
			t.Fatal(err)
		}
		about := func(what string, got, want, within float64) {
			if !(math.Abs(got-want) <= within) {
				t.Errorf("%s: %g, want %g within %g", what, got, want, within)
			}
		}
		about("bias", float64(r.New.BiasOhms), float64(bias)+registerOhms, 0.015*float64(bias))
		about("load", float64(r.New.LoadOhms), float64(load)+registerOhms, 0.01*float64(load))
		about("drive", float64(r.New.DriveOhms), float64(drive)+lineOhms, 0.035*float64(drive+lineOhms))
		about("shunt gain", r.New.ShuntGain, 1/shunt, 0.02)
		for p, c := range r.New.Channels {
			about(fmt.Sprintf("gain of position %d", p), c.Gain, 1/gain, 0.0035)
			// what the converter makes of 2.5 V, put right again
			seen := 2500*gain + float64(offset)
			about(fmt.Sprintf("mid-scale at position %d, mV", p), seen*c.Gain+float64(c.OffsetMV), 2500, 4)
		}
	})
}

// On a board with resistors of 1 % the counts' rounding differs from channel to
// channel, and the gain comes out closer; the ohms are those of the two ends, so
// within that 1 % and what the converter is off.
func TestSpreadBoard(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gain := 1 + float64(rapid.IntRange(-50, 50).Draw(t, "gain"))/10_000
		b := virtual.NewBoard()
		b.Spread(1, rapid.Uint64().Draw(t, "seed"))
		in := virtual.Resistor{Ohms: 2200, P: 28, Q: 8}
		a, closed := benchOf(t, b, in, fmt.Sprintf("converter gain %g", gain))
		defer closed()
		r, err := calibration.Find(context.Background(), a, calibration.Resistor(in), 5)
		if err != nil {
			t.Fatal(err)
		}
		if got := r.New.Channels[3].Gain; math.Abs(got-1/gain) > 0.0015 {
			t.Errorf("gain %.4f, want %.4f", got, 1/gain)
		}
		for _, k := range []struct{ got, want, within float64 }{
			{float64(r.New.LoadOhms), 1000 + registerOhms, 15}, {float64(r.New.BiasOhms), 10_000 + registerOhms, 200}, {float64(r.New.DriveOhms), 120 + lineOhms, 5},
		} {
			if math.Abs(k.got-k.want) > k.within {
				t.Errorf("%.0f Ω, want %.0f within %.0f", k.got, k.want, k.within)
			}
		}
	})
}

// Ohm's law by hand: a driver of 145 Ω on 1030 Ω to ground (load and register) beside
// 2.2 kΩ with another 1030 Ω behind it. 1030 and 3230 side by side are 781.0 Ω, so the
// driven end is at 781.0/926.0 = 0.8434 of the rail, and the other at 1030/3230 of that,
// 0.2690. The rail is 5 V less 0.6 Ω (cable and the board's fuse) times the board's 80 mA and the
// 5 mA of this: 4.949 V. What the calibrated adapter measures there is that, on a board
// whose converter is 0.5 % and 20 mV off.
const otherEnd = 0.2690 * 4.949

func TestCalibratedAdapterMeasuresRight(t *testing.T) {
	in := virtual.Resistor{Ohms: 2200, P: 3, Q: 26}
	a, closed := bench(t, in, "converter gain 1.005", "converter offset 20 mV")
	defer closed()
	r, err := calibration.Find(t.Context(), a, calibration.Resistor(in), 0)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(r.Supply, "reference") || !strings.Contains(r.Shunt, "as before") || r.New.ShuntGain != 1 || math.Abs(r.New.SupplyVolts-4.952) > 0.005 {
		t.Errorf("nothing but the resistor was given: %+v", r)
	}
	before := volts(t, a, 3)[26]
	if err := a.SetCalibration(t.Context(), r.New); err != nil {
		t.Fatal(err)
	}
	after := volts(t, a, 3)[26]
	if math.Abs(after-otherEnd) > 0.006 || math.Abs(before-otherEnd) < 0.02 {
		t.Errorf("%.3f V before, %.3f V after, want %.3f V", before, after, otherEnd)
	}
	again, err := calibration.Find(t.Context(), a, calibration.Resistor(in), 4.9)
	if err != nil {
		t.Fatal(err)
	}
	// A second calibration starts from the first and finds the same shares.
	for p, c := range again.New.Channels {
		if math.Abs(c.Gain-r.New.Channels[p].Gain) > 0.001 {
			t.Errorf("position %d: %v after %v", p, c, r.New.Channels[p])
		}
	}
	if again.Old.State != protocol.CalibrationStored || again.New.SupplyVolts != 4.9 || math.Abs(float64(again.New.LoadOhms-r.New.LoadOhms)) > 3 {
		t.Errorf("%+v after %+v", again, r)
	}
}

// A starter has neither load resistors nor a reference: the meter's voltage is asked
// for, and what cannot be found stays as it was and is reported.
func TestStarter(t *testing.T) {
	in := virtual.Resistor{Ohms: 680, P: 28, Q: 8}
	for _, supply := range []float64{0, 4.95} {
		b := virtual.NewBoard()
		b.Groups()
		a, closed := benchOf(t, b, in, "converter offset 15 mV", "shunt 0.102 ohms", "all drive 130 ohms")
		r, err := calibration.Find(t.Context(), a, calibration.Resistor(in), supply)
		if err != nil {
			t.Fatal(err)
		}
		if r.New.LoadOhms != 1000 || !strings.Contains(r.Load, "none are fitted") || math.Abs(float64(r.New.DriveOhms-155)) > 5 ||
			math.Abs(float64(r.New.BiasOhms-10_030)) > 150 || math.Abs(float64(r.New.Channels[5].OffsetMV+15)) > 4 || r.New.Channels[5].Gain != 1 {
			t.Errorf("%+v", r)
		}
		if given := supply != 0; given && (math.Abs(r.New.ShuntGain-1/1.02) > 0.02 || r.New.SupplyVolts != supply) || !given && (r.New.ShuntGain != 1 || !strings.Contains(r.Supply, "as before")) {
			t.Errorf("given %g V: %+v", supply, r)
		}
		closed()
	}
}

// volts drives a position high against the low load rail.
func volts(t *testing.T, a *adapter.Adapter, position int) [adapter.Positions + 1]float64 {
	t.Helper()
	seat, err := a.Seat(28, 28, 14)
	if err != nil {
		t.Fatal(err)
	}
	step := adapter.MeasureStep{Load: adapter.Low, Settle: 500_000, Pins: 1<<28 - 1, Averaging: 3}
	step.Driven = 1 << (position - 1)
	step.Drive = step.Driven
	m, err := seat.ProbeMeasure(t.Context(), []adapter.MeasureStep{step})
	if err != nil {
		t.Fatal(err)
	}
	return m[0].Volts
}

// Nothing implausible is found, and whatever is refused the adapter keeps what it kept.
func TestRefusesWhatIsImplausible(t *testing.T) {
	given := calibration.Resistor{Ohms: 2200, P: 28, Q: 8}
	for _, c := range []struct {
		name    string
		in      virtual.Resistor
		given   calibration.Resistor
		supply  float64
		defects []string
		reason  string
	}{
		{"another value", virtual.Resistor{Ohms: 1800, P: 28, Q: 8}, given, 5, nil, "load resistors come out as 12"},
		{"not there", virtual.Resistor{Ohms: 2200, P: 27, Q: 7}, given, 5, nil, "no resistor was found between positions 28 and 8"},
		{"elsewhere", virtual.Resistor{Ohms: 2200, P: 28, Q: 7}, given, 5, nil, "no resistor was found"},
		{"too small", virtual.Resistor{Ohms: 100, P: 28, Q: 8}, calibration.Resistor{Ohms: 100, P: 28, Q: 8}, 5, nil, "470 to 4700 Ω"},
		{"too large", virtual.Resistor{Ohms: 1e6, P: 28, Q: 8}, calibration.Resistor{Ohms: 1e6, P: 28, Q: 8}, 5, nil, "470 to 4700 Ω"},
		{"no number", virtual.Resistor{Ohms: 2200, P: 28, Q: 8}, calibration.Resistor{Ohms: math.NaN(), P: 28, Q: 8}, 5, nil, "470 to 4700 Ω"},
		{"unmeasured", virtual.Resistor{Ohms: 2200, P: 28, Q: 9}, calibration.Resistor{Ohms: 2200, P: 28, Q: 9}, 5, nil, "position 9 is not measured by the microcontroller's own converter"},
		{"one position", virtual.Resistor{Ohms: 2200, P: 28, Q: 8}, calibration.Resistor{Ohms: 2200, P: 8, Q: 8}, 5, nil, "between two different positions"},
		{"supply", virtual.Resistor(given), given, 3.3, nil, "4.5 to 5.5 V"},
		{"one end off", virtual.Resistor(given), given, 5, []string{"R408 1300 ohms"}, "load resistors come out as"},
		{"ends differ", virtual.Resistor(given), given, 5, []string{"R408 850 ohms"}, "at the two ends"},
		{"converter", virtual.Resistor(given), given, 5, []string{"converter gain 0.95"}, "more than 2 % or 50 mV off"},
		{"saturated", virtual.Resistor(given), given, 5, []string{"converter gain 1.04"}, "end of its range"},
		{"shunt", virtual.Resistor(given), given, 5, []string{"shunt 0.12 ohms"}, "more than 5 % off: look at the 0.1 Ω shunt"},
		{"bridge", virtual.Resistor(given), given, 5, []string{"L7 shorted to L8"}, "something else is in the socket"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, closed := bench(t, c.in, c.defects...)
			defer closed()
			_, err := calibration.Find(t.Context(), a, c.given, c.supply)
			if !errors.Is(err, calibration.ErrImplausible) || !strings.Contains(err.Error(), c.reason) {
				t.Errorf("%v, want %q", err, c.reason)
			}
			k, err := a.Calibration(t.Context())
			if err != nil || k.State != protocol.CalibrationNone || k.LoadOhms != 1000 {
				t.Errorf("kept: %+v, %v", k, err)
			}
			s, err := a.Status(t.Context())
			if err != nil || s.Powered || s.Driven != 0 {
				t.Errorf("not safe: %+v, %v", s, err)
			}
		})
	}
}

// Where the supply cannot be put across the resistor, and where it is too little, the
// shunt's gain stays.
func TestShuntStays(t *testing.T) {
	for _, c := range []struct {
		in     virtual.Resistor
		reason string
	}{
		{virtual.Resistor{Ohms: 2200, P: 2, Q: 3}, "cannot be put across"},
		{virtual.Resistor{Ohms: 4700, P: 28, Q: 8}, "is too little"}, // 4.9 V over 4.7 kΩ and 10 kΩ: 1.5 mA
	} {
		b := virtual.NewBoard()
		b.Groups()
		a, closed := benchOf(t, b, c.in, "shunt 0.102 ohms")
		r, err := calibration.Find(t.Context(), a, calibration.Resistor(c.in), 5)
		if err != nil || r.New.ShuntGain != 1 || !strings.Contains(r.Shunt, c.reason) {
			t.Errorf("%+v: %v, %q, %v", c.in, r.New.ShuntGain, r.Shunt, err)
		}
		closed()
	}
}
