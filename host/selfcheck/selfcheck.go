// Package selfcheck is the adapter's check of itself with an empty socket. What is
// wrong is named by the references of the netlist (firmware/carrier): "R305, 10 kΩ
// bias resistor at L5, is open, or U21 pin 4 (QE) is open".
//
// It is a comparison with predictions. A plan of conditions (plan.go) pulls and
// drives each position alone and against the others, closes each switch alone, and
// puts the supply on each high-side switch with known resistors as its load. What a
// board of the netlist reads under each condition is calculated (circuit.go), and so
// is what one with any single defect reads (defect.go): all opens, missing, wrong and
// turned parts and all solder between neighbours. Where the readings differ from
// those of a good board, the defects that would give exactly these readings are named:
// all that cannot be told apart. Defects at different positions do not disturb each
// other. What nothing explains is reported as read.
//
// The order is the safe one: nothing driven; bias and loads; one position driven after
// the other; switches to ground; only then the supply, and not at a position where
// anything was wrong.
package selfcheck

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// ErrOccupied is a socket with something in it.
var ErrOccupied = errors.New("something is in the socket")

// A check is one run.
type check struct {
	bench
	options Options
	groups  []carrier.Group // that are fitted, as found or stated
	found   fitted
	model   *model
	result  result
	blamed  [fields]int // what the adapter found of itself, as far as a fault was named for it
	pending func()      // adds a fault of a converter's reference, if nothing else is wrong with that
	faults  [kinds][]Fault
	good    [kinds]string
	left    [kinds]string // why something was not checked

	all, done int // conditions, and of them those that were looked at
}

// Options are what the user states about the board, and who wants to know how far the check is.
type Options struct {
	Building bool          // it is being built, and these groups are soldered in:
	Group    carrier.Group // this one and those before it

	Progress func(done float64) // is called with the share that was looked at, up to 1; nil for nobody
}

// Built are the options for a board whose group of this name was soldered in last; empty
// is a board that is finished.
func Built(group string) (Options, error) {
	if group == "" {
		return Options{}, nil
	}
	groups, err := carrier.ParseGroups([]string{group})
	if err != nil {
		return Options{}, err
	}
	return Options{Building: true, Group: groups[len(groups)-1]}, nil
}

// Check checks the adapter. The socket must be empty: ErrOccupied says what was
// seen where it is not. The socket is safe when it returns.
func Check(ctx context.Context, a *adapter.Adapter, options Options) (*Report, error) {
	return checked(ctx, a, options, func(groups []carrier.Group) *model { return newModel(carrier.New().Fitted(groups...)) })
}

// checked is Check with a source of models.
func checked(ctx context.Context, a *adapter.Adapter, options Options, modelOf func([]carrier.Group) *model) (*Report, error) {
	c := &check{bench: bench{ctx: ctx, adapter: a}, options: options, found: foundBy(&a.Capabilities)}
	if !strings.Contains(a.Capabilities.Board, "revision B") {
		return nil, fmt.Errorf("%w be checked: only boards of revision B are known, not %q", adapter.ErrCannot, a.Capabilities.Board)
	}
	reference := a.Capabilities.Reference
	defer func() { a.Capabilities.Reference = reference }()
	c.groups = c.fittedGroups()
	c.model = modelOf(c.groups)
	c.judgeFitted(biasField, loadField, converter1Field, converter2Field, monitorField)
	if err := c.run(); err != nil {
		return nil, err
	}
	return c.report(), nil
}

// starterSwitches are the positions with a switch in the starter.
var starterSwitches = adapter.At(7, 8, 28)

// fittedGroups are the groups of which anything was found, and those that the user stated.
func (c *check) fittedGroups() []carrier.Group {
	if c.options.Building {
		all := carrier.AllGroups()
		return all[:slices.Index(all, c.options.Group)+1]
	}
	if c.found.bias == 0 { // then it finds nothing, whatever there is
		return carrier.AllGroups()
	}
	groups := []carrier.Group{carrier.Starter}
	for _, g := range []struct {
		group carrier.Group
		found bool
	}{
		{carrier.Load, c.found.load != 0},
		{carrier.FarHalf, c.found.bias > 16},
		{carrier.Switches, (c.found.highFound|c.found.lowFound)&^starterSwitches != 0},
		{carrier.Converters, c.found.converter[0] || c.found.converter[1] || c.adapter.Capabilities.Reference},
	} {
		if g.found {
			groups = append(groups, g.group)
		}
	}
	return groups
}

