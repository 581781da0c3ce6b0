package substitute

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/vectors/part"
	"chipassay/vectors/tied"
)

// between says what differs between two types, their pins and function apart.
func between(of, t part.Type) (all []Difference) {
	add := func(change bool, format string, args ...any) {
		all = append(all, Difference{Words: fmt.Sprintf(format, args...), Change: change})
	}
	a, b := electricalOf(of), electricalOf(t)
	stages(of.Variant, t.Variant, add)
	if pulledUp(of) && !pulledUp(t) && b.stage != part.OpenCollector {
		add(true, "drives high by a transistor: only where outputs are not wired together")
	}
	f, g := of.Family, t.Family
	if f != g {
		levels(f, g, add)
	}
	inputsAndSwitches(of, t, add)
	lamps(of, t, add)
	beyond(of, t, add)
	darlington := f.Technology == part.Darlington || g.Technology == part.Darlington
	switch was, is := fanOut(a, of), fanOut(b, of); {
	case darlington: // its low is none
	case is < was && is < 50:
		add(true, "drives %s %s inputs, not %s", count(is), f.Name, count(was))
	case is > was && was < 50:
		add(false, "drives %s %s inputs, not %s", count(is), f.Name, count(was))
	case !f.Technology.Bipolar() && !g.Technology.Bipolar() && of.Part().Kind != "switch": // a switch sinks what it is fed
		weaker(a, b, add)
	}
	if ratio := b.iil / a.iil; g.Technology.Bipolar() && f.Technology.Bipolar() && ratio > 1.01 {
		add(true, "an input is %.2g %s loads", b.iil/f.IIL, f.Name)
	}
	switch {
	case b.schmitt && !a.schmitt:
		add(false, "Schmitt inputs")
	case a.schmitt && !b.schmitt:
		add(true, "no hysteresis: not for slow edges")
	}
	if was, is := delay[f.Name], delay[g.Name]; f != g && was > 0 && is > 0 {
		add(false, "%g ns a gate, not %g", is, was)
	}
	return all
}

// pulledUp tells whether a type's outputs are driven high by resistors alone, as those of DTL
// gates are, which were wired together as a rule.
func pulledUp(t part.Type) bool {
	return t.Family.Technology == part.DTL && slices.ContainsFunc(t.Variant.Pins, func(p part.Pin) bool {
		return p.Stage == part.TotemPole && p.Drive != part.BufferDrive
	})
}

// stages says which outputs drive one way only that did not, or the other way too.
func stages(of, v *part.Variant, add func(bool, string, ...any)) {
	became(of, v, part.OpenCollector, func(all bool, names string, has bool) {
		switch {
		case all && has:
			add(true, "open collector: pull-up of 2.2 kΩ at each output")
		case all:
			add(true, "drives high too: only where outputs are not wired together or to more than 5 V")
		case has:
			add(true, "open collector: pull-up of 2.2 kΩ at %s", names)
		default:
			add(true, "%s: driven high too, not to be wired together or to more than 5 V", names)
		}
	})
	became(of, v, part.OpenEmitter, func(all bool, names string, has bool) {
		if has {
			add(true, "%s: pull high only, a pull-down at each", names)
		} else {
			add(true, "%s: driven low too, not to be wired together", names)
		}
	})
}

// became tells which outputs have a stage that the other part's have not, or no longer have it.
// Outputs are paired by name; where none has the other's name, all of a part are taken together.
func became(of, v *part.Variant, stage part.Stage, say func(all bool, names string, has bool)) {
	var gained, lost, outputs []string
	paired, was, is := false, false, false
	for _, q := range v.Pins {
		if !q.Observable() {
			continue
		}
		outputs = append(outputs, q.Name)
		has := q.Stage == stage
		is = is || has
		if p := of.Pin(q.Name); p != nil && p.Observable() {
			paired = true
			switch had := p.Stage == stage; {
			case has && !had:
				gained = append(gained, q.Name)
			case had && !has:
				lost = append(lost, q.Name)
			}
		}
	}
	for _, p := range of.Pins {
		was = was || p.Observable() && p.Stage == stage
	}
	if !paired && is != was {
		say(true, strings.Join(outputs, " "), is)
		return
	}
	slices.Sort(gained)
	slices.Sort(lost)
	if len(gained) > 0 {
		say(len(gained) == len(outputs), strings.Join(gained, " "), true)
	}
	if len(lost) > 0 {
		say(len(lost) == len(outputs), strings.Join(lost, " "), false)
	}
}

