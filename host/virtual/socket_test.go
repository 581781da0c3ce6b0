package virtual

import (
	"math"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// at is the socket position of pin p of a 14-pin chip.
func at(p int) int { return adapter.PositionOf(p, 14) }

func pins(numbers ...int) (w adapter.Word) {
	for _, n := range numbers {
		w |= adapter.At(at(n))
	}
	return w
}

func about(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: %.3f, want %.3f within %.3f", what, got, want, within)
	}
}

// The expected voltages are Ohm's law on design.md's resistors and the data
// books' currents, worked by hand beside each.
func TestInputHeldByLoadRail(t *testing.T) {
	for _, c := range []struct {
		family     string
		bias, load pulled
		volts      float64
		within     float64
		why        string
	}{
		{"74LS", allOff, allLow, 4.7 / 21, 0.01, "4.7 V over 20 kΩ and 1 kΩ, a valid low"},
		{"74ALS", allOff, allLow, 4.7 / 76, 0.01, "4.7 V over 75 kΩ and 1 kΩ"},
		{"74L", allOff, allLow, 4.3 / 41, 0.01, "4.3 V over 40 kΩ and 1 kΩ"},
		{"74", allOff, allLow, 4.23 / 5, 0.01, "4.23 V over 4 kΩ and 1 kΩ, not a valid low"},
		{"74S", allOff, allLow, 4.22 / 3.8, 0.01, "4.22 V over 2.8 kΩ and 1 kΩ, not a valid low"},
		{"74", allLow, allOff, 1.5, 0.15, "common practice: an open TTL input floats to 1.4-1.6 V"},
		{"74", allOff, allOff, 1.5, 0.15, "common practice: an open TTL input floats to 1.4-1.6 V"},
		{"74HC", allOff, allLow, 0, 0.01, "a MOS input takes no current"},
		{"4000B", allHigh, allOff, 4.95, 0.01, "a MOS input takes no current"},
		{"4000B", allHigh, allLow, 5.0 / 11, 0.01, "10 kΩ and 1 kΩ divide 5 V"},
	} {
		s := powered(quadNAND(t, c.family, part.TotemPole))
		pull(s, c.bias, c.load)
		about(t, c.family+" input, "+c.why, float64(s.Millivolts(at(1)))/1000, c.volts, c.within)
	}
}

func TestDriveMargin(t *testing.T) {
	for _, c := range []struct {
		family string
		volts  float64
	}{
		{"74", 4.16 / 4145 * 145}, // 0.15 V typically, 0.23 V for one standard unit load at its limit
		{"74H", 4.15 / 2945 * 145},
		{"74LS", 4.65 / 20145 * 145},
		{"74HC", 0},
	} {
		s := powered(quadNAND(t, c.family, part.TotemPole))
		s.Drive(pins(1), 0)
		about(t, c.family+" input driven low", float64(s.Millivolts(at(1)))/1000, c.volts, 0.002)
	}
}

// A good output against the wrong drive: at most 38 mA flow (design.md: a hard short, 5.25 V /
// 138 Ω; here 4.95 V / 145 Ω), and the sense line on the socket side shows who wins.
func TestContentionWithDrive(t *testing.T) {
	s := powered(quadNAND(t, "74", part.TotemPole))
	s.Drive(pins(1, 2, 3), pins(1, 2, 3)) // the gate pulls pin 3 low
	volts := float64(s.Millivolts(at(3))) / 1000
	if amps := (4.95 - volts) / 145; amps > 0.0342 || amps < 0.028 {
		t.Errorf("contention current %.1f mA, want under 34.2 mA and near it", amps*1000)
	}
	if s.Sample().Has(at(3)) {
		t.Errorf("a TTL low at %.2f V reads high", volts)
	}
	s.Drive(pins(9, 10, 8), pins(9, 10, 8)) // pin 8 is at R7, which has a sense line too
	if s.Sample().Has(at(8)) {
		t.Error("position R7 has a sense line and must show the true level")
	}
}

