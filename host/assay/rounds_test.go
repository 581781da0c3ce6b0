package assay_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A goRound is a benchChip that notes how often and in which order it was applied to,
// and fails as planned.
type goRound struct {
	*benchChip
	wrongIn int   // gate 3's output is low at the 8th step of this round and under one bias level, 0 never
	failIn  int   // the adapter fails in this round
	err     error // so
	orders  []string
}

func (g *goRound) round() int { return (len(g.orders) + 1) / 2 }

func (g *goRound) Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	order := "forward"
	if steps[0].Drive != 0 {
		order = "backward"
	}
	g.orders = append(g.orders, order)
	g.failAt, g.benchChip.err = 0, g.err
	if g.round() == g.failIn {
		g.failAt = 100
	}
	read, err := g.benchChip.Apply(ctx, steps, bias)
	if g.round() == g.wrongIn && bias == adapter.Low {
		read[7] &^= part.PinSet(8)
	}
	return read, err
}

// plan7410 is the exhaustive test of a 7410, in rounds.
func plan7410(t *testing.T, atLeast time.Duration) assay.Plan {
	t.Helper()
	typ := open(t, "7410")
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	plan.AtLeast = atLeast
	return plan
}

// A round of the 512 vectors takes 2 × 51.2 ms of a benchChip's time: the third ends
// after 250 ms. A sweep of a part without memory goes to and fro; asked for no time, it is applied once.
func TestVectorsGoRound(t *testing.T) {
	for atLeast, rounds := range map[time.Duration]int{0: 1, time.Nanosecond: 2, 250 * time.Millisecond: 3, time.Second: 10} {
		chip := &goRound{benchChip: &benchChip{level: good}}
		r := assay.Run(t.Context(), chip, plan7410(t, atLeast))
		require.Equal(t, assay.Pass, r.Verdict)
		require.Equal(t, rounds, r.Rounds, "for %v", atLeast)
		require.Equal(t, 1, chip.offs, "the supply stays on")
		require.Equal(t, 512, r.VectorsPlanned)
		require.Equal(t, 512, r.VectorsApplied)
		for i, order := range chip.orders {
			require.Equal(t, []string{"forward", "backward"}[i/2%2], order, "of application %d", i)
		}
	}
}

// Where one order takes half a second, the other is not applied, however long it goes on.
func TestALongSweepKeepsItsOrder(t *testing.T) {
	chip := &goRound{benchChip: &benchChip{level: good}}
	slow := slowed{chip, 5}
	r := assay.Run(t.Context(), slow, plan7410(t, 250*time.Millisecond))
	require.Equal(t, 1, r.Rounds, "a round of 512 ms")
	r = assay.Run(t.Context(), slow, plan7410(t, time.Second))
	require.Equal(t, 2, r.Rounds)
	require.NotContains(t, chip.orders, "backward")
}

// A slowed socket takes so many times as long.
type slowed struct {
	*goRound
	times time.Duration
}

func (s slowed) Spent() time.Duration { return s.times * s.goRound.Spent() }

// The order of a tour of states stays: a state is reached from the beginning only.
func TestAPartThatRemembersKeepsItsOrder(t *testing.T) {
	for _, typed := range []string{"7474", "74279", "7475"} {
		typ := open(t, typed)
		p, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		require.Zero(t, p.AtLeast, "runs over the whole library are of one round")
		p.AtLeast, p.EveryReadback = time.Second, true
		chip, err := virtual.NewChip(typ)
		require.NoError(t, err)
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		defer a.Close()
		firsts := &firstSteps{functionOnly: quick(seat)}
		r := assay.Run(t.Context(), firsts, p)
		require.Equal(t, assay.Pass, r.Verdict, r.Reason)
		require.Greater(t, r.Rounds, 1)
		require.Len(t, slices.Compact(firsts.driven), 1, typed)
	}
}

// Nor is a sweep reversed where a part remembers.
func TestASweepOfAPartThatRemembersKeepsItsOrder(t *testing.T) {
	chip, p := &goRound{benchChip: &benchChip{level: good}}, plan7410(t, 250*time.Millisecond)
	var err error
	p.Circuit, err = logic.Compile(open(t, "7474").Variant)
	require.NoError(t, err)
	require.Equal(t, 3, assay.Run(t.Context(), chip, p).Rounds)
	require.NotContains(t, chip.orders, "backward")
}

// firstSteps notes with what each application of vectors begins.
type firstSteps struct {
	functionOnly
	driven []part.Pins
}

