package substitute

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twin"
)

// twins adds parts that remember as the part does under other names, on other pins, with
// inputs tied, or with fewer or more of its flip-flops in a package.
func (l looker) twins(s *Substitutes, parts []*part.Part, taken map[*part.Variant]bool) {
	if len(l.test.Circuit.Registers) == 0 {
		return
	}
	for _, q := range parts {
		for _, v := range q.Variants {
			if taken[v] || v.Memory != nil || v.Refusal != "" || len(v.Logic.Registers) == 0 {
				continue
			}
			c, err := logic.Compile(v)
			if err != nil {
				continue
			}
			if fit, ok := l.test.Find(twin.Of(c)); ok {
				l.add(s, v, c, fit)
			}
		}
	}
}

// add lists a part that does the work as a fit says, unless it must be tied and its data
// sheet forbids what the part's allows.
func (l looker) add(s *Substitutes, v *part.Variant, c *logic.Circuit, fit twin.Fit) {
	ties := fit.Ties(v)
	if len(ties) > 0 && slices.ContainsFunc(fit.Breaches, func(b twin.Breach) bool { return !b.Pulse }) {
		return
	}
	var extra []Difference
	if len(ties) > 0 {
		var words []string
		for _, t := range ties {
			words = append(words, t.In(v))
		}
		extra = append(extra, Difference{Words: "tie " + strings.Join(words, " "), Change: true})
	} else {
		extra = moved(l.of.Variant, v)
	}
	if n := len(l.test.Units); fit.Units < n {
		extra = append(extra, Difference{Words: fmt.Sprintf("%d in a package, not %d", fit.Units, n), Change: true})
	}
	if fit.Missing != 0 {
		extra = append(extra, Difference{Words: fmt.Sprintf("no %s: an inverter where one is needed", names(l.of.Variant, fit.Missing)), Change: true})
	}
	pins := l.pairs(v, fit)
	if crossed := crossed(v, pins); crossed != "" {
		extra = append(extra, Difference{Words: "names cross, as " + crossed, Change: true})
	}
	extra = append(extra, l.trigger(c, fit)...)
	for _, one := range l.byFamily(v, extra) {
		one.Pins, one.ties, one.fewer = pins, len(ties), len(l.test.Units)-fit.Units
		if len(ties) > 0 {
			s.WithTies = append(s.WithTies, one)
		} else {
			s.OtherPins = append(s.OtherPins, one)
		}
	}
}

// names are those of pins, in order.
func names(v *part.Variant, pins part.Pins) string {
	var names []string
	for pin := range pins.All() {
		names = append(names, v.Pins[pin-1].Name)
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// pairs gives the substitute's pins for the part's by name; nil where all have the same.
func (l looker) pairs(v *part.Variant, fit twin.Fit) map[string]string {
	pairs, differ := map[string]string{}, false
	pair := func(of, to int) {
		name, other := l.of.Variant.Pins[of-1].Name, v.Pins[to-1].Name
		if pairs[name] != "" {
			other = pairs[name] + " " + other
		}
		pairs[name], differ = other, differ || name != other
	}
	for _, p := range v.Pins {
		if takes := fit.Takes[p.Number]; takes > 0 {
			pair(takes, p.Number)
		}
	}
	for of, to := range fit.Gives {
		pair(of, to)
	}
	if !differ {
		return nil
	}
	return pairs
}

// crossed names one of the pins whose name is that of another pin of the substitute.
func crossed(v *part.Variant, pins map[string]string) string {
	for _, name := range slices.Sorted(maps.Keys(pins)) {
		if to := pins[name]; !slices.Contains(strings.Fields(to), name) && v.Pin(name) != nil && v.Pin(name).Signal() {
			return name + " to " + to
		}
	}
	return ""
}

// timing says what differs in when a part takes its inputs; to gives its pin for each of
// the part's, 0 for none.
func (l looker) timing(v *part.Variant, to func(int) int) []Difference {
	c, err := logic.Compile(v)
	if err != nil || len(c.Registers) == 0 {
		return nil
	}
	fit := twin.Fit{Takes: map[int]int{}, Gives: map[int]int{}}
	for _, p := range l.of.Variant.Pins {
		switch n := to(p.Number); {
		case n == 0:
		case p.Role == part.Input:
			fit.Takes[n] = p.Number
		case p.Role == part.Bidirectional:
			return nil // a walk does not drive them
		}
	}
	fit.Breaches, _ = l.test.Walk(c, fit)
	return l.trigger(c, fit)
}

// trigger says what a part's clocks ask for that those of the other do not.
func (l looker) trigger(c *logic.Circuit, fit twin.Fit) (all []Difference) {
	for _, b := range fit.Breaches {
		d := Difference{Words: b.Why, Change: true}
		switch {
		case b.Pulse:
			d.Words = "pulse-triggered: its inputs must be steady while the clock is high"
		case b.Held != 0:
			d.Words, d.rule = fmt.Sprintf("%s must not change while %s", names(c.Variant, b.Held), b.While), b.Rule
		}
		all = append(all, d)
	}
	if edges := edgesOf(c); edgesOf(l.test.Circuit)[part.Pulse] && !edges[part.Pulse] {
		words := "edge-triggered: takes its inputs as the clock falls, not throughout the pulse"
		if edges[part.Rise] {
			words = "data lock-out: takes its inputs as the clock rises, not throughout the pulse"
		}
		all = append(all, Difference{Words: words})
	}
	return all
}

// edgesOf are the edges at which a circuit's registers act.
func edgesOf(c *logic.Circuit) map[part.Edge]bool {
	edges := map[part.Edge]bool{}
	for _, r := range c.Registers {
		for _, rule := range r.Rules {
			edges[rule.Edge] = true
		}
	}
	return edges
}
