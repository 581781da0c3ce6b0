package selfcheck

import (
	"fmt"
	"slices"

	"chipassay/host/adapter"
)

// The pin map of revision A, as firmware/README.md lays it out.
var (
	highSwitchPins = map[int]string{1: "PH0", 4: "PH1", 5: "PH3", 8: "PH4", 22: "PH5", 28: "PH6"}
	latchOutputs   = []int{1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28} // position of output i
)

// Values of revision A, Ω and V.
const (
	supplyVolts = 5.0
	driveOhms   = 205.0 // resistor and the microcontroller's output
	biasOhms    = 10_000.0
	loadOhms    = 1_000.0
)

// line names a position and its column.
func line(position int) string {
	return fmt.Sprintf("%s (socket position %d)", adapter.Column(position), position)
}

// drivePin is the microcontroller's pin that drives a position.
func drivePin(position int) string {
	column := adapter.Column(position)
	var n int
	fmt.Sscanf(column[1:], "%d", &n)
	switch {
	case column[0] == 'L' && n <= 8:
		return fmt.Sprintf("PA%d", n-1)
	case column[0] == 'L':
		return fmt.Sprintf("PC%d", n-9)
	case n <= 8:
		return fmt.Sprintf("PL%d", n-1)
	}
	return fmt.Sprintf("PB%d", n-9)
}

// sensePin is the pin that senses a position, and its channel of the converter.
func sensePin(position int) (pin string, channel int) {
	if position <= 8 {
		return fmt.Sprintf("PF%d", position-1), position - 1
	}
	n := adapter.Positions + 1 - position
	return fmt.Sprintf("PK%d", n-1), n + 7
}

// A rail is one of the two, with what the carrier has for it.
type rail struct {
	name      string
	ohms      string
	low, high string // pins of the half bridge
}

var (
	biasRail = rail{"bias", "10 kΩ", "PG1", "PG0"}
	loadRail = rail{"load", "1 kΩ", "PG5", "PG2"}
)

func (r rail) pin(level adapter.Pull) string {
	if level == adapter.High {
		return r.high
	}
	return r.low
}

// What to look for on the board, by line.

func lookAtDrive(position int) string {
	return fmt.Sprintf("the 180 Ω resistor between %s and position %d: open, of another value, or its joint cold", drivePin(position), position)
}

func lookAtRailResistor(r rail, position int) string {
	return fmt.Sprintf("the %s resistor between the %s rail and position %d: open, of another value, or its joint cold", r.ohms, r.name, position)
}

func lookAtSense(position int) string {
	pin, channel := sensePin(position)
	return fmt.Sprintf("the 4.7 kΩ resistor between position %d and %s (ADC %d): open, or its joint cold", position, pin, channel)
}

func lookAtHighSwitch(position int) string {
	return fmt.Sprintf("the P-channel switch at position %d, its level shifter and its line from %s; and the fuse, if none closes", position, highSwitchPins[position])
}

func lookAtLowSwitch(position int) string {
	return fmt.Sprintf("the N-channel switch at position %d, its gate's 10 kΩ to ground and output %d of the latch; and the latch's lines PC6, PC7 and PD7, if none closes",
		position, slices.Index(latchOutputs, position))
}

const lookAtMonitor = "the 1 Ω shunt, and the monitor's lines PD0 (SCL) and PD1 (SDA), its address 0x40 and its supply"