func (f *firstSteps) Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	f.driven = append(f.driven, steps[0].Drive)
	return f.Seat.Apply(ctx, steps, bias)
}

// The first round with an error is the last, and it is said where it was: step 8 of the
// way back is step 505 of 512. The gate's output is seen low where a pull-down pulls
// and high where a pull-up does: it releases, now and then.
func TestAnErrorEndsTheRounds(t *testing.T) {
	for round, says := range map[int]string{
		1: "",
		2: "intermittent: right in round 1, wrong in round 2 at pin 8 (3Y), in step 505",
		5: "intermittent: right in rounds 1 to 4, wrong in round 5 at pin 8 (3Y), in step 8",
	} {
		r := assay.Run(t.Context(), &goRound{benchChip: &benchChip{level: good}, wrongIn: round}, plan7410(t, time.Second))
		require.Equal(t, assay.Fail, r.Verdict)
		require.Equal(t, round, r.Rounds)
		require.Contains(t, r.PinsFailed, 8)
		require.Equal(t, 1, r.FailureCount)
		require.Equal(t, []string{"1", "2"}, r.GatesSound)
		if says != "" {
			require.Equal(t, says, r.Findings[0])
			require.Contains(t, r.Reason, "pin 8 (3Y)")
			require.Contains(t, r.Reason, "intermittently")
		}
	}
}

// A chip that was right in a round is no other part, though it answers as a 7411 in
// the next: AND gates on the same pins (data books, from memory).
func TestAChipThatChangesIsNoOtherPart(t *testing.T) {
	p := plan7410(t, 250*time.Millisecond)
	others := 0
	p.Others = func() ([]*logic.Circuit, error) {
		others++
		c, err := logic.Compile(open(t, "7411").Variant)
		return []*logic.Circuit{c}, err
	}
	chip := &goRound{benchChip: &benchChip{}}
	and := func(gate int, in [3]bool) logic.Value { return good(gate, in).Not() }
	chip.level = and
	require.Contains(t, assay.Run(t.Context(), chip, p).Reason, "probably a 7411, not a 7410")
	chip = &goRound{benchChip: &benchChip{}}
	chip.level = func(gate int, in [3]bool) logic.Value {
		if chip.round() > 1 {
			return and(gate, in)
		}
		return good(gate, in)
	}
	r := assay.Run(t.Context(), chip, p)
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.Reason, "intermittent: right in round 1, wrong in round 2 at pins 6 (2Y), 8 (3Y) and 12 (1Y), in steps 1")
	require.Equal(t, 1, others)
	chip = &goRound{benchChip: &benchChip{}}
	chip.level = func(gate int, in [3]bool) logic.Value {
		if chip.round() == 1 {
			return and(gate, in)
		}
		return good(gate, in)
	}
	r = assay.Run(t.Context(), chip, p)
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.Reason, "intermittent: right when applied again, wrong at first at pins 6 (2Y), 8 (3Y) and 12 (1Y), in steps 1")
	require.Equal(t, 1, others)
}

// Whatever ends a round before its last step, no earlier round makes a pass.
func TestAnUnfinishedRoundIsNeverAPass(t *testing.T) {
	for _, err := range []error{link.ErrUnplugged, context.Canceled, adapter.ErrOverCurrent} {
		for round := 1; round <= 3; round++ {
			chip := &goRound{benchChip: &benchChip{level: good}, failIn: round, err: err}
			r := assay.Run(t.Context(), chip, plan7410(t, 250*time.Millisecond))
			require.Equal(t, assay.NotTested, r.Verdict)
			require.Equal(t, round, r.Rounds)
			require.Less(t, r.VectorsApplied, r.VectorsPlanned)
			require.False(t, chip.powered)
			if !errors.Is(err, context.Canceled) {
				require.Equal(t, round > 1, strings.Contains(r.Reason, "in round "), r.Reason)
			}
		}
	}
}

