package virtual

import (
	"slices"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// The MCU's lines that all registers share.
const (
	dataLine   = "PC6"
	clockLine  = "PC7"
	selectLine = "PJ0"
)

// A chain is registers one after the other, as the firmware finds them.
type chain struct {
	outputs int          // as shifting a 1 through shows; 0 if it does not come out
	stores  adapter.Word // outputs that take what is shifted to them
	enabled adapter.Word // outputs that drive while the chain's enable is on
	always  adapter.Word // outputs that drive in either case
	stuck   adapter.Word // outputs that do neither, and hold their level
	high    adapter.Word // of those, the high ones
	drivers []driver
}

// chainLines are the MCU's lines for a chain, and the names of its parts.
var chainLines = [3]struct {
	refs                    string
	store, enable, readBack string
	lead                    lead
}{
	{"U1", "PD7", "PB6", "PJ1", gateOutputs},
	{"U2", "PG0", "PG2", "PD2", biasOutputs},
	{"U3", "PG1", "PG5", "PD3", loadOutputs},
}

// registersOf gives the registers of a chain that have both supplies and live.
func (w *wiring) registersOf(b *Board, which int) (alive []*carrier.Part) {
	for i := range w.netlist.Parts {
		p := &w.netlist.Parts[i]
		if p.Kind == carrier.Register && p.Ref[:2] == chainLines[which].refs && w.alive(b, p, "VCC", "GND") {
			alive = append(alive, p)
		}
	}
	return alive
}

// alive reports whether a part works: it has supply and ground.
func (w *wiring) alive(b *Board, p *carrier.Part, vcc, gnd string) bool {
	return p != nil && !b.dead[p.Ref] && p.Net(vcc) == "+5V" && p.Net(gnd) == "GND"
}

// chainOf follows a chain from the MCU's data line to its end.
func (w *wiring) chainOf(b *Board, which int) chain {
	lines, c := chainLines[which], chain{}
	alive := w.registersOf(b, which)
	back := w.reach(w.line(lines.readBack))
	if _, stuck := b.stuck[lines.readBack]; stuck {
		back = nil
	}
	at, order := w.signal(b, dataLine), []*carrier.Part(nil)
	for at != noNet {
		i := slices.IndexFunc(alive, func(p *carrier.Part) bool { return w.shifts(b, p, at) && !slices.Contains(order, p) })
		if i < 0 {
			break
		}
		order = append(order, alive[i])
		if at = w.number(alive[i].Net("QH'")); at == noNet {
			break
		}
		if w.contended(at) {
			at = noNet
		} else if back[at] {
			c.outputs = 8 * len(order)
		}
	}
	if w.answersAlways(b, lines.readBack) {
		c.outputs = 0
	}
	for _, p := range alive {
		w.addOutputs(b, &c, which, p, slices.Index(order, p))
	}
	return c
}

// shifts reports whether a register takes a bit from a net with each clock.
func (w *wiring) shifts(b *Board, p *carrier.Part, in net) bool {
	clock := w.signal(b, clockLine)
	return w.number(p.Net("SER")) == in && clock != noNet && w.number(p.Net("SRCLK")) == clock && p.Net("/SRCLR") == "+5V"
}

// addOutputs adds the outputs of a register to its chain: at which place of the word
// they are by its place in the chain as drawn, and whether they work by that as found.
func (w *wiring) addOutputs(b *Board, c *chain, which int, p *carrier.Part, place int) {
	lines := chainLines[which]
	drawn := int(p.Ref[2] - '1')
	store := w.signal(b, lines.store)
	stores := place == drawn && store != noNet && w.number(p.Net("RCLK")) == store
	for k := range 8 {
		name := "Q" + string(rune('A'+k))
		n := w.number(p.Net(name))
		if n == noNet {
			continue
		}
		bit := outputBit(which, drawn, name)
		at := adapter.Word(1) << bit
		if high, stuck := b.stuck[p.Ref+" "+name]; stuck {
			c.stuck |= at
			if high {
				c.high |= at
			}
		}
		if stores {
			c.stores |= at
		}
		switch enable, to := w.signal(b, lines.enable), w.number(p.Net("/OE")); {
		case to == groundNet || to >= firstNet && w.soldered(to) == groundNet:
			c.always |= at
		case enable != noNet && to == enable:
			c.enabled |= at
		}
		c.drivers = append(c.drivers, driver{n, lines.lead, bit, true})
	}
}

// outputBit is the bit of the word for an output of a chain: that of the position that it
// serves, and a bit of no position where it serves none.
func outputBit(which, register int, name string) uint8 {
	at := chainLines[which].refs + string(rune('1'+register)) + " " + name
	for _, l := range lanes {
		if [3]string{l.Low, l.Bias, l.Load}[which] == at {
			return bitOfLane(l)
		}
	}
	spare := [...]uint8{14, 15, 30, 31}
	return spare[(register*8+int(name[1]-'A'))&3]
}

// signal is the net of a line of the MCU that drives it alone, noNet where something
// else holds it too.
func (w *wiring) signal(b *Board, line string) net {
	n := w.line(line)
	if _, stuck := b.stuck[line]; n < firstNet || stuck || w.contended(n) {
		return noNet
	}
	return n
}

// contended reports whether more than one of the lines that are always driven and of the
// serial outputs hold a net, or solder to a supply does.
func (w *wiring) contended(n net) bool { return w.holders[n] > 1 || w.soldered(n) != noNet }

// findHolders counts those.
func (w *wiring) findHolders(b *Board) {
	w.holders = map[net]int{}
	for i := range w.netlist.Parts {
		switch p := &w.netlist.Parts[i]; p.Kind {
		case carrier.Register:
			if w.alive(b, p, "VCC", "GND") {
				w.holders[w.number(p.Net("QH'"))]++
			}
		case carrier.MCU:
			for _, pin := range p.Pins {
				if _, stuck := b.stuck[pin.Name]; stuck || alwaysDriven(pin.Name) {
					w.holders[w.number(pin.Net)]++
				}
			}
		}
	}
}

func alwaysDriven(line string) bool {
	_, rests := resting[line]
	return rests || slices.ContainsFunc(lanes, func(l carrier.Lane) bool { return l.High == line })
}

// soldered gives the net of the supply that solder joins to a net, noNet where there is none.
func (w *wiring) soldered(n net) net {
	for _, r := range w.wires {
		if r.siemens >= 1 && min(r.a, r.b) < firstNet && max(r.a, r.b) == n {
			return min(r.a, r.b)
		}
	}
	return noNet
}

// reach gives the nets that resistances join to one, itself included; none where
// solder holds one of them at a supply.
func (w *wiring) reach(from net) map[net]bool {
	if from < firstNet {
		return nil
	}
	found := map[net]bool{from: true}
	for before := 0; before != len(found); {
		before = len(found)
		for _, r := range w.wires {
			if min(r.a, r.b) >= firstNet && (found[r.a] || found[r.b]) {
				found[r.a], found[r.b] = true, true
			}
		}
	}
	for n := range found {
		if w.soldered(n) != noNet {
			return nil
		}
	}
	return found
}

// converterRefs are the far converters and their read-back lines.
var converterRefs = [2]struct{ ref, out string }{{"U41", "PD2"}, {"U42", "PD3"}}

// converts reports whether a converter answers.
func (w *wiring) converts(b *Board, which int) bool {
	p := w.netlist.Part(converterRefs[which].ref)
	if !w.alive(b, p, "VDD", "DGND") {
		return false
	}
	for pin, line := range map[string]string{"/CS": selectLine, "DIN": dataLine, "CLK": clockLine} {
		if n := w.signal(b, line); n == noNet || w.number(p.Net(pin)) != n {
			return false
		}
	}
	out := w.line(converterRefs[which].out)
	_, stuck := b.stuck[converterRefs[which].out]
	return out >= firstNet && !stuck && w.number(p.Net("DOUT")) == out && !w.contended(out)
}

// answersAlways reports whether a converter is permanently selected and holds the read-back
// line of a chain.
func (w *wiring) answersAlways(b *Board, readBack string) bool {
	for i := range converterRefs {
		p := w.netlist.Part(converterRefs[i].ref)
		if !w.alive(b, p, "VDD", "DGND") || w.number(p.Net("DOUT")) != w.line(readBack) {
			continue
		}
		n := w.number(p.Net("/CS"))
		high, stuck := b.stuck[selectLine]
		if n == groundNet || n >= firstNet && (w.soldered(n) == groundNet || stuck && !high && n == w.line(selectLine)) {
			return true
		}
	}
	return false
}

// monitors reports whether the current monitor answers.
func (w *wiring) monitors(b *Board) bool {
	p := w.netlist.Part(monitorRef)
	if !w.alive(b, p, "VCC", "GND") {
		return false
	}
	for pin, line := range map[string]string{"SCL": "PD0", "SDA": "PD1"} {
		n := w.line(line)
		if _, stuck := b.stuck[line]; n < firstNet || stuck || w.number(p.Net(pin)) != n || w.contended(n) {
			return false
		}
	}
	return p.Net("SCL") != p.Net("SDA")
}
