package fault

import (
	"fmt"
	"strings"

	"chipassay/vectors/part"
)

// LeastPercent is the share of the detectable faults of every model that the
// vectors of a part are to detect.
const LeastPercent = 99

// BelowFloor says what of a part's faults is detected to less than LeastPercent, and
// why; empty where nothing is.
func (c Coverage) BelowFloor(v *part.Variant) string {
	var short []string
	for _, m := range []struct {
		name string
		Tally
	}{{"stuck-at", c.StuckAt}, {"cells", c.Cells}, {"pins", c.Pins}, {"shorts", c.Shorts}} {
		if m.Percent() < LeastPercent {
			short = append(short, fmt.Sprintf("%s %d of %d", m.name, m.Detected, m.Detectable))
		}
	}
	if short == nil {
		return ""
	}
	why := "no vectors were found that show the rest"
	if v.Part.Kind == "switch" && c.Shorts.Percent() < LeastPercent {
		return strings.Join(short, ", ") + ": the switches join the pins inside, so the test before power cannot see a short"
	}
	for i, u := range v.Untested {
		if i == 0 {
			why = ""
		} else {
			why += "; "
		}
		why += u.Why
	}
	return strings.Join(short, ", ") + ": " + why
}

// Words name a section of a part: by its gates, else by its pins.
func (s Section) Words(v *part.Variant) string {
	if s.Name != "" {
		return "gate " + s.Name
	}
	var pins []string
	for n := range s.Pins.All() {
		pins = append(pins, fmt.Sprintf("%d (%s)", n, v.Pins[n-1].Name))
	}
	return "pins " + strings.Join(pins, ", ")
}