// What so many vectors without an error cannot find is said in numbers: one of n/3 at
// 95 % confidence (rule of three, from memory), so of 3 × 512 one of 512; and of
// four runs of them one of 2048.
func TestWhatIsTooRareIsNotTested(t *testing.T) {
	rare := func(r *assay.Result) (found []string) {
		for _, text := range r.NotTested {
			if strings.HasPrefix(text, "intermittent faults") {
				found = append(found, text)
			}
		}
		return found
	}
	p := plan7410(t, 250*time.Millisecond)
	r := assay.Run(t.Context(), &benchChip{level: good}, p)
	require.Equal(t, []string{"intermittent faults that show in fewer than one of 512 vectors (1536 applied, in 3 rounds)"}, rare(r))
	r = assay.Repeat(t.Context(), &benchChip{level: good}, p, assay.Repetition{Runs: 4})
	require.Equal(t, []string{"intermittent faults that show in fewer than one of 2048 vectors (6144 applied, in 12 rounds)"}, rare(r))
	r = assay.Run(t.Context(), &goRound{benchChip: &benchChip{level: good}, wrongIn: 2}, p)
	require.Empty(t, rare(r), "found")
}

// A chip that is taken out while its vectors go round is not tested, and not a bad one.
func TestAChipTakenOutInARoundIsNotTested(t *testing.T) {
	for _, typed := range []string{"7410", "4023"} {
		p, err := assay.NewPlan(open(t, typed), nil)
		require.NoError(t, err)
		p.AtLeast = 50 * time.Millisecond
		chip, err := virtual.NewChip(p.Type)
		require.NoError(t, err)
		socket := virtual.NewSocket(chip, 1)
		conn, err := virtual.Open(t.Context(), socket)
		require.NoError(t, err)
		a, err := adapter.Open(t.Context(), link.New(conn, 0))
		require.NoError(t, err)
		defer a.Close()
		seat, err := a.SeatOf(p.Type.Variant)
		require.NoError(t, err)
		r := assay.Run(t.Context(), &takenOut{functionOnly: quick(seat), socket: socket}, p)
		require.Equal(t, assay.NotTested, r.Verdict, r.Reason)
		require.Equal(t, "in round 2 the chip was no longer in the socket: seat it and test again", r.Reason)
		require.Empty(t, r.PinsFailed)
		require.False(t, socket.Live())
	}
}

// A takenOut chip is, before its fourth sweep.
type takenOut struct {
	functionOnly
	socket *virtual.Socket
	sweeps int
}

func (o *takenOut) Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e adapter.Expected, bias adapter.Pull) ([]adapter.Span, error) {
	if o.sweeps++; o.sweeps == 4 {
		o.socket.Swap(nil)
	}
	return o.Seat.Sweep(ctx, steps, pins, settle, e, bias)
}

// seeded tests a chip with defects on a virtual adapter with a seed of its own.
func seeded(t *testing.T, seed uint64, p assay.Plan, defects ...string) *assay.Result {
	t.Helper()
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(p.Type, all...)
	require.NoError(t, err)
	conn, err := virtual.Open(t.Context(), virtual.NewSocket(chip, seed))
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	defer a.Close()
	seat, err := a.SeatOf(p.Type.Variant)
	require.NoError(t, err)
	return assay.Run(t.Context(), seat, p)
}

// A bond wire that opens now and then is found whatever the chance, in parts with and
// without memory; a good chip passes all its rounds, which are dozens for a small one.
func TestAnIntermittentBondFailsOnEverySeed(t *testing.T) {
	for _, c := range []struct {
		typed, defect string
		pin, rounds   int
		seeds         uint64
	}{
		{"7404", "12 intermittent", 12, 24, 20},
		{"7404", "13 intermittent", 12, 24, 5},
		{"74LS00", "3 intermittent", 3, 24, 5},
		{"4011", "1 intermittent", 3, 12, 5},
		{"7474", "5 intermittent", 5, 2, 5},
	} {
		p, err := assay.NewPlan(open(t, c.typed), nil)
		require.NoError(t, err)
		p.AtLeast = assay.DefaultAtLeast
		for seed := range c.seeds {
			r := seeded(t, seed+1, p, c.defect)
			require.Equal(t, assay.Fail, r.Verdict, "%s with %q, seed %d: %s", c.typed, c.defect, seed+1, r.Reason)
			require.Contains(t, r.PinsFailed, c.pin, "%s with %q, seed %d: %s", c.typed, c.defect, seed+1, r.Reason)
			// An open MOS input predicts too little, and a register cannot be followed.
			if c.typed == "7404" || c.typed == "74LS00" {
				require.Contains(t, r.Reason, "intermittently", "%q, seed %d", c.defect, seed+1)
			}
		}
		r := seeded(t, 1, p)
		require.Equal(t, assay.Pass, r.Verdict, r.Reason)
		require.GreaterOrEqual(t, r.Rounds, c.rounds, c.typed)
	}
}

