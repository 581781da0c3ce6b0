package march

import (
	"fmt"
	"slices"
	"strings"
)

// The functional fault models, in the notation of Hamdioui et al. 2002. A fault
// primitive <S/F/R> says of one cell: when S happens the cell becomes F and, if S
// is a read, R is read. <Sa;Sv/F/R> says it of two: Sa of the aggressor and Sv of
// the victim together make the victim F. S is a state, or a state and what is
// done in it: 0w1 writes 1 to a cell that holds 0, 0r0 reads it, 0T leaves it
// alone during a wait. Primitives beside each other are one fault.
//
// SAF <1/0/-> is a cell that cannot hold 1; Hamdioui et al. call it a state fault,
// SF, and it is the same. CFin and CFid are van de Goor's; a CFid is a CFds whose
// operation is a write that changes the aggressor.
var models = []model{
	{"SAF", []string{"<1/0/->", "<0/1/->"}},                                        // stuck-at
	{"TF", []string{"<0w1/0/->", "<1w0/1/->"}},                                     // transition
	{"AF", decoderFaults},                                                          // address decoder, below
	{"CFin", []string{"<0w1;0/1/-> <0w1;1/0/->", "<1w0;0/1/-> <1w0;1/0/->"}},       // inversion coupling
	{"CFid", []string{"<0w1;0/1/->", "<0w1;1/0/->", "<1w0;0/1/->", "<1w0;1/0/->"}}, // idempotent coupling
	{"CFst", []string{"<0;0/1/->", "<0;1/0/->", "<1;0/1/->", "<1;1/0/->"}},         // state coupling
	{"RDF", []string{"<0r0/1/1>", "<1r1/0/0>"}},                                    // read destructive
	{"DRDF", []string{"<0r0/1/0>", "<1r1/0/1>"}},                                   // deceptive read destructive
	{"IRF", []string{"<0r0/0/1>", "<1r1/1/0>"}},                                    // incorrect read
	{"WDF", []string{"<0w0/1/->", "<1w1/0/->"}},                                    // write destructive
	{"CFds", []string{ // disturb coupling
		"<0r0;0/1/->", "<0r0;1/0/->", "<1r1;0/1/->", "<1r1;1/0/->",
		"<0w0;0/1/->", "<0w0;1/0/->", "<1w1;0/1/->", "<1w1;1/0/->",
		"<0w1;0/1/->", "<0w1;1/0/->", "<1w0;0/1/->", "<1w0;1/0/->",
	}},
	{"CFtr", []string{"<0;0w1/0/->", "<1;0w1/0/->", "<0;1w0/1/->", "<1;1w0/1/->"}}, // transition coupling
	{"CFwd", []string{"<0;0w0/1/->", "<1;0w0/1/->", "<0;1w1/0/->", "<1;1w1/0/->"}}, // write destructive coupling
	{"CFrd", []string{"<0;0r0/1/1>", "<1;0r0/1/1>", "<0;1r1/0/0>", "<1;1r1/0/0>"}}, // read destructive coupling
	{"CFdr", []string{"<0;0r0/1/0>", "<1;0r0/1/0>", "<0;1r1/0/1>", "<1;1r1/0/1>"}}, // deceptive read destructive coupling
	{"CFir", []string{"<0;0r0/0/1>", "<1;0r0/0/1>", "<0;1r1/1/0>", "<1;1r1/1/0>"}}, // incorrect read coupling
	{"SOF", []string{"stuck open"}},           // no address reaches the cell; the sense amplifier keeps what it read last
	{"DRF", []string{"<1T/0/->", "<0T/1/->"}}, // data retention
}

type model struct {
	name   string
	faults []string
}

// decoderFaults are van de Goor's four combinations of decoder faults, of an
// address x and another y, with what is read where the technology decides. No
// cell answers: a constant. Two cells answer: their AND or their OR.
var decoderFaults = []string{
	"A0", "A1", // x reaches no cell, cell x no address
	"B0", "B1", // x reaches no cell, y reaches the cells x and y; 0: AND, and 0 where none
	"C0",       // x and y reach cell y, cell x no address
	"D0", "D1", // x reaches the cells x and y, y reaches cell y
}