func TestPositionWithoutSenseReadsAsDriven(t *testing.T) {
	if Sensed.Has(9) || Sensed.Has(20) || !Sensed.Has(21) || !Sensed.Has(28) || !Sensed.Has(8) {
		t.Fatalf("sensed positions: %v", Sensed)
	}
	s := NewSocket(nil, 1)
	s.Supply(0, adapter.At(9)) // position 9 grounded by its switch
	s.Drive(adapter.At(9), adapter.At(9))
	if !s.Sample().Has(9) {
		t.Error("position 9, driven high against ground, must read as driven")
	}
	s.Drive(0, 0)
	if s.Sample().Has(9) {
		t.Error("position 9, released and grounded, must read low")
	}
}

func TestOutputLevels(t *testing.T) {
	for _, c := range []struct {
		family    string
		stage     part.Stage
		in        adapter.Word // driven high of pins 1 and 2
		bias      pulled
		load      pulled
		low, high float64
		why       string
	}{
		{"74", part.TotemPole, pins(1, 2), allHigh, allOff, 0, 0.4, "VOL max"},
		{"74", part.TotemPole, pins(1), allLow, allOff, 3.2, 3.6, "VOH typically 3.4 V at 0.34 mA"},
		{"74", part.TotemPole, pins(1), allHigh, allOff, 4.9, 5, "nothing but the pull-up above VOH"},
		{"74LS", part.TotemPole, pins(1, 2), allOff, allHigh, 0.2, 0.5, "VOL max at 4.6 mA"},
		{"74LS", part.TotemPole, pins(1), allLow, allOff, 3.2, 3.6, "VOH typically 3.4 V"},
		{"4000B", part.TotemPole, pins(1, 2), allHigh, allOff, 0, 0.4, "VOL max at 0.44 mA"},
		{"4000B", part.TotemPole, pins(1), allLow, allOff, 4.6, 5, "VOH min at 0.44 mA"},
		{"74HC", part.TotemPole, pins(1), allOff, allLow, 4.5, 5, "VOH near the rail"},
		{"74", part.OpenCollector, pins(1), allLow, allOff, 0, 0.01, "a released output follows the bias rail down"},
		{"74", part.OpenCollector, pins(1), allHigh, allOff, 4.94, 5, "and up"},
		{"74", part.OpenCollector, pins(1, 2), allHigh, allOff, 0, 0.4, "and pulls low"},
		{"74", part.OpenEmitter, pins(1, 2), allHigh, allOff, 4.94, 5, "an emitter output does not pull low"},
	} {
		s := powered(quadNAND(t, c.family, c.stage))
		pull(s, c.bias, c.load)
		s.Drive(pins(1, 2), c.in)
		if v := float64(s.Millivolts(at(3))) / 1000; v < c.low || v > c.high {
			t.Errorf("%s %s output with bias %s, load %s: %.3f V, want %.2f to %.2f: %s", c.family, c.stage, c.bias, c.load, v, c.low, c.high, c.why)
		}
	}
}

// reads samples many times and gives what came: '0', '1', or 'u' for both.
func reads(s *Socket, position int) byte {
	high := 0
	for range 64 {
		if s.Sample().Has(position) {
			high++
		}
	}
	switch high {
	case 0:
		return '0'
	case 64:
		return '1'
	}
	return 'u'
}

// The AVR promises a low only below 0.3 VCC and a high only above 0.6 VCC
// (ATmega2560 data sheet, DC characteristics, VIL and VIH): 1.5 V and 3.0 V.
func TestReadingIsUnstableBetweenThresholds(t *testing.T) {
	s := powered(quadNAND(t, "74", part.TotemPole))
	if v := s.Millivolts(at(1)); v < 1500 || v > 3000 || reads(s, at(1)) != 'u' {
		t.Errorf("an open TTL input at %d mV reads %c, want u", v, reads(s, at(1)))
	}
	empty := NewSocket(nil, 1)
	if r := reads(empty, 3); r != 'u' {
		t.Errorf("a floating position reads %c, want u", r)
	}
	pull(empty, allHigh, allOff)
	if r := reads(empty, 3); r != '1' {
		t.Errorf("an empty position with the bias rail high reads %c", r)
	}
	pull(empty, allLow, allOff)
	if r := reads(empty, 3); r != '0' {
		t.Errorf("an empty position with the bias rail low reads %c", r)
	}
}

