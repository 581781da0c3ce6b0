// Package pal reads the function out of programmable logic in packages of 20 and 24 pins.
// What somebody programmed is in no library, so all combinations of the inputs are applied
// and the outputs read, as for a chip that no part explains. Only what is combinational is
// read: a registered output shows a state, which no table of inputs gives. So the clock and
// the enable of registers are held high, and registered outputs are then released.
package pal

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Device is a kind of programmable logic. The supply is at its last pin, ground at the
// last of the left side.
type Device struct {
	Name          string
	Pins          int
	Clock, Enable int   // pins of the registers; 0 where there are none
	Registered    []int // pins of registered outputs
	// Programmed reports that each output is registered or not as it was programmed, as in a GAL.
	Programmed bool
}

// Devices are the kinds that are known.
//
// Source: from memory of the data books: pins 1 and 11, or 13, are clock and enable of the
// R types, whose registered outputs lie in the middle of the right side.
var Devices = []Device{
	{Name: "10H8", Pins: 20}, {Name: "12H6", Pins: 20}, {Name: "14H4", Pins: 20}, {Name: "16H2", Pins: 20}, {Name: "16C1", Pins: 20},
	{Name: "10L8", Pins: 20}, {Name: "12L6", Pins: 20}, {Name: "14L4", Pins: 20}, {Name: "16L2", Pins: 20}, {Name: "16L8", Pins: 20},
	{Name: "16R4", Pins: 20, Clock: 1, Enable: 11, Registered: []int{14, 15, 16, 17}},
	{Name: "16R6", Pins: 20, Clock: 1, Enable: 11, Registered: []int{13, 14, 15, 16, 17, 18}},
	{Name: "16R8", Pins: 20, Clock: 1, Enable: 11, Registered: []int{12, 13, 14, 15, 16, 17, 18, 19}},
	{Name: "16V8", Pins: 20, Clock: 1, Enable: 11, Programmed: true},
	{Name: "18V10", Pins: 20, Clock: 1, Programmed: true},
	{Name: "12L10", Pins: 24}, {Name: "14L8", Pins: 24}, {Name: "16L6", Pins: 24}, {Name: "18L4", Pins: 24}, {Name: "20L2", Pins: 24}, {Name: "20C1", Pins: 24},
	{Name: "20L8", Pins: 24}, {Name: "20L10", Pins: 24},
	{Name: "20R4", Pins: 24, Clock: 1, Enable: 13, Registered: []int{17, 18, 19, 20}},
	{Name: "20R6", Pins: 24, Clock: 1, Enable: 13, Registered: []int{16, 17, 18, 19, 20, 21}},
	{Name: "20R8", Pins: 24, Clock: 1, Enable: 13, Registered: []int{15, 16, 17, 18, 19, 20, 21, 22}},
	{Name: "20V8", Pins: 24, Clock: 1, Enable: 13, Programmed: true},
	{Name: "22V10", Pins: 24, Clock: 1, Programmed: true},
}

// Find finds a device by what is marked on it, with or without PAL or GAL and a package
// letter: PAL16L8ACN, GAL16V8-25. The error lists those that are known.
func Find(marked string) (Device, error) {
	text := strings.ToUpper(marked)
	best := Device{}
	for _, d := range Devices {
		if strings.Contains(text, d.Name) && len(d.Name) > len(best.Name) {
			best = d
		}
	}
	if best.Name != "" {
		return best, nil
	}
	var names []string
	for _, d := range Devices {
		names = append(names, d.Name)
	}
	return best, fmt.Errorf("%s is no programmable logic that is known; known are %s", marked, strings.Join(names, " "))
}

// A Reading is what was read of a device.
type Reading struct {
	Device Device
	*identify.Answer
	// Fixed are the pins that were held high: the clock and the enable of registers.
	Fixed []int
}

