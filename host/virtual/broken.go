package virtual

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// newLogic makes the die of a logic part, with the defects that are in its logic.
func newLogic(v *part.Variant, defects []Defect) (*logic.Machine, error) {
	circuit, err := logic.Compile(v)
	if err != nil {
		return nil, err
	}
	b := breaker{v: v, c: circuit, edge: map[int]bool{}}
	for _, d := range defects {
		if err := b.damage(d); err != nil {
			return nil, fmt.Errorf("defect %q: %w", d, err)
		}
	}
	b.makeMasters()
	m := circuit.NewMachine()
	for _, f := range b.faults {
		m.Break(f, ^uint64(0))
	}
	return m, nil
}

// A breaker damages a circuit before a machine is made of it.
type breaker struct {
	v      *part.Variant
	c      *logic.Circuit
	faults []logic.CellFault // for the machine
	edge   map[int]bool      // registers whose flip-flops were exchanged
}

func (b *breaker) damage(d Defect) error {
	switch d.Kind {
	case BitIgnores, BitHolds, BitInverts, BitObeysAlways, BitObeysOtherEdge:
		return b.disobey(d)
	case DeadTerm:
		return b.killTerm(d)
	case CatchesOnes, EdgeTriggered:
		return b.exchange(d)
	}
	return nil
}

// pulsed reports whether a register is pulse-triggered.
func (b *breaker) pulsed(register int) bool {
	return slices.ContainsFunc(b.v.Logic.Registers[register].Rules, func(r part.Rule) bool { return r.Edge == part.Pulse })
}

// exchange replaces pulse-triggered flip-flops by edge-triggered ones, as if another part
// were in the package (a 74LS76 for a 7476), or the other way round.
func (b *breaker) exchange(d Defect) error {
	registers, err := b.registersOf(d.Name)
	if err != nil {
		return err
	}
	for _, r := range registers {
		switch {
		case (d.Kind == CatchesOnes) == b.pulsed(r):
			return fmt.Errorf("a good %s does so", b.v.Part.Number)
		case b.edge[r] || slices.ContainsFunc(b.faults, func(f logic.CellFault) bool { return f.Register == r }):
			return fmt.Errorf("%s has another defect of its rules", d.Name)
		}
		if err := b.c.MayCatchOnes(r); err != nil {
			return err
		}
		if b.edge[r] = true; d.Kind == CatchesOnes {
			_ = b.c.CatchOnes(r) // it may
		}
	}
	return nil
}

// makeMasters lets pulse-triggered flip-flops catch ones, as good ones do. Steps hold
// their inputs during the pulse, so this exposes a sequence that lets them change. A
// flip-flop with a broken rule, or without J and K inputs, follows its definition and
// takes its inputs as the pulse ends.
func (b *breaker) makeMasters() {
	for r := range b.v.Logic.Registers {
		broken := slices.ContainsFunc(b.faults, func(f logic.CellFault) bool { return f.Register == r })
		if b.pulsed(r) && !b.edge[r] && !broken {
			_ = b.c.CatchOnes(r)
		}
	}
}

// cellFaults are the faults that the defects of a register's bit are.
var cellFaults = map[DefectKind]logic.CellFaultKind{
	BitIgnores: logic.Ignores, BitHolds: logic.Holds, BitInverts: logic.Inverts, BitObeysAlways: logic.Obeys, BitObeysOtherEdge: logic.OtherEdge,
}

func (b *breaker) disobey(d Defect) error {
	register, bit, err := b.bitOf(d.Name, d.Number)
	if err != nil {
		return err
	}
	if b.edge[register] {
		return fmt.Errorf("%s has other flip-flops by another defect", d.Name)
	}
	rule, err := b.ruleOf(register, d.Rule)
	if err != nil {
		return err
	}
	switch r := b.c.Registers[register].Rules[rule]; {
	case d.Kind == BitObeysAlways && r.When < 0:
		return fmt.Errorf("rule %d of %s has no condition", rule+1, b.c.Registers[register].Name)
	case d.Kind == BitObeysOtherEdge && r.Edge == part.Level:
		return fmt.Errorf("rule %d of %s has no edge", rule+1, b.c.Registers[register].Name)
	}
	b.faults = append(b.faults, logic.CellFault{Register: register, Bit: bit, Rule: rule, Kind: cellFaults[d.Kind], Term: logic.AllTerms})
	return nil
}

// killTerm finds what a name refers to, and disables one of its product terms.
func (b *breaker) killTerm(d Defect) error {
	all := b.named(d.Name)
	if len(all) == 0 {
		return fmt.Errorf("a %s has no %s", b.v.Part.Number, d.Name)
	}
	if len(all[0]) > 1 {
		return fmt.Errorf("%s has %d bits: name one of them", d.Name, len(all[0]))
	}
	signal := all[0][0]
	node := b.c.Signals[signal] // of a bidirectional pin, what comes from outside
	for _, o := range b.c.Outputs {
		if o.Pin == b.v.Logic.Signals[signal].Pin {
			node = o.Node
		}
	}
	if node < 0 || b.c.KillProduct(node, d.Number) != nil {
		return fmt.Errorf("%s has no product term %d", d.Name, d.Number)
	}
	return nil
}

