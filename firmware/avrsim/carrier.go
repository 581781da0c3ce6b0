//go:build simavr

package avrsim

import (
	"fmt"

	"chipassay/host/adapter"
	"chipassay/host/virtual"
)

// The carrier's other lines: the pin map of firmware/README.md. Those of the
// registers and converters stand with these.
const (
	six = 0x3F // of PORTB and PORTC, the socket's lines

	readyLamp, button, busyLamp = 1 << 3, 1 << 4, 1 << 5 // PORTE
	powerLamp                   = 1 << 7                 // PORTB
)

// highLines are the positions of the high-side switches, by the bit of PORTH; 0 = on.
var highLines = map[int]int{0: 1, 1: 4, 3: 5, 4: 8, 5: 22, 6: 28}

// mostViolations are kept; a program that is wrong is so in every step.
const mostViolations = 20

// A Carrier is the board between the MCU and the socket: drivers, registers with the
// bias and load resistors and the low-side switches on them, high-side switches, far
// converters, the current monitor, the button and the lamps. It notes as a violation
// whatever on the real one would work against itself.
type Carrier struct {
	Socket     *virtual.Socket
	Monitor    *Monitor // of the supply current; nil for none
	Pressed    bool     // the button
	Violations []string
	// Watch, if set, sees the driven positions and their levels after each change of a port or of the pulls.
	Watch func(cycle uint64, driven, level adapter.Word)
	// Looked, if set, is told when the program reads a port.
	Looked func(cycle uint64, p Port)
	// Converts, if set, is told when the MCU's own converter begins.
	Converts func(cycle uint64)
	// Turned, if set, gives the positions that read the other way round at a cycle.
	Turned func(cycle uint64) adapter.Word

	now        func() uint64 // cycle
	out, level [256]uint8    // by port: outputs, and their latches
	chains     [3]chain
	converters converters
	pulls      [2]pull      // what the bias and the load resistors do, by virtual.Pull
	highAt     adapter.Word // positions of the closed high-side switches
	lowAt      adapter.Word // and of the low-side ones
	opened     uint64       // cycle at which the last high-side switch opened
	busyFrom   uint64       // cycle at which the busy lamp last was lit
	busyUntil  uint64       // and went out
	busy       uint64       // cycles for which it was lit up to then
}

// A pull is what a group of resistors does.
type pull struct {
	on bool
	up adapter.Word
}

// NewCarrier puts a socket on a carrier.
func NewCarrier(socket *virtual.Socket) *Carrier {
	c := &Carrier{Socket: socket, Monitor: NewMonitor(socket), now: func() uint64 { return 0 }}
	for which := range c.chains {
		chain := &c.chains[which]
		chain.outputs = socket.Chain(which)
		chain.shift, chain.stored = garbage&chain.mask(), garbage&chain.mask()
	}
	return c
}

// Ready reports whether the lamp is lit that says so.
func (c *Carrier) Ready() bool { return c.on('E')&readyLamp != 0 }

// Idle is how many cycles the lamp is out that says that a request is being
// carried out; none while it is lit.
func (c *Carrier) Idle() uint64 {
	if c.on('E')&busyLamp != 0 {
		return 0
	}
	return c.now() - c.busyUntil
}

// Power reports whether the lamp is lit that the socket is supplied.
func (c *Carrier) Power() bool { return c.on('B')&powerLamp != 0 }

// on are the lines of a port that are driven high. What a line that is not
// driven controls is off by its own resistor, which pulls those up that are on at 0.
func (c *Carrier) on(p Port) uint8 { return c.out[p] & c.level[p] }

// down are those that are driven low.
func (c *Carrier) down(p Port) uint8 { return c.out[p] &^ c.level[p] }

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
	rose := c.on(p) &^ before
	switch p {
	case 'A', 'L':
		c.drive()
	case 'B':
		c.drive()
		c.enable(lowChain, c.down('B')&lowOff != 0)
		c.registers()
	case 'C':
		c.drive()
		c.shifts(before)
	case 'D':
		if rose&lowStore != 0 {
			c.strobe(lowChain)
			c.registers()
		}
	case 'E':
		c.followBusy(before)
	case 'G':
		if rose&biasStore != 0 {
			c.strobe(biasChain)
		}
		if rose&loadStore != 0 {
			c.strobe(loadChain)
		}
		c.enable(biasChain, c.down('G')&biasOff != 0)
		c.enable(loadChain, c.down('G')&loadOff != 0)
		c.registers()
	case 'H':
		c.switches()
	case 'J':
		c.selects(c.down('J')&convertersOff != 0)
	}
}

