// Package tied says what a part becomes when some of its inputs are held at a level
// or joined to others: the function that is left at each output, the parts of the
// library that have it, and how each input is tied in the part's family. It also goes
// the other way, from a function to the parts that give it with inputs tied.
package tied

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twin"
)

// A Tie holds an input at a level, or joins it to another input.
type Tie = twin.Tie

// A TieError is a tie that cannot be made.
type TieError struct{ Typed, Why string }

func (e *TieError) Error() string { return fmt.Sprintf("%s: %s", e.Typed, e.Why) }

// spaced are the spaces around the sign of a tie.
var spaced = regexp.MustCompile(`\s*=\s*`)

// Parse reads ties such as 1D=L, 2A=H or 1A=1B, each a word or several in one; L and H may
// be written 0 and 1, GND and VCC, and a pin by its number. The error is a *TieError.
func Parse(v *part.Variant, typed []string) (ties []Tie, err error) {
	words := strings.Fields(spaced.ReplaceAllString(strings.Join(typed, " "), "="))
	for _, word := range words {
		t, why := parse(v, word)
		if why == "" && slices.ContainsFunc(ties, func(o Tie) bool { return o.Pin == t.Pin }) {
			why = "this pin is tied twice"
		}
		if why != "" {
			return nil, &TieError{word, why}
		}
		ties = append(ties, t)
	}
	for i, t := range ties {
		if t.To != 0 && slices.ContainsFunc(ties, func(o Tie) bool { return o.Pin == t.To }) {
			return nil, &TieError{words[i], v.Pins[t.To-1].Name + " is tied as well: join both pins to the same one, or give both the level"}
		}
	}
	return ties, nil
}

var levels = map[string]bool{"H": true, "1": true, "HIGH": true, "VCC": true, "VDD": true, "L": false, "0": false, "LOW": false, "GND": false, "VSS": false}

func parse(v *part.Variant, word string) (t Tie, why string) {
	name, to, ok := strings.Cut(word, "=")
	if !ok || name == "" || to == "" {
		return t, "write PIN=LEVEL, such as 1D=L, 2A=H, or 1B=1A to join two inputs"
	}
	if t.Pin, why = inputNamed(v, name); why != "" {
		return t, why
	}
	if high, ok := levels[strings.ToUpper(strings.TrimSpace(to))]; ok {
		// A pin may be called H, L, 0 or 1; the level is meant then.
		t.High = high
		return t, ""
	}
	if p := named(v, to); p != nil && p.Role == part.Output {
		return t, p.Name + " is an output: a tie is a level or another input"
	}
	if t.To, why = inputNamed(v, to); why == "" && t.To == t.Pin {
		why = "a pin cannot be tied to itself"
	}
	return t, why
}

