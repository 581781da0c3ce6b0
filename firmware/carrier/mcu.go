package carrier

import (
	"fmt"
	"strings"
)

// boardLines are the lines of the microcontroller at the labels of its board: pins
// 0 to 53, then A0 to A15. From memory; common to all boards of this shape.
var boardLines = [...]struct{ labels, lines string }{
	{"0 1 2 3 4 5 6 7", "PE0 PE1 PE4 PE5 PG5 PE3 PH3 PH4"},
	{"8 9 10 11 12 13", "PH5 PH6 PB4 PB5 PB6 PB7"},
	{"14 15 16 17 18 19 20 21", "PJ1 PJ0 PH1 PH0 PD3 PD2 PD1 PD0"},
	{"22 23 24 25 26 27 28 29", "PA0 PA1 PA2 PA3 PA4 PA5 PA6 PA7"},
	{"30 31 32 33 34 35 36 37", "PC7 PC6 PC5 PC4 PC3 PC2 PC1 PC0"},
	{"38 39 40 41", "PD7 PG2 PG1 PG0"},
	{"42 43 44 45 46 47 48 49", "PL7 PL6 PL5 PL4 PL3 PL2 PL1 PL0"},
	{"50 51 52 53", "PB3 PB2 PB1 PB0"},
	{"A0 A1 A2 A3 A4 A5 A6 A7", "PF0 PF1 PF2 PF3 PF4 PF5 PF6 PF7"},
	{"A8 A9 A10 A11 A12 A13 A14 A15", "PK0 PK1 PK2 PK3 PK4 PK5 PK6 PK7"},
}

// boardSupplies are its supply pins: one 5V and two GND at the power header, one
// GND beside pin 13, two each at the ends of the double row.
var boardSupplies = [...]struct{ label, net string }{
	{"5V-1", "+5V"}, {"5V-2", "+5V"}, {"5V-3", "+5V"},
	{"GND-1", "GND"}, {"GND-2", "GND"}, {"GND-3", "GND"}, {"GND-4", "GND"}, {"GND-5", "GND"},
}

// The lines with one purpose each; those of the socket are in the table of lanes.
const (
	lineData   = "PC6" // shift data of all registers, and data in of the converters
	lineClock  = "PC7" // shift clock of all registers, and of the converters
	lineSelect = "PJ0" // both converters, 0 = selected

	lineStoreLow   = "PD7"
	lineStoreBias  = "PG0"
	lineStoreLoad  = "PG1"
	lineEnableLow  = "PB6" // 0 = outputs on; likewise the next two
	lineEnableBias = "PG2"
	lineEnableLoad = "PG5"

	lineBackLow  = "PJ1" // serial output of the low side's chain
	lineBackBias = "PD2" // of the bias chain through 4.7 kΩ, and data out of converter 1
	lineBackLoad = "PD3" // of the load chain through 4.7 kΩ, and data out of converter 2

	lineMonitorClock = "PD0"
	lineMonitorData  = "PD1"

	lineReady  = "PE3"
	lineButton = "PE4"
	lineBusy   = "PE5"
	linePower  = "PB7" // the board's own lamp is on it too
)

// mcu is the board of the microcontroller. PE0 and PE1 stay free: they are the
// serial line to its USB bridge.
func mcu() Part {
	p := Part{
		Ref: "A1", Kind: MCU, Value: "ATmega2560, 16 MHz, 5 V",
		Description: "ATmega2560 board with USB, 5 V, 16 MHz, with its 70 lines on pin headers (the usual large hobby board)",
		Rating:      "40 mA a pin, 200 mA a supply pin", Footprint: "carrier:ATmega2560_Board",
	}
	for _, row := range boardLines {
		labels, lines := strings.Fields(row.labels), strings.Fields(row.lines)
		if len(labels) != len(lines) {
			panic(fmt.Sprintf("carrier: %d labels and %d lines", len(labels), len(lines)))
		}
		for i, line := range lines {
			net := line
			if line == "PE0" || line == "PE1" {
				net = ""
			}
			p.Pins = append(p.Pins, Pin{labels[i], line, net, Bidirectional})
		}
	}
	for _, s := range boardSupplies {
		p.Pins = append(p.Pins, Pin{s.label, s.net, s.net, PowerOut})
	}
	p.Pins = append(p.Pins, Pin{"RESET", "RESET", "", Unused})
	return p
}
