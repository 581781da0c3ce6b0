package substitute

import (
	"strings"

	"chipassay/vectors/part"
)

// A trait is what a part's title says beyond its function and its family's DC table.
type trait struct {
	phrase string // of the title
	lost   string // what to say where the substitute has it not, which asks for a check
	gained string // where only the substitute has it; empty for what does no harm
	harm   bool   // that asks for a check too
}

var traits = []trait{
	{"address latched", "does not keep the address, which must stand for the whole access", "takes the address as its enable falls, and wants that for each access anew", true},
	{"series resistors", "no series resistors in its outputs", "series resistors in its outputs", false},
	{"50 ohm", "not for a 50 Ω line", "", false},
	{"15 V common mode", "not for 15 V common mode", "", false},
	{"12 V common mode", "not for 12 V common mode", "", false},
	{"high levels for MOS", "its highs are TTL's, not for MOS inputs", "", false},
	{"of 32 mA", "its outputs do not sink 32 mA", "", false},
	{"resistors at the Q inputs", "no resistors at its Q inputs: tie those that are open", "", false},
	{"extended input voltage", "no input above the supply or below ground", "", false},
	{"without glitches", "may glitch", "", false},
	{"immune to metastability", "not hardened against metastability", "", false},
	{"with hysteresis", "no hysteresis", "", false},
}

// beyond says what titles tell.
func beyond(of, t part.Type, add func(bool, string, ...any)) {
	for _, x := range traits {
		was, is := strings.Contains(of.Part().Title, x.phrase), strings.Contains(t.Part().Title, x.phrase)
		switch {
		case was && !is:
			// A range that is wider still is none lost.
			if x.phrase != "12 V common mode" || !strings.Contains(t.Part().Title, "15 V common mode") {
				add(true, "%s", x.lost)
			}
		case is && !was && x.gained != "":
			add(x.harm, "%s", x.gained)
		}
	}
}