// Models gives the names of the fault models that are simulated.
func Models() []string {
	names := make([]string, len(models))
	for i, m := range models {
		names[i] = m.name
	}
	return names
}

// A Fault is one fault in one memory of n cells.
type Fault struct {
	Model     string // CFid
	Notation  string // <0w1;0/1/->
	Victim    int    // the cell that is wrong; address x of a decoder fault
	Aggressor int    // the other cell, address y of a decoder fault, -1 where there is none

	primitives []primitive
	decoder    byte  // A to D, S for a cell that no address reaches and no sense line hears, or 0
	wired      uint8 // what is read from no cell; 0 AND, 1 OR of two
}

func (f Fault) String() string {
	if f.Aggressor < 0 {
		return fmt.Sprintf("%s %s of cell %d", f.Model, f.Notation, f.Victim)
	}
	return fmt.Sprintf("%s %s of cell %d by cell %d", f.Model, f.Notation, f.Victim, f.Aggressor)
}

// Faults gives all faults of a model in a memory of n cells: each cell, or each
// ordered pair of cells, with each of the model's faults. The name is one of Models.
func Faults(name string, n int) []Fault {
	i := slices.IndexFunc(models, func(m model) bool { return m.name == name })
	if i < 0 {
		panic("march: no fault model " + name)
	}
	var faults []Fault
	for victim := range n {
		for _, notation := range models[i].faults {
			f := Fault{Model: name, Notation: notation, Victim: victim, Aggressor: -1}
			coupled := false
			switch name {
			case "AF":
				f.decoder, f.wired = notation[0], notation[1]-'0'
				coupled = f.decoder != 'A'
			case "SOF":
				f.decoder = 'S'
			default:
				f.primitives = parsePrimitives(notation)
				coupled = f.primitives[0].coupled
			}
			faults = append(faults, f.pairs(n, coupled)...)
		}
	}
	return faults
}

// pairs gives the fault with each other cell, or alone if it is of one cell.
func (f Fault) pairs(n int, coupled bool) []Fault {
	if !coupled {
		return []Fault{f}
	}
	var faults []Fault
	for other := range n {
		if other != f.Victim {
			f.Aggressor = other
			faults = append(faults, f)
		}
	}
	return faults
}

// A primitive is <S/F/R> or <Sa;Sv/F/R>.
type primitive struct {
	coupled           bool
	aggressor, victim sensitizer
	becomes           uint8
	reads             uint8 // unread where the primitive has no read of the victim
}

const unread = 0xFF

// A sensitizer is a state of a cell and what is done to it: r, w or T, or 0 for
// nothing.
type sensitizer struct {
	state, access byte
	value         uint8 // of a write
}

// parsePrimitives reads the notation of the table above, which it trusts.
func parsePrimitives(notation string) []primitive {
	var p []primitive
	for s := range strings.FieldsSeq(notation) {
		p = append(p, parsePrimitive(s))
	}
	return p
}

func parsePrimitive(s string) primitive {
	sensitizing, effect, _ := strings.Cut(strings.Trim(s, "<>"), "/")
	p := primitive{becomes: effect[0] - '0', reads: unread}
	if effect[2] != '-' {
		p.reads = effect[2] - '0'
	}
	victim := sensitizing
	if a, v, ok := strings.Cut(sensitizing, ";"); ok {
		p.coupled, p.aggressor, victim = true, parseSensitizer(a), v
	}
	p.victim = parseSensitizer(victim)
	return p
}

func parseSensitizer(s string) sensitizer {
	z := sensitizer{state: s[0] - '0'}
	if len(s) > 1 {
		z.access = s[1]
	}
	if len(s) > 2 {
		z.value = s[2] - '0'
	}
	return z
}
