package virtual

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A memory is the die of a memory part: an array of words and its control. It keeps data
// no longer than its data sheet guarantees: a dynamic row that is not refreshed in time is
// lost, which exposes a tester that refreshes too late.
type memory struct {
	part.Memory
	clock func() time.Duration
	pins  [adapter.Positions + 1]logic.Value
	words []uint8

	writing      bool
	row, column  int // latched, of a dynamic RAM
	rowOn, colOn bool
	touched      []time.Duration // when each row was last refreshed, or each word written
	longest      time.Duration   // that a row of a dynamic RAM went without refresh
	stuck        map[int]cellBits
	dead         func(address int) bool // the cells that do not work
	couples      map[int]int            // whose change inverts another cell
	forgets      map[int]time.Duration  // cells that lose their bit so long after it was written

	// Of an EEPROM that can be written.
	supplied  bool          // at its supply pin: it takes no write when it only lives from its inputs
	latched   int           // the address that it took as the write pulse began
	loaded    uint8         // the word that stood at its pins as the pulse ended
	ready     time.Duration // when the word is written
	awaited   bool          // its outputs have not changed since
	cycle     time.Duration // that it takes
	protected bool
}

// never is the time of an event that has not happened since power-on.
const never = -1

// cellBits are the bits of a word that are stuck, and at what.
type cellBits struct{ mask, value uint8 }

// cell numbers a bit of a word.
func (m *memory) cell(address, bit int) int { return address*m.Bits + bit }

func newMemory(p *part.Memory) *memory {
	m := &memory{Memory: *p, words: make([]uint8, p.Words), clock: func() time.Duration { return 0 },
		stuck: map[int]cellBits{}, couples: map[int]int{}, forgets: map[int]time.Duration{},
		dead: func(int) bool { return false }}
	if p.Rewrite != nil {
		m.cycle = p.Rewrite.Cycle // as slow as the data sheet allows
	}
	rows := p.Words
	if p.Kind == part.DynamicRAM {
		rows = 1 << p.RowBits
	}
	m.touched = make([]time.Duration, rows)
	return m
}

func (m *memory) Set(pin int, w logic.Word) { m.pins[pin] = w.Lane(0) }

// PowerUp fills a RAM at random; a ROM keeps what it holds.
func (m *memory) PowerUp(seed uint64) {
	if m.Kind.ROM() {
		m.supplied, m.writing, m.ready = true, false, never
		return
	}
	random := rand.New(rand.NewPCG(seed, uint64(m.Words)))
	for i := range m.words {
		m.words[i] = uint8(random.Uint32()) & (1<<m.Bits - 1)
	}
	for i := range m.touched {
		m.touched[i] = never
	}
	m.longest = 0
}

// burn sets a ROM's contents; missing words read as erased.
func (m *memory) burn(contents []byte) {
	erased := uint8(0)
	if m.Kind == part.EPROM || m.Kind == part.EEPROM {
		erased = 1<<m.Bits - 1
	}
	for i := range m.words {
		m.words[i] = erased
		if i < len(contents) {
			m.words[i] = contents[i] & (1<<m.Bits - 1)
		}
	}
}

// damage applies defects of cells.
func (m *memory) damage(d Defect) error {
	limit := m.Words
	switch d.Kind {
	case DeadRow:
		limit = 1 << m.RowBits
	case DeadColumn:
		limit = 1 << m.ColumnBits
	}
	for _, c := range []Cell{d.Cell, d.Victim} {
		if c.Address < 0 || c.Address >= limit || c.Bit < 0 || c.Bit >= m.Bits {
			return fmt.Errorf("there is no %s: the memory has %d words of %d bits, in %d rows and %d columns",
				c, m.Words, m.Bits, 1<<m.RowBits, 1<<m.ColumnBits)
		}
	}
	if (d.Kind == SlowWrite || d.Kind == WriteProtected) && m.Rewrite == nil {
		return errors.New("the memory is not an EEPROM that can be written")
	}
	cell := m.cell(d.Cell.Address, d.Cell.Bit)
	mask := uint8(1) << d.Cell.Bit
	dead := m.dead
	switch d.Kind {
	case CellStuckLow, CellStuckHigh:
		s := m.stuck[d.Cell.Address]
		s.mask |= mask
		if d.Kind == CellStuckHigh {
			s.value |= mask
		}
		m.stuck[d.Cell.Address] = s
	case CellCouples:
		m.couples[cell] = m.cell(d.Victim.Address, d.Victim.Bit)
	case CellForgets:
		m.forgets[cell] = time.Duration(d.Amount * float64(time.Millisecond))
	case SlowWrite:
		m.cycle = time.Duration(d.Amount * float64(time.Millisecond))
	case WriteProtected:
		m.protected = true
	case DeadRow:
		m.dead = func(a int) bool { row, _ := m.Place(a); return dead(a) || row == d.Cell.Address }
	case DeadColumn:
		m.dead = func(a int) bool { _, column := m.Place(a); return dead(a) || column == d.Cell.Address }
	}
	return nil
}

func (m *memory) active(c *part.Control) bool {
	return c != nil && m.pins[c.Pin] == logic.FromBool(c.Active)
}

func (m *memory) selected() bool {
	for i := range m.Select {
		if !m.active(&m.Select[i]) {
			return false
		}
	}
	return true
}

