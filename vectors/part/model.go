// Package part is the definition language of chipassay: it parses and checks a
// part definition and holds the model of it. The language is described in
// vectors/README.md. Logic values are those of IEEE 1364 (0 1 x z).
package part

import (
	"fmt"
	"slices"
)

// A Part is one part number with all its families. Function, pins and package
// may differ by family: each such difference is a Variant.
type Part struct {
	Number   string // of the plain series: "7400", "4011"
	Title    string
	Kind     string // one of Kinds
	Source   string // where the facts come from
	Variants []*Variant
	File     string // where the definition stands
	Line     int
	SHA256   string // hex digest of the definition's text
}

// Families lists every family the part exists in, in the order of the definition.
func (p *Part) Families() []*Family {
	var families []*Family
	for _, v := range p.Variants {
		families = append(families, v.Families...)
	}
	return families
}

// In finds the variant of the part made in a family, or nil.
func (p *Part) In(f *Family) *Variant {
	for _, v := range p.Variants {
		if slices.Contains(v.Families, f) {
			return v
		}
	}
	return nil
}

// A Variant is a part as some of its families have it: package, pins and function.
type Variant struct {
	Part     *Part
	Note     string // what sets it apart: "3-3, 2-2 inputs"; empty where there is one variant
	Families []*Family
	Pins     []Pin // Pins[i].Number == i+1
	Gates    []Gate
	Cautions []string
	Refusal  string     // why the part must not be powered, or empty
	Untested []Untested // what static levels cannot show
	Logic    Logic
	Memory   *Memory  // nil for logic; a memory has no Logic
	Timings  []Timing // what a capacitor outside times
	Joined   [][]int  // pins that a path inside joins, the common ones of a group; each ascending
	// Pumped: in the family NMOS the substrate may hang on a charge pump inside, and
	// without supply on nothing. No junction leads from ground to any pin then.
	Pumped bool
	// Unsupplied: the part needs no supply. The pin at VCC is the common of the diodes
	// that catch what its loads give back; it takes no current, and stands at the supply of
	// the loads.
	Unsupplied bool
	// Use are the inputs that are held at a level where the variant was made to test a
	// chip for one use, "1D=L 1E=L"; empty for a part as it is.
	Use string
}

// Held tells whether pin n is held at a level because the variant is for one use.
func (v *Variant) Held(n int) bool { return v.Use != "" && v.Pins[n-1].Tied != NotTied }

// JoinedWith gives the pins that a path inside joins with pin n, itself among
// them; none where there are no others.
func (v *Variant) JoinedWith(n int) []int {
	for _, group := range v.Joined {
		if slices.Contains(group, n) {
			return group
		}
	}
	return nil
}

// VCC and GND give the numbers of the supply pins.
func (v *Variant) VCC() int { return v.first(Supply) }

// GND gives the number of the ground pin.
func (v *Variant) GND() int { return v.first(Ground) }

func (v *Variant) first(r Role) int {
	for _, p := range v.Pins {
		if p.Role == r {
			return p.Number
		}
	}
	return 0
}

// Pin finds a pin by its data-sheet name, or nil.
func (v *Variant) Pin(name string) *Pin {
	for i := range v.Pins {
		if v.Pins[i].Name == name {
			return &v.Pins[i]
		}
	}
	return nil
}

// GateOf names the gate that pin n belongs to, or "".
func (v *Variant) GateOf(n int) string {
	for _, g := range v.Gates {
		if slices.Contains(g.Pins, n) {
			return g.Name
		}
	}
	return ""
}

// GateMates are the pins of the gate that pin n belongs to, and all where it belongs to none.
func (v *Variant) GateMates(n int) Pins {
	for _, g := range v.Gates {
		if slices.Contains(g.Pins, n) {
			return PinSet(g.Pins...)
		}
	}
	return ^Pins(0)
}

// A Role is what a pin is for.
type Role uint8

