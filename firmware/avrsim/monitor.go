//go:build simavr

package avrsim

import "chipassay/host/virtual"

// A Slave is what an I²C bus is connected to. It sees every condition on the bus.
type Slave interface {
	// Start is called at a start, or a repeated one, with the byte that follows it, and
	// gives whether the slave acknowledges.
	Start(addressed byte) bool
	// Write brings a byte for the slave, and gives whether it acknowledges.
	Write(b byte) bool
	// Read takes a byte from the slave.
	Read() byte
	Stop()
}

// Registers of the monitor and their bits, as firmware/board/atmega2560/monitor.c
// uses them; any other setting is a violation of the bench's own.
const (
	monitorAddress = 0x40
	settingAtStart = 0x399F // from memory of such a part: all on, both inputs, 32 V, 12 bits
	settingOfShunt = 0x001D // ±40 mV, 12 bits, the shunt without end
	shuntRegister  = 1
	conversion     = Hertz * 532 / 1_000_000 // cycles
	fullScale      = 4000                    // counts of 10 µV
	count          = 100                     // µA, that make one over 0.1 Ω
)

// A Monitor is the current monitor of the carrier: it converts without end, and
// its register holds the conversion that ended last. A conversion takes what
// flows when it begins, which is the worst for one who waits to see a change.
type Monitor struct {
	Silent bool // it does not answer
	// Short is the cycle from which on the supply is shorted behind the monitor, 0 never.
	Short uint64

	socket   *virtual.Socket
	now      func() uint64
	setting  uint16
	pointer  byte
	selected bool
	first    bool   // the next byte written is the pointer
	bytes    int    // written to a register, or read
	since    uint64 // when the setting came
	seen     uint64 // conversions begun up to now
	began    int    // what the one under way will give, counts
	ended    int    // what the last one gave
}

// NewMonitor puts a monitor into the supply of a socket.
func NewMonitor(socket *virtual.Socket) *Monitor {
	return &Monitor{socket: socket, now: func() uint64 { return 0 }, setting: settingAtStart}
}

// follow converts up to now what flows since it was last called: it is called
// before every change of the socket.
func (m *Monitor) follow() {
	if m.setting != settingOfShunt {
		return
	}
	begun := (m.now() - m.since) / conversion
	switch begun - m.seen {
	case 0:
		return
	case 1:
		m.ended = m.began
	default:
		m.ended = m.flowed(begun - 1)
	}
	m.began = m.flowed(begun)
	m.seen = begun
}

// flowed is what flowed when a conversion began, counts.
func (m *Monitor) flowed(conversions uint64) int {
	if m.Short != 0 && m.since+conversions*conversion >= m.Short && m.socket.Live() {
		return fullScale
	}
	return m.socket.CurrentMicroamps() / count
}

// Start selects the monitor by its address.
func (m *Monitor) Start(addressed byte) bool {
	m.selected = !m.Silent && m.socket.Monitor() && addressed>>1 == monitorAddress
	m.first, m.bytes = addressed&1 == 0, 0
	return m.selected
}

// Write takes the pointer, then the setting.
func (m *Monitor) Write(b byte) bool {
	switch {
	case !m.selected:
		return false
	case m.first:
		m.pointer, m.first = b, false
	case m.pointer == 0 && m.bytes < 2:
		m.setting = m.setting<<8 | uint16(b)
		if m.bytes++; m.bytes == 2 {
			m.since, m.seen, m.ended = m.now(), 0, 0
			m.began = m.flowed(0)
		}
	}
	return true
}

// Read gives the pointed register, high byte first.
func (m *Monitor) Read() byte {
	if !m.selected {
		return 0xFF // nobody pulls the line
	}
	m.follow()
	register := m.setting
	if m.pointer == shuntRegister {
		register = uint16(m.ended)
	}
	m.bytes++
	if m.bytes%2 == 1 {
		return byte(register >> 8)
	}
	return byte(register)
}

// Stop ends what was begun.
func (m *Monitor) Stop() { m.selected = false }
