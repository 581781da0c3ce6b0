package pal

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/memory"
	"chipassay/vectors/part"
)

// A Level is what an output does at a combination of the inputs.
type Level byte

// The levels. Other is an output that did otherwise as it was read again, in another
// order or under another bias: it holds state, or depends on a released pin.
const (
	Low      Level = 'L'
	High     Level = 'H'
	Released Level = 'Z'
	Other    Level = '?'
)

// An Output is a pin that was seen to drive, with its level at each combination.
type Output struct {
	Pin    int
	Levels []Level
}

// Combinational reports whether an output's level is known at every combination.
func (o Output) Combinational() bool { return !slices.Contains(o.Levels, Other) }

// A Table is what was read of a device. In row r, input i is at bit i of r.
type Table struct {
	Device  string
	Inputs  []int // pins
	Outputs []Output
	Held    map[int]bool // inputs that were held at a level
	Notes   []string     // what is not covered
}

// A Seating opens the place of a package, for one reading.
type Seating func(part.Type) (assay.MemorySocket, error)

// Read reads a device. Pins that may be inputs or outputs are first left to the chip: those
// that drive at some combination of the dedicated inputs are outputs, and the others are
// then driven as inputs too. A pin that meets the adapter's level with another one is an
// output after all, and is left alone as all is read once more. Where the chip could not be
// read, the table is nil and the result says why.
func Read(ctx context.Context, seat Seating, d Device, held map[int]bool, progress func(float64)) (*Table, *assay.Result, error) {
	inputs := slices.DeleteFunc(slices.Clone(d.Inputs), func(p int) bool { _, ok := held[p]; return ok })
	outputs := slices.DeleteFunc(d.Readable(), func(p int) bool { _, ok := held[p]; return ok })
	first, r, err := read(ctx, seat, d, inputs, outputs, held, progress)
	if err != nil || first == nil {
		return nil, r, err
	}
	var turned []int // pins that are driven as inputs
	for i, p := range outputs {
		if slices.Contains(d.Either, p) && !drives(first, i) {
			turned = append(turned, p)
		}
	}
	table := &Table{Device: d.Number, Held: held}
	for len(turned) > 0 {
		all := slices.Concat(inputs, turned)
		if len(all) > MostInputs {
			return nil, r, tooMany(all)
		}
		again, r, err := read(ctx, seat, d, all, outputs, held, progress)
		if err != nil || again == nil {
			return nil, r, err
		}
		met := meets(again, all, outputs, turned)
		if len(met) == 0 {
			table.fill(again, all, without(outputs, turned), outputs)
			return table.noted(d), r, nil
		}
		for _, p := range met {
			table.Notes = append(table.Notes, fmt.Sprintf("pin %d is an output at some combinations of the other pins and an input at others: it was left to the chip, and what it does as an input is not covered", p))
		}
		turned = without(turned, met)
	}
	table.fill(first, inputs, outputs, outputs)
	return table.noted(d), r, nil
}

func tooMany(inputs []int) error {
	var words []string
	for _, p := range inputs {
		words = append(words, fmt.Sprint(p))
	}
	return fmt.Errorf("pins %s are %d inputs, and at most %d are driven through all combinations: hold some at the level that they have on the board, as in --held %d=L",
		strings.Join(words, ", "), len(inputs), MostInputs, inputs[len(inputs)-1])
}

// read makes one reading of some pins.
func read(ctx context.Context, seat Seating, d Device, inputs, outputs []int, held map[int]bool, progress func(float64)) (*memory.Table, *assay.Result, error) {
	if len(inputs) > MostInputs {
		return nil, nil, tooMany(inputs)
	}
	if len(inputs) == 0 {
		return nil, nil, fmt.Errorf("no input of the %s is left to be driven", d.Number)
	}
	t, err := d.typeOf(inputs, held)
	if err != nil {
		return nil, nil, err
	}
	socket, err := seat(t)
	if err != nil {
		return nil, nil, err
	}
	table, ok, r := assay.ReadLogic(ctx, socket, assay.MemoryPlan{Type: t, Progress: progress}, outputs)
	if !ok {
		return nil, r, nil
	}
	return &table, r, nil
}

// drives reports whether a pin was ever against its bias.
func drives(t *memory.Table, bit int) bool {
	for row := range t.High {
		if t.High[row]>>bit&1 == 0 || t.Low[row]>>bit&1 != 0 {
			return true
		}
	}
	return false
}

// meets finds the driven pins that did not stand at the level they were driven to.
func meets(t *memory.Table, inputs, read, driven []int) (met []int) {
	for _, p := range driven {
		bit, at := slices.Index(read, p), slices.Index(inputs, p)
		for row := range t.High {
			for _, words := range append([][]uint16{t.High, t.Low}, t.Again...) {
				if int(words[row]>>bit&1) != row>>at&1 && !slices.Contains(met, p) {
					met = append(met, p)
				}
			}
		}
	}
	return met
}

func without(pins, some []int) []int {
	return slices.DeleteFunc(slices.Clone(pins), func(p int) bool { return slices.Contains(some, p) })
}

// fill keeps what some of the pins that were read did.
func (t *Table) fill(words *memory.Table, inputs, outputs, read []int) {
	t.Inputs = inputs
	for _, p := range outputs {
		bit := slices.Index(read, p)
		o := Output{Pin: p, Levels: make([]Level, len(words.High))}
		for row := range o.Levels {
			high, low := words.High[row]>>bit&1, words.Low[row]>>bit&1
			otherwise := func(again []uint16) bool { return again[row]>>bit&1 != high }
			switch {
			case slices.ContainsFunc(words.Again, otherwise), high == 0 && low != 0:
				o.Levels[row] = Other
			case high != low:
				o.Levels[row] = Released
			case high != 0:
				o.Levels[row] = High
			default:
				o.Levels[row] = Low
			}
		}
		t.Outputs = append(t.Outputs, o)
	}
}

// noted adds what the table does not cover.
func (t *Table) noted(d Device) *Table {
	var other, idle []string
	for _, o := range t.Outputs {
		if !o.Combinational() {
			other = append(other, fmt.Sprint(o.Pin))
		}
		if !slices.ContainsFunc(o.Levels, func(l Level) bool { return l != Released }) {
			idle = append(idle, fmt.Sprint(o.Pin))
		}
	}
	if len(other) > 0 {
		t.Notes = append(t.Notes, "outputs that read otherwise in another order or under another bias, and so hold state or depend on a released pin: "+strings.Join(other, ", "))
	}
	if len(idle) > 0 {
		t.Notes = append(t.Notes, "outputs that never drove: "+strings.Join(idle, ", "))
	}
	if len(d.Registered) > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("the %d registered outputs are not covered; an output that depends on a register was read in the one state that the registers were in", len(d.Registered)))
	}
	if d.CMOS {
		t.Notes = append(t.Notes, "outputs that it was programmed to register are not covered")
	}
	return t
}
