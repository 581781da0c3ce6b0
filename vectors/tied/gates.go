package tied

import (
	"cmp"
	"errors"
	"slices"
	"strconv"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Gate is one output of a part that is a function of inputs, and always driven or
// a wired-AND output.
type Gate struct {
	Variant *part.Variant
	Pin     int
	Stage   part.Stage
	Inputs  []int // pins that the function depends on, by name
	Is      twolevel.Function
	Alike   [][]int // the inputs of all outputs of the part that are of this function
	Pure    bool    // all outputs of the part are of this function
	key     string
}

// A Catalogue is the gates of many parts, one of each function a part, and the parts that
// remember.
type Catalogue struct {
	gates    []Gate
	remember []*part.Variant
}

// Catalogued lists the gates of parts, memories left out: those of least inputs
// first, then those with an output that drives both ways, then of parts with fewest
// pins, then by number.
func Catalogued(parts []*part.Part) (*Catalogue, error) {
	var c Catalogue
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal != "" || v.Memory != nil {
				continue
			}
			if len(v.Logic.Registers) > 0 {
				c.remember = append(c.remember, v)
			}
			gates, err := Gates(v)
			if err != nil {
				return nil, err
			}
			c.gates = append(c.gates, gates...)
		}
	}
	slices.SortStableFunc(c.gates, func(a, b Gate) int {
		return cmp.Or(
			cmp.Compare(len(a.Inputs), len(b.Inputs)),
			cmp.Compare(stageRank(a.Stage), stageRank(b.Stage)),
			cmp.Compare(a.pureRank(), b.pureRank()),
			cmp.Compare(len(a.Variant.Pins), len(b.Variant.Pins)),
			cmp.Compare(outdated(a.Variant.Part), outdated(b.Variant.Part)),
			cmp.Compare(number(a.Variant.Part), number(b.Variant.Part)))
	})
	return &c, nil
}

// outdated is 1 for parts of DTL alone, which nobody takes for a new function.
func outdated(p *part.Part) int {
	if slices.ContainsFunc(p.Families(), func(f *part.Family) bool { return f.Technology != part.DTL }) {
		return 0
	}
	return 1
}

// stageRank puts outputs that need a pull-up last.
func stageRank(s part.Stage) int {
	if s == part.OpenCollector || s == part.OpenEmitter {
		return 1
	}
	return 0
}

func number(p *part.Part) int {
	n, _ := strconv.Atoi(p.Number)
	return n
}

// Gates gives a part's gates, the first of those that are alike.
func Gates(v *part.Variant) (gates []Gate, err error) {
	u, err := Of(v, nil)
	var forbidden *TieError
	switch {
	case errors.As(err, &forbidden):
		return nil, nil
	case err != nil:
		return nil, err
	}
	outputs := 0
	byName := slices.Clone(u.Circuit.Outputs)
	slices.SortFunc(byName, func(a, b logic.Output) int { return compareNames(v, a.Pin, b.Pin) })
	for _, o := range byName {
		pins, remembers := u.depends(o.Node)
		if p := v.Pins[o.Pin-1]; remembers || pins.Len() > maxKeyed || p.Untested != "" || p.Role != part.Output {
			continue
		}
		inputs := slices.Collect(pins.All())
		sortByName(v, inputs)
		levels := u.table(o.Node, inputs)
		if slices.Contains(levels, logic.Z) {
			continue
		}
		f, kept := reduced(functionOf(len(inputs), levels))
		if f.Inputs == 0 {
			continue
		}
		g := Gate{Variant: v, Pin: o.Pin, Stage: o.Stage, Is: f, key: key(f)}
		for _, i := range kept {
			g.Inputs = append(g.Inputs, inputs[i])
		}
		outputs++
		i := slices.IndexFunc(gates, func(o Gate) bool { return g.key != "" && o.key == g.key })
		if i < 0 {
			gates, i = append(gates, g), len(gates)
		}
		gates[i].Alike = append(gates[i].Alike, g.Inputs)
	}
	for i := range gates {
		gates[i].Pure = len(gates) == 1 && outputs == len(u.Circuit.Outputs)
	}
	return gates, nil
}

// Same gives the gates that are a function without a tie, but for the order of inputs,
// those of the plainest parts first.
func (c *Catalogue) Same(f twolevel.Function) (gates []Gate) {
	f, _ = reduced(f)
	k := key(f)
	if k == "" || f.Inputs == 0 {
		return nil
	}
	for _, g := range c.gates {
		if g.key == k {
			gates = append(gates, g)
		}
	}
	slices.SortStableFunc(gates, func(a, b Gate) int { return cmp.Compare(a.pureRank(), b.pureRank()) })
	return gates
}

// pureRank puts parts of one function before those that have it among others, and
// plain gates before what has hysteresis, or further pins that must be wired: the sources
// of a 4007.
func (g Gate) pureRank() int {
	wired := func(p part.Pin) bool { return p.Tied != part.NotTied }
	switch {
	case !g.Pure:
		return 2
	case slices.ContainsFunc(g.Variant.Pins, wired):
		return 1
	case g.Variant.Part.Kind == "schmitt" || g.Variant.Pins[g.Inputs[0]-1].Schmitt:
		return 1
	}
	return 0
}
