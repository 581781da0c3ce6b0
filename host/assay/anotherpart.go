package assay

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/probe"
	"chipassay/protocol"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
)

// another is what probing says that a chip is instead of what was typed.
type another struct {
	candidates []match.Candidate // asked for once
	asked      bool
	record     *probe.Record   // nil where the chip was not probed
	group      []match.Fit     // of parts that explain it equally well, the likeliest first
	right      bool            // that the typed part explains it as well
	possible   map[string]bool // numbers of parts that no reading of the probing contradicts
	sibling    *part.Variant   // of another family of the typed part, which explains it as well
}

// found reports whether the chip is another part for all that probing shows.
func (a *another) found() bool { return (len(a.group) > 0 || a.sibling != nil) && !a.right }

// names are what a sentence calls the chip by: the number of another part, or the type of
// another family whose chips differ.
func (a *another) names(t part.Type, numbers []string) []string {
	if a.sibling == nil || a.right || len(numbers) > 0 && distance(t, a.sibling) > 1 {
		return numbers
	}
	var names []string
	for _, f := range a.sibling.Families {
		if bipolar := a.technology(); bipolar != nil && *bipolar != f.Technology.Bipolar() {
			continue
		}
		names = append(names, f.TypeName(t.Part().Number))
	}
	return append(names, numbers...)
}

// parts are the parts that may be in the socket instead.
func (r *Result) parts(p Plan) []match.Candidate {
	if r.other.asked || p.Others == nil {
		return r.other.candidates
	}
	r.other.asked = true
	circuits, err := p.Others()
	if err != nil {
		r.NotTested = append(r.NotTested, "whether it is another part: "+err.Error())
		return nil
	}
	var memories []*part.Part
	if p.Memories != nil {
		if memories, err = p.Memories(); err != nil {
			r.NotTested = append(r.NotTested, "whether it is a memory: "+err.Error())
		}
	}
	r.other.candidates = match.Of(circuits, memories)
	return r.other.candidates
}

// identify probes the powered chip as if nothing were known of it, and compares what it
// did with every part of its package and supply pins. A chip that was right in a whole
// round is what it is marked. One whose inputs the bias does not hold shows nothing so.
func (r *Result) identify(ctx context.Context, meter probe.Socket, p Plan, seat probe.Seat) error {
	if r.read.Later() || r.Type.Heavy() {
		return nil
	}
	parts := r.parts(p)
	if len(parts) == 0 {
		return nil
	}
	record, err := probe.Explore(ctx, meter, seat, probe.Limits{})
	r.other.record = record
	r.other.rank(r.Type, parts, r.Seating != nil && r.Seating.Kind == contact.Touching)
	if r.read.Misread {
		r.other.without(p.Sequence)
	}
	return err
}

// without leaves out parts that answer every vector as the typed part does: they explain no wrong answer.
func (a *another) without(s *stimulus.Sequence) {
	good := fault.Good(s)
	a.group = slices.DeleteFunc(a.group, func(f match.Fit) bool {
		return f.Circuit != nil && len(fault.Impostors(s, good, []*logic.Circuit{f.Circuit})) > 0
	})
}

// What a part must explain to be named: so much more than one that predicts nothing, in
// bits, which says that the likelihoods are as a million to one; and no reading against it.
const leastGain = 20

// leastMisdirected, in bits, suffices where a pin drives that is no output of the typed part: that alone is
// hardly a fault, unless it touches another. A monostable at rest shows no more in all the probing.
const leastMisdirected = 12

// A part against which a reading or two speak is named only where it explains far more
// all the same: what an unknown chip is asked may be what its data sheet forbids.
const (
	mostMismatches   = 2
	contradictedGain = 100
)

// equallyWell, in bits, is how near the prices of two parts are that explain a chip equally
// well: a factor of four in likelihood.
const equallyWell = 2

