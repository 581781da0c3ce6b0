package logic

import (
	"fmt"
	"maps"
	"slices"
	"sync"

	"chipassay/vectors/part"
)

// An Op is what a node of a circuit does with its inputs.
type Op uint8

// The operations. And to Nor take one input or more; Mux takes a selector and
// the values for 1 and for 0.
const (
	Const0 Op = iota
	Const1
	ConstX
	ConstZ
	Input // a pin's level from outside
	State // a bit of a register
	Buf
	Not
	And
	Nand
	Or
	Nor
	Xor
	Xnor
	Mux
)

func (o Op) String() string {
	return [...]string{"0", "1", "x", "z", "input", "state", "buf", "not", "and", "nand", "or", "nor", "xor", "xnor", "mux"}[o]
}

// MaxNodes bounds the expanded logic of one part.
const MaxNodes = 20_000

// A Node is one line of the logic model: an input, a gate or a state bit.
type Node struct {
	Op Op
	In []int32 // nodes, each with a lower number than this one, but for State
}

// An Output is what a pin drives, before its output stage.
type Output struct {
	Pin   int
	Node  int32
	Stage part.Stage
}

// A StateBit is one bit of a register.
type StateBit struct {
	Name string
	Node int32 // the State node that shows it
	Pin  int   // the output pin that is the bit, or 0
}

// A Register is a group of bits with the rules for their next value.
type Register struct {
	Name  string
	Bits  []int // indexes into Circuit.State, most significant first
	Rules []Rule
}

// A Rule is one line of a register, on nodes. The first rule that applies gives the next value.
type Rule struct {
	Edge  part.Edge
	Clock int32   // where Edge is not part.Level
	When  int32   // -1 for always
	Next  []int32 // one a bit, most significant first
}

// A Circuit is a part's function as gates and registers: the logic model that
// evaluation, fault simulation and export share.
type Circuit struct {
	Variant   *part.Variant
	Nodes     []Node
	Inputs    map[int]int32 // Input node of each pin that is read
	InputPins []int         // the keys of Inputs, ascending
	Outputs   []Output      // ascending by pin
	State     []StateBit
	Registers []Register
	Signals   []int32 // node of each signal of the definition, or -1
	Never     []int32 // nodes that are 1 for input combinations that must not be applied
	Stable    []Stable
	Together  []Stable // input pins that change in one step while a node is 1

	laidOut sync.Once
	gates   []gate // the nodes for evaluation
}

// layOut gives the circuit's nodes laid out for evaluation. The circuit must not change after it.
func (c *Circuit) layOut() []gate {
	c.laidOut.Do(func() { c.gates = layOut(c.Nodes) })
	return c.gates
}

// A TooLargeError says that a definition's logic expands past the limit.
type TooLargeError struct{ Number string }

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("part %s: its logic expands to more than %d gates; narrow its buses or products", e.Number, MaxNodes)
}

// A MemoryError says that a part is a memory: it has no logic to expand, and no
// vectors. What works on vectors must refuse it, or it would pass with nothing compared.
type MemoryError struct{ Variant *part.Variant }

func (e *MemoryError) Error() string {
	number, kind := e.Variant.Part.Number, e.Variant.Memory.Kind
	s := fmt.Sprintf("%s is a memory (%s) and has no vectors", number, kind)
	switch {
	case e.Variant.Refusal != "":
		return s + ", and the adapter must not power it"
	case kind.ROM():
		return fmt.Sprintf("%s: chipassay dump %s reads its contents", s, number)
	}
	return fmt.Sprintf("%s: chipassay test %s tests it by a march test", s, number)
}

// RefuseMemory gives a *MemoryError for a memory, nil for logic.
func RefuseMemory(v *part.Variant) error {
	if v.Memory == nil {
		return nil
	}
	return &MemoryError{v}
}

// compiler builds a circuit; equal nodes are made once.
type compiler struct {
	c    *Circuit
	made map[string]int32
	key  []byte
}

// Stable are input pins that must not change while a node is 1.
type Stable struct {
	Pins  part.Pins
	While int32
}

