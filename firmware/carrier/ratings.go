package carrier

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// The worst case of the ratings: highest rail, least resistors, strongest outputs
// and switches.
const (
	mostVolts    = 5.25 // V of the rail
	strongPin    = 18.0 // Ω of the microcontroller's outputs
	strongOutput = 18.0 // Ω of a register's
	strongSwitch = 0.1  // Ω of a transistor
	leastLamp    = 1.6  // V of a red LED
	leastBase    = 0.6  // V base to emitter
)

// Absolute maximum ratings, from memory of the data sheets: ATmega2560, "DC
// Characteristics", notes on IOL and IOH, which add up by groups of ports; 74HC595.
const (
	mostPin     = 0.040 // A, a pin of the microcontroller
	mostMCU     = 0.200 // A, a supply pin of it: here all ports together, though it has four
	mostOutput  = 0.035 // A, an output of a 74HC595
	mostPackage = 0.070 // A, its supply or ground pin
	mostShunted = 0.010 // A in the reference, and at least
	leastShunt  = 0.4e-3
)

var portGroups = []struct {
	lines string // ports, or single lines
	most  float64
}{
	{"PJ PA PG2", 0.200},
	{"PC PG0 PG1 PD PL", 0.200},
	{"PG3 PG4 PB PH", 0.200},
	{"PE PG5", 0.100},
	{"PF PK", 0.100},
}

// Ratings are the worst currents of every output in any state that the firmware
// allows, with any one short in the socket on top: two positions, or a position and
// ground or the supply. Sums take every other output at its own worst.
type Ratings struct {
	Output  map[string]float64 // A, by net of the output
	Package map[string]float64 // A, by register: sum of its outputs of one level
	Group   map[string]float64 // A, by group of ports: likewise
	MCU     float64            // A, all ports: likewise
}

// Ratings computes them.
func (n *Netlist) Ratings() Ratings {
	c := &check{n: n, at: map[string][]Terminal{}}
	for _, net := range n.Nets() {
		c.at[net] = n.Terminals(net)
	}
	return c.worst()
}

// ratings compares them with what the outputs are rated for.
func (c *check) ratings() {
	r := c.worst()
	for _, net := range slices.Sorted(maps.Keys(r.Output)) {
		most := mostOutput
		if kindOfNode(net) == MCU {
			most = mostPin
		}
		c.within(net, r.Output[net], most)
	}
	for _, ref := range slices.Sorted(maps.Keys(r.Package)) {
		c.within(ref, r.Package[ref], mostPackage)
	}
	for _, g := range portGroups {
		c.within("ports "+g.lines, r.Group[g.lines], g.most)
	}
	c.within("all ports", r.MCU, mostMCU)
	if p := c.n.Part("R831"); p != nil {
		amps := func(volts, tolerance float64) float64 {
			return (volts - 2.5) / (p.Ohms * (1 + tolerance*p.TolerancePercent/100))
		}
		if least := amps(4.4, 1); least < leastShunt {
			c.fail("rating", "U43", "%.2f mA, less than %.1f", 1000*least, 1000*leastShunt)
		}
		c.within("U43", amps(mostVolts, -1), mostShunted)
	}
}

func (c *check) within(at string, amps, most float64) {
	if amps > most {
		c.fail("rating", at, "%.1f mA, rated %.0f", 1000*amps, 1000*most)
	}
}

// A branch is one output behind its resistor at a position: the position sees siemens to volts.
type branch struct {
	net     string // of the output; empty for a switch
	siemens float64
	volts   float64
}

// A local is a state of one position alone, as a circuit.
type local []branch

func (l local) sum() (siemens, amps float64) {
	for _, b := range l {
		siemens += b.siemens
		amps += b.siemens * b.volts
	}
	return siemens, amps
}

// locals gives every state of one position that the firmware allows: not driven,
// low, high; each group off, low, high; with a switch closed it is not driven, and not
// both switches are closed.
func (c *check) locals(l Lane) []local {
	var all []local
	bit := l.Bit()
	for i := range 3 * 3 * 5 {
		bias, load, what := i%3, i/3%3, i/9
		s := State{BiasOn: bias > 0, LoadOn: load > 0}
		if bias == 2 {
			s.BiasUp = bit
		}
		if load == 2 {
			s.LoadUp = bit
		}
		switch what {
		case 1:
			s.Driven = bit
		case 2:
			s.Driven, s.Level = bit, bit
		case 3:
			s.Low = bit
		case 4:
			s.High = bit
		}
		if s.Low != 0 && l.Low == "" || s.High != 0 && l.High == "" {
			continue
		}
		all = append(all, c.local(l.Name, s))
	}
	return all
}

// local gives the branches at a position in a state.
func (c *check) local(name string, s State) local {
	var found local
	levels := s.Outputs()
	for _, end := range c.at[name] {
		switch end.Part.Kind {
		case Resistor:
			net := beyond(end, false)[0]
			if levels[net] == Released {
				continue
			}
			ohms := leastOhms(end.Part) + strong(net)
			found = append(found, branch{net, 1 / ohms, volts(levels[net])})
		case NMOS:
			if levels[end.Part.Net("G")] == HighLevel {
				found = append(found, branch{"", 1 / strongSwitch, 0})
			}
		case PNP:
			if levels[otherThan(c, end.Part.Net("B"), netSupply)] == LowLevel {
				found = append(found, branch{"", 1 / strongSwitch, mostVolts})
			}
		}
	}
	return found
}

