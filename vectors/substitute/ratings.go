package substitute

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/part"
)

// A rating is what an output withstands and sinks where that is not its class's in the
// family's DC table.
type rating struct {
	numbers, families string  // part numbers; families, all of them where empty
	volts             float64 // while it is off
	sinks             float64 // mA
	low               float64 // mA that it sinks at a TTL low; 0 for what the family's class says
}

// ratings are those of drivers of lamps, relays and displays.
//
// Source: SN7406/SN7416, SDLS031A; 74F06/74F07, Philips, 1992; SN74LS47, Motorola;
// DM7445, Fairchild; SN74LS145; ULN2803/ULN2804, Motorola, 1996, all read; the others from
// memory of the data books.
var ratings = []rating{
	//                       volts sinks low
	{"7406 7407", "74", 30, 40, 16},
	{"7406 7407", "74LS", 30, 40, 16},
	{"7406 7407", "74F", 12, 64, 0},
	{"7416 7417", "", 15, 40, 16},
	{"7426", "74", 15, 16, 0},
	{"7426", "74LS", 15, 8, 0},
	{"7445", "", 30, 80, 20},
	{"74145", "74", 15, 80, 20},
	{"74145", "74LS", 15, 80, 24},
	{"74445", "", 7, 80, 24},
	{"7446 74246", "74", 30, 40, 0},
	{"7447 74247", "74", 15, 40, 0},
	{"7446", "74L", 30, 20, 0},
	{"7447", "74L", 15, 20, 0},
	{"7447 74247", "74LS", 15, 24, 0},
	{"74347 74447", "74LS", 7, 24, 0},
	{"7441 74141", "", 55, 7, 0.01}, // a low of up to 2.5 V
	{"75451 75452 75453 75454", "", 30, 300, 0},
	{"75461 75462 75463 75464", "", 35, 300, 0},
	{"75450", "", 30, 300, 0}, // of its two transistors
	{"75460", "", 35, 300, 0},
	{"75470", "", 70, 300, 0},
	{"75471 75472 75473 75474", "", 70, 300, 0},
	{"2003 2004 2803 ULN2804", "", 50, 500, 0},
	{"75468 75469", "", 100, 500, 0},
}

// rated gives the rating of a type that has one of its own.
func rated(t part.Type) (r rating, ok bool) {
	for _, r := range ratings {
		if slices.Contains(strings.Fields(r.numbers), t.Part().Number) && (r.families == "" || r.families == t.Family.Name) {
			return r, true
		}
	}
	return r, false
}

// ratingOf gives the rating of any type: an open collector without one of its own is for the
// levels of logic.
func ratingOf(t part.Type) (r rating, ok bool) {
	if r, ok = rated(t); !ok {
		r = rating{volts: 5.5, sinks: electricalOf(t).out.IOL} // V, absolute maximum rating of most, from memory
	}
	return r, ok
}

// lamps says what differs for a load that is no logic: what the outputs withstand, and sink.
func lamps(of, t part.Type, add func(bool, string, ...any)) {
	a, own := ratingOf(of)
	b, too := ratingOf(t)
	if own && too || electricalOf(of).stage == part.OpenCollector && electricalOf(t).stage == part.OpenCollector {
		switch {
		case b.volts < a.volts:
			add(true, "outputs to %g V at most, not %g", b.volts, a.volts)
		case b.volts > a.volts:
			add(false, "outputs to %g V, not %g", b.volts, a.volts)
		}
	}
	if (own || too) && b.sinks < a.sinks {
		add(true, "sinks %.3g mA, not %g", b.sinks, a.sinks)
	}
}

// overSupply are the numbers whose inputs may stand above the supply: they have no diode to
// it, and bring higher levels down.
//
// Source: from memory of the CMOS data books.
var overSupply = []string{"4049", "4050", "74901", "74902"}

// switchOhms is what a closed switch of the 4000 series has, Ω, typical at 15 V.
//
// Source: CD4016B and CD4066B data sheets, features, from memory.
var switchOhms = map[string]float64{"4016": 280, "4066": 125}

// inputsAndSwitches says what differs in what may be connected to inputs and to switches.
func inputsAndSwitches(of, t part.Type, add func(bool, string, ...any)) {
	number, other := of.Part().Number, t.Part().Number
	if slices.Contains(overSupply, number) && !slices.Contains(overSupply, other) {
		add(true, "no input above the supply")
	}
	if is, was := switchOhms[other], switchOhms[number]; is > was && was > 0 && t.Family.Series4000() {
		add(true, "switches of some %g Ω, not %g", is, was)
	}
	receiver := func(p part.Pin) bool { return p.Receiver }
	if slices.ContainsFunc(t.Variant.Pins, receiver) && !slices.ContainsFunc(of.Variant.Pins, receiver) {
		add(true, "inputs of a line receiver, some kΩ to ground each")
	}
	a, b := electricalOf(of), electricalOf(t)
	switch was, is := of.Family.Technology == part.Darlington, t.Family.Technology == part.Darlington; {
	case is && !was:
		add(true, "its low is up to %.2g V: for lamps and relays, no level for %s inputs", b.out.VOL, of.Family.Name)
		add(true, "an input takes %.1f mA when high", b.iih)
	case is && b.iih < a.iih/2:
		add(true, "inputs behind 10.5 kΩ for 6 to 15 V: at 5 V good for 125 mA") // ULN2004A, from memory
	case is && b.iih > 2*a.iih:
		add(true, "inputs behind 2.7 kΩ for 5 V: they take 4 times the current")
	}
}

// weaker says that a MOS output sinks much less.
func weaker(a, b electrical, add func(bool, string, ...any)) {
	if b.out.IOL < a.out.IOL/2 {
		add(true, "sinks %.3g mA, not %.3g", b.out.IOL, a.out.IOL)
	}
}

// missing says that the part has a pin, such as an expander, where the other has none.
func missing(p part.Pin) Difference {
	return Difference{Words: fmt.Sprintf("no %s at pin %d: only where it is not used", p.Name, p.Number), Change: true}
}
