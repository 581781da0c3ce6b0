package virtual

import (
	"iter"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

// errorsOf runs a sequence on a socket with the bias rail high and gives the
// pins that read wrong in some step.
func errorsOf(s *Socket, seq *stimulus.Sequence) (wrong part.Pins) {
	v := seq.Variant
	n := len(v.Pins)
	s.Supply(adapter.At(adapter.PositionOf(v.VCC(), n)), adapter.At(adapter.PositionOf(v.GND(), n)))
	pull(s, allHigh, allOff)
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

// Every library part in every family passes its own vectors. That each defect
// of a pin is found is checked through the firmware, in host/assay. The ordinary run takes
// one of each kind (sample.KindOf).
func TestEveryLibraryPart(t *testing.T) {
	var types []part.Type
	for v := range variants(t) {
		for _, f := range v.Families {
			types = append(types, part.Type{Variant: v, Family: f})
		}
	}
	types = sample.OfEach(sample.Random(t), 1, types, sample.KindOf)
	for len(types) > 0 {
		v, n := types[0].Variant, 1
		for n < len(types) && types[n].Variant == v {
			n++
		}
		same := types[:n]
		types = types[n:]
		circuit, err := logic.Compile(v)
		if err != nil {
			t.Fatal(err)
		}
		seq, err := stimulus.For(circuit)
		if err != nil {
			t.Logf("no vectors: %v", err)
			continue
		}
		const enough = 600 // steps
		seq.Steps = seq.Steps[:min(enough, len(seq.Steps))]
		for _, typ := range same {
			if wrong := errorsOf(socketWith(t, typ), seq); wrong != 0 && !heavy(typ) {
				t.Errorf("good %s: pins %v read wrong", typ.Name(), wrong)
			}
		}
	}
}

// heavy reports whether an input draws so much that 205 Ω may not hold it low: 4 mA
// at its limit lift it by 0.82 V, over VIL (design.md).
func heavy(t part.Type) bool {
	for _, p := range t.Variant.Pins {
		if t.Family.IIL*p.LoadIn(t.Family) > 4 {
			return true
		}
	}
	return false
}

// variants goes through the library.
func variants(t testing.TB) iter.Seq[*part.Variant] {
	t.Helper()
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	return func(yield func(*part.Variant) bool) {
		for _, p := range parts {
			for _, v := range p.Variants {
				if !yield(v) {
					return
				}
			}
		}
	}
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
	pull(s, allHigh, allOff)
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
	if n := testing.AllocsPerRun(100, stepper(t, Defect{Kind: Shorted, Pin: 3, Other: 12})); n != 0 {
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
