package fault

import (
	"math/bits"
	"slices"

	"chipassay/vectors/stimulus"
)

// Extents of a hunt.
const (
	huntTries    = 6       // trails tried side by side each time
	huntPatience = 20      // times that nothing new may be seen before the hunt ends
	huntMoves    = 4       // moves of a trail at first; more with each time that nothing was seen
	huntWork     = 600_000 // steps of panels, with which a hunt ends in any case
)

// A quarry is a panel of faults that a sequence does not show twice yet.
type quarry struct {
	panel       panel
	found       []*Evidence // of each fault
	per         int
	once, twice uint64 // lanes
}

func (q *quarry) all() uint64 { return ^uint64(0) >> (lanes - len(q.found)*q.per) }

// follow takes the panel through steps and gives how many lanes are shown for the
// first or the second time.
func (q *quarry) follow(steps []stimulus.Step) (news int) {
	for _, st := range steps {
		wrong := q.panel.step(st) & q.all() &^ q.twice
		if wrong == 0 {
			continue
		}
		news += bits.OnesCount64(wrong)
		q.twice |= wrong & q.once
		q.once |= wrong
	}
	return news
}

func (q *quarry) fork() *quarry {
	f := *q
	f.panel = q.panel.clone()
	return &f
}

// note writes down what was shown by step n.
func (q *quarry) note(n int) {
	for k, e := range q.found {
		mask := share(k, q.per)
		if q.once&mask == mask && e.Once == 0 {
			e.Once = n
		}
		if q.twice&mask == mask && e.Twice == 0 {
			e.Twice = n
		}
	}
}

// done reports whether every fault was shown twice.
func (q *quarry) done() bool { return q.twice == q.all() }

// Hunt goes on where the sequence ends and looks for steps that show the faults
// that it does not show, or not twice: of several trails at random, that which shows
// most is taken, again and again. It repeats with the sequence. Faults that were
// proven undetectable are not hunted.
func (x *Examination) Hunt() {
	if len(x.Circuit.Registers) == 0 {
		return
	}
	quarries := x.quarries()
	if len(quarries) == 0 {
		return
	}
	for _, q := range quarries {
		q.follow(x.Sequence.Steps)
	}
	trail := stimulus.Resume(x.Circuit, x.Sequence)
	idle, work, seed := 0, 0, uint64(0)
	for idle < huntPatience && work < huntWork && len(quarries) > 0 {
		var best *stimulus.Trail
		var reached []*quarry
		var leg Leg
		most := 0.0
		for range huntTries {
			seed++
			next := Leg{Seed: seed, Moves: huntMoves + idle}
			t := next.take(trail)
			var forks []*quarry
			news := 0
			for _, q := range quarries {
				f := q.fork()
				news += f.follow(t.Steps())
				forks = append(forks, f)
			}
			work += len(t.Steps()) * len(quarries)
			if worth := float64(news) / float64(len(t.Steps())+30); worth > most {
				best, reached, most, leg = t, forks, worth, next
			}
		}
		if best == nil {
			idle++
			continue
		}
		idle = 0
		trail = best
		x.Recipe.Legs = append(x.Recipe.Legs, leg)
		x.Sequence.Steps = append(x.Sequence.Steps, best.Steps()...)
		for _, q := range reached {
			q.note(len(x.Sequence.Steps))
		}
		quarries = slices.DeleteFunc(reached, (*quarry).done)
	}
}

// quarries makes panels of the faults to be hunted.
func (x *Examination) quarries() (all []*quarry) {
	per := perFault(x.Circuit)
	add := func(evidence []Evidence, skip func(i int) bool, build func(group []int) panel) {
		var open []int
		for i, e := range evidence {
			if e.Twice == 0 && !skip(i) {
				open = append(open, i)
			}
		}
		for group := range slices.Chunk(open, lanes/per) {
			q := &quarry{panel: build(group), per: per}
			for _, i := range group {
				q.found = append(q.found, &evidence[i])
			}
			all = append(all, q)
		}
	}
	add(x.lines, func(i int) bool { return x.lineProven[i] }, x.model.linePanel)
	rules := rulesFirst(x.cells)
	skip := func(i int) bool { return x.cellProven[i] }
	add(x.cell[:rules], skip, func(group []int) panel { return x.model.cellPanel(x.Circuit, x.cells[:rules], group) })
	add(x.cell[rules:], func(i int) bool { return skip(i + rules) }, func(group []int) panel { return x.model.cellPanel(x.Circuit, x.cells[rules:], group) })
	add(x.pin, func(i int) bool { return x.pins[i].Kind == Short }, func(group []int) panel { return pinPanel(x.Circuit, x.Family, x.pins, group) })
	return all
}
