package selfcheck

import (
	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// A line is what drives a pin: a kind of line, and the socket position that it serves.
type line struct {
	kind     lineKind
	position int
}

type lineKind int

const (
	driveLine lineKind = iota
	biasLine
	loadLine
	lowLine       // a register output on a gate
	highLine      // of the microcontroller, to a base: 0 is on
	otherLine     // of the microcontroller: what it does is in the table otherLines
	referenceLine // the 2.500 V reference
	deadLine      // of a register that does not respond, or passes on what goes to others
	deadGate      // and of one whose outputs are on gates
)

// otherLines are the lines of the microcontroller that serve all positions, as they
// stand after a condition was set up.
var otherLines = []struct {
	name string
	up   func(c *condition) bool
	ohms float64
}{
	{"PC6", never, pinOhms}, {"PC7", never, pinOhms}, // shift data and clock
	{"PD7", never, pinOhms}, {"PG0", never, pinOhms}, {"PG1", never, pinOhms}, // strobes
	// enables, 0 is on
	{"PG2", func(c *condition) bool { return !c.bias }, pinOhms},
	{"PG5", func(c *condition) bool { return !c.load }, pinOhms},
	{"PJ0", always, pinOhms},                     // selects the converters, 0 is on
	{"PD0", always, 10e3}, {"PD1", always, 10e3}, // pulled up by the monitor's module
	{"PE3", always, pinOhms}, // ready
	{"PE4", always, 35e3},    // button, pulled up in the microcontroller
	{"PB7", func(c *condition) bool { return c.high != 0 || c.low != 0 }, pinOhms}, // power
}

func never(*condition) bool  { return false }
func always(*condition) bool { return true }

// A condition is what the adapter does to the socket: which lines are on, and where to.
type condition struct {
	driven, level  uint32 // by bit of position: 1 << p
	bias, load     bool
	biasUp, loadUp uint32
	high           int    // closed high-side switch, 0 none
	low            uint32 // closed low-side switches
	measured       uint32 // positions whose voltage is measured
}

func bit(position int) uint32 { return 1 << position }

// drives gives the level at which a condition has a line, and whether it drives it at all.
func (c *condition) drives(l line) (up, on bool) {
	b := bit(l.position)
	switch l.kind {
	case driveLine:
		return c.level&b != 0, c.driven&b != 0
	case biasLine:
		return c.biasUp&b != 0, c.bias
	case loadLine:
		return c.loadUp&b != 0, c.load
	case lowLine:
		return c.low&b != 0, c.low != 0 // its outputs are off while nothing is closed
	case highLine:
		return c.high != l.position, true
	case otherLine:
		return otherLines[l.position].up(c), true
	}
	return false, true
}

// lanes is the carrier's table of the socket positions.
var lanes = carrier.Lanes()

// laneAt gives the lane of each position; that of 0 is none.
var laneAt = func() (at [adapter.Positions + 1]carrier.Lane) {
	for _, l := range lanes {
		at[l.Position] = l
	}
	return at
}()

// lines are the pins that drive, by reference and pin name.
func lines() map[[2]string]line {
	of := map[[2]string]line{}
	for _, l := range lanes {
		of[[2]string{"A1", l.Drive}] = line{driveLine, l.Position}
		of[[2]string{l.Bias[:3], l.Bias[4:]}] = line{biasLine, l.Position}
		of[[2]string{l.Load[:3], l.Load[4:]}] = line{loadLine, l.Position}
		if l.Low != "" {
			of[[2]string{l.Low[:3], l.Low[4:]}] = line{lowLine, l.Position}
		}
		if l.High != "" {
			of[[2]string{"A1", l.High}] = line{highLine, l.Position}
		}
	}
	for i, l := range otherLines {
		of[[2]string{"A1", l.name}] = line{otherLine, i}
	}
	return of
}

var lineOf = lines()
