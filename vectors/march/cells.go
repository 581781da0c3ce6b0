package march

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A cause is what a fault model says of a cell's failed reads.
type cause struct {
	kind  Kind
	words string
}

// few is how many single cells are named one by one.
const few = 8

// single says what is wrong with the cells that are in no line.
func (c *classifier) single() {
	left := c.failed(func(cell, *evidence) bool { return true })
	causes := map[cell]cause{}
	for _, at := range left {
		causes[at] = c.cause(c.cells[at])
	}
	if len(left) > few {
		c.scattered(left, causes)
		return
	}
	if len(left) == 2 && (causes[left[0]].kind == Coupling && causes[left[1]].kind == Coupling || c.areJoined(left[0], left[1])) {
		a, b := left[0], left[1]
		c.find(Finding{Kind: Coupling, Bit: -1}, left, "the cells at %s and %s disturb each other", c.at(a), c.at(b))
		return
	}
	for _, at := range left {
		c.find(Finding{Kind: causes[at].kind, Bit: at.bit}, []cell{at}, "the cell at %s %s", c.at(at), causes[at].words)
	}
}

// scattered describes many single cells at once. Of a dynamic memory those that go
// wrong to one level only have lost their charge, the usual reason there.
func (c *classifier) scattered(cells []cell, causes map[cell]cause) {
	forget, fade, restless := 0, 0, 0 // cells
	for _, at := range cells {
		switch causes[at].kind {
		case Retention:
			forget++
		case Coupling:
			restless++
		}
		if e := c.cells[at]; e.seen[0] != e.seen[1] {
			fade++
		}
	}
	where := fmt.Sprintf("%d cells scattered over the array, the first at %s,", len(cells), c.at(cells[0]))
	switch {
	case forget*2 > len(cells):
		c.find(Finding{Kind: Retention, Bit: -1}, cells, "%s forget during the wait: leakage, or refresh that does not reach them", where)
	case fade*2 > len(cells) && c.Multiplexed:
		c.find(Finding{Kind: Retention, Bit: -1}, cells, "%s do not hold their charge: leakage, or refresh that does not reach them", where)
	case restless*2 > len(cells):
		c.find(Finding{Kind: Scattered, Bit: -1}, cells, "%s do not keep what was written: weak cells, or the supply", where)
	default:
		c.find(Finding{Kind: Scattered, Bit: -1}, cells, "%s fail", where)
	}
}

func (c *classifier) at(at cell) string {
	s := fmt.Sprintf("address 0x%0*X", (c.lines()+3)/4, c.AtPins(at.address))
	if c.Bits > 1 {
		s += fmt.Sprintf(" bit %d", at.bit)
	}
	return s
}

// cause finds the fault whose simulation fails in the same reads. Faults of the
// cell alone come before those that need another.
func (c *classifier) cause(e *evidence) cause {
	if !e.awake {
		return cause{Retention, fmt.Sprintf("forgets during the wait: it reads %d", e.wrong())}
	}
	if !e.solid {
		return cause{Coupling, "is disturbed by another bit of its word: it fails only where they differ"}
	}
	marks := slices.SortedFunc(slices.Values(e.marks), mark.compare)
	key := fmt.Sprint(marks)
	if known, ok := c.causes[key]; ok {
		return known
	}
	c.causes[key] = c.match(marks)
	return c.causes[key]
}

func (m mark) compare(n mark) int {
	return cmp.Or(cmp.Compare(m.background, n.background), m.element-n.element, int(m.expected)-int(n.expected))
}

// The words for the fault models that a single cell is compared with, in the
// order of trial. Sure ones are those that would have failed so whatever the
// cells held at first; else a chance content would explain too much.
var singleCell = []struct {
	model, notation string
	sure            bool
	words           string
}{
	{"SAF", "<1/0/->", false, "is stuck at 0"},
	{"SAF", "<0/1/->", false, "is stuck at 1"},
	{"TF", "<0w1/0/->", false, "cannot go from 0 to 1"},
	{"TF", "<1w0/1/->", false, "cannot go from 1 to 0"},
	{"SOF", "stuck open", false, "is not reached: open select or bit line"},
	{"DRDF", "<0r0/1/0>", true, "loses a 0 when it is read"},
	{"DRDF", "<1r1/0/1>", true, "loses a 1 when it is read"},
	{"WDF", "<0w0/1/->", true, "loses a 0 when 0 is written again"},
	{"WDF", "<1w1/0/->", true, "loses a 1 when 1 is written again"},
}

