// Package pal reads programmable logic of 20 and 24 pins: it drives every combination of the
// inputs, finds which pins are outputs, and gives a table and minimal equations. What
// registers hold, and what depends on it, is not covered.
package pal

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/part"
)

// A Device is a type of programmable logic: what each pin may be. Pins of none of the
// lists are the supplies.
//
// Source: from memory of the makers' data books.
type Device struct {
	Number  string
	Pins    int
	Inputs  []int // dedicated, in a fixed order
	Outputs []int // that feed nothing back
	Either  []int // inputs or outputs or both, as it is programmed
	Clock   int   // of the registers, held low; 0 where there is none
	Disable int   // the registers' output enable, held high
	// Registered outputs are not read; their pins stay released.
	Registered []int
	CMOS       bool
}

// pins is a run of pins.
func pins(runs ...[2]int) (all []int) {
	for _, r := range runs {
		for p := r[0]; p <= r[1]; p++ {
			all = append(all, p)
		}
	}
	return all
}

func one(pin int) [2]int         { return [2]int{pin, pin} }
func run(from, to int) [2]int    { return [2]int{from, to} }
func inputs20(more ...int) []int { return append(pins(run(1, 9), one(11)), more...) }
func inputs24(more ...int) []int { return append(pins(run(1, 11), one(13)), more...) }

// devices are those of bipolar PALs, and the GALs that replace them.
var devices = []Device{
	{Number: "10H8", Pins: 20, Inputs: inputs20(), Outputs: pins(run(12, 19))},
	{Number: "10L8", Pins: 20, Inputs: inputs20(), Outputs: pins(run(12, 19))},
	{Number: "12H6", Pins: 20, Inputs: inputs20(12, 19), Outputs: pins(run(13, 18))},
	{Number: "12L6", Pins: 20, Inputs: inputs20(12, 19), Outputs: pins(run(13, 18))},
	{Number: "14H4", Pins: 20, Inputs: inputs20(12, 13, 18, 19), Outputs: pins(run(14, 17))},
	{Number: "14L4", Pins: 20, Inputs: inputs20(12, 13, 18, 19), Outputs: pins(run(14, 17))},
	{Number: "16H2", Pins: 20, Inputs: inputs20(12, 13, 14, 17, 18, 19), Outputs: pins(run(15, 16))},
	{Number: "16L2", Pins: 20, Inputs: inputs20(12, 13, 14, 17, 18, 19), Outputs: pins(run(15, 16))},
	{Number: "16C1", Pins: 20, Inputs: inputs20(12, 13, 14, 17, 18, 19), Outputs: pins(run(15, 16))},
	{Number: "16L8", Pins: 20, Inputs: inputs20(), Outputs: []int{12, 19}, Either: pins(run(13, 18))},
	{Number: "16R4", Pins: 20, Inputs: pins(run(2, 9)), Either: []int{12, 13, 18, 19}, Clock: 1, Disable: 11, Registered: pins(run(14, 17))},
	{Number: "16R6", Pins: 20, Inputs: pins(run(2, 9)), Either: []int{12, 19}, Clock: 1, Disable: 11, Registered: pins(run(13, 18))},
	{Number: "16R8", Pins: 20, Inputs: pins(run(2, 9)), Clock: 1, Disable: 11, Registered: pins(run(12, 19))},
	{Number: "16V8", Pins: 20, Inputs: inputs20(), Either: pins(run(12, 19)), CMOS: true},
	{Number: "12L10", Pins: 24, Inputs: inputs24(), Outputs: pins(run(14, 23))},
	{Number: "14L8", Pins: 24, Inputs: inputs24(14, 23), Outputs: pins(run(15, 22))},
	{Number: "16L6", Pins: 24, Inputs: inputs24(14, 15, 22, 23), Outputs: pins(run(16, 21))},
	{Number: "20L8", Pins: 24, Inputs: inputs24(14, 23), Outputs: []int{15, 22}, Either: pins(run(16, 21))},
	{Number: "20L10", Pins: 24, Inputs: inputs24(), Outputs: []int{14, 23}, Either: pins(run(15, 22))},
	{Number: "20R4", Pins: 24, Inputs: append(pins(run(2, 11)), 14, 23), Either: []int{15, 16, 21, 22}, Clock: 1, Disable: 13, Registered: pins(run(17, 20))},
	{Number: "20R6", Pins: 24, Inputs: append(pins(run(2, 11)), 14, 23), Either: []int{15, 22}, Clock: 1, Disable: 13, Registered: pins(run(16, 21))},
	{Number: "20R8", Pins: 24, Inputs: append(pins(run(2, 11)), 14, 23), Clock: 1, Disable: 13, Registered: pins(run(15, 22))},
	{Number: "20V8", Pins: 24, Inputs: inputs24(14, 23), Either: pins(run(15, 22)), CMOS: true},
	{Number: "22V10", Pins: 24, Inputs: inputs24(), Either: pins(run(14, 23)), CMOS: true},
}