// otherThan gives the line at the far end of a resistor from the net, not that net.
func otherThan(c *check, net, not string) string {
	for _, end := range c.at[net] {
		if end.Part.Kind == Resistor {
			if other := beyond(end, false)[0]; other != not {
				return other
			}
		}
	}
	return ""
}

func leastOhms(p *Part) float64 { return p.Ohms * (1 - p.TolerancePercent/100) }

func strong(net string) float64 {
	if kindOfNode(net) == MCU {
		return strongPin
	}
	return strongOutput
}

func volts(l Level) float64 {
	if l == HighLevel {
		return mostVolts
	}
	return 0
}

// currents are what the outputs give (high) and take (low), A.
type currents map[string]float64

// flow adds what each output carries when the position stands at v; it keeps the most.
func (l local) flow(v float64, into currents) {
	for _, b := range l {
		if b.net != "" {
			key := b.net + sign(b.volts)
			into[key] = math.Max(into[key], math.Abs(b.volts-v)*b.siemens)
		}
	}
}

func sign(volts float64) string {
	if volts > 0 {
		return "+"
	}
	return "-"
}

// worst solves every position in each of its states, and each pair shorted.
func (c *check) worst() Ratings {
	usual, shorted := currents{}, currents{} // by net and sign
	states := map[string][]local{}
	for _, l := range lanes {
		states[l.Name] = c.locals(l)
		for _, s := range states[l.Name] {
			if siemens, amps := s.sum(); siemens > 0 {
				s.flow(amps/siemens, usual)
			}
			s.flow(0, shorted)         // to ground
			s.flow(mostVolts, shorted) // to the supply
		}
	}
	c.static(usual)
	maps.Copy(shorted, withMost(shorted, usual))
	return c.sums(usual, shorted)
}

// withMost gives the larger of the two at each output.
func withMost(a, b currents) currents {
	most := maps.Clone(a)
	for key, amps := range b {
		most[key] = math.Max(most[key], amps)
	}
	return most
}

// static adds the lines that serve no position's resistor: lamps, bases, pull-ups.
func (c *check) static(into currents) {
	for _, net := range slices.Sorted(maps.Keys(c.at)) {
		if kindOfNode(net) != MCU || len(c.at[net]) == 0 {
			continue
		}
		for _, end := range c.at[net] {
			if end.Part.Kind != Resistor {
				continue
			}
			other := beyond(end, false)[0]
			switch {
			case other == netRail:
				into[net+"-"] += mostVolts / leastOhms(end.Part)
			case strings.HasPrefix(other, "base_"):
				into[net+"-"] += (mostVolts - leastBase) / leastOhms(end.Part)
			case strings.HasPrefix(other, "lamp_"):
				into[net+"+"] += (mostVolts - leastLamp) / leastOhms(end.Part)
			}
		}
	}
	for _, l := range lanes {
		if l.Low != "" && len(c.at[l.GateNet()]) == 3 {
			into[l.GateNet()+"+"] += mostVolts / 9500
		}
	}
}

// sums adds up the outputs by package, by group of ports and in total, each at the
// worst of its usual states, and puts one short on top, where it adds most. A short
// between two positions gives neither of them more than one to a rail does.
func (c *check) sums(usual, shorted currents) Ratings {
	r := Ratings{Output: map[string]float64{}, Package: map[string]float64{}, Group: map[string]float64{}}
	for key, amps := range shorted {
		net := key[:len(key)-1]
		r.Output[net] = math.Max(r.Output[net], amps)
	}
	sum := func(in func(net string) bool) float64 {
		most := 0.0
		for _, s := range []string{"+", "-"} {
			total, extra := 0.0, 0.0
			for _, key := range slices.Sorted(maps.Keys(shorted)) {
				if net, found := strings.CutSuffix(key, s); found && in(net) {
					total += usual[key]
					extra = math.Max(extra, shorted[key]-usual[key])
				}
			}
			most = math.Max(most, total+extra)
		}
		return most
	}
	for i := range c.n.Parts {
		if p := &c.n.Parts[i]; p.Kind == Register {
			r.Package[p.Ref] = sum(func(net string) bool {
				return slices.ContainsFunc(p.Pins, func(pin Pin) bool { return pin.Type == TriState && pin.Net == net })
			})
		}
	}
	for _, g := range portGroups {
		r.Group[g.lines] = sum(func(net string) bool {
			return slices.ContainsFunc(strings.Fields(g.lines), func(port string) bool { return strings.HasPrefix(net, port) }) && kindOfNode(net) == MCU
		})
	}
	r.MCU = sum(func(net string) bool { return kindOfNode(net) == MCU })
	return r
}

// String gives the worst currents as people read them.
func (r Ratings) String() string {
	var b strings.Builder
	for _, net := range slices.Sorted(maps.Keys(r.Output)) {
		fmt.Fprintf(&b, "%s %.1f mA\n", net, 1000*r.Output[net])
	}
	for _, ref := range slices.Sorted(maps.Keys(r.Package)) {
		fmt.Fprintf(&b, "%s %.1f mA\n", ref, 1000*r.Package[ref])
	}
	for _, g := range portGroups {
		fmt.Fprintf(&b, "ports %s %.1f mA\n", g.lines, 1000*r.Group[g.lines])
	}
	fmt.Fprintf(&b, "all ports %.1f mA\n", 1000*r.MCU)
	return b.String()
}
