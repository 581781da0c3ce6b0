package carrier

import (
	"slices"
	"strings"
)

// A Lane is what serves one position of the socket.
type Lane struct {
	Position int    // 1 to 28, as a 28-pin chip counts
	Name     string // column and row; the net of the position
	Drive    string // the microcontroller's line behind the drive resistor
	Sense    string // the line, or the converter's input, behind the sense resistor
	Bias     string // register output behind the bias resistor: its register and pin
	Load     string // register output behind the load resistor
	Low      string // register output of the low-side switch's gate; empty: no switch
	High     string // the microcontroller's line of the high-side switch; empty: no switch
}

// lanes is the table of the socket, in the order of a socket word: near left, far
// left, near right, far right. Each row is a position with all that hangs on it.
var lanes = [28]Lane{
	//  drive  sense      bias      load      low side  high side
	{1, "L1", "PA0", "PF0", "U21 QA", "U31 QA", "U11 QA", "PH0"},
	{2, "L2", "PA1", "PF1", "U21 QB", "U31 QB", "", ""},
	{3, "L3", "PA2", "PF2", "U21 QC", "U31 QC", "", ""},
	{4, "L4", "PA3", "PF3", "U21 QD", "U31 QD", "U11 QB", "PH1"},
	{5, "L5", "PA4", "PF4", "U21 QE", "U31 QE", "", "PH3"},
	{6, "L6", "PA5", "PF5", "U21 QF", "U31 QF", "", ""},
	{7, "L7", "PA6", "PF6", "U21 QG", "U31 QG", "U11 QC", ""},
	{8, "L8", "PA7", "PF7", "U21 QH", "U31 QH", "U11 QD", "PH4"},

	{9, "L9", "PC0", "U41 CH0", "U23 QA", "U33 QA", "U12 QA", ""},
	{10, "L10", "PC1", "U41 CH1", "U23 QB", "U33 QB", "U12 QB", ""},
	{11, "L11", "PC2", "U41 CH2", "U23 QC", "U33 QC", "U12 QC", ""},
	{12, "L12", "PC3", "U41 CH3", "U23 QD", "U33 QD", "U12 QD", ""},
	{13, "L13", "PC4", "U41 CH4", "U23 QE", "U33 QE", "", ""},
	{14, "L14", "PC5", "U41 CH5", "U23 QF", "U33 QF", "U12 QE", ""},

	{28, "R1", "PL0", "PK0", "U22 QA", "U32 QA", "U11 QH", "PH6"},
	{27, "R2", "PL1", "PK1", "U22 QB", "U32 QB", "", ""},
	{26, "R3", "PL2", "PK2", "U22 QC", "U32 QC", "", ""},
	{25, "R4", "PL3", "PK3", "U22 QD", "U32 QD", "U11 QG", ""},
	{24, "R5", "PL4", "PK4", "U22 QE", "U32 QE", "U11 QF", ""},
	{23, "R6", "PL5", "PK5", "U22 QF", "U32 QF", "", ""},
	{22, "R7", "PL6", "PK6", "U22 QG", "U32 QG", "", "PH5"},
	{21, "R8", "PL7", "PK7", "U22 QH", "U32 QH", "U11 QE", ""},

	{20, "R9", "PB0", "U42 CH0", "U24 QA", "U34 QA", "", ""},
	{19, "R10", "PB1", "U42 CH1", "U24 QB", "U34 QB", "", ""},
	{18, "R11", "PB2", "U42 CH2", "U24 QC", "U34 QC", "", ""},
	{17, "R12", "PB3", "U42 CH3", "U24 QD", "U34 QD", "", ""},
	{16, "R13", "PB4", "U42 CH4", "U24 QE", "U34 QE", "", ""},
	{15, "R14", "PB5", "U42 CH5", "U24 QF", "U34 QF", "", ""},
}

// Lanes gives the table of the socket positions, in the order of a socket word.
func Lanes() []Lane { return slices.Clone(lanes[:]) }

// LaneAt gives the lane of position 1 to 28.
func LaneAt(position int) Lane {
	for _, l := range lanes {
		if l.Position == position {
			return l
		}
	}
	panic("carrier: no such position")
}

// Near reports whether the position is one of the starter's 16.
func (l Lane) Near() bool { return l.Position <= 8 || l.Position >= 21 }

// Left reports whether the position is in the left column.
func (l Lane) Left() bool { return l.Position <= 14 }

// BiasNet, LoadNet, GateNet and BaseNet name the nets of the lane that have no
// other name: the register outputs behind its resistors, the gate of its low-side
// and the base of its high-side switch. SenseNet is the line that senses it.
func (l Lane) BiasNet() string { return "bias_" + l.Name }
func (l Lane) LoadNet() string { return "load_" + l.Name }
func (l Lane) GateNet() string { return "gate_" + l.Name }
func (l Lane) BaseNet() string { return "base_" + l.Name }

// SenseNet is the microcontroller's line, or for a far position its own net
// between the sense resistor and the converter's input.
func (l Lane) SenseNet() string {
	if strings.HasPrefix(l.Sense, "U") {
		return "sense_" + l.Name
	}
	return l.Sense
}

// half is the group of what every position of the lane's half has.
func (l Lane) half() Group {
	if l.Near() {
		return Starter
	}
	return FarHalf
}

// switches is the group of the lane's switch: the starter has the supply pins of
// 14- and 16-pin chips whose supplies sit at the corners.
func (l Lane) switches(high bool) Group {
	if high && l.Position == 28 || !high && (l.Position == 7 || l.Position == 8) {
		return Starter
	}
	return Switches
}