// rank finds the parts that explain best what the chip did, of whose pins some may touch.
func (a *another) rank(t part.Type, parts []match.Candidate, touching bool) {
	fits := a.record.Rank(parts)
	a.possible = map[string]bool{}
	for _, f := range fits {
		if f.Mismatches == 0 {
			a.possible[f.Variant.Part.Number] = true
		}
	}
	made := a.technology()
	price := func(f match.Fit) float64 {
		if !madeIn(f.Variant, made) {
			return f.Bits + wrongTechnology
		}
		return f.Bits
	}
	blind := a.record.Blind()
	fits = slices.DeleteFunc(fits, func(f match.Fit) bool { return f.Mismatches > mostMismatches })
	if len(fits) == 0 || a.record.Outputs == 0 {
		return
	}
	best := slices.MinFunc(fits, func(a, b match.Fit) int { return cmp.Compare(price(a), price(b)) })
	gain := float64(leastGain)
	if driving, _ := a.misdirected(t); len(driving) > 0 && !touching {
		gain = leastMisdirected
	}
	if blind-best.Bits < gain || best.Mismatches > 0 && blind-best.Bits < contradictedGain {
		return
	}
	slices.SortStableFunc(fits, func(x, y match.Fit) int { return cmp.Compare(distance(t, x.Variant), distance(t, y.Variant)) })
	cheap := func(f match.Fit) bool { return price(f) <= price(best)+equallyWell }
	for _, f := range fits {
		excused := func(g match.Fit) bool { return cheap(g) && forbidsMore(f, g) }
		if !cheap(f) && (!madeIn(f.Variant, made) || !slices.ContainsFunc(fits, excused)) {
			continue
		}
		switch {
		case typed(t, f.Variant):
			a.right = true
			continue
		case f.Variant.Part.Number == t.Part().Number:
			a.sibling = f.Variant
			continue
		}
		if !slices.ContainsFunc(a.group, func(g match.Fit) bool { return g.Variant.Part.Number == f.Variant.Part.Number }) {
			a.group = append(a.group, f)
		}
	}
	slices.SortStableFunc(a.group, func(x, y match.Fit) int {
		return cmp.Or(cmp.Compare(distance(t, x.Variant), distance(t, y.Variant)), cmp.Compare(a.organised(y), a.organised(x)), strings.Compare(x.Variant.Part.Number, y.Variant.Part.Number))
	})
}

// forbidsMore reports whether a part is as good an explanation as another of the same function that costs less: where its data
// sheet forbids some of what probing did, its outputs are not known for a while.
func forbidsMore(f, than match.Fit) bool {
	return f.Mismatches == 0 && f.Circuit != nil && than.Circuit != nil && f.Variant != than.Variant && proof.SameFunction(f.Variant, than.Variant)
}

// organised counts the memories of the group that are organised as one of them: what
// most of them are is the likeliest.
func (a *another) organised(f match.Fit) (n int) {
	for _, g := range a.group {
		if m, o := f.Variant.Memory, g.Variant.Memory; m != nil && o != nil && m.Words == o.Words && m.Bits == o.Bits {
			n++
		}
	}
	return n
}

// wrongTechnology, in bits, is the price of inputs that are not a part's: a bipolar
// input that is pulled low stands up by its own resistor, and a MOS input does not. It is more
// than what a part pays whose data sheet forbids what it was asked: the 74161 that the 4161 is not.
const wrongTechnology = 60

// technology reports whether the inputs are bipolar or not; nothing where that was not measured.
func (a *another) technology() *bool {
	if bipolar, known := a.record.Bipolar(); known {
		return &bipolar
	}
	return nil
}

// madeIn reports whether a part is made in a family with such inputs.
func madeIn(v *part.Variant, bipolar *bool) bool {
	return bipolar == nil || slices.ContainsFunc(v.Families, func(f *part.Family) bool { return f.Technology.Bipolar() == *bipolar })
}

// typed reports whether a variant is the typed one, whichever reading of the library it is from.
func typed(t part.Type, v *part.Variant) bool {
	return v.Part.Number == t.Part().Number && slices.Contains(v.Families, t.Family)
}

// distance is how far a part is from what was typed: of the same family, of the same
// series, of another.
func distance(t part.Type, v *part.Variant) int {
	switch {
	case slices.Contains(v.Families, t.Family):
		return 0
	case slices.ContainsFunc(v.Families, func(f *part.Family) bool { return f.Series4000() == t.Family.Series4000() }) && (v.Memory != nil) == (t.Variant.Memory != nil):
		return 1
	}
	return 2
}