func (m *memory) bus(pins []int) (value int) {
	for i, pin := range pins {
		if m.pins[pin] == logic.One {
			value |= 1 << i
		}
	}
	return value
}

// Settle lets the die follow its pins.
func (m *memory) Settle() {
	if m.Kind == part.DynamicRAM {
		m.strobe()
		return
	}
	if m.Rewrite != nil {
		m.load()
		return
	}
	m.writing = m.selected() && m.active(m.Write)
	if m.writing {
		m.write(m.bus(m.Address), uint8(m.bus(m.DataIn)))
	}
}

// load follows the write pulse of an EEPROM: it takes the address as the pulse begins and the
// word as it ends, and then writes by itself. Enabled outputs, a write that is being done, and
// less than some 3.8 V of supply inhibit another (the data sheets, from memory).
func (m *memory) load() {
	writing := m.supplied && m.selected() && !m.active(m.Enable) && m.active(&m.Rewrite.Write)
	switch {
	case writing:
		if !m.writing {
			m.latched = m.bus(m.Address)
		}
		m.loaded = uint8(m.bus(m.DataOut))
	case m.writing && m.supplied && !m.busy() && !m.protected:
		m.write(m.latched, m.loaded)
		m.ready, m.awaited = m.clock()+m.cycle, true
	}
	m.writing = writing
}

// busy reports whether an EEPROM is writing a word: what it gives then is that word with
// its highest bit inverted, whatever is read.
func (m *memory) busy() bool { return m.Rewrite != nil && m.clock() < m.ready }

// finished reports, once, that a write is done: what the outputs give has changed without
// any change at a pin.
func (m *memory) finished() bool {
	done := m.awaited && !m.busy()
	if done {
		m.awaited = false
	}
	return done
}

// strobe follows RAS and CAS: the row is latched and refreshed as RAS falls, the column
// latched as CAS falls; a write happens while both are low, early or late.
func (m *memory) strobe() {
	ras, cas := m.active(m.RAS), m.active(m.CAS)
	if ras && !m.rowOn {
		m.row = m.bus(m.Address) & (1<<m.RowBits - 1)
		m.refresh(m.row)
	}
	if ras && cas && !m.colOn {
		m.column = m.bus(m.Address) & (1<<m.ColumnBits - 1)
	}
	m.rowOn, m.colOn = ras, ras && cas
	writing := m.colOn && m.active(m.Write)
	if writing && !m.writing {
		m.write(m.dynamicAddress(), uint8(m.bus(m.DataIn)))
	}
	m.writing = writing
}

func (m *memory) dynamicAddress() int { return m.column<<m.RowBits | m.row }

// refresh restores the rows that share a refresh address, or what is left of them.
func (m *memory) refresh(row int) {
	now := m.clock()
	for r := row % m.RefreshRows; r < len(m.touched); r += m.RefreshRows {
		since := now - m.touched[r]
		if m.touched[r] == never {
			since = 0
		}
		m.longest = max(m.longest, since)
		if since > m.RefreshWithin {
			for column := range 1 << m.ColumnBits {
				m.words[column<<m.RowBits|r] = uint8(r & 1) // true and complement cells by turns
			}
		}
		for cell, within := range m.forgets {
			if cell&(1<<m.RowBits-1) == r && since > within {
				m.words[cell] = uint8(r & 1)
			}
		}
		m.touched[r] = now
	}
}

func (m *memory) write(address int, value uint8) {
	before := m.words[address]
	m.words[address] = value
	if m.Kind != part.DynamicRAM {
		m.touched[address] = m.clock()
	}
	if len(m.couples) == 0 {
		return
	}
	for bit := range m.Bits {
		if victim, ok := m.couples[m.cell(address, bit)]; ok && (before^value)>>bit&1 != 0 {
			m.words[victim/m.Bits] ^= 1 << (victim % m.Bits)
		}
	}
}

// read gives a word, with the memory's defects applied.
func (m *memory) read(address int) uint8 {
	if m.busy() {
		return m.words[m.latched] ^ 1<<(m.Bits-1)
	}
	value := m.words[address]
	if m.Kind != part.DynamicRAM && len(m.forgets) > 0 {
		for bit := range m.Bits {
			if within, ok := m.forgets[m.cell(address, bit)]; ok && m.clock()-m.touched[address] > within {
				m.words[address] &^= 1 << bit
				value = m.words[address]
			}
		}
	}
	if s, ok := m.stuck[address]; ok {
		value = value&^s.mask | s.value
	}
	if m.dead(address) {
		value = 1<<m.Bits - 1
	}
	if m.Inverted {
		value = ^value & (1<<m.Bits - 1)
	}
	return value
}

// Out gives what an output drives: the word while the memory is read, else nothing.
func (m *memory) Out(pin int) logic.Word {
	bit := -1
	for i, p := range m.DataOut {
		if p == pin {
			bit = i
		}
	}
	address, reading := m.bus(m.Address), m.selected()
	if m.Kind == part.DynamicRAM {
		address, reading = m.dynamicAddress(), m.colOn
	}
	if bit < 0 || !reading || m.writing || m.Enable != nil && !m.active(m.Enable) {
		return logic.Splat(logic.Z)
	}
	return logic.Splat(logic.FromBool(m.read(address)>>bit&1 != 0))
}
