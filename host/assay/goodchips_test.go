package assay_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/link"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// goodChips is how many good chips of the whole library the ordinary run tries.
const goodChips = 40

// Good chips differ: in how their inputs are protected, in their transistors and
// resistors (virtual.Sampled), and so do boards, whose resistors are good to 5 % and
// whose supply is 4.75 to 5.25 V at the USB port (the port's own standard). None may
// fail or be refused, or be graded down for what is the board's.
func TestNoGoodChipIsRefusedOrFails(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" && v.Memory == nil {
				for _, f := range v.Families {
					types = append(types, part.Type{Variant: v, Family: f})
				}
			}
		}
	}
	random := sample.Random(t)
	slots := make(chan struct{}, 2) // as many at once as a small machine has cores
	var lock sync.Mutex
	grades := map[verdict.Grade]int{}
	t.Run("chips", func(t *testing.T) {
		for _, typ := range sample.Of(random, goodChips, types) {
			seed := random.Uint64()
			usb := 4.75 + 0.5*random.Float64()
			t.Run(strings.ReplaceAll(typ.Name(), "/", "-"), func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				r := goodChip(t, typ, seed, usb)
				if r == nil {
					return
				}
				lock.Lock()
				grades[r.Grade]++
				lock.Unlock()
			})
		}
	})
	t.Logf("grades: %v", grades)
}

// goodChip tests a chip drawn by the seed on a board drawn by it.
func goodChip(t *testing.T, typ part.Type, seed uint64, usb float64) *assay.Result {
	chip, err := virtual.NewChip(typ)
	require.NoError(t, err)
	chip.Vary(virtual.Sampled(typ, seed))
	board := virtual.NewBoard()
	board.USB(usb)
	board.Spread(5, seed)
	conn, err := virtual.Open(t.Context(), board.Socket(chip, seed))
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	defer a.Close()
	seat, err := a.SeatOf(typ.Variant)
	require.NoError(t, err)
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	r := assay.Run(t.Context(), seat, plan)
	what := fmt.Sprintf("%s, seed %d, %.2f V: %s %s %v", typ.Name(), seed, usb, r.Verdict, r.Reason, chip.Variety())
	if r.Verdict == assay.NotTested && r.VectorsApplied == r.VectorsPlanned && r.FailureCount == 0 {
		return r // what the vectors show is too little, whatever the chip: floor.go
	}
	if r.Verdict != assay.Pass {
		t.Error(what)
		return nil
	}
	unmeasured := func(reason string) bool { return strings.HasSuffix(reason, "levels were not measured") } // too far into the sequence
	if r.Grade != verdict.Strong && r.Grade != verdict.Sound && !slices.ContainsFunc(r.GradeReasons, unmeasured) && !atItsLimit(r) {
		t.Errorf("%s: grade %s: %s", what, r.Grade, strings.Join(r.GradeReasons, "; "))
	}
	return r
}

// atItsLimit reports whether a reading of the chip is so near its limit, inside it or
// a tenth of the tester's own error outside, that no tester could resolve.
func atItsLimit(r *assay.Result) bool {
	const near = 0.05 // of the limit
	for _, l := range r.Levels.Readings {
		switch s := l.Standing(); {
		case s == levels.Outside:
			return false
		case s == levels.Near && math.Abs(l.Value-l.Limit) > near*l.Limit:
			return false
		}
	}
	return true
}
