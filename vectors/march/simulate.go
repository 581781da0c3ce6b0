package march

// A memory is n one-bit cells with one fault.
type memory struct {
	fault  Fault
	cells  []uint8
	sensed uint8 // what the sense amplifier held last
}

// newMemory fills the cells with the bits of initial, cell 0 the lowest, and the
// sense amplifier with sensed.
func newMemory(f Fault, n int, initial uint, sensed uint8) *memory {
	m := &memory{fault: f, cells: make([]uint8, n), sensed: sensed}
	for i := range m.cells {
		m.cells[i] = uint8(initial >> i & 1)
	}
	m.settle()
	return m
}

// decode gives the cells that an address reaches.
func (m *memory) decode(address int) []int {
	x, y := m.fault.Victim, m.fault.Aggressor
	switch {
	case m.fault.decoder == 0:
	case address == x:
		return map[byte][]int{'A': nil, 'B': nil, 'C': {y}, 'D': {x, y}, 'S': nil}[m.fault.decoder]
	case address == y && m.fault.decoder == 'B':
		return []int{x, y}
	}
	return []int{address}
}

func (m *memory) write(address int, value uint8) {
	for _, c := range m.decode(address) {
		m.access(c, 'w', value)
	}
}

func (m *memory) read(address int) uint8 {
	cells := m.decode(address)
	var out uint8
	switch {
	case len(cells) == 0 && m.fault.decoder == 'S':
		out = m.sensed
	case len(cells) == 0:
		out = m.fault.wired
	default:
		out = m.access(cells[0], 'r', 0)
		for _, c := range cells[1:] {
			v := m.access(c, 'r', 0)
			if m.fault.wired == 0 {
				out &= v
			} else {
				out |= v
			}
		}
	}
	m.sensed = out
	return out
}

func (m *memory) wait() {
	for c := range m.cells {
		m.access(c, 'T', 0)
	}
}

// access reads, writes or leaves alone one cell, and lets the fault act. It gives
// what is read.
func (m *memory) access(cell int, kind byte, value uint8) uint8 {
	f := &m.fault
	out := m.cells[cell]
	before := [2]uint8{m.cells[f.Victim]}
	if f.Aggressor >= 0 {
		before[1] = m.cells[f.Aggressor]
	}
	if kind == 'w' {
		m.cells[cell] = value
	}
	for _, p := range f.primitives {
		if p.victim.access == 0 && p.aggressor.access == 0 ||
			!p.victim.met(before[0], cell == f.Victim, kind, value) ||
			p.coupled && !p.aggressor.met(before[1], cell == f.Aggressor, kind, value) {
			continue
		}
		m.cells[f.Victim] = p.becomes
		if p.reads != unread {
			out = p.reads
		}
	}
	m.settle()
	return out
}

// met says whether a cell is in the sensitizing state and, where that asks for an
// access, this access is it.
func (s sensitizer) met(state uint8, accessed bool, kind byte, value uint8) bool {
	if state != s.state {
		return false
	}
	return s.access == 0 || accessed && kind == s.access && (kind != 'w' || value == s.value)
}

// settle lets those primitives act that states alone sensitize.
func (m *memory) settle() {
	for _, p := range m.fault.primitives {
		if p.victim.access == 0 && p.aggressor.access == 0 && m.cells[m.fault.Victim] == p.victim.state &&
			(!p.coupled || m.cells[m.fault.Aggressor] == p.aggressor.state) {
			m.cells[m.fault.Victim] = p.becomes
		}
	}
}

// run applies a test with a background of 0 or 1 and reports the reads that
// differ: the element, the address, and what was expected. Bit i of down is the
// order of the i-th ⇕ element. It stops when report returns false.
func (m *memory) run(t Test, down uint, background uint8, report func(element, address int, expected uint8) bool) {
	for i, e := range t.Elements {
		if e.Wait {
			m.wait()
			continue
		}
		reverse := e.Order == Down
		if e.Order == Any {
			reverse = down&1 == 1
			down >>= 1
		}
		for address := range m.cells {
			if reverse {
				address = len(m.cells) - 1 - address
			}
			for _, o := range e.Operations {
				value := o.Value ^ background
				if o.Write {
					m.write(address, value)
				} else if m.read(address) != value && !report(i, address, value) {
					return
				}
			}
		}
	}
}

// either counts the elements whose order is free.
func (t Test) either() int {
	n := 0
	for _, e := range t.Elements {
		if !e.Wait && e.Order == Any {
			n++
		}
	}
	return n
}

// Detects says whether a test always finds a fault in a memory of n cells:
// whatever the cells and the sense amplifier hold at first, and in whichever
// direction the ⇕ elements go. The cost doubles with each cell and each ⇕; four
// cells are enough to have a pair at either end, neighbouring and apart.
func Detects(t Test, f Fault, n int) bool {
	for down := range uint(1) << t.either() {
		for content := range uint(1) << (n + 1) {
			found := false
			newMemory(f, n, content>>1, uint8(content&1)).run(t, down, 0, func(int, int, uint8) bool {
				found = true
				return false
			})
			if !found {
				return false
			}
		}
	}
	return true
}

// A Detection is how many of a fault model's faults a test finds: one entry of a
// coverage table.
type Detection struct {
	Model            string
	Faults, Detected int
}

// Full says that the test finds all faults of the model.
func (d Detection) Full() bool { return d.Detected == d.Faults }

// Coverage gives what a test finds in a memory of n cells, for each of Models.
func Coverage(t Test, n int) []Detection {
	var table []Detection
	for _, model := range Models() {
		entry := Detection{Model: model}
		for _, f := range Faults(model, n) {
			entry.Faults++
			if Detects(t, f, n) {
				entry.Detected++
			}
		}
		table = append(table, entry)
	}
	return table
}
