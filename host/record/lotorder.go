package record

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"chipassay/host/lot"
)

// A LotOrder is a lot that a person asks for, with its plan or what chooses it.
type LotOrder struct {
	Name, Source string
	Size         int     // chips
	AQL          float64 // per cent nonconforming
	Level        string
	Severity     string // empty: the switching rules choose
	Decides      string // function, levels
	Reduced      bool   // the rules may lead to reduced inspection
	Resume       bool   // the supplier has acted since inspection was discontinued
}

// A PlannedLot is a lot with the plan that was chosen for it.
type PlannedLot struct {
	Lot
	Because   string // who chose the severity, to be put behind it; may be empty
	MayReduce bool   // the rules would lead to reduced inspection, if that were allowed
	There     bool   // the lot was open already, with this plan
}

// Lot is the lot at normal inspection, or at the severity that is named. What is wrong with
// one field is a FieldError.
func (o LotOrder) Lot() (Lot, error) {
	decides, err := OneOf("decides", o.Decides, ByFunction, ByLevels)
	if err != nil {
		return Lot{}, err
	}
	l := Lot{Name: strings.TrimSpace(o.Name), Source: strings.TrimSpace(o.Source), Resumed: o.Resume, Decides: decides}
	l.Plan, err = o.plan(lot.Normal)
	return l, err
}

// plan is the plan that is asked for, at the severity that is named or else at this one.
func (o LotOrder) plan(severity lot.Severity) (lot.Plan, error) {
	switch {
	case o.Size == 0:
		return lot.Plan{}, &FieldError{"size", "", "how many chips are in the lot?"}
	case o.AQL == 0:
		return lot.Plan{}, &FieldError{"aql", "", "which quality is to be accepted? 1.0 is 1 % nonconforming"}
	}
	level, err := lot.ParseLevel(o.Level)
	if err != nil {
		return lot.Plan{}, &FieldError{"level", "", err.Error()}
	}
	if o.Severity != "" {
		if severity, err = lot.ParseSeverity(o.Severity); err != nil {
			return lot.Plan{}, &FieldError{"severity", "", err.Error()}
		}
	}
	return lot.PlanForChips(o.Size, o.AQL, level, severity)
}

// PlanLot chooses the plan of a lot, and keeps nothing. The switching rules choose the
// severity by the earlier lots of the source.
func (s *Store) PlanLot(ctx context.Context, o LotOrder) (PlannedLot, error) {
	s = s.together(ctx)
	l, err := o.Lot()
	if err != nil {
		return PlannedLot{}, err
	}
	p := PlannedLot{Lot: l}
	scheme, decided := lot.Scheme{}, 0
	if l.Source != "" {
		if scheme, decided, err = s.Scheme(ctx, l.Source, o.AQL, o.Reduced); err != nil {
			return p, err
		}
	}
	switch {
	case scheme.Discontinued() && !o.Resume:
		return p, &FieldError{"resume", "", fmt.Sprintf("inspection of lots from %s was discontinued: five were rejected on tightened inspection at AQL %s. "+
			"Set this once the supplier has acted", l.Source, lot.FormatAQL(o.AQL))}
	case scheme.Discontinued():
		scheme = scheme.Resumed()
	default:
		p.Resumed = false
	}
	if p.Lot.Plan, err = o.plan(scheme.Severity()); err != nil {
		return p, err
	}
	switch {
	case l.Source == "":
	case p.Lot.Plan.Severity != scheme.Severity():
		p.Because = fmt.Sprintf(", as given; the switching rules demand %s, and leave this lot out", scheme.Severity())
	case decided == 0:
		p.Because = ", the first: no earlier lot of the series is decided"
	default:
		p.Because = fmt.Sprintf(", by the switching rules and %d decided earlier lots", decided)
	}
	p.MayReduce = !o.Reduced && scheme.Score() >= lot.ScoreForReduced
	return p, nil
}

// OrderLot opens a lot with the plan that is chosen for it, or gives back the one that is
// open with the same plan.
func (s *Store) OrderLot(ctx context.Context, o LotOrder) (PlannedLot, error) {
	s = s.together(ctx)
	l, err := o.Lot()
	if err != nil {
		return PlannedLot{}, err
	}
	if l.Name == "" {
		return PlannedLot{}, &FieldError{"name", "", "name the lot"}
	}
	there, err := s.Lot(ctx, l.Name)
	if err == nil {
		return o.again(there, l)
	}
	if !errors.Is(err, ErrNoLot) {
		return PlannedLot{}, err
	}
	p, err := s.PlanLot(ctx, o)
	if err != nil {
		return p, err
	}
	kept, err := s.OpenLot(context.WithoutCancel(ctx), p.Lot)
	if errors.Is(err, ErrLotOpen) { // another program was here first
		return o.again(kept, l)
	}
	p.Lot = kept
	return p, err
}

// again is a lot that is open already, if what is asked for is what it was opened with.
func (o LotOrder) again(there, asked Lot) (PlannedLot, error) {
	plan, err := o.plan(there.Plan.Severity)
	if err != nil {
		return PlannedLot{}, err
	}
	if plan == there.Plan && asked.Source == there.Source && asked.Decides.Words() == there.Decides.Words() {
		return PlannedLot{Lot: there, There: true}, nil
	}
	from := ""
	if there.Source != "" {
		from = " from " + there.Source
	}
	at := ""
	if there.Bench != "" {
		at = " at bench " + there.Bench
	}
	return PlannedLot{}, fmt.Errorf("lot %s was opened%s with another plan (%d chips%s, AQL %s, level %s, %s; %s), which is fixed: give another name",
		there.Name, at, there.Plan.LotSize, from, lot.FormatAQL(there.Plan.AQL), there.Plan.Level, there.Plan.Severity, there.Decides.Words())
}