// named gives the signals of a register, a bus or one bit by its name in the definition,
// most significant first: an exact match first, then one that ignores case.
func (b *breaker) named(typed string) (all [][]int) {
	l := &b.v.Logic
	for _, fits := range []func(name string) bool{
		func(name string) bool { return name == typed },
		func(name string) bool { return name != typed && strings.EqualFold(name, typed) },
	} {
		for _, r := range l.Registers {
			if fits(r.Name) {
				all = append(all, r.Bits)
			}
		}
		for _, bus := range l.Buses {
			if fits(bus.Name) {
				all = append(all, bus.Bits)
			}
		}
		for i, s := range l.Signals {
			if fits(s.Name) {
				all = append(all, []int{i})
			}
		}
	}
	return all
}

// registerOf finds the register that has a signal for a bit, or -1.
func (b *breaker) registerOf(signal int) (register, bit int) {
	for i, r := range b.v.Logic.Registers {
		if bit := slices.Index(r.Bits, signal); bit >= 0 {
			return i, bit
		}
	}
	return -1, 0
}

// bitOf finds, in its register, a bit of what a name refers to; 0 is the least significant.
func (b *breaker) bitOf(typed string, number int) (register, bit int, err error) {
	widest := 0
	for _, bits := range b.named(typed) {
		if register, _ := b.registerOf(bits[0]); register < 0 {
			continue
		}
		if widest = max(widest, len(bits)); number < len(bits) {
			register, bit = b.registerOf(bits[len(bits)-1-number])
			return register, bit, nil
		}
	}
	if widest > 0 {
		return 0, 0, fmt.Errorf("%s has bits 0 to %d", typed, widest-1)
	}
	return 0, 0, b.noRegister(typed)
}

// registersOf gives the registers that hold what a name refers to.
func (b *breaker) registersOf(typed string) (registers []int, err error) {
	for _, bits := range b.named(typed) {
		for _, signal := range bits {
			if r, _ := b.registerOf(signal); r >= 0 && !slices.Contains(registers, r) {
				registers = append(registers, r)
			}
		}
		if len(registers) > 0 {
			return registers, nil
		}
	}
	return nil, b.noRegister(typed)
}

// noRegister lists the registers that there are.
func (b *breaker) noRegister(typed string) error {
	var names []string
	for _, r := range b.v.Logic.Registers {
		names = append(names, r.Name)
	}
	if len(names) == 0 {
		return fmt.Errorf("a %s remembers nothing", b.v.Part.Number)
	}
	return fmt.Errorf("%s is no register of a %s; it has %s", typed, b.v.Part.Number, strings.Join(names, ", "))
}

// ruleWords are words for what a rule does, each with the names of the pins that cause
// it, without bars and without the numbers of gates and pins.
var ruleWords = map[string][]string{
	"CLEAR":  {"CLR", "CD", "R", "MR", "RST"},
	"RESET":  {"CLR", "CD", "R", "MR", "RST"},
	"SET":    {"PRE", "PR", "S", "SD"},
	"PRESET": {"PRE", "PR", "S", "SD"},
	"LOAD":   {"LD", "PL", "PE"},
	"CLOCK":  {"CLK", "CK", "CP", "C"},
}

// called reports whether a word means a pin: its name, or one of ruleWords.
func called(pin, word string) bool {
	pin, word = bare(pin), bare(word)
	name := strings.Trim(pin, "0123456789")
	return pin == word || name == word || slices.Contains(ruleWords[word], name)
}

func bare(name string) string { return strings.TrimPrefix(strings.ToUpper(name), "/") }

// ruleOf finds a rule of a register by its number from 1, or by a word for a pin
// that its condition reads or, where no condition does, its clock.
func (b *breaker) ruleOf(register int, typed string) (rule int, err error) {
	r := &b.c.Registers[register]
	if n, err := strconv.Atoi(typed); err == nil {
		if n < 1 || n > len(r.Rules) {
			return 0, fmt.Errorf("%s has rules 1 to %d", r.Name, len(r.Rules))
		}
		return n - 1, nil
	}
	for _, read := range []func(logic.Rule) int32{
		func(rule logic.Rule) int32 { return rule.When },
		func(rule logic.Rule) int32 {
			if rule.Edge == part.Level {
				return -1
			}
			return rule.Clock
		},
	} {
		var found []string
		for i, candidate := range r.Rules {
			for pin := range b.c.Support(read(candidate)).All() {
				if called(b.v.Pins[pin-1].Name, typed) {
					rule, found = i, append(found, strconv.Itoa(i+1))
					break
				}
			}
		}
		switch len(found) {
		case 0:
			continue
		case 1:
			return rule, nil
		}
		return 0, fmt.Errorf("%s is read by the rules %s of %s: say which by its number", typed, strings.Join(found, ", "), r.Name)
	}
	return 0, fmt.Errorf("no rule of %s reads a pin %s; it has rules 1 to %d, in the order of its definition", r.Name, typed, len(r.Rules))
}

// NewChipOf gives a chip a die of its own, and the level at which each bit of its state
// comes up, for faults that no defect text describes.
func NewChipOf(t part.Type, die *logic.Machine, high func(bit int) bool, defects ...Defect) (*Chip, error) {
	return newChip(t, woken{die, high}, defects)
}

// woken is a die whose state comes up at given levels.
type woken struct {
	*logic.Machine
	high func(bit int) bool
}

func (w woken) PowerUp(uint64) {
	w.Wake(func(bit int) uint64 {
		if w.high(bit) {
			return ^uint64(0)
		}
		return 0
	})
}
