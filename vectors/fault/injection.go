package fault

import "chipassay/vectors/logic"

// An Injection is one fault of a model, ready to be put into a chip.
type Injection struct {
	Name string
	// Machine makes a chip with the fault, its state unknown.
	Machine func() *logic.Machine
	// Undetectable is set where it is proven that no legal stimulus shows the fault.
	Undetectable bool
	Shown        bool // by the sequence
}

// Injections lists the stuck-at classes and the cell faults of an examination.
func (x *Examination) Injections() (all []Injection) {
	chip := func(c *logic.Circuit, f breaker) func() *logic.Machine {
		return func() *logic.Machine {
			m := c.NewMachine()
			f.inject(m, ^uint64(0))
			return m
		}
	}
	m := x.model
	for i, class := range m.Classes {
		shown := x.lines[i].Once > 0
		all = append(all, Injection{m.Name(class[0]), chip(m.Circuit, class[0]), !shown && x.lineProven[i], shown})
	}
	for i, cell := range x.cells {
		c, shown := x.Circuit, x.cell[i].Once > 0
		if cell.Inverted != 0 {
			c = m.Circuit
		}
		all = append(all, Injection{m.CellName(x.Circuit, cell), chip(c, cell), !shown && x.cellProven[i], shown})
	}
	return all
}
