package identify_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// nothing is a part on the pins of a seat that no chip is: one inverter, and nothing else.
func nothing(t *testing.T, seat probe.Seat) match.Candidate {
	t.Helper()
	names := []string{"Y", "A"}
	name := func(pin int) string {
		switch {
		case pin == seat.VCC:
			return "VCC"
		case pin == seat.GND:
			return "GND"
		case len(names) == 0:
			return "NC"
		}
		first := names[0]
		names = names[1:]
		return first
	}
	var b strings.Builder
	fmt.Fprintf(&b, "part 749903 \"nothing\"\nkind gate\nfamilies 74 74HC\nsource \"from memory\"\n\npackage DIP%d\n", seat.Pins)
	for row := 1; row <= seat.Pins/2; row++ {
		fmt.Fprintf(&b, "%s %d | | %d %s\n", name(row), row, seat.Pins+1-row, name(seat.Pins+1-row))
	}
	b.WriteString("\ninputs A\noutputs Y\nY = !A\n")
	parts, err := part.Parse("nothing.part", b.String())
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	return match.Candidate{Variant: parts[0].Variants[0], Circuit: c}
}

// latching are parts without registers that remember all the same: with both directions on, each
// side of the bus drives the other, and holds what was there (from memory of the data books,
// which name it as a way to store data).
var latching = []string{"74242", "74243", "74620", "74621", "74622", "74623", "741622", "742242", "742620", "742623", "7429861", "7429862", "7429863", "7429864"}

// remembering are the types with a state, and those without.
func remembering(t *testing.T, random *rand.Rand) (with, without []part.Type) {
	t.Helper()
	for _, typ := range powerable(t, random) {
		c, err := logic.Compile(typ.Variant)
		require.NoError(t, err)
		switch known := (match.Candidate{Variant: typ.Variant, Circuit: c}); {
		case known.LeavesOpen(), slices.Contains(latching, typ.Part().Number):
		case known.Remembers():
			with = append(with, typ)
		default:
			without = append(without, typ)
		}
	}
	return with, without
}

// measured is what is measured of a chip of which only package and supply pins are known.
func measured(t *testing.T, typ part.Type, steps int) *identify.Table {
	t.Helper()
	a := identified(t, identify.Plan{Candidates: []match.Candidate{nothing(t, probe.SeatOf(typ.Variant))}, Seed: 1, MemorySteps: steps}, typ)
	require.NotNil(t, a.Table, "%s: %s", typ.Name(), a.Reason)
	return a.Table
}

// Memory is seen within 20,000 steps in 99 of 100 parts that have it.
func TestMemoryIsSeenInThePartsThatHaveIt(t *testing.T) {
	random := sample.Random(t)
	with, _ := remembering(t, random)
	var seen share
	forEach(t, sample.Of(random, 8, with), func(t *testing.T, typ part.Type) {
		table := measured(t, typ, 0)
		seen.note(table.Remembers, "%s", typ.Name())
		if !table.Remembers {
			t.Logf("missed in a %s, %d steps", typ.Name(), table.Steps)
		}
	})
	t.Logf("memory seen in %d of %d, missed in %v", seen.held, seen.of, seen.missed)
	require.GreaterOrEqual(t, 100*seen.held, 99*seen.of)
}

// Memory is seen in no part that has none.
func TestNoMemoryIsSeenWhereThereIsNone(t *testing.T) {
	random := sample.Random(t)
	_, without := remembering(t, random)
	forEach(t, sample.Of(random, 6, without), func(t *testing.T, typ part.Type) {
		require.False(t, measured(t, typ, sample.Number(3_000, 0)).Remembers)
	})
}

// A bus transceiver with both directions on is a latch, and is seen as one.
func TestATransceiverWithBothDirectionsOnRemembers(t *testing.T) {
	typ := typeOf(t, "74LS623")
	require.True(t, measured(t, typ, 0).Remembers)
}