// levels says what differs where a family's inputs and outputs meet those of another.
func levels(f, g *part.Family, add func(bool, string, ...any)) {
	const pull = 4_700 // Ω, common practice from TTL to CMOS
	out := f.Output[part.StandardDrive]
	switch {
	case f.Technology.Bipolar() && out.VOH < g.VIH && part.PullUp(g, pull, 1).Valid:
		least := part.E12Above((maxSupply - out.VOL) / out.IOL * 1000)
		add(true, "pull-up of 4.7 kΩ (least %.3g Ω) at inputs fed by %s", least, f.Name)
	case !f.Technology.Bipolar() && g.Technology.Bipolar() && g.Output[part.StandardDrive].VOH < f.VIH:
		add(true, "pull-up of 4.7 kΩ at outputs that feed %s", f.Name)
	}
	if !f.Technology.Bipolar() && g.Technology.Bipolar() {
		if n := int(out.IOL / g.IIL); n < 10 {
			add(true, "a %s output drives %s of its inputs", f.Name, count(float64(n)))
		}
	}
	if was, is := mostSupply(f), mostSupply(g); is < was && was > maxSupply {
		add(true, "supply of %g V at most", is)
	}
	if f.Technology.Bipolar() && !g.Technology.Bipolar() {
		add(true, "no input open")
	}
}

// mostSupply is the highest supply that a family is made for, V.
//
// Source: recommended operating conditions of the data books, from memory.
func mostSupply(f *part.Family) float64 {
	switch {
	case f.Name == "4000A":
		return 12
	case f.Series4000(), f.Name == "74C":
		return 15
	case f.Name == "74HC", f.Name == "74AC":
		return 6
	}
	return maxSupply
}

// maxSupply is the highest supply of a nominal 5 V, V.
const maxSupply = 5.25

// delay is the typical propagation delay of a gate at 5 V, ns.
//
// Source: from memory of the families' data books, 15 pF for TTL and 50 pF for CMOS.
var delay = map[string]float64{
	"74": 10, "74H": 6, "74L": 33, "74S": 3, "74LS": 9.5, "74ALS": 4, "74AS": 1.7, "74F": 3.4,
	"74HC": 9, "74HCT": 10, "74C": 50, "DTL": 25, "4000B": 125, "4000UB": 60, "4000A": 60,
	"74AC": 5, "74ACT": 5, "74BCT": 4,
}

// electrical is what of a type's pins matters to its neighbours: the heaviest input
// and the weakest output.
type electrical struct {
	iil, iih float64 // mA
	out      part.OutputLimits
	stage    part.Stage
	schmitt  bool
}

func electricalOf(t part.Type) (e electrical) {
	e.out.IOL = math.Inf(1)
	r, _ := rated(t)
	for _, p := range t.Variant.Pins {
		if p.Role == part.Input {
			e.iil, e.iih = max(e.iil, p.LoadIn(t.Family)*t.Family.IIL), max(e.iih, p.LoadIn(t.Family)*t.Family.IIH)
		}
		e.schmitt = e.schmitt || p.Schmitt
		out := t.Family.Output[p.Drive]
		if r.low > 0 && p.Stage == part.OpenCollector {
			out.IOL = min(out.IOL, r.low)
		}
		if p.Observable() && out.IOL < e.out.IOL {
			e.out, e.stage = out, p.Stage
		}
	}
	return e
}

// fanOut is how many inputs of one unit load of a type's family an output drives.
func fanOut(e electrical, of part.Type) float64 {
	low := math.Floor(e.out.IOL/of.Family.IIL + 1e-9)
	if e.stage == part.OpenCollector {
		return low
	}
	return min(low, math.Floor(e.out.IOH/of.Family.IIH+1e-9))
}

func count(n float64) string {
	switch {
	case n < 1:
		return "no"
	case n > 50:
		return "over 50"
	}
	return fmt.Sprintf("%g", n)
}

// moved says that a part has other pins.
func moved(of, v *part.Variant) (all []Difference) {
	text := "other pins"
	if len(v.Pins) != len(of.Pins) {
		text = fmt.Sprintf("other pins, %d of them", len(v.Pins))
	}
	return []Difference{{Words: text, Change: true}}
}

// tiesOf says how a part's gates give those of another, with how many ties, and whether
// it has half as many of them or more.
func tiesOf(ways []tied.Way, own []tied.Gate) (all []Difference, ties int, worth bool) {
	gates, wanted := math.MaxInt, 0
	var words []string
	worth = true
	for i, w := range ways {
		for _, t := range w.Ties() {
			if in := t.In(w.Variant); !slices.Contains(words, in) {
				words = append(words, in)
			}
		}
		n, of := w.Independent(), len(own[i].Alike)
		gates, wanted = min(gates, n), max(wanted, of)
		worth = worth && 2*n >= of
	}
	if len(words) > 0 {
		all = append(all, Difference{Words: "tie " + strings.Join(words, " "), Change: true})
	}
	if gates < wanted {
		all = append(all, Difference{Words: fmt.Sprintf("%d in a package, not %d", gates, wanted), Change: true})
	}
	return all, len(words), worth
}