// Find gives the device of a number as it is marked: 16L8, PAL16L8ACN, GAL16V8.
func Find(typed string) (Device, error) {
	name := strings.ToUpper(strings.TrimSpace(typed))
	for _, letters := range []string{"TIBPAL", "AMPAL", "PALCE", "PAL", "GAL", "ATF", "PEEL"} {
		name = strings.TrimPrefix(name, letters)
	}
	best := -1
	for i, d := range devices {
		if strings.HasPrefix(name, d.Number) && (best < 0 || len(d.Number) > len(devices[best].Number)) &&
			(len(name) == len(d.Number) || name[len(d.Number)] < '0' || name[len(d.Number)] > '9') {
			best = i
		}
	}
	if best < 0 {
		return Device{}, fmt.Errorf("there is no programmable logic %s: known are %s", typed, strings.Join(Numbers(), " "))
	}
	d := devices[best]
	if len(d.Outputs)+len(d.Either) == 0 {
		return d, fmt.Errorf("all outputs of a %s are registered: it has no combinational output that could be read", d.Number)
	}
	return d, nil
}

// Numbers lists the devices.
func Numbers() (all []string) {
	for _, d := range devices {
		all = append(all, d.Number)
	}
	return all
}

// Readable are the pins that can be combinational outputs, in order.
func (d Device) Readable() []int {
	return slices.Sorted(slices.Values(slices.Concat(d.Outputs, d.Either)))
}

// MostInputs bounds the inputs that are driven through all combinations.
const MostInputs = 16

// typeOf is the device as a ROM whose address are some inputs: the adapter drives these, holds
// others, and leaves what may be an output alone.
func (d Device) typeOf(address []int, held map[int]bool) (part.Type, error) {
	named := map[int]string{}
	list := func(prefix string, pins []int) string {
		var names []string
		for _, p := range pins {
			named[p] = fmt.Sprintf("%s%d", prefix, p)
			names = append(names, named[p])
		}
		return strings.Join(names, " ")
	}
	var low, high, outputs []int
	for p, level := range held {
		if level {
			high = append(high, p)
		} else {
			low = append(low, p)
		}
	}
	if d.Clock != 0 {
		low, high = append(low, d.Clock), append(high, d.Disable)
	}
	for _, p := range d.Readable() {
		if _, isHeld := held[p]; !isHeld && !slices.Contains(address, p) {
			outputs = append(outputs, p)
		}
	}
	if len(outputs) == 0 {
		return part.Type{}, fmt.Errorf("no pin of the %s is left that could be an output", d.Number)
	}
	data := outputs[:min(len(outputs), 8)]
	open := slices.Concat(outputs[len(data):], d.Registered)
	var statements strings.Builder
	fmt.Fprintf(&statements, "inputs %s\n", list("I", address))
	for _, s := range []struct {
		statement string
		pins      []int
	}{{"tie low", low}, {"tie high", high}, {"external", open}, {"outputs three-state", data}} {
		if len(s.pins) > 0 {
			slices.Sort(s.pins)
			fmt.Fprintf(&statements, "%s %s\n", s.statement, list("P", s.pins))
		}
	}
	fmt.Fprintf(&statements, "memory prom %d x %d\naddress %s\ndata %s\naccess 1 us\n", 1<<len(address), len(data), list("I", address), list("P", data))
	named[d.Pins/2], named[d.Pins] = "GND", "VCC"
	family := "TTL"
	if d.CMOS {
		family = "CMOS"
	}
	text := fmt.Sprintf("part %s \"programmable logic\"\nkind memory\nfamilies %s\nsource \"from memory\"\npackage DIP%d\n", d.Number, family, d.Pins)
	for i := 1; i <= d.Pins/2; i++ {
		text += fmt.Sprintf("  %s %d | | %d %s\n", name(named, i), i, d.Pins+1-i, name(named, d.Pins+1-i))
	}
	parts, err := part.Parse("pal.part", text+statements.String())
	if err != nil {
		return part.Type{}, err
	}
	v := parts[0].Variants[0]
	return part.Type{Variant: v, Family: v.Families[0]}, nil
}

func name(named map[int]string, pin int) string {
	if n, ok := named[pin]; ok {
		return n
	}
	return "NC"
}

// Drivable reports whether a pin may be an input.
func (d Device) Drivable(pin int) bool {
	return slices.Contains(d.Inputs, pin) || slices.Contains(d.Either, pin)
}
