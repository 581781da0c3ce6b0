package tied

import (
	"slices"

	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Way is a gate of a part that gives a function with inputs tied.
type Way struct {
	Gate
	// Takes gives, for each of the gate's inputs, the input of the function that it
	// takes, from 0, or a level: TakesLow, TakesHigh.
	Takes []int
}

// What an input takes that takes no input of the function.
const (
	TakesLow  = -1
	TakesHigh = -2
)

// Ties are those of the way: inputs that are held, or take what another takes.
func (w Way) Ties() (ties []Tie) {
	first := map[int]int{}
	for i, takes := range w.Takes {
		switch to, joined := first[takes]; {
		case takes < 0:
			ties = append(ties, Tie{Pin: w.Inputs[i], High: takes == TakesHigh})
		case joined:
			ties = append(ties, Tie{Pin: w.Inputs[i], To: to})
		default:
			first[takes] = w.Inputs[i]
		}
	}
	return ties
}

// Of gives the pin that takes an input of the function.
func (w Way) Of(input int) int { return w.Inputs[slices.Index(w.Takes, input)] }

// Independent counts the outputs of the part that give the function so, each from
// inputs of its own: those that take a level are shared.
func (w Way) Independent() (n int) {
	var held, used part.Pins
	for _, t := range w.Ties() {
		held = held.With(t.Pin, t.To == 0)
	}
	for _, inputs := range w.Alike {
		own := part.PinSet(inputs...) &^ held
		if own&used == 0 {
			used |= own
			n++
		}
	}
	return n
}

// Find gives the ways to a function, the fewest ties first, one a part, of the variants that
// are wanted; nil for all. It stops at limit ways; 0 for all. The function depends on all its
// inputs.
func (c *Catalogue) Find(f twolevel.Function, limit int, want func(*part.Variant) bool) (ways []Way) {
	seen := map[*part.Part]bool{}
	for _, g := range c.gates {
		if len(g.Inputs) < f.Inputs || seen[g.Variant.Part] || want != nil && !want(g.Variant) {
			continue
		}
		if takes, ok := assign(g.Is, f); ok {
			seen[g.Variant.Part] = true
			if ways = append(ways, Way{g, takes}); len(ways) == limit {
				break
			}
		}
	}
	return ways
}

// FindEach gives a way for each gate that has one, the fewest ties first: of a part
// with several kinds of gates several, and of a part in several variants each.
func (c *Catalogue) FindEach(f twolevel.Function) (ways []Way) {
	if f.Inputs > maxWanted {
		for _, g := range c.Same(f) {
			if takes, ok := assign(g.Is, f); ok {
				ways = append(ways, Way{g, takes})
			}
		}
		return ways
	}
	for _, g := range c.gates {
		if len(g.Inputs) < f.Inputs || len(g.Inputs) > f.Inputs+maxTies {
			continue
		}
		if takes, ok := assign(g.Is, f); ok {
			ways = append(ways, Way{g, takes})
		}
	}
	return ways
}

// maxTies bounds the ties that anybody would make for a gate.
const maxTies = 6

// maxTried bounds the assignments that are looked at for one gate.
const maxTried = 20_000

// assign gives every input of a gate a level or an input of the function, so that the
// gate becomes the function. It goes through the inputs and stops wherever the rows
// of the gate's table that are still possible contradict a row of the function.
func assign(gate, f twolevel.Function) (takes []int, ok bool) {
	order := byInfluence(gate)
	a := assignment{gate: reordered(gate, order), f: f, takes: make([]int, gate.Inputs)}
	if !a.from(0) {
		return nil, false
	}
	takes = make([]int, gate.Inputs)
	for i, input := range order {
		takes[input] = a.takes[i]
	}
	return takes, true
}

// byInfluence gives the inputs in the order of how many rows they change: a strobe
// comes before the data that it lets through, so that a wrong start is seen early.
func byInfluence(f twolevel.Function) (order []int) {
	influence := make([]int, f.Inputs)
	for i := range f.Inputs {
		order = append(order, i)
		for row := range 1 << f.Inputs {
			if f.Level(row) != f.Level(row^1<<i) {
				influence[i]++
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return influence[b] - influence[a] })
	return order
}

type assignment struct {
	gate, f twolevel.Function
	takes   []int
	tried   int
}

// from gives the inputs from i on theirs.
func (a *assignment) from(i int) bool {
	if a.tried++; a.tried > maxTried {
		return false
	}
	unused := 0
	for input := range a.f.Inputs {
		if !slices.Contains(a.takes[:i], input) {
			unused++
		}
	}
	if unused > a.gate.Inputs-i || !a.possible(i) {
		return false
	}
	if i == a.gate.Inputs {
		return true
	}
	choices := []int{TakesLow, TakesHigh} // ground takes no resistor in any family
	for input := range a.f.Inputs {
		choices = append(choices, input)
	}
	if unused > 0 { // inputs that are still to be used come first
		slices.SortStableFunc(choices, func(x, y int) int { return a.rank(i, x) - a.rank(i, y) })
	}
	for _, choice := range choices {
		a.takes[i] = choice
		if a.from(i + 1) {
			return true
		}
	}
	return false
}

// rank orders choices: inputs of the function that are not used, levels, used inputs.
func (a *assignment) rank(i, choice int) int {
	switch {
	case choice < 0:
		return 1
	case slices.Contains(a.takes[:i], choice):
		return 2
	}
	return 0
}

// possible tells whether, with the first n inputs given theirs, every row of the
// function still has a row of the gate that agrees.
func (a *assignment) possible(n int) bool {
	free := a.gate.Inputs - n
	for row := range 1 << a.f.Inputs {
		want := a.f.Level(row)
		at := 0
		for i, takes := range a.takes[:n] {
			if takes == TakesHigh || takes >= 0 && row>>takes&1 != 0 {
				at |= 1 << i
			}
		}
		agrees := want == twolevel.Either
		for rest := 0; !agrees && rest < 1<<free; rest++ {
			agrees = a.gate.Level(at|rest<<n) == want
		}
		if !agrees {
			return false
		}
	}
	return true
}
