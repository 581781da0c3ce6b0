package fault

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// An Inside is a fault of the logic behind the pins under which the chip would have
// shown everything that was observed: a bit of a register that breaks a rule, a
// product term that never becomes true, or flip-flops that catch ones.
type Inside struct {
	Cell    logic.CellFault
	Output  int // pin; Term of what makes it is dead, from 1
	Term    int // 0 where it is another fault
	Catches bool
	Unknown int // levels that the fault does not predict
}

// cellKinds are the cell faults that are looked for.
var cellKinds = []logic.CellFaultKind{logic.Ignores, logic.Holds, logic.Inverts, logic.Obeys, logic.OtherEdge}

// DiagnoseInside finds those faults, those that predict most first. The observations
// belong to the first steps of the sequence.
func DiagnoseInside(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation) []Inside {
	d := diagnosis{c: c, f: f, s: s, observed: observed}
	all := append(d.cells(), d.others()...)
	slices.SortStableFunc(all, func(a, b Inside) int { return cmp.Compare(a.Unknown, b.Unknown) })
	return all
}

// cells tries every bit against every rule, from both levels that it may have had
// at power-up: a lane each.
func (d diagnosis) cells() (found []Inside) {
	var tried []logic.CellFault
	for i, r := range d.c.Registers {
		for j, rule := range r.Rules {
			for bit := range r.Bits {
				for _, kind := range cellKinds {
					if kind == logic.Obeys && rule.When < 0 || kind == logic.OtherEdge && rule.Edge == part.Level {
						continue
					}
					tried = append(tried, logic.CellFault{Register: i, Bit: bit, Rule: j, Kind: kind, Term: logic.AllTerms})
				}
			}
		}
	}
	for group := range slices.Chunk(tried, lanes/2) {
		sim := simulate(d.c, d.f)
		for i, cell := range group {
			sim.machine.Break(cell, 3<<(2*i))
		}
		sim.machine.Wake(func(int) uint64 { return oddLanes })
		unknown, right := d.survivors(sim)
		for i, cell := range group {
			if right>>(2*i)&3 != 0 {
				found = append(found, Inside{Cell: cell, Unknown: min(unknown[2*i], unknown[2*i+1])})
			}
		}
	}
	return found
}

// oddLanes are those of the chips that come up with all bits high.
const oddLanes = 0xAAAA_AAAA_AAAA_AAAA

// mostBits is how many bits of state are so few that a simulation has a lane for
// each state that they may have at power-up.
const mostBits = 6

// fromSomeState keeps the causes that explain what was observed from some state at
// power-up. With the state unknown a stuck clock, say, contradicts nothing. Shorts
// and floating inputs are kept: what they do is open from any state.
func (d diagnosis) fromSomeState(causes []Cause) []Cause {
	if n := len(d.c.State); n == 0 || n > mostBits {
		return causes
	}
	return slices.DeleteFunc(causes, func(c Cause) bool {
		if c.Unknown == 0 || slices.ContainsFunc(c.Faults, func(f Fault) bool { return f.Kind != StuckLow && f.Kind != StuckHigh }) {
			return false
		}
		sim := simulate(d.c, d.f)
		for _, f := range c.Faults {
			sim.inject(f, ^uint64(0))
		}
		sim.machine.Wake(func(bit int) (lanes uint64) {
			for lane := range 64 {
				lanes |= uint64(lane>>bit&1) << lane
			}
			return lanes
		})
		_, right := d.survivors(sim)
		return right == 0
	})
}

