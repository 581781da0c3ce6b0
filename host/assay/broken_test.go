package assay_test

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/assay/function"
	"chipassay/host/virtual"
	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

// How many parts, and how many faults of each, the ordinary run breaks.
const (
	brokenParts  = 10
	brokenFaults = 16
)

// A broken chip is one fault of a model, as a die or as a defect of a pin.
type broken struct {
	name         string
	die          func() *logic.Machine
	defects      []virtual.Defect
	undetectable bool // proven
	shown        bool // by the vectors, so fault simulation says
}

// No chip with a stuck line, a cell that disobeys a rule or a dead pin passes,
// whatever state it comes up in, but for faults that are proven to show by no legal
// stimulus. What the vectors do not reach may pass, and is printed. Faults are put
// into the virtual socket; the real firmware tests it.
func TestNoBrokenChipPasses(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	types := sample.Of(sample.Random(t), brokenParts, proof.Types(parts))
	slots := make(chan struct{}, 2)
	var injected, undetectable, passed atomic.Int64
	var lock sync.Mutex
	escapes := map[string]int{}
	t.Run("parts", func(t *testing.T) {
		for _, typ := range types {
			t.Run(typ.Name(), func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				plan, faults := brokenPlan(t, typ)
				if assayed(t, plan).Verdict != assay.Pass {
					return // a good one is not tested, so no broken one is passed
				}
				for _, f := range sample.Of(sample.Random(t), brokenFaults, faults) {
					if f.undetectable {
						undetectable.Add(1)
						continue
					}
					for _, high := range []bool{false, true} {
						injected.Add(1)
						r := assayedChip(t, plan, f, high)
						if r.Verdict != assay.Pass {
							continue
						}
						passed.Add(1)
						lock.Lock()
						escapes[typ.Name()]++
						lock.Unlock()
						if f.shown {
							t.Errorf("%s, %s, state up %v: %s", typ.Name(), f.name, high, r.Reason)
						}
					}
				}
			})
		}
	})
	t.Logf("%d chips of %d types, each fault from both states at power-up; %d faults proven undetectable are left out; %d chips passed: %v",
		injected.Load(), len(types), undetectable.Load(), passed.Load(), escapes)
}

// brokenPlan plans the quickest test of a type, and lists the faults of its logic.
func brokenPlan(t *testing.T, typ part.Type) (assay.Plan, []broken) {
	t.Helper()
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	x := fault.Complete(c, typ.Family, s)
	plan := assay.Plan{Vectors: function.Vectors{Type: typ, Circuit: c, Sequence: s}, Coverage: x.Cover(), Only: []assay.Stage{assay.FunctionStage}, Brief: true}
	var all []broken
	for _, f := range x.Injections() {
		all = append(all, broken{f.Name, f.Machine, nil, f.Undetectable, f.Shown})
	}
	unseen := x.Unseen()
	for _, f := range fault.PinFaults(typ.Variant) {
		if d, ok := defectOf(f); ok && f.Kind != fault.Short {
			all = append(all, broken{f.In(typ.Variant), c.NewMachine, []virtual.Defect{d}, false, !slices.Contains(unseen, f)})
		}
	}
	return plan, all
}

// assayedChip tests a broken chip, all its state low or high when the
// supply comes.
func assayedChip(t *testing.T, plan assay.Plan, f broken, high bool) *assay.Result {
	t.Helper()
	chip, err := virtual.NewChipOf(plan.Type, f.die(), func(int) bool { return high }, f.defects...)
	require.NoError(t, err, fmt.Sprint(plan.Type))
	a, seat, err := seatedOn(t.Context(), plan.Type, chip)
	require.NoError(t, err)
	defer a.Close()
	return assay.Run(t.Context(), quick(seat), plan)
}
