package selfcheck

import (
	"slices"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// An expected is what a position shall read under a condition.
type expected struct {
	sample, volts interval
	current       interval // mA, where the condition closes the position's high-side switch
}

// A model predicts what an adapter of a netlist reads, without and with defects.
type model struct {
	good      *carrier.Netlist
	circuit   *circuit
	partsOn   map[string][]int // of good, by net
	positions map[string]int   // position of each net that is one's alone
	defects   []Defect
	near      [adapter.Positions + 1][]int // defects by the positions that they change
	changes   [][]int                      // positions by defect
	fitted    []*fitted                    // what the adapter finds with each defect, where it was asked for

	plan    []condition
	nominal [adapter.Positions + 1][]expected
}

// newModel prepares for a netlist of the groups that are fitted.
func newModel(good *carrier.Netlist) *model {
	m := &model{good: good, partsOn: map[string][]int{}, positions: map[string]int{}, defects: Defects(good)}
	m.fitted = make([]*fitted, len(m.defects))
	m.circuit = newCircuit(good, func(*carrier.Part) bool { return false })
	for i := range good.Parts {
		for _, pin := range good.Parts[i].Pins {
			if of := m.partsOn[pin.Net]; pin.Net != "" && (len(of) == 0 || of[len(of)-1] != i) {
				m.partsOn[pin.Net] = append(of, i)
			}
		}
	}
	for _, l := range lanes {
		if i, ok := m.circuit.of[l.Name]; ok {
			for _, net := range m.circuit.components[i].nets {
				m.positions[net] = l.Position
			}
		}
	}
	for i, d := range m.defects {
		at := m.touched(d)
		m.changes = append(m.changes, at)
		for _, p := range at {
			m.near[p] = append(m.near[p], i)
		}
	}
	return m
}

// planned predicts what a good board reads under some conditions.
func (m *model) planned(plan []condition) {
	m.plan = plan
	for _, l := range lanes {
		if _, ok := m.circuit.of[l.Name]; ok {
			m.nominal[l.Position] = m.circuit.expect(l, plan)
		}
	}
}

// fittedWith predicts what the adapter finds of itself with a defect.
func (m *model) fittedWith(i int) fitted {
	if m.fitted[i] == nil {
		n := m.good.Clone()
		m.defects[i].apply(n)
		f := fittedOf(n, m.good)
		m.fitted[i] = &f
	}
	return *m.fitted[i]
}

// fittedAt reports whether anything but the socket is at a position.
func (m *model) fittedAt(p int) bool { return len(m.partsOn[laneAt[p].Drive]) > 1 }

// touched gives the positions that a defect may change.
func (m *model) touched(d Defect) (at []int) {
	add := func(p int) {
		if p != 0 && !slices.Contains(at, p) && m.fittedAt(p) {
			at = append(at, p)
		}
	}
	for _, net := range d.nets(m.good) {
		add(m.positions[net])
		for _, i := range m.partsOn[net] { // a register's own lines
			p := &m.good.Parts[i]
			if p.Kind == carrier.Register && !isSupply(net) && (d.kind == shorted || p.Ref == d.Ref || d.Ref == "A1") && m.positions[net] == 0 {
				for _, pin := range p.Pins {
					add(m.positions[pin.Net])
				}
			}
		}
		if d.Ref != "" && m.good.Part(d.Ref).Kind == carrier.Converter && isSupply(net) {
			for _, pin := range m.good.Part(d.Ref).Pins {
				add(m.positions[pin.Net])
			}
		}
		if net == "SUPPLY" || net == "FUSED" { // of all switches
			for _, l := range lanes {
				part := m.good.Part(d.Ref)
				if l.High != "" && (part != nil && part.Position == 0 || isSupply(d.NetA) && isSupply(d.NetB)) {
					add(l.Position)
				}
			}
		}
	}
	return at
}

// with is the circuit around a defect, with it.
func (m *model) with(i int) *circuit {
	n := m.around(m.defects[i], m.changes[i])
	m.defects[i].apply(n)
	return newCircuit(n, func(p *carrier.Part) bool { return !works(p, m.good) || !strobed(n, m.good, p.Ref) })
}

// around is a copy of what of the netlist has to do with positions and a defect.
func (m *model) around(d Defect, at []int) *carrier.Netlist {
	wanted := map[int]bool{}
	take := func(net string) {
		if net == "" || net == "GND" || net == "+5V" {
			return
		}
		for _, i := range m.partsOn[net] {
			if k := m.good.Parts[i].Kind; net != "SUPPLY" || k == carrier.Monitor || k == carrier.Fuse || slices.Contains(at, m.good.Parts[i].Position) {
				wanted[i] = true
			}
		}
	}
	for _, p := range at {
		if i, ok := m.circuit.of[laneAt[p].Name]; ok {
			for _, net := range m.circuit.components[i].nets {
				take(net)
			}
		}
	}
	for _, net := range d.nets(m.good) {
		take(net)
	}
	n := &carrier.Netlist{}
	for i := range m.good.Parts {
		p := m.good.Parts[i]
		if wanted[i] || p.Kind == carrier.MCU || p.Kind == carrier.Fuse || p.Kind == carrier.Monitor {
			p.Pins = slices.Clone(p.Pins)
			n.Parts = append(n.Parts, p)
		}
	}
	return n
}

// expect gives what a lane reads under each condition.
func (c *circuit) expect(l carrier.Lane, plan []condition) []expected {
	found := make([]expected, len(plan))
	var kept []map[string][]interval
	for range 4 {
		kept = append(kept, map[string][]interval{})
	}
	look := func(slot int, net string, k *condition) interval {
		if net == "" {
			return anything
		}
		if node, fixed := c.supplied(net); fixed {
			v := fixedVolts(node)
			return interval{v, v}
		}
		of, ok := c.of[net]
		if !ok {
			return anything
		}
		p := &c.components[of]
		key := p.key(k)
		solved, ok := kept[slot][key]
		if !ok {
			solved = p.solve(k)
			kept[slot][key] = solved
		}
		return solved[c.node[net]]
	}
	for i := range plan {
		k := &plan[i]
		e := expected{sample: look(0, c.sample[l.Position], k), volts: look(1, c.volts[l.Position], k)}
		if k.high == l.Position {
			e.current = c.current(l, k)
		}
		found[i] = e
	}
	return found
}

// key distinguishes the conditions that drive a component differently.
func (p *component) key(c *condition) string {
	key := make([]byte, len(p.sources))
	for i, s := range p.sources {
		up, on := c.drives(s.line)
		switch {
		case !on:
			key[i] = 'z'
		case up:
			key[i] = '1'
		default:
			key[i] = '0'
		}
	}
	return string(key)
}

// current is what flows into a lane's closed high-side switch, mA, its base's share
// included, and into any other that the same lines hold.
func (c *circuit) current(l carrier.Lane, k *condition) interval {
	if !c.fed || c.unmetered {
		return interval{}
	}
	of, ok := c.of[l.Name]
	if !ok {
		return interval{0, 400}
	}
	p := &c.components[of]
	volts, _, held := p.volts(k, conduct{})
	mA := 0.0
	at := func(node int) float64 {
		if node < 0 {
			return fixedVolts(node)
		}
		return volts[node]
	}
	for _, e := range p.elements {
		switch {
		case e.kind == carrier.Resistor && e.metered:
			mA += 1000 * e.siemens * max(0, rail-min(at(e.a), at(e.b)))
		case e.kind == carrier.PNP && e.a == atRail: // turned
			if on := p.conducts(e, volts, held, conduction{}); on.reversed {
				mA += 1000 * (reverseSiemens*max(0, rail-saturation-at(e.c)) + baseSiemens*max(0, rail-baseDrop-at(e.b)))
			}
		case e.kind == carrier.PNP && e.c == atRail:
			if on := p.conducts(e, volts, held, conduction{}); on.channel {
				mA += 1000 * (channelSiemens*max(0, rail-saturation-at(e.a)) + baseSiemens*max(0, rail-baseDrop-at(e.b)))
			}
		}
	}
	return interval{mA, mA}
}