// The fault models of two cells, in the order of trial; those of the first group
// are named with what the other cell does.
var (
	disturbing = []string{"CFid", "CFin"}
	otherPairs = []string{"CFst", "CFds", "CFtr", "CFwd", "CFrd", "CFdr", "CFir"}
)

// The simulated memory that a cell is compared with: the middle cell of three.
const (
	simulated = 3
	middle    = 1
)

func (c *classifier) match(marks []mark) cause {
	for _, s := range singleCell {
		for _, f := range Faults(s.model, simulated) {
			if f.Victim == middle && s.notation == f.Notation && c.shows(f, s.sure, marks) {
				return cause{Cell, s.words}
			}
		}
	}
	for _, model := range disturbing {
		var words []string
		for _, f := range Faults(model, simulated) {
			if f.Victim != middle || !c.shows(f, false, marks) {
				continue
			}
			does := "falls"
			if f.primitives[0].aggressor.value == 1 {
				does = "rises"
			}
			words = append(words, fmt.Sprintf("when a cell at a %s address %s", side(f), does))
		}
		if words != nil {
			return cause{Coupling, "is disturbed " + strings.Join(words, ", or ")}
		}
	}
	for _, model := range otherPairs {
		sides := map[string]bool{}
		for _, f := range Faults(model, simulated) {
			if f.Victim == middle && c.shows(f, false, marks) {
				sides[side(f)] = true
			}
		}
		if len(sides) == 1 {
			for s := range sides {
				return cause{Coupling, "is disturbed by a cell at a " + s + " address"}
			}
		}
		if len(sides) > 1 {
			break
		}
	}
	return cause{Coupling, "is disturbed by another cell"}
}

func side(f Fault) string {
	if f.Aggressor < f.Victim {
		return "lower"
	}
	return "higher"
}

// areJoined says whether two cells failed as if each always became what is
// written to the other.
func (c *classifier) areJoined(a, b cell) bool {
	const joined = "<0w1;0/1/-> <1w0;1/0/->"
	f := Fault{Victim: middle, primitives: parsePrimitives(joined)}
	below, above := f, f
	below.Aggressor, above.Aggressor = middle-1, middle+1
	first := func(a, b cell) bool { // in the address order
		return c.shows(above, false, c.cells[a].marks) && c.shows(below, false, c.cells[b].marks)
	}
	return a.address != b.address && (first(a, b) || first(b, a))
}

// shows says whether a fault fails in exactly these reads, with some content of
// the cells at first, or with every one. Only runs in which the cell failed are
// compared: whether there were others is not reported.
func (c *classifier) shows(f Fault, always bool, marks []mark) bool {
	runs := map[uint32][]mark{}
	for _, m := range marks {
		runs[m.background] = append(runs[m.background], m)
	}
	for _, observed := range runs {
		if !c.showsInRun(f, always, observed) {
			return false
		}
	}
	return true
}

func (c *classifier) showsInRun(f Fault, always bool, observed []mark) bool {
	slices.SortFunc(observed, mark.compare)
	matches := 0
	const contents = 1 << (simulated + 1) // with the sense amplifier's
	for content := range uint(contents) {
		var predicted []mark
		newMemory(f, simulated, content>>1, uint8(content&1)).run(c.test, 0, observed[0].inverted, func(element, address int, expected uint8) bool {
			m := mark{observed[0].background, observed[0].inverted, element, expected}
			if address == f.Victim && !slices.Contains(predicted, m) {
				predicted = append(predicted, m)
			}
			return true
		})
		slices.SortFunc(predicted, mark.compare)
		if slices.Equal(predicted, observed) {
			matches++
		}
	}
	return matches == contents || matches > 0 && !always
}
