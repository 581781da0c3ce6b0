package virtual

import (
	"fmt"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A fakeDie is combinational logic in plain Go: each output pin a function of
// the levels at the input pins. An input that was never set is unknown.
type fakeDie struct {
	functions map[int]func(in func(pin int) logic.Value) logic.Value
	levels    [29]logic.Value
	answers   [29]logic.Value
	settles   int
}

func (d *fakeDie) Set(pin int, w logic.Word) { d.levels[pin] = w.Lane(0) }

func (d *fakeDie) Settle() {
	d.settles++
	for pin, f := range d.functions {
		d.answers[pin] = f(func(in int) logic.Value { return d.levels[in] })
	}
}

func (d *fakeDie) Out(pin int) logic.Word { return logic.Splat(d.answers[pin]) }

func (d *fakeDie) PowerUp(uint64) {}

// nand is the function of a NAND gate in three values: low inputs decide.
func nand(a, b int) func(func(int) logic.Value) logic.Value {
	return func(in func(int) logic.Value) logic.Value {
		switch {
		case in(a) == logic.Zero || in(b) == logic.Zero:
			return logic.One
		case in(a) == logic.One && in(b) == logic.One:
			return logic.Zero
		}
		return logic.X
	}
}

// quadNAND is a 7400 in a family: pins 1 2 -> 3, 4 5 -> 6, 9 10 -> 8, 12 13 ->
// 11 (from memory of any data book), outputs of the given stage.
func quadNAND(t testing.TB, family string, stage part.Stage, defects ...string) *Chip {
	t.Helper()
	gates := map[int][2]int{3: {1, 2}, 6: {4, 5}, 8: {9, 10}, 11: {12, 13}}
	die := &fakeDie{functions: map[int]func(func(int) logic.Value) logic.Value{}}
	v := &part.Variant{Part: &part.Part{Number: "7400"}}
	for n := 1; n <= 14; n++ {
		pin := part.Pin{Number: n, Name: fmt.Sprint(n), Role: part.Input, Load: 1}
		if in, ok := gates[n]; ok {
			pin.Role, pin.Stage, pin.Load = part.Output, stage, 0
			die.functions[n] = nand(in[0], in[1])
			if stage == part.OpenCollector {
				f := die.functions[n]
				die.functions[n] = func(in func(int) logic.Value) logic.Value {
					if v := f(in); v != logic.One {
						return v
					}
					return logic.Z
				}
			}
		}
		switch n {
		case 7:
			pin.Role = part.Ground
		case 14:
			pin.Role = part.Supply
		}
		v.Pins = append(v.Pins, pin)
	}
	var parsed []Defect
	for _, text := range defects {
		d, err := ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		parsed = append(parsed, d)
	}
	f := part.FamilyByName(family)
	if f == nil {
		t.Fatalf("no family %q", family)
	}
	chip, err := newChip(part.Type{Variant: v, Family: f}, die, parsed)
	if err != nil {
		t.Fatal(err)
	}
	return chip
}

// pulled is what a group of resistors does to all positions alike.
type pulled int

const (
	allOff pulled = iota
	allLow
	allHigh
)

func (p pulled) String() string { return [...]string{"off", "low", "high"}[p] }

// pull sets both groups of resistors.
func pull(s *Socket, bias, load pulled) {
	for which, to := range []pulled{bias, load} {
		up := adapter.Word(0)
		if to == allHigh {
			up = adapter.All
		}
		s.Pull(Pull(which), to != allOff, up)
	}
}

// powered puts the chip into a socket and closes the switches of positions 28
// and 7, the supply pins of a 14-pin package with corner supply.
func powered(chip *Chip) *Socket {
	s := NewSocket(chip, 1)
	s.Supply(adapter.At(28), adapter.At(7))
	return s
}