// shifts follows the clock that all registers and the converters share.
func (c *Carrier) shifts(before uint8) {
	data := c.on('C')&shiftData != 0
	switch after := c.on('C'); {
	case after&^before&shiftClock != 0:
		for i := range c.chains {
			c.chains[i].clock(data)
		}
		c.clocked(true, data)
	case before&^after&shiftClock != 0:
		c.clocked(false, data)
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
	c.watched()
}

func (c *Carrier) watched() {
	if out := word(&c.out); c.Watch != nil {
		c.Watch(c.now(), out, out&word(&c.level))
	}
}

// switches follows the lines of the high side.
func (c *Carrier) switches() {
	var high adapter.Word
	for bit, p := range highLines {
		if c.down('H')>>bit&1 != 0 {
			high |= adapter.At(p)
		}
	}
	if high == c.highAt {
		return
	}
	if c.highAt != 0 && high == 0 {
		c.opened = c.now()
	}
	c.highAt = high
	c.supply()
}

func (c *Carrier) supply() {
	if both := c.highAt & c.lowAt; both != 0 {
		c.violation("the high-side and the low-side switch are closed at %v", both)
	}
	if c.highAt&(c.highAt-1) != 0 {
		c.violation("high-side switches are closed at %v, more than one", c.highAt)
	}
	c.Socket.Supply(c.highAt, c.lowAt)
	c.drive()
}

// pulled passes to the socket what the bias or the load resistors do.
func (c *Carrier) pulled(which int) {
	c.Socket.Pull(virtual.Pull(which), c.pulls[which].on, c.pulls[which].up)
	c.watched()
}

// Levels reads the lines of a port. PORTF and PORTK sense the socket behind the
// drive resistors, the driving ports before them.
func (c *Carrier) Levels(p Port) uint8 {
	if c.Looked != nil {
		c.Looked(c.now(), p)
	}
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
		if c.Socket.Button(c.Pressed) {
			lines &^= button
		}
		return lines
	case 'D':
		lines := c.read(c.level[p], biasBack, c.outOfConverter(0), c.chains[biasChain].out())
		return driven | free&c.read(lines, loadBack, c.outOfConverter(1), c.chains[loadChain].out())
	case 'J':
		return driven | free&c.read(c.level[p], lowBack, c.chains[lowChain].out())
	}
	return driven | free&c.level[p]
}

func (c *Carrier) sample() adapter.Word {
	if pulled := word(&c.level) &^ word(&c.out); pulled != 0 {
		c.violation("positions %v are sampled with the MCU's pull-ups on", pulled)
	}
	read := c.Socket.Sample()
	if c.Turned != nil {
		read ^= c.Turned(c.now())
	}
	return read
}

// Millivolts is what the simulator's converter has to see at a channel so that it
// counts what the board's does against its own rail: it gives floor(mV × 1023 / 5000).
func (c *Carrier) Millivolts(channel int) int {
	if c.Converts != nil {
		c.Converts(c.now())
	}
	return (c.Socket.Convert(channel)/4*5000 + 2500) / 1023
}

// Reset follows a reset of the MCU: all its lines are inputs at once. It reaches no
// register: these keep what they hold, with their outputs off.
func (c *Carrier) Reset() {
	if c.Monitor != nil {
		c.Monitor.follow()
	}
	busy := c.on('E')
	if c.highAt != 0 {
		c.opened = c.now()
	}
	c.out, c.level = [256]uint8{}, [256]uint8{}
	c.followBusy(busy)
	c.selects(false)
	for i := range c.chains {
		c.chains[i].on, c.chains[i].cleared = false, false
	}
	c.highAt, c.lowAt, c.pulls = 0, 0, [2]pull{}
	c.drive()
	for which := range c.pulls {
		c.pulled(which)
	}
	c.Socket.Supply(0, 0)
}