// A bond of the supply that opens now and then takes the whole chip with it, a TTL part at once and a CMOS part where its inputs
// do not feed it (common practice). The chip fails, and is not called another part; nor is one with a loose input: a 946 has a 7400's
// pins and function, and would answer right.
func TestALooseBondIsNoOtherPart(t *testing.T) {
	for _, c := range []struct{ typed, defect string }{
		{"7400", "14 intermittent"}, {"7400", "7 intermittent 20"}, {"74LS244", "20 intermittent 200"}, {"4011B", "14 intermittent"}, {"74LS74", "14 intermittent 20"},
		{"74LS00", "1 intermittent"},
	} {
		p, err := assay.NewPlan(open(t, c.typed), wholeLibrary)
		require.NoError(t, err)
		p.AtLeast = assay.DefaultAtLeast
		for seed := range uint64(2) {
			r := seeded(t, seed+1, p, c.defect)
			require.Equal(t, assay.Fail, r.Verdict, "%s with %q, seed %d: %s", c.typed, c.defect, seed+1, r.Reason)
			require.Empty(t, r.OtherPart, "%s with %q, seed %d: %s", c.typed, c.defect, seed+1, r.Reason)
		}
	}
}

// A flickering socket has a wrong signature in one sweep; read back step by step, pin 8
// is wrong only at the third reading, or never.
type flickering struct {
	functionOnly
	wrongSweep, wrongRead int // from 1; 0 none
	sweeps, reads         int
}

func (f *flickering) Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e adapter.Expected, bias adapter.Pull) ([]adapter.Span, error) {
	wrong, err := f.Seat.Sweep(ctx, steps, pins, settle, e, bias)
	if f.sweeps++; f.sweeps == f.wrongSweep {
		wrong = append(wrong, adapter.Span{From: 128, To: 192})
	}
	return wrong, err
}

func (f *flickering) Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	read, err := f.Seat.Apply(ctx, steps, bias)
	if f.reads++; f.reads == f.wrongRead {
		read[1] ^= part.PinSet(8)
	}
	return read, err
}

// A signature that was wrong once is no pass. The block is read back until it shows
// its pins, or time is up: steps 128 to 191 of the way back, from 0, are steps 321
// to 384 of the sequence, and the second of them is step 383.
func TestAWrongSignatureIsReadBackUntilItShows(t *testing.T) {
	for _, c := range []struct {
		sweep, read int
		says        string
	}{
		{1, 0, "intermittent: the signatures of 64 vectors were wrong, but right when repeated"},
		{3, 3, "intermittent: right in round 1, wrong in round 2 at pin 8 (3Y), in step 383"},
		{3, 0, "intermittent: right in round 1, wrong in round 2 by signature, in steps 321 to 384; read back one by one these were right"},
	} {
		p := plan7410(t, 30*time.Millisecond)
		chip, err := virtual.NewChip(p.Type)
		require.NoError(t, err)
		a, seat, err := seatedOn(t.Context(), p.Type, chip)
		require.NoError(t, err)
		defer a.Close()
		f := &flickering{functionOnly: quick(seat), wrongSweep: c.sweep, wrongRead: c.read}
		r := assay.Run(t.Context(), f, p)
		require.Equal(t, assay.Fail, r.Verdict)
		require.Equal(t, (c.sweep+1)/2, r.Rounds)
		require.Equal(t, c.says, append(slices.Clone(r.Findings), r.Reason)[0])
		if c.read == 0 {
			require.Equal(t, 64, r.Unsteady)
			require.Greater(t, f.reads, 3)
			continue
		}
		require.Equal(t, c.read, f.reads)
		require.Contains(t, r.PinsFailed, 8)
	}
}

// A heldDown chip holds the driven pin 1 low in one step, where the bias rail pulls down.
type heldDown struct{ *benchChip }

func (h heldDown) Can() adapter.Abilities { return adapter.Abilities{Sense: part.PinSet(1)} }

func (h heldDown) Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	read, err := h.benchChip.Apply(ctx, steps, bias)
	if i := slices.IndexFunc(steps, func(st stimulus.Step) bool { return st.Drive.Has(1) }); bias == adapter.Low {
		read[i] &^= part.PinSet(1)
	}
	return read, err
}

func TestADrivenPinThatIsHeldOnceIsNoPass(t *testing.T) {
	r := assay.Run(t.Context(), heldDown{&benchChip{level: good}}, plan7410(t, 0))
	require.Equal(t, assay.Fail, r.Verdict)
	require.Equal(t, 1, r.Failures[0].Pin)
}