// Compile expands a variant's logic to gates. It gives a *MemoryError for a memory.
func Compile(v *part.Variant) (*Circuit, error) {
	if err := RefuseMemory(v); err != nil {
		return nil, err
	}
	k := &compiler{
		c:    &Circuit{Variant: v, Inputs: map[int]int32{}, Signals: make([]int32, len(v.Logic.Signals))},
		made: map[string]int32{},
	}
	for i, s := range v.Logic.Signals {
		k.c.Signals[i] = -1
		if s.Pin != 0 && (v.Pins[s.Pin-1].Role == part.Input || v.Pins[s.Pin-1].Role == part.Bidirectional) {
			k.c.Signals[i] = k.add(Input, nil)
			k.c.Inputs[s.Pin] = k.c.Signals[i]
		}
	}
	for _, r := range v.Logic.Registers {
		for _, bit := range r.Bits {
			s := v.Logic.Signals[bit]
			k.c.Signals[bit] = k.add(State, nil)
			k.c.State = append(k.c.State, StateBit{Name: s.Name, Node: k.c.Signals[bit], Pin: s.Pin})
		}
	}
	drives := map[int]int32{} // by pin
	for _, e := range v.Logic.Equations {
		bits := k.bits(e.Value)
		for i, t := range e.Targets {
			if pin := v.Logic.Signals[t].Pin; pin != 0 {
				drives[pin] = bits[i]
				if v.Pins[pin-1].Role == part.Bidirectional {
					continue // what is read there is the level outside
				}
			}
			k.c.Signals[t] = bits[i]
		}
		if len(k.c.Nodes) > MaxNodes {
			return nil, &TooLargeError{v.Part.Number}
		}
	}
	k.registers()
	for _, n := range v.Logic.Never {
		k.c.Never = append(k.c.Never, k.bits(n.When)[0])
	}
	for _, st := range v.Logic.Stable {
		k.c.Stable = append(k.c.Stable, k.stable(st.Signals, st.While))
	}
	for _, t := range v.Logic.Together {
		k.c.Together = append(k.c.Together, k.stable(t.Signals, t.While))
	}
	if len(k.c.Nodes) > MaxNodes {
		return nil, &TooLargeError{v.Part.Number}
	}
	for _, b := range k.c.State {
		if b.Pin != 0 {
			drives[b.Pin] = b.Node
		}
	}
	for _, p := range v.Pins {
		if n, ok := drives[p.Number]; ok && p.Observable() {
			k.c.Outputs = append(k.c.Outputs, Output{Pin: p.Number, Node: n, Stage: p.Stage})
		}
	}
	k.c.InputPins = slices.Sorted(maps.Keys(k.c.Inputs))
	k.c.prune()
	return k.c, nil
}

// CompileAll expands every variant of some parts.
func CompileAll(parts []*part.Part) (circuits []*Circuit, err error) {
	for _, p := range parts {
		for _, v := range p.Variants {
			c, err := Compile(v)
			if err != nil {
				return nil, err
			}
			circuits = append(circuits, c)
		}
	}
	return circuits, nil
}

// stable gives the pins among signals, and the node of a condition.
func (k *compiler) stable(signals []int, while part.Expr) Stable {
	c := Stable{While: k.bits(while)[0]}
	for _, s := range signals {
		if pin := k.c.Variant.Logic.Signals[s].Pin; pin != 0 {
			c.Pins = c.Pins.With(pin, true)
		}
	}
	return c
}

func (k *compiler) registers() {
	next := 0
	for _, r := range k.c.Variant.Logic.Registers {
		reg := Register{Name: r.Name}
		for range r.Bits {
			reg.Bits = append(reg.Bits, next)
			next++
		}
		for _, rule := range r.Rules {
			n := Rule{Edge: rule.Edge, When: -1, Next: k.bits(rule.Next)}
			if rule.Edge != part.Level {
				n.Clock = k.c.Signals[rule.Clock]
			}
			if rule.When != nil {
				n.When = k.bits(rule.When)[0]
			}
			reg.Rules = append(reg.Rules, n)
		}
		k.c.Registers = append(k.c.Registers, reg)
	}
}
