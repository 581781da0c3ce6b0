package explore

import (
	"encoding/json"
	"math"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A State is what was seen at all signal pins, with remarks.
type State struct {
	Step        int
	Did         string // the statement that led here
	Pins        []Pin  // signals, ascending
	SupplyVolts float64
	CurrentMA   float64 // negative where the adapter has no monitor
	Notes       []string
}

// A Pin is one signal pin of a State.
type Pin struct {
	Number   int
	Name     string
	Input    bool    // the adapter drives it, or leaves it open for the chip to read
	Drive    Drive   // what the adapter does there
	Seen     Level   // what was measured there
	Volts    float64 // to the chip's ground; NaN where the adapter measures none
	Expected logic.Value
	Compared bool // the data sheet's function expects a level, and it is an output now
	Lamp     *Lamp
	// Takes is the level that an open input acts as, by the outputs; X if they do not show
	// it.
	Takes logic.Value
}

// Pin gives a pin of a state by number; nil for supplies and the like.
func (s *State) Pin(number int) *Pin {
	for i := range s.Pins {
		if s.Pins[i].Number == number {
			return &s.Pins[i]
		}
	}
	return nil
}

// Differs reports whether the pin is not at the level that the data sheet's function expects.
func (p *Pin) Differs() bool {
	return p.Compared && p.Seen != Undefined && p.Seen.value() != p.Expected
}

// Differences are the pins that differ.
func (s *State) Differences() (pins part.Pins) {
	for i := range s.Pins {
		pins = pins.With(s.Pins[i].Number, s.Pins[i].Differs())
	}
	return pins
}

// A Level is the level measured at a pin.
type Level uint8

// The levels. Released is proven by both pulls, and nothing less.
const (
	Between    Level = iota // neither a low nor a high of the family
	StandsLow               // at most VIL
	StandsHigh              // at least VIH
	Released                // follows 10 kΩ both ways
	Undefined               // follows an input that is left open
)

func (l Level) String() string { return [...]string{"between", "L", "H", "Z", "undefined"}[l] }

func (l Level) value() logic.Value {
	return [...]logic.Value{logic.X, logic.Zero, logic.One, logic.Z, logic.X}[l]
}

// Letter prints a value as data sheets do.
func Letter(v logic.Value) string {
	return map[logic.Value]string{logic.Zero: "L", logic.One: "H", logic.Z: "Z", logic.X: "X"}[v]
}

// MarshalJSON writes a state as one object, its pins by name. Volts that were not measured
// are null.
func (s State) MarshalJSON() ([]byte, error) {
	type lamp struct {
		MA    float64 `json:"ma"`
		Share float64 `json:"share"`
	}
	type pin struct {
		Number   int      `json:"number"`
		Drive    string   `json:"drive"`
		Seen     string   `json:"seen"`
		Volts    *float64 `json:"volts"`
		Expected string   `json:"expected,omitempty"`
		Differs  bool     `json:"differs"`
		Takes    string   `json:"taken_for,omitempty"`
		Lamp     *lamp    `json:"lamp,omitempty"`
	}
	pins := map[string]pin{}
	for _, p := range s.Pins {
		one := pin{Number: p.Number, Drive: "none", Seen: p.Seen.String(), Volts: number(p.Volts, 1000), Differs: p.Differs()}
		if p.Input {
			one.Drive = p.Drive.String()
		}
		if p.Compared {
			one.Expected = Letter(p.Expected)
		}
		if p.Takes != logic.X {
			one.Takes = Letter(p.Takes)
		}
		if p.Lamp != nil {
			one.Lamp = &lamp{*number(p.Lamp.MA, 100), *number(p.Lamp.Share, 100)}
		}
		pins[p.Name] = one
	}
	return json.Marshal(struct {
		Step   int            `json:"step"`
		Did    string         `json:"did"`
		Pins   map[string]pin `json:"pins"`
		Supply *float64       `json:"supply_volts"`
		MA     *float64       `json:"supply_ma"`
		Notes  []string       `json:"notes"`
	}{s.Step, s.Did, pins, number(s.SupplyVolts, 1000), current(s.CurrentMA), append([]string{}, s.Notes...)})
}

// number rounds to a fraction of 1; nil for NaN.
func number(v, parts float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	v = math.Round(v*parts) / parts
	return &v
}

// current is a supply current, mA; nil for one that was not measured.
func current(mA float64) *float64 {
	if mA < 0 {
		return nil
	}
	return number(mA, 100)
}
