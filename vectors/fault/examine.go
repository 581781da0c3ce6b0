package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// An Examination is what a sequence shows of every fault of every model.
type Examination struct {
	Circuit  *logic.Circuit
	Family   *part.Family
	Sequence *stimulus.Sequence

	model *Model
	lines []Evidence // of model.Classes
	cells []Cell
	cell  []Evidence // of cells
	pins  []Fault
	pin   []Evidence // of pins

	Recipe Recipe

	lineProven, cellProven []bool             // undetectable
	tooMany                map[int]bool       // components with too many states to go through
	tooManyIn              map[part.Pins]bool // slices likewise, by their outputs
	lost                   int                // searches that came to no end
}

// Examine simulates every fault of every model on a sequence.
func Examine(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) *Examination {
	x := &Examination{Circuit: c, Family: f, Sequence: s, model: NewModel(c), pins: PinFaults(c.Variant)}
	x.cells = x.model.Cells(c)
	x.lines = x.model.evidence(s)
	x.cell = x.model.cellEvidence(c, x.cells, s)
	x.pin = pinEvidence(c, f, s, x.pins)
	x.lineProven, x.cellProven = make([]bool, len(x.lines)), make([]bool, len(x.cells))
	return x
}

// Complete makes the most of a sequence: it leaves out what shows nothing new,
// looks for steps that show what is left, and proves what no steps can show.
func Complete(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) *Examination {
	x := Examine(c, f, s)
	x.Trim()
	x.Recipe.Cut = len(s.Steps)
	x.proveIdle()
	x.proveRest(inSlice) // before the hunt, which would look for them in vain
	x.Hunt()
	x.proveRest(anywhere)
	s.Hunted(x.Recipe.Cut)
	return x
}

// all goes through the evidence of every fault.
func (x *Examination) all(visit func(Evidence)) {
	for _, list := range [][]Evidence{x.lines, x.cell, x.pin} {
		for _, e := range list {
			visit(e)
		}
	}
}

// needed is the step up to which every fault that the sequence shows is shown, by
// two steps where there are two.
func (x *Examination) needed() (last int) {
	x.all(func(e Evidence) { last = max(last, e.Once, e.Twice) })
	return last
}

// shown is the step up to which every fault that the sequence shows is shown once.
func (x *Examination) shown() (last int) {
	x.all(func(e Evidence) { last = max(last, e.Once) })
	return last
}

// Unseen lists the faults of single pins that no step shows.
func (x *Examination) Unseen() (unseen []Fault) {
	for i, e := range x.pin {
		if e.Once == 0 && x.pins[i].Kind != Short {
			unseen = append(unseen, x.pins[i])
		}
	}
	return unseen
}

// Trim shortens the random walk of a part that remembers: what comes after the
// step that shows the last fault of the models a second time shows nothing new.
// Half as much again is kept, for defects that no model has. Sequences of other
// kinds, and short ones, stay as they are.
func (x *Examination) Trim() {
	if len(x.Circuit.Registers) == 0 || len(x.Sequence.Steps) < 1000 {
		return
	}
	last := max(x.Sequence.Fixed, x.needed())
	x.Sequence.Cut(last + last/2)
}

// A Recipe makes of a sequence, as stimulus.For gives it, what Complete made of it,
// without simulating a fault.
type Recipe struct {
	Cut  int   `json:"cut"` // steps that are kept
	Legs []Leg `json:"legs,omitempty"`
}

// A Leg goes on where the sequence ends: by moves of a trail with a random seed, or
// by changes of pins.
type Leg struct {
	Seed  uint64      `json:"seed,omitempty"`
	Moves int         `json:"moves,omitempty"`
	Way   []part.Pins `json:"way,omitempty"`
}

// take goes a leg from where a trail stands.
func (l Leg) take(from *stimulus.Trail) *stimulus.Trail {
	t := from.Fork(l.Seed)
	if l.Way != nil {
		t.Follow(l.Way)
	} else {
		t.Explore(l.Moves)
	}
	return t
}

// Follow makes a sequence what the recipe says.
func (r Recipe) Follow(c *logic.Circuit, s *stimulus.Sequence) {
	if r.Cut < len(s.Steps) {
		s.Cut(r.Cut)
	}
	if len(r.Legs) == 0 {
		return
	}
	trail := stimulus.Resume(c, s)
	before := len(s.Steps)
	for _, leg := range r.Legs {
		trail = leg.take(trail)
		s.Steps = append(s.Steps, trail.Steps()...)
	}
	s.Hunted(before)
}