// others tries what changes the circuit: dead terms of each output, and masters.
func (d diagnosis) others() (found []Inside) {
	try := func(in Inside, change func(*logic.Circuit) error) bool {
		c, err := logic.Compile(d.c.Variant)
		if err != nil || change(c) != nil {
			return false
		}
		sim := simulate(c, d.f)
		sim.machine.Wake(func(int) uint64 { return oddLanes })
		if unknown, right := d.survivors(sim); right != 0 {
			in.Unknown = min(unknown[0], unknown[1])
			found = append(found, in)
		}
		return true
	}
	for i, o := range d.c.Outputs {
		for term := 1; try(Inside{Output: o.Pin, Term: term}, func(c *logic.Circuit) error { return c.KillProduct(c.Outputs[i].Node, term) }); term++ {
		}
	}
	for i, r := range d.c.Registers {
		if slices.ContainsFunc(r.Rules, func(rule logic.Rule) bool { return rule.Edge == part.Pulse }) {
			continue // a good one does
		}
		try(Inside{Cell: logic.CellFault{Register: i}, Catches: true}, func(c *logic.Circuit) error { return c.CatchOnes(i) })
	}
	return found
}

// survivors gives the lanes that nothing contradicts, and how many levels they leave open.
func (d diagnosis) survivors(sim *simulation) (unknown [lanes]int, right uint64) {
	right = ^uint64(0)
	for i, o := range d.observed {
		st := d.s.Steps[i]
		sim.apply(st)
		for pin := range st.Compared.All() {
			w := sim.shown[pin]
			if right &= agrees(w, o.Value(pin)); right == 0 {
				return unknown, 0
			}
			for rest := right & w.Hi & w.Lo; rest != 0; rest &= rest - 1 {
				unknown[bits.TrailingZeros64(rest)]++
			}
		}
	}
	return unknown, right
}

// Pins gives the pin that the fault shows at, where it is one.
func (in Inside) Pins(c *logic.Circuit) (pins part.Pins) {
	if in.Term > 0 {
		return part.PinSet(in.Output)
	}
	r := c.Registers[in.Cell.Register]
	if pin := c.State[r.Bits[in.Cell.Bit]].Pin; pin != 0 {
		return part.PinSet(pin)
	}
	return 0
}

// SameRule reports whether two faults are of one bit against one rule.
func (in Inside) SameRule(other Inside) bool {
	a, b := in.Cell, other.Cell
	return in.Term == 0 && other.Term == 0 && in.Catches == other.Catches && a.Register == b.Register && a.Bit == b.Bit && a.Rule == b.Rule
}

// In says the fault in the words of the definition.
func (in Inside) In(c *logic.Circuit) string {
	v := c.Variant
	if in.Term > 0 {
		return fmt.Sprintf("product term %d of pin %d (%s) never becomes true", in.Term, in.Output, v.Pins[in.Output-1].Name)
	}
	r := &c.Registers[in.Cell.Register]
	if in.Catches {
		return r.Name + " catches ones, as a pulse-triggered flip-flop does"
	}
	bit := c.State[r.Bits[in.Cell.Bit]]
	who := bit.Name
	if bit.Pin != 0 {
		who = fmt.Sprintf("pin %d (%s)", bit.Pin, bit.Name)
	}
	rule := fmt.Sprintf("rule %d of %s%s", in.Cell.Rule+1, r.Name, readBy(c, &r.Rules[in.Cell.Rule]))
	return who + " " + map[logic.CellFaultKind]string{
		logic.Ignores:   "does not follow " + rule,
		logic.Holds:     "holds its level where it should follow " + rule,
		logic.Inverts:   "takes the complement of what " + rule + " gives",
		logic.Obeys:     "follows " + rule + " though its condition is false",
		logic.OtherEdge: "follows " + rule + " at the other edge",
	}[in.Cell.Kind]
}

// readBy names the pins that a rule reads, where they are few: " (/CLR)".
func readBy(c *logic.Circuit, rule *logic.Rule) string {
	nodes := []int32{rule.When}
	if rule.Edge != part.Level {
		nodes = append(nodes, rule.Clock)
	}
	var names []string
	for pin := range c.Support(nodes...).All() {
		names = append(names, c.Variant.Pins[pin-1].Name)
	}
	if len(names) == 0 || len(names) > 4 {
		return ""
	}
	return " (" + strings.Join(names, ", ") + ")"
}
