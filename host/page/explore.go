package page

import (
	"errors"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"chipassay/host/explore"
	"chipassay/host/report"
	"chipassay/host/virtual"
)

// exploreActions are those of an exploration.
var exploreActions = map[string]action{
	"explore": func(s *Server, f url.Values) error {
		return s.Bench.Explore(f.Get("part"), f.Get("chip"), f.Get("defect"))
	},
	"toggle": func(s *Server, f url.Values) error { return withPin(f, s.Bench.Toggle) },
	"set": func(s *Server, f url.Values) error {
		to, ok := map[string]explore.Drive{"H": explore.High, "L": explore.Low, "open": explore.Open}[f.Get("to")]
		if !ok {
			return errors.New("a pin is set to H, L or open")
		}
		return withPin(f, func(pin int) error { return s.Bench.Set(pin, to) })
	},
	"pulse": func(s *Server, f url.Values) error { return withPin(f, s.Bench.Pulse) },
	"step":  func(s *Server, f url.Values) error { return s.Bench.Step(f.Get("step")) },
	"walk":  func(s *Server, _ url.Values) error { return s.Bench.Walk() },
	"power": func(s *Server, _ url.Values) error { return s.Bench.Power() },
	"keep":  func(s *Server, _ url.Values) error { return s.Bench.Keep() },
}

// withPin does something at the pin that a form names.
func withPin(f url.Values, do func(pin int) error) error {
	pin, err := strconv.Atoi(f.Get("pin"))
	if err != nil {
		return errors.New("no pin was named")
	}
	return do(pin)
}

// A lesson is a defect that a virtual chip can have, as it is typed, and what it is.
type lesson struct{ Defect, Is string }

// lessons are the defects that teach most about a gate. Virtual chips can have many more.
var lessons = []lesson{
	{"2 open", "the bond wire of pin 2 is broken"},
	{"1 stuck high", "the chip takes pin 1 as high, whatever stands there"},
	{"3 stuck low", "output 3 is pulled to ground"},
	{"3 weak 300 ohms", "output 3 has 300 ohms before it: its lamp is half lit"},
	{"3 shorted to 4", "pins 3 and 4 touch"},
	{"1 leaks 2 mA", "pin 1 passes 2 mA to ground at 5 V"},
	{"1 bent", "pin 1 is bent under the package"},
	{"reversed", "the chip is the wrong way round: it is not powered"},
}

// Lessons are defects to try.
func (view) Lessons() []lesson { return lessons }

// DefectForms are all that a virtual chip can have.
func (view) DefectForms() string { return virtual.DefectForms() }

// Exploring reports whether a chip is being explored.
func (v view) Exploring() bool { return v.Work == "explore" && v.State.Explore != nil }

// Trouble is why an explored chip is not powered, or what ended the exploration.
func (v view) Trouble() string {
	return report.Sentence(onBench(strings.TrimPrefix(v.State.Explore.Trouble, explore.ErrSeating.Error()+": ")))
}

// Chip is the explored chip as it is drawn.
func (v view) Chip() liveChip { return liveChipOf(v.State.Explore) }

// SecondsLeft is how long the supply stays on, whole seconds.
func (v view) SecondsLeft() int { return int(math.Ceil(v.State.Explore.Left.Seconds())) }

// Patience is how long it stays on at most, in seconds.
func (view) Patience() int { return int(explore.Patience / time.Second) }

// Soon reports whether the supply goes off soon.
func (v view) Soon() bool { return v.State.Explore.Left <= explore.Notice }

// A clock is a pin that clocks a chip.
type clock struct {
	Pin  int
	Name string
}

// Clocks are those of the explored chip.
func (v view) Clocks() (list []clock) {
	for _, pin := range v.State.Explore.Clocks {
		list = append(list, clock{pin, v.State.Explore.Type.Variant.Pins[pin-1].Name})
	}
	return list
}

// Supply are the volts and mA of the explored chip's supply, in words.
func (v view) Supply() string {
	s := v.State.Explore.State
	words := volts(s.SupplyVolts)
	if s.CurrentMA >= 0 {
		words += fmt.Sprintf(" · %.1f mA", s.CurrentMA)
	}
	return strings.ReplaceAll(words, " ", "\u00a0")
}
