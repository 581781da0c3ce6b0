package virtual

import (
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// errorsOf runs a sequence on a socket with the bias rail high and gives the
// pins that read wrong in some step.
func errorsOf(s *Socket, seq *stimulus.Sequence) (wrong part.Pins) {
	v := seq.Variant
	n := len(v.Pins)
	s.Supply(switchAt(SupplyHigh, adapter.PositionOf(v.VCC(), n)), switchAt(SupplyLow, adapter.PositionOf(v.GND(), n)))
	s.Rails(adapter.High, adapter.Off)
	for _, step := range seq.Steps {
		s.Drive(word(step.Driven, n), word(step.Drive, n))
		read := s.Sample()
		for pin := range step.Compared.All() {
			high := step.High.Has(pin) || step.Z.Has(pin) // the rail is high
			if read.Has(adapter.PositionOf(pin, n)) != high {
				wrong = wrong.With(pin, true)
			}
		}
	}
	return wrong
}

func word(pins part.Pins, n int) (w adapter.Word) {
	for pin := range pins.All() {
		w |= adapter.At(adapter.PositionOf(pin, n))
	}
	return w
}

func switchAt(positions []int, position int) uint32 {
	for i, p := range positions {
		if p == position {
			return 1 << i
		}
	}
	return 0
}

// Every library part in every family passes its own vectors, and a
// combinational part with any single-pin defect of an input, an output or a
// supply pin fails them; a defect of an output shows at that pin and at no other.
func TestEveryLibraryPart(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	types, defects := 0, 0
	for _, p := range parts {
		for _, v := range p.Variants {
			circuit, err := logic.Compile(v)
			if err != nil {
				t.Fatal(err)
			}
			seq, err := stimulus.For(circuit)
			if err != nil {
				t.Logf("no vectors: %v", err)
				continue
			}
			remembers := len(circuit.Registers) > 0
			for i, f := range v.Families {
				typ := part.Type{Variant: v, Family: f}
				types++
				if wrong := errorsOf(socketWith(t, typ), seq); wrong != 0 {
					t.Errorf("good %s: pins %v read wrong", typ.Name(), wrong)
				}
				if !remembers && (i == 0 || len(seq.Steps) <= 4096) { // long sequences in one family, for the time they take
					defects += testDefects(t, typ, seq)
				}
			}
		}
	}
	t.Logf("%d parts, %d types, %d single-pin defects", len(parts), types, defects)
}

// testDefects tries every single-pin defect of a type and counts them.
func testDefects(t *testing.T, typ part.Type, seq *stimulus.Sequence) (tried int) {
	v := typ.Variant
	supply := part.PinSet(v.VCC(), v.GND())
	for pin := range (seq.Inputs | seq.Outputs | supply).All() {
		if p := v.Pins[pin-1]; p.Untested != "" || p.Tied != part.NotTied {
			continue // not exercised
		}
		for _, d := range []Defect{{StuckLow, pin, 0}, {StuckHigh, pin, 0}, {OpenBond, pin, 0}} {
			if supply.Has(pin) && d.Kind != OpenBond {
				continue
			}
			if d.Kind == OpenBond && v.Pins[pin-1].Stage == part.OpenEmitter {
				continue // looks as when it releases, while the bias rail is high
			}
			tried++
			wrong := errorsOf(socketWith(t, typ, d), seq)
			output := seq.Outputs.Has(pin) && !seq.Inputs.Has(pin)
			if wrong == 0 || output && wrong != part.PinSet(pin) {
				t.Errorf("%s with %s: pins %v read wrong", typ.Name(), d, wrong)
			}
		}
	}
	return tried
}

func socketWith(t testing.TB, typ part.Type, defects ...Defect) *Socket {
	return NewSocket(chipWith(t, typ, defects...), 1)
}

func chipWith(t testing.TB, typ part.Type, defects ...Defect) *Chip {
	t.Helper()
	chip, err := NewChip(typ, defects...)
	if err != nil {
		t.Fatal(err)
	}
	return chip
}

// stepper gives a socket with a 7410 and a function that changes one input and samples.
func stepper(t testing.TB, defects ...Defect) func() {
	typ, err := library.Open("74LS10")
	if err != nil {
		t.Fatal(err)
	}
	s := powered(chipWith(t, typ, defects...))
	s.Rails(adapter.High, adapter.Off)
	inputs := pins(1, 2, 3, 4, 5, 9, 10, 11, 13)
	level, i := inputs, 0
	changes := []adapter.Word{pins(1), pins(3), pins(9), pins(2), pins(13)}
	return func() {
		level ^= changes[i%len(changes)]
		i++
		s.Drive(inputs, level)
		s.Sample()
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	if n := testing.AllocsPerRun(100, stepper(t, Defect{Shorted, 3, 12})); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}

// BenchmarkStep is a step of one changed input on a 14-pin chip: solving the
// nodes that change, the die's logic, and a sample.
func BenchmarkStep(b *testing.B) {
	step := stepper(b)
	b.ReportAllocs()
	for b.Loop() {
		step()
	}
}