// The roles of a pin.
const (
	NoConnect Role = iota
	Input
	Output
	Bidirectional
	Supply
	Ground
	External // for components outside the chip: left open
	Expander // an expander node: left open
)

func (r Role) String() string {
	return [...]string{"no connection", "input", "output", "bidirectional", "supply", "ground", "external", "expander"}[r]
}

// A Stage is an output's kind of output stage.
type Stage uint8

// The output stages.
const (
	NoStage       Stage = iota // not an output
	TotemPole                  // drives both ways; also a complementary MOS output
	OpenCollector              // pulls low only; also an open drain
	OpenEmitter                // pulls high only
	ThreeState                 // drives both ways, or releases
)

func (s Stage) String() string {
	return [...]string{"", "totem-pole", "open-collector", "open-emitter", "three-state"}[s]
}

// A Pin is one pin of a package.
type Pin struct {
	Number   int    // 1 to 28
	Name     string // as the data sheet prints it, a bar as a leading slash
	Role     Role
	Stage    Stage
	Receiver bool // an input of a line receiver, which has no family's currents
	// Opposite is the other input of the same receiver of a balanced line, 0 for any other pin.
	// Driven apart, either of the two alone decides the output.
	Opposite int
	Schmitt  bool
	Trip     float64 // of a comparator's input that takes no current: the part of the supply at which it acts; 0 for any other
	PullUp   bool    // resistor to VCC inside the chip
	// Diodeless: no junction leads from ground to the pin, or of some makers' chips none does.
	Diodeless bool
	Load      float64 // input load in unit loads, but for families in loads
	loads     map[*Family]float64
	Drive     Drive // output class in the family's DC table
	Tied      Tie   // held at a level during every step
	// Untested says why the pin is not exercised or compared; empty where it is.
	Untested string
}

// LoadIn is the input's load in a family, in that family's unit loads; 0 for a line receiver's.
func (p *Pin) LoadIn(f *Family) float64 {
	if p.Receiver || p.Trip != 0 {
		return 0
	}
	if load, ok := p.loads[f]; ok {
		return load
	}
	return p.Load
}

// Signal reports whether the pin is an input, an output or both.
func (p *Pin) Signal() bool { return p.Role == Input || p.Observable() }

// Drivable reports whether an adapter may ever drive the pin.
func (p *Pin) Drivable() bool {
	return p.Role == Input || p.Role == Bidirectional || p.Tied != NotTied
}

// Observable reports whether the pin is ever an output.
func (p *Pin) Observable() bool { return p.Role == Output || p.Role == Bidirectional }

// A Tie is a level at which an input is held throughout.
type Tie uint8

// The ties.
const (
	NotTied Tie = iota
	TiedLow
	TiedHigh
)

// A Gate is a named part of the chip: "gate 3" with the pins that belong to it.
// Pins that several gates share belong to each of them.
type Gate struct {
	Name string
	Pins []int // ascending
}

// Untested is something that static logic levels cannot show.
type Untested struct {
	Why  string
	Pins []int // ascending; empty where it concerns the whole part
}

// A Type is a part in one family, which is what is seated in the socket: 74LS51.
type Type struct {
	Variant *Variant
	Family  *Family
}

// Part is the type's part.
func (t Type) Part() *Part { return t.Variant.Part }

// Pumped reports whether the die's substrate may hang on a charge pump.
func (t Type) Pumped() bool { return t.Variant.Pumped && t.Family.Technology == NMOS }

// Heavy reports whether inputs of the type take more current than a resistor of 10 kΩ holds a
// level against: those of line receivers and Darlington drivers.
func (t Type) Heavy() bool {
	return t.Family.Technology == Darlington || slices.ContainsFunc(t.Variant.Pins, func(p Pin) bool { return p.Receiver })
}

// Name is the type's number as marked, without maker's letters: "74LS51", "4011B".
func (t Type) Name() string { return t.Family.TypeName(t.Part().Number) }

func (t Type) String() string { return fmt.Sprintf("%s %s", t.Name(), t.Part().Title) }