func (c *check) run() error {
	if c.found.bias == 0 {
		c.leaveAll("without the bias registers nothing else can be looked at: repair them first")
		return nil
	}
	var err error
	if c.seat, err = c.anySeat(); err != nil {
		return err
	}
	defer c.seat.PowerOff(context.WithoutCancel(c.ctx))
	if err := c.judgeReference(); err != nil {
		return err
	}
	positions := positionsIn(c.adapter.Capabilities.Positions)
	loaded := c.found.load != 0
	high, low := positionsIn(c.found.highFound), positionsIn(c.found.lowFound)
	c.result = result{high: high, low: low, looked: positions, chainOfLow: c.found.low}
	plan := unpowered(positions, loaded)
	closing := grounded(positions, low, loaded)
	c.all = len(plan) + len(closing) + len(supplied(positions, high, low, loaded))
	all := make([]seen, 0, c.all)
	for some := range slices.Chunk(plan, atOnce) {
		s, err := c.probe(some)
		if err != nil {
			return err
		}
		all = append(all, s...)
		c.looked(len(some))
	}
	for _, k := range closing {
		s, err := c.ground(k)
		if err != nil {
			return err
		}
		all = append(all, s)
		c.looked(1)
	}
	if err := c.seat.PowerOff(c.ctx); err != nil {
		return err
	}
	plan = append(plan, closing...)
	c.model.planned(plan)
	c.result.seen = all
	c.result.found, c.result.blamed = c.found, c.blamed
	if err := c.occupied(); err != nil {
		return err
	}
	c.judgeLowChain()
	if err := c.power(positions, high, low, loaded); err != nil {
		return err
	}
	if err := c.diagnose(); err != nil {
		return err
	}
	return c.judgeOperator()
}

// atOnce is how many conditions without supply are asked for before the progress is reported.
const atOnce = 8

// looked reports that so many more conditions were looked at. Where not all is well, some are
// left out, and the last share is below 1.
func (c *check) looked(n int) {
	c.done += n
	if c.options.Progress != nil {
		c.options.Progress(float64(c.done) / float64(c.all))
	}
}

// anySeat is a seat of a package that the adapter can hold and supply; where no switch
// works it is one that never is supplied.
func (c *check) anySeat() (*adapter.Seat, error) {
	k := &c.adapter.Capabilities
	high, low := k.SupplyHigh, k.SupplyLow
	defer func() { k.SupplyHigh, k.SupplyLow = high, low }()
	n := seatPins(c.adapter)
	k.SupplyHigh, k.SupplyLow = adapter.At(adapter.Positions), adapter.At(n/2)
	return c.adapter.Seat(n, n, n/2)
}

// power puts the supply on the high-side switches of positions where all is well.
func (c *check) power(positions, high, low uint32, loaded bool) error {
	m := c.model
	deviates := m.deviations(&c.result)
	sound := positions
	for p := range deviates {
		if len(deviates[p]) > 0 {
			sound &^= bit(p)
		}
	}
	more := supplied(positions, high&sound, low&sound, loaded)
	if len(more) == 0 {
		c.left[monitor] = "no position has a high-side switch and another a low-side switch that work"
		return nil
	}
	seen := c.result.seen
	for _, k := range more {
		s, err := c.supply(k)
		if err != nil {
			return err
		}
		seen = append(seen, s)
		c.looked(1)
	}
	m.planned(append(slices.Clone(m.plan), more...))
	c.result.seen = seen
	return nil
}

// diagnose names what explains what was read, and says what nothing explains.
func (c *check) diagnose() error {
	m := c.model
	c.result.found, c.result.blamed = c.found, c.blamed
	deviates := m.deviations(&c.result)
	c.judgeMonitor(&deviates)
	found, left := m.explain(&c.result, deviates)
	for _, of := range found {
		var why []deviation
		for _, p := range m.changes[of[0]] {
			why = append(why, deviates[p]...)
		}
		at, explaining := m.changes[of[0]], m.those(of)
		if len(at) == 1 {
			if values := m.better(explaining[0], at[0], &c.result); len(values) > 0 {
				explaining = values
			}
		}
		f := m.faultOf(explaining, at, m.reads(why))
		c.add(m.kindOf(&f), f)
	}
	if c.pending != nil && len(c.faults[converters]) == 0 { // one that measures nothing right does not see the reference either
		c.pending()
	}
	for p := range left {
		if len(left[p]) == 0 {
			continue
		}
		if of := m.values(p, &c.result); len(of) > 0 {
			f := m.faultOf([]Defect{of[0].defect}, []int{p}, m.reads(left[p]))
			c.add(m.kindOf(&f), f)
			continue
		}
		c.add(drives, Fault{Position: p, What: at(p) + " does not read as it should, and no single defect explains it",
			Found: m.reads(left[p]), Look: "everything at " + adapter.Column(p) + ": " + c.around(p)})
	}
	c.sayGood(&deviates)
	return nil
}

func (c *check) add(k kind, f Fault) { c.faults[k] = append(c.faults[k], f) }

// around lists the parts at a position.
func (c *check) around(p int) string {
	words := ""
	for i := range c.model.good.Parts {
		if part := &c.model.good.Parts[i]; part.Position == p {
			if words != "" {
				words += ", "
			}
			words += part.Ref
		}
	}
	return words
}

// leaveAll notes that nothing more was looked at.
func (c *check) leaveAll(why string) {
	for k := range c.left {
		if len(c.faults[k]) == 0 {
			c.left[k] = why
		}
	}
}

// report puts together what was found.
func (c *check) report() *Report {
	r := &Report{}
	for _, g := range c.groups {
		if c.found.bias != 0 || c.options.Building {
			r.Fitted = append(r.Fitted, g.String())
		}
	}
	for k := range kinds {
		g := Group{Name: names[k], Faults: c.faults[k], Unchecked: c.left[k]}
		slices.SortStableFunc(g.Faults, func(x, y Fault) int { return x.Position - y.Position })
		if len(g.Faults) == 0 {
			g.Good = c.good[k]
		}
		r.Groups = append(r.Groups, g)
	}
	if c.options.Building {
		r.Next = c.next(len(r.Faults()))
	}
	return r
}
