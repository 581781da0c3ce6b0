//go:build simavr

package avrsim

import (
	"fmt"

	"chipassay/host/adapter"
	"chipassay/host/virtual"
)

// The carrier's lines: the pin map of firmware/README.md.
const (
	six = 0x3F // of PORTB and PORTC, the socket's lines

	biasHigh, biasLow = 1 << 0, 1 << 1 // PORTG
	loadHigh, loadLow = 1 << 2, 1 << 5

	latchData, latchShift = 1 << 6, 1 << 7 // PORTC
	latchStore            = 1 << 7         // PORTD
	latchBits             = 13

	readyLamp, button, busyLamp = 1 << 3, 1 << 4, 1 << 5 // PORTE
	powerLamp                   = 1 << 7                 // PORTB
)

// mostViolations are kept; a program that is wrong is so in every step.
const mostViolations = 20

// A Carrier is the board between the MCU and the socket: drivers, rails, supply
// switches behind their latch, the current monitor, the button and the lamps. It notes as a violation
// whatever on the real one would work against itself.
type Carrier struct {
	Socket     *virtual.Socket
	Monitor    *Monitor // of the supply current; nil for none
	Pressed    bool     // the button
	Violations []string
	// Watch, if set, sees the driven positions and their levels after each change of a port.
	Watch func(cycle uint64, driven, level adapter.Word)

	now        func() uint64 // cycle
	out, level [256]uint8    // by port: outputs, and their latches
	shift      uint16        // shift register before the latch
	latch      uint16
	bias, load halves
	high       uint32       // closed high-side switches, bits in the order of virtual.SupplyHigh
	highAt     adapter.Word // their positions
	lowAt      adapter.Word // positions of the closed low-side switches
	opened     uint64       // cycle at which the last high-side switch opened
	busyFrom   uint64       // cycle at which the busy lamp last was lit
	busyUntil  uint64       // and went out
	busy       uint64       // cycles for which it was lit up to then
}

// halves are the states of a half bridge's two sides.
type halves struct{ high, low bool }

func (h halves) rail() adapter.Rail {
	switch {
	case h.high && !h.low:
		return adapter.High
	case h.low && !h.high:
		return adapter.Low
	}
	return adapter.Off
}

// NewCarrier puts a socket on a carrier.
func NewCarrier(socket *virtual.Socket) *Carrier {
	return &Carrier{Socket: socket, Monitor: NewMonitor(socket), now: func() uint64 { return 0 }}
}

// Ready tells whether the lamp is lit that says so.
func (c *Carrier) Ready() bool { return c.on('E')&readyLamp != 0 }

// Idle is how many cycles the lamp is out that says that a request is being
// carried out; none while it is lit.
func (c *Carrier) Idle() uint64 {
	if c.on('E')&busyLamp != 0 {
		return 0
	}
	return c.now() - c.busyUntil
}

// Power tells whether the lamp is lit that the socket is supplied.
func (c *Carrier) Power() bool { return c.on('B')&powerLamp != 0 }

// on are the lines of a port that are driven high. What a line that is not
// driven controls is off by its own resistor.
func (c *Carrier) on(p Port) uint8 { return c.out[p] & c.level[p] }

func (c *Carrier) violation(format string, args ...any) {
	if len(c.Violations) < mostViolations {
		c.Violations = append(c.Violations, fmt.Sprintf("cycle %d: ", c.now())+fmt.Sprintf(format, args...))
	}
}

// word joins the socket's lines of the four driving ports.
func word(of *[256]uint8) adapter.Word {
	return adapter.Word(of['A']) | adapter.Word(of['C']&six)<<8 | adapter.Word(of['L'])<<16 | adapter.Word(of['B']&six)<<24
}

// Changed follows the lines of a port.
func (c *Carrier) Changed(p Port, out, level uint8) {
	if c.out[p] == out && c.level[p] == level {
		return
	}
	if c.Monitor != nil {
		c.Monitor.follow()
	}
	before := c.on(p)
	c.out[p], c.level[p] = out, level
	switch p {
	case 'A', 'B', 'L':
		c.drive()
	case 'C':
		c.drive()
		if c.on('C')&^before&latchShift != 0 {
			c.shift = c.shift<<1 | uint16(c.on('C')&latchData)/latchData
			c.shift &= 1<<latchBits - 1
		}
	case 'D':
		if c.on('D')&^before&latchStore != 0 {
			c.latch = c.shift
			c.supply()
		}
	case 'E':
		c.followBusy(before)
	case 'G':
		c.rails()
	case 'H':
		on := uint32(c.on('H'))
		c.high = on&0x03 | on>>1&0x3C // PH0, PH1, PH3 to PH6
		c.supply()
	}
}