func TestUnpoweredChipDrivesNothing(t *testing.T) {
	s := NewSocket(quadNAND(t, "74", part.TotemPole), 1)
	for _, supply := range [][2]adapter.Word{{0, 0}, {0, adapter.At(7)}, {adapter.At(22), adapter.At(7)}} {
		s.Supply(supply[0], supply[1])
		for _, bias := range []pulled{allLow, allHigh} {
			pull(s, bias, allOff)
			if got, want := s.Sample().Has(at(3)), bias == allHigh; got != want {
				t.Errorf("supply %v, bias %s: pin 3 reads %v", supply, bias, got)
			}
		}
	}
}

// The truth table of a NAND gate: low only with both inputs high.
func TestTruthTable(t *testing.T) {
	for _, family := range []string{"74", "74H", "74L", "74S", "74LS", "74ALS", "74AS", "74F", "74HC", "74HCT", "74AC", "74ACT", "74BCT", "74C", "4000A", "4000B", "4000UB"} {
		s := powered(quadNAND(t, family, part.TotemPole))
		pull(s, allHigh, allOff)
		for _, g := range [][3]int{{1, 2, 3}, {4, 5, 6}, {9, 10, 8}, {12, 13, 11}} {
			for v := range 4 {
				var level adapter.Word
				if v&1 != 0 {
					level |= pins(g[0])
				}
				if v&2 != 0 {
					level |= pins(g[1])
				}
				s.Drive(pins(1, 2, 4, 5, 9, 10, 12, 13), level)
				want := byte('1')
				if v == 3 {
					want = '0'
				}
				if got := reads(s, at(g[2])); got != want {
					t.Errorf("%s: pin %d with inputs %02b: %c, want %c", family, g[2], v, got, want)
				}
			}
		}
	}
}

func TestSupplyCurrent(t *testing.T) {
	s := powered(quadNAND(t, "74", part.TotemPole))
	base := s.CurrentMicroamps()
	if base < 4_000 || base > 22_000 { // 7400: ICCH 4 mA typical, ICCL 22 mA max (from memory)
		t.Errorf("a 7400 takes %d µA", base)
	}
	s.Drive(pins(1), 0)
	// What an input held low sends out its base resistor takes from the supply as well while it is high.
	about(t, "with an input held low, µA", float64(s.CurrentMicroamps()), float64(base), 150)
	s.Drive(0, 0)
	pull(s, allLow, allOff)
	s.Supply(0, 0)
	if got := s.CurrentMicroamps(); got != 0 {
		t.Errorf("no supply, but %d µA", got)
	}
	hungry := powered(quadNAND(t, "74", part.TotemPole, "draws 288 mA more"))
	// 0.6 Ω of the port with 80 mA more, 0.2 Ω of fuse and shunt, and 0.127 V of the switch at 270 mA (its
	// curve in ngspice).
	amps := float64(hungry.CurrentMicroamps()) / 1e6
	about(t, "some 300 mA less what the lower supply saves, A", amps, 0.275, 0.015)
	about(t, "270 mA, V", float64(hungry.Millivolts(28))/1000, 5-(amps+0.080)*0.6-amps*0.2-0.127, 0.01)
	for _, defects := range [][]string{{"reversed"}, {"7 shorted to 14"}, {"14 shorted to 7"}} {
		s := powered(quadNAND(t, "74", part.TotemPole, defects...))
		if got := s.CurrentMicroamps(); got != 400_000 {
			t.Errorf("%v: %d µA, want the monitor's full scale, 400 mA", defects, got)
		}
		if got := s.CurrentMicroamps() % 100; got != 0 {
			t.Errorf("the monitor's step is 100 µA")
		}
	}
}
