package carrier

import "fmt"

// A State is what the firmware sets: which lines drive, what the registers' outputs
// are, which supply switches are closed. Positions are bits of a socket word: 0 to
// 13 are L1 to L14, 16 to 29 R1 to R14.
type State struct {
	Driven, Level uint32 // lines that drive, and those of them that are high
	BiasOn        bool
	BiasUp        uint32 // positions whose bias resistor pulls high; the others pull low
	LoadOn        bool
	LoadUp        uint32
	High          uint32 // high-side switches that are closed, one at most
	Low           uint32 // low-side switches that are closed
	Reset         bool   // the microcontroller is in reset: every line an input, and nothing above holds
}

// AllPositions is the socket word of all 28.
const AllPositions uint32 = 0x3FFF3FFF

// Bit is the lane's bit in a socket word.
func (l Lane) Bit() uint32 {
	if l.Left() {
		return 1 << (l.Position - 1)
	}
	return 1 << (44 - l.Position)
}

// Word gives the socket word of positions by number.
func Word(positions ...int) uint32 {
	var word uint32
	for _, p := range positions {
		word |= LaneAt(p).Bit()
	}
	return word
}

// A Level is what an output does.
type Level int

const (
	Released Level = iota
	LowLevel
	HighLevel
)

func (l Level) String() string {
	switch l {
	case LowLevel:
		return "low"
	case HighLevel:
		return "high"
	case Released:
		return "released"
	}
	return fmt.Sprintf("Level(%d)", int(l))
}

func level(high bool) Level {
	if high {
		return HighLevel
	}
	return LowLevel
}

// Outputs gives what each line of the microcontroller and each register output
// does in this state, by net. Nets that are not in it are released.
func (s State) Outputs() map[string]Level {
	levels := map[string]Level{}
	if s.Reset {
		return levels
	}
	levels[lineEnableLow] = LowLevel
	levels[lineEnableBias] = level(!s.BiasOn)
	levels[lineEnableLoad] = level(!s.LoadOn)
	levels[lineSelect] = HighLevel
	for _, line := range []string{lineData, lineClock, lineStoreLow, lineStoreBias, lineStoreLoad} {
		levels[line] = LowLevel
	}
	levels[lineReady], levels[lineBusy], levels[linePower] = HighLevel, LowLevel, level(s.High|s.Low != 0)
	for _, l := range lanes {
		bit := l.Bit()
		if s.Driven&bit != 0 {
			levels[l.Drive] = level(s.Level&bit != 0)
		}
		if s.BiasOn {
			levels[l.BiasNet()] = level(s.BiasUp&bit != 0)
		}
		if s.LoadOn {
			levels[l.LoadNet()] = level(s.LoadUp&bit != 0)
		}
		if l.Low != "" {
			levels[l.GateNet()] = level(s.Low&bit != 0)
		}
		if l.High != "" {
			levels[l.High] = level(s.High&bit == 0)
		}
	}
	return levels
}