func (c *Carrier) followBusy(before uint8) {
	switch after := c.on('E'); {
	case after&^before&busyLamp != 0:
		c.busyFrom = c.now()
	case before&^after&busyLamp != 0:
		c.busyUntil = c.now()
		c.busy += c.busyUntil - c.busyFrom
	}
}

func (c *Carrier) drive() {
	out := word(&c.out)
	if against := out & (c.highAt | c.lowAt); against != 0 {
		c.violation("positions %v are driven against their supply switches", against)
	}
	c.Socket.Drive(out, out&word(&c.level))
	if c.Watch != nil {
		c.Watch(c.now(), out, out&word(&c.level))
	}
}

func (c *Carrier) supply() {
	supplied := c.highAt != 0
	c.highAt = at(virtual.SupplyHigh, c.high)
	if supplied && c.highAt == 0 {
		c.opened = c.now()
	}
	c.lowAt = at(virtual.SupplyLow, uint32(c.latch))
	if both := c.highAt & c.lowAt; both != 0 {
		c.violation("the high-side and the low-side switch are closed at %v", both)
	}
	if c.highAt&(c.highAt-1) != 0 {
		c.violation("high-side switches are closed at %v, more than one", c.highAt)
	}
	c.Socket.Supply(c.high, uint32(c.latch))
	c.drive()
}

func at(positions []int, bits uint32) adapter.Word {
	var w adapter.Word
	for i, p := range positions {
		if bits>>i&1 != 0 {
			w |= adapter.At(p)
		}
	}
	return w
}

func (c *Carrier) rails() {
	on := c.on('G')
	bias := halves{on&biasHigh != 0, on&biasLow != 0}
	load := halves{on&loadHigh != 0, on&loadLow != 0}
	c.turn("bias", c.bias, bias)
	c.turn("load", c.load, load)
	c.bias, c.load = bias, load
	c.Socket.Rails(bias.rail(), load.rail())
}

// turn checks a change of a half bridge, which goes through off.
func (c *Carrier) turn(rail string, from, to halves) {
	switch {
	case to.high && to.low:
		c.violation("both halves of the %s rail are on", rail)
	case from.high && to.low, from.low && to.high:
		c.violation("the %s rail turns over without going through off", rail)
	}
}

// Levels reads the lines of a port. PORTF and PORTK sense the socket behind the
// drive resistors, the driving ports before them.
func (c *Carrier) Levels(p Port) uint8 {
	driven := c.out[p] & c.level[p]
	free := ^c.out[p]
	switch p {
	case 'F':
		return driven | free&uint8(c.sample())
	case 'K':
		return driven | free&uint8(c.sample()>>16)
	case 'A':
		return driven | free&uint8(c.sample())
	case 'C':
		return driven | free&six&uint8(c.sample()>>8)
	case 'L':
		return driven | free&uint8(c.sample()>>16)
	case 'B':
		return driven | free&six&uint8(c.sample()>>24)
	case 'E':
		lines := driven | free&c.level[p] // pulled up
		if c.Pressed {
			lines &^= button
		}
		return lines
	}
	return driven | free&c.level[p]
}

func (c *Carrier) sample() adapter.Word {
	if pulled := word(&c.level) &^ word(&c.out); pulled != 0 {
		c.violation("positions %v are sampled with the MCU's pull-ups on", pulled)
	}
	return c.Socket.Sample()
}

// Millivolts is the voltage at the position that an ADC channel senses.
func (c *Carrier) Millivolts(channel int) int {
	if channel < 8 {
		return c.Socket.Millivolts(channel + 1)
	}
	return c.Socket.Millivolts(28 - (channel - 8))
}

// ResetLine clears the latch. A reset by the watchdog does not pull the line,
// but it releases the high-side switches.
func (c *Carrier) ResetLine() {
	if c.Monitor != nil {
		c.Monitor.follow()
	}
	c.shift, c.latch = 0, 0
	c.supply()
}