// Read reads a device. What may have registers is read as if it had none first, and, where
// it remembers, again with its clock and enable held high, where registers stand still and
// release their outputs.
func Read(ctx context.Context, socket assay.Socket, d Device, p identify.Plan) (*Reading, error) {
	r, seat := &Reading{Device: d}, probe.Seat{Pins: d.Pins, VCC: d.Pins, GND: d.Pins / 2}
	var err error
	if len(d.Registered) == 0 {
		r.Answer, err = identify.Measure(ctx, socket, seat, p)
		if err != nil || !d.Programmed || r.Table == nil || !r.Table.Remembers {
			return r, err
		}
	}
	p.Fixed = part.PinSet(d.Clock)
	if d.Enable != 0 {
		p.Fixed = p.Fixed.With(d.Enable, true)
	}
	r.Fixed = slices.Collect(p.Fixed.All())
	r.Answer, err = identify.Measure(ctx, socket, seat, p)
	return r, err
}

// Whole reports whether the table holds everything that the device does.
func (r *Reading) Whole() bool { return r.Table != nil && r.Table.Rows != nil && len(r.Fixed) == 0 }

// NotCovered says what of the device the reading does not show; empty where it shows all.
func (r *Reading) NotCovered() string {
	switch {
	case r.Table == nil:
		return r.Reason
	case r.Table.Remembers && len(r.Fixed) == 0:
		return "it remembers, though its outputs have no registers: gates of it are wired to a latch, or it is another device; nothing was read"
	case r.Table.Rows == nil:
		return r.Reason
	case len(r.Device.Registered) > 0:
		return fmt.Sprintf("the registered outputs, pins %s, are not covered, and the others are as the registers stood; clock and enable, pins %s, were held high",
			numbers(r.Device.Registered), numbers(r.Fixed))
	case len(r.Fixed) > 0:
		return fmt.Sprintf("it has registers: outputs of theirs are not covered, and the others are as the registers stood; pins %s were held high", numbers(r.Fixed))
	}
	return ""
}

func numbers(pins []int) string {
	var words []string
	for _, pin := range pins {
		words = append(words, fmt.Sprint(pin))
	}
	return strings.Join(words, ", ")
}

// A Difference is an output that does not do what a definition says.
type Difference struct {
	Pin  int    `json:"pin"`
	Rows int    `json:"rows"` // how many rows of the table differ
	At   string `json:"at"`   // the first of them: "1=L 2=H"
	Read string `json:"read"` // what was read there, in the values of IEEE 1364
	Want string `json:"want"`
}

// Compare compares the rows of a table with a definition on the same package. The error says
// why they cannot be compared.
func Compare(t *identify.Table, v *part.Variant, pins int) ([]Difference, error) {
	if len(v.Pins) != pins {
		return nil, fmt.Errorf("the definition has %d pins, and the chip %d", len(v.Pins), pins)
	}
	c, err := logic.Compile(v)
	if err != nil {
		return nil, err
	}
	if len(c.Registers) > 0 {
		return nil, fmt.Errorf("the definition of %s has registers, which a table of inputs does not show", v.Part.Number)
	}
	m := c.NewMachine()
	outputs := append(slices.Clone(t.Outputs), more(v, t)...)
	found := map[int]*Difference{}
	for row := range t.Rows {
		for i, pin := range t.Inputs {
			if v.Pins[pin-1].Drivable() {
				m.Set(pin, logic.Splat(logic.FromBool(row>>i&1 != 0)))
			}
		}
		m.Settle()
		for i, pin := range outputs {
			want, read := m.Out(pin).Lane(0), logic.Z // a pin that never drove is released
			if i < len(t.Outputs) {
				read = t.Rows[row][i]
			}
			if want == read || want == logic.X {
				continue
			}
			if found[pin] == nil {
				found[pin] = &Difference{Pin: pin, At: levels(t.Inputs, row), Read: read.String(), Want: want.String()}
			}
			found[pin].Rows++
		}
	}
	var all []Difference
	slices.Sort(outputs)
	for _, pin := range outputs {
		if d := found[pin]; d != nil {
			all = append(all, *d)
		}
	}
	return all, nil
}

// more are the outputs of a definition that the chip never drove.
func more(v *part.Variant, t *identify.Table) (pins []int) {
	for _, p := range v.Pins {
		if p.Observable() && !slices.Contains(t.Outputs, p.Number) {
			pins = append(pins, p.Number)
		}
	}
	return pins
}

func levels(inputs []int, row int) string {
	var words []string
	for i, pin := range inputs {
		level := "L"
		if row>>i&1 != 0 {
			level = "H"
		}
		words = append(words, fmt.Sprintf("%d=%s", pin, level))
	}
	return strings.Join(words, " ")
}