// named finds a pin by its name, or by its number where no pin has that for a name.
func named(v *part.Variant, name string) *part.Pin {
	name = strings.TrimSpace(name)
	for i, p := range v.Pins {
		if strings.EqualFold(p.Name, name) && p.Role != part.NoConnect {
			return &v.Pins[i]
		}
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(v.Pins) && v.Pins[n-1].Role != part.NoConnect {
		return &v.Pins[n-1]
	}
	return nil
}

// inputNamed finds an input by the name or the number of its pin.
func inputNamed(v *part.Variant, name string) (number int, why string) {
	p := named(v, name)
	switch {
	case p == nil:
		var inputs []string
		for _, p := range v.Pins {
			if p.Role == part.Input && p.Tied == part.NotTied {
				inputs = append(inputs, p.Name)
			}
		}
		return 0, fmt.Sprintf("there is no input %s; there are %s", strings.TrimSpace(name), strings.Join(inputs, " "))
	case p.Role == part.Bidirectional:
		return 0, p.Name + " is an output at times and must not be tied"
	case p.Role == part.Output:
		return 0, p.Name + " is an output: tied, it would be shorted"
	case p.Role != part.Input:
		return 0, fmt.Sprintf("%s is no input (%s)", p.Name, p.Role)
	case p.Opposite != 0:
		return 0, fmt.Sprintf("%s decides nothing without %s: the two of a balanced line are driven apart", p.Name, v.Pins[p.Opposite-1].Name)
	case p.Tied != part.NotTied:
		return 0, p.Name + " has its level from the definition already"
	}
	return p.Number, ""
}

// A Use is a part with inputs tied.
type Use struct {
	Circuit *logic.Circuit
	Ties    []Tie
	known   []logic.Value // of each node, whatever the other inputs and the state: Zero, One or X
	stands  map[int]int   // the pin that gives each joined pin its level
}

// Of ties inputs of a part. The error is a *logic.MemoryError of a memory, or a
// *TieError where the data sheet forbids what the ties make.
func Of(v *part.Variant, ties []Tie) (*Use, error) {
	c, err := logic.Compile(v)
	if err != nil {
		return nil, err
	}
	u := &Use{Circuit: c, Ties: ties, stands: map[int]int{}}
	for _, t := range ties {
		if t.To != 0 {
			u.stands[t.Pin] = t.To
		}
	}
	m := c.NewMachine()
	u.hold(m)
	m.Settle()
	u.known = make([]logic.Value, len(c.Nodes))
	for n := range c.Nodes {
		u.known[n] = m.Node(int32(n)).Lane(0)
	}
	for i, n := range c.Never {
		if u.known[n] == logic.One {
			return nil, &TieError{u.words(), "the data sheet forbids this: " + v.Logic.Never[i].Why}
		}
	}
	return u, nil
}

// words writes all ties.
func (u *Use) words() string {
	var all []string
	for _, t := range u.Ties {
		all = append(all, t.In(u.Circuit.Variant))
	}
	return strings.Join(all, " ")
}

// hold gives the inputs that have a level of their own theirs.
func (u *Use) hold(m *logic.Machine) {
	for _, p := range u.Circuit.Variant.Pins {
		if p.Tied != part.NotTied {
			m.Set(p.Number, logic.Splat(logic.FromBool(p.Tied == part.TiedHigh)))
		}
	}
	for _, t := range u.Ties {
		if t.To == 0 {
			m.Set(t.Pin, logic.Splat(logic.FromBool(t.High)))
		}
	}
}

// constant tells whether a node has one level, or one of release, whatever the inputs.
func (u *Use) constant(n int32) bool { return u.known[n] == logic.Zero || u.known[n] == logic.One }

// depends marks the nodes that a node still depends on, through registers too, and
// tells whether registers are among them.
func (u *Use) depends(from int32) (pins part.Pins, remembers bool) {
	c := u.Circuit
	pinOf := map[int32]int{}
	for pin, n := range c.Inputs {
		pinOf[n] = pin
	}
	registerOf := map[int32][2]int{} // register and bit of a state node
	for r, reg := range c.Registers {
		for i, b := range reg.Bits {
			registerOf[c.State[b].Node] = [2]int{r, i}
		}
	}
	seen := map[int32]bool{}
	for rest := []int32{from}; len(rest) > 0; {
		n := rest[len(rest)-1]
		rest = rest[:len(rest)-1]
		if n < 0 || seen[n] || u.constant(n) {
			continue
		}
		seen[n] = true
		node := c.Nodes[n]
		switch {
		case node.Op == logic.Input:
			pin := pinOf[n]
			if to := u.stands[pin]; to != 0 {
				pin = to
			}
			pins = pins.With(pin, true)
		case node.Op == logic.State:
			remembers = true
			at := registerOf[n]
			rest = append(rest, u.ruleNodes(c.Registers[at[0]], at[1])...)
		case node.Op == logic.Mux && u.constant(node.In[0]):
			if u.known[node.In[0]] == logic.One {
				rest = append(rest, node.In[1])
			} else {
				rest = append(rest, node.In[2])
			}
		default:
			rest = append(rest, node.In...)
		}
	}
	return pins, remembers
}

// ruleNodes are what the rules of a register that can still apply ask for, of one bit.
func (u *Use) ruleNodes(r logic.Register, bit int) (nodes []int32) {
	for _, rule := range r.Rules {
		if rule.When >= 0 && u.known[rule.When] == logic.Zero || rule.Edge != part.Level && u.constant(rule.Clock) {
			continue // it never applies
		}
		nodes = append(nodes, rule.When, rule.Next[bit])
		if rule.Edge != part.Level {
			nodes = append(nodes, rule.Clock)
		} else if rule.When < 0 || u.known[rule.When] == logic.One {
			return nodes // it always applies, before those that follow
		}
	}
	return nodes
}
