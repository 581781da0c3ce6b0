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
	plan      []condition
	nominal   [adapter.Positions + 1][]expected
	defects   []Defect
	near      [adapter.Positions + 1][]int // defects by the positions that they change
	changes   [][]int                      // positions by defect
}

// newModel prepares for a netlist of the groups that are fitted.
func newModel(good *carrier.Netlist, plan []condition) *model {
	m := &model{good: good, plan: plan, partsOn: map[string][]int{}, positions: map[string]int{}, defects: Defects(good)}
	m.circuit = newCircuit(good, func(*carrier.Part) bool { return false })
	for i := range good.Parts {
		for _, pin := range good.Parts[i].Pins {
			if of := m.partsOn[pin.Net]; pin.Net != "" && (len(of) == 0 || of[len(of)-1] != i) {
				m.partsOn[pin.Net] = append(of, i)
			}
		}
	}
	for _, l := range carrier.Lanes() {
		if i, ok := m.circuit.of[l.Name]; ok {
			for _, net := range m.circuit.components[i].nets {
				m.positions[net] = l.Position
			}
			m.nominal[l.Position] = m.circuit.expect(l, plan)
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

// touched gives the positions that a defect may change.
func (m *model) touched(d Defect) (at []int) {
	add := func(p int) {
		if p != 0 && m.nominal[p] != nil && !slices.Contains(at, p) {
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
		if net == "SUPPLY" || net == "FUSED" { // of all switches
			for _, l := range carrier.Lanes() {
				part := m.good.Part(d.Ref)
				if l.High != "" && (part != nil && part.Position == 0 || isSupply(d.NetA) && isSupply(d.NetB)) {
					add(l.Position)
				}
			}
		}
	}
	return at
}

// predict gives what the positions that a defect changes read with it.
func (m *model) predict(i int) (at []int, expectations [][]expected) {
	d := m.defects[i]
	at = m.changes[i]
	n := m.around(d, at)
	d.apply(n)
	c := newCircuit(n, func(p *carrier.Part) bool { return !works(p, m.good) || !strobed(n, m.good, p.Ref) })
	for _, p := range at {
		expectations = append(expectations, c.expect(carrier.LaneAt(p), m.plan))
	}
	return at, expectations
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
		if i, ok := m.circuit.of[carrier.LaneAt(p).Name]; ok {
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
			e.current = c.current(l, k, look)
		}
		found[i] = e
	}
	return found
}

// key tells apart the conditions that drive a component differently.
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
// included: all of it ends in the resistors at its position and in the base's.
func (c *circuit) current(l carrier.Lane, k *condition, look func(int, string, *condition) interval) interval {
	if !c.fed || c.unmetered {
		return interval{}
	}
	position, base := look(2, l.Name, k), look(3, l.BaseNet(), k)
	of, ok := c.of[l.Name]
	if !ok || !position.known() || !base.known() {
		return interval{0, 400}
	}
	mA := 0.0
	p := &c.components[of]
	for _, s := range p.sources { // into what holds the position and the base low
		if up, on := k.drives(s.line); on && !up && s.line.kind != deadLine {
			mA += 1000 * look(2, p.nets[s.node], k).low / s.ohms
		}
	}
	return interval{mA, mA}
}