// misdirected gives the pins of a type, inputs or not connected, that are no outputs and were seen to drive, and
// its outputs that never did.
func (a *another) misdirected(t part.Type) (driving, silent []int) {
	if a.record == nil {
		return nil, nil
	}
	for _, p := range t.Variant.Pins {
		switch {
		case (p.Role == part.NoConnect || p.Role == part.Input && !p.PullUp && p.Untested == "") && a.record.Outputs.Has(p.Number):
			driving = append(driving, p.Number)
		case p.Role == part.Output && p.Stage == part.TotemPole && a.record.Inputs.Has(p.Number):
			silent = append(silent, p.Number)
		}
	}
	return driving, silent
}

// unlike says that the chip is no such part at all, though it is not known which it is:
// at two pins or more it is not what it should be, and one of them drives. A dead chip
// does not do so, and shorts were looked for before power. Empty where it does.
func (r *Result) unlike() string {
	driving, silent := r.other.misdirected(r.Type)
	if r.read.Later() || len(driving) == 0 || len(driving)+len(silent) < 2 {
		return ""
	}
	verb := "drives, but is no output"
	if len(driving) > 1 {
		verb = "drive, but are no outputs"
	}
	return fmt.Sprintf("probably not a %s, but a part that was not recognised: %s %s of a %[1]s", r.Type.Name(), part.PinSet(driving...).Words(), verb)
}

// narrow keeps of the parts that probing cannot distinguish those that behave in the
// vectors, too, as was observed; all where none does.
func (a *another) narrow(impostors []string) {
	behaves := func(f match.Fit) bool { return slices.Contains(impostors, f.Variant.Part.Number) }
	var kept []match.Fit
	for _, f := range a.group {
		if behaves(f) || slices.ContainsFunc(a.group, func(g match.Fit) bool { return behaves(g) && forbidsMore(f, g) }) {
			kept = append(kept, f)
		}
	}
	if len(kept) > 0 {
		a.group, a.right = kept, false
	}
}

// mostNames is how many numbers a sentence names.
const mostNames = 3

// anotherWords says what the chip probably is.
func anotherWords(numbers []string, t part.Type) string {
	text := "probably a " + numbers[0]
	if more := numbers[1:min(len(numbers), mostNames)]; len(more) > 0 {
		text += " (or " + strings.Join(more, " or ")
		if len(numbers) > mostNames {
			text += ": any of " + fmt.Sprint(len(numbers))
		}
		text += ")"
	}
	return text + ", not a " + t.Name()
}

// isAnother says that the chip is another part than was typed: that is no fault of it.
func (r *Result) isAnother(numbers []string) {
	r.OtherPart = numbers
	r.Verdict = Fail
	r.Cause = anotherWords(r.other.names(r.Type, numbers), r.Type)
	r.Reason = r.Cause
	r.Findings = append([]string{r.Cause + ": check its marking, and test it as that part"}, r.Findings...)
}

// byDistance orders numbers of parts by how far they are from what was typed.
func byDistance(t part.Type, numbers []string, parts []match.Candidate) []string {
	far := map[string]int{}
	for _, c := range parts {
		d, known := far[c.Variant.Part.Number]
		if now := distance(t, c.Variant); !known || now < d {
			far[c.Variant.Part.Number] = now
		}
	}
	numbers = slices.DeleteFunc(slices.Clone(numbers), func(n string) bool { return n == t.Part().Number })
	return slices.SortedStableFunc(slices.Values(numbers), func(a, b string) int {
		return cmp.Or(cmp.Compare(far[a], far[b]), cmp.Compare(a, b))
	})
}

func (a *another) numbers() (numbers []string) {
	for _, f := range a.group {
		numbers = append(numbers, f.Variant.Part.Number)
	}
	return numbers
}

// afterTrip asks a chip that took too much current what it is: another part may take more
// than the family that was typed, and its outputs are driven by vectors that are not for it.
func (r *Result) afterTrip(ctx context.Context, socket Socket, p Plan, tripped error) bool {
	var refusal *protocol.ErrorReply // a program that the trip ended is not there any more
	if socket.Can().Measure == 0 || !errors.Is(tripped, adapter.ErrOverCurrent) && !errors.As(tripped, &refusal) {
		return false
	}
	_ = r.identifyStranger(ctx, socket, p, probe.SeatOf(r.Type.Variant))
	if !r.other.found() { // if it tripped again, by what was seen before
		return false
	}
	r.isAnother(r.other.numbers())
	return true
}
