package assay_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
)

// seatedOn opens a virtual adapter with a chip in it and seats the type.
func seatedOn(ctx context.Context, typ part.Type, chip *virtual.Chip) (*adapter.Adapter, *adapter.Seat, error) {
	conn, err := virtual.Open(ctx, virtual.NewSocket(chip, 1))
	if err != nil {
		return nil, nil, err
	}
	a, err := adapter.Open(ctx, link.New(conn, 0))
	if err != nil {
		return nil, nil, err
	}
	seat, err := a.SeatOf(typ.Variant)
	return a, seat, err
}

// assayed tests a chip as planned, on a virtual adapter of its own.
func assayed(t *testing.T, k assay.Plan, defects ...virtual.Defect) *assay.Result {
	t.Helper()
	chip, err := virtual.NewChip(k.Type, defects...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), k.Type, chip)
	require.NoError(t, err)
	defer a.Close()
	return assay.Run(t.Context(), quick(seat), k)
}

// defectsOfAPart is how many of a part's single-pin defects the ordinary run injects.
const defectsOfAPart = 1

// A good chip of every part passes, and every single-pin defect of every part
// fails and names the pin, through the real firmware on the virtual adapter. What
// no vector can show, the report says is not tested. The ordinary run takes a part of each
// kind (sample.KindOf) and injects a sample of its defects; the long one takes all of all.
func TestEveryPinDefectOfEveryPartIsFoundAndNamed(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				types = append(types, part.Type{Variant: v, Family: v.Families[0]})
			}
		}
	}
	types = sample.OfEach(sample.Random(t), 1, types, sample.KindOf)
	slots := make(chan struct{}, 2) // as many at once as a small machine has cores
	var lock sync.Mutex
	defects, unseen := 0, 0
	t.Run("parts", func(t *testing.T) {
		for _, typ := range types {
			t.Run(fmt.Sprintf("%s/%d", typ.Part().Number, slices.Index(typ.Part().Variants, typ.Variant)), func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				found, not := findEveryDefect(t, typ)
				lock.Lock()
				defects += found
				unseen += not
				lock.Unlock()
			})
		}
	})
	t.Logf("%d single-pin defects of %d types found and named; %d that no vector shows are said not to be tested", defects, len(types), unseen)
}

// turns reports whether pins of a part turn round. Where one of its controls is
// dead, the chip and the adapter drive against each other, or the supply trips:
// such a defect must never pass, but what comes of the contest names no pin for certain.
func turns(v *part.Variant) bool {
	return slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return p.Role == part.Bidirectional })
}

// notNamed are defects that never pass and are taken for another, or trip the
// supply, with the reason.
var notNamed = map[string]string{
	"40102B: 7 stuck high": "the counter never comes to zero, as with a clear or an enable that is stuck",
	"40102B: 7 open":       "the same: the open pin floats high",
}

// undrivable have an input that the drive resistor does not hold low at worst: the
// common enable of 74100 latches takes 12.8 mA, the common clear of a 74S114 14 mA (TTL
// data books, from memory). Where that is not measured, such a chip is never said to be bad.
var undrivable = []string{"74100", "74S114"}

// notWithoutMore are parts whose function shows only with a capacitor clipped on.
var notWithoutMore = []string{"4047", "4098", "4528", "4538", "74121", "74122", "74123", "74221", "74422", "74423", "9602"}

func findEveryDefect(t *testing.T, typ part.Type) (found, unseen int) {
	t.Helper()
	random := sample.Random(t)
	k, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	r := assayed(t, k)
	if slices.Contains(undrivable, typ.Name()) {
		require.NotEqual(t, assay.Fail, r.Verdict, "a good %s: %s", typ.Name(), r.Reason)
		return 0, 0
	}
	if slices.Contains(notWithoutMore, typ.Part().Number) {
		require.Equal(t, assay.NotTested, r.Verdict, "a good %s: %s", typ.Name(), r.Reason)
		return 0, 0
	}
	require.Equal(t, assay.Pass, r.Verdict, "a good %s: %s", typ.Name(), r.Reason)
	single := slices.DeleteFunc(fault.PinFaults(typ.Variant), func(f fault.Fault) bool {
		_, ok := defectOf(f)
		return !ok || f.Kind == fault.Short
	})
	for _, f := range sample.Of(random, defectsOfAPart, single) {
		if slices.Contains(k.Coverage.Unseen, f) {
			unseen++
			text := strings.Join(r.NotTested, "\n")
			require.Contains(t, text, fmt.Sprintf("no vector shows whether pin %d (", f.Pin), "%s: %s", typ.Name(), f.In(typ.Variant))
			continue
		}
		found++
		d, _ := defectOf(f)
		r := assayed(t, k, d)
		if notNamed[typ.Name()+": "+d.String()] != "" || turns(typ.Variant) {
			require.NotEqual(t, assay.Pass, r.Verdict, "%s with %q", typ.Name(), d)
			continue
		}
		if r.Verdict != assay.Fail || !slices.Contains(r.PinsFailed, f.Pin) {
			t.Errorf("%s with %q: %s, pins %v: %s", typ.Name(), d, r.Verdict, r.PinsFailed, r.Reason)
		}
	}
	return found, unseen
}

func open(t testing.TB, typed string) part.Type {
	t.Helper()
	typ, err := library.Open(typed)
	require.NoError(t, err)
	return typ
}

// functionOnly is a seat of an adapter that measures no powered chip, and asks none twice:
// thousands of chips are not measured, for the time that it takes.
type functionOnly struct {
	*adapter.Seat
	powered *bool
}

func quick(seat *adapter.Seat) functionOnly { return functionOnly{seat, new(bool)} }

func (f functionOnly) PowerOn(ctx context.Context, limitMA int) (float64, error) {
	*f.powered = true
	return f.Seat.PowerOn(ctx, limitMA)
}

func (f functionOnly) PowerOff(ctx context.Context) error {
	*f.powered = false
	return f.Seat.PowerOff(ctx)
}

func (f functionOnly) Can() adapter.Abilities {
	can := f.Seat.Can()
	if *f.powered {
		can.Measure = 0
	}
	return can
}

func (f functionOnly) ApplySettling(ctx context.Context, steps []stimulus.Step, bias adapter.Pull, settle time.Duration) ([]part.Pins, error) {
	again := []time.Duration{20 * time.Microsecond, 100 * time.Microsecond, time.Millisecond}
	if !slices.Contains(again, settle) { // what a part usually waits, before late outputs are looked for
		return f.Seat.ApplySettling(ctx, steps, bias, settle)
	}
	return nil, errors.New("it is not asked twice")
}
