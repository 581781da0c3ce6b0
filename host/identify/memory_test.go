package identify_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/vectors/library"
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

// Memory is seen within 20,000 steps in the parts that have it, and in none that has not, with
// nothing known of them but their package and supply pins.
func TestMemoryIsSeenInThePartsThatHaveIt(t *testing.T) {
	random := sample.Random(t)
	parts, err := library.All()
	require.NoError(t, err)
	var with, without []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			c := match.Candidate{Variant: v}
			if c.Circuit, err = logic.Compile(v); err != nil || v.Refusal != "" || c.LeavesOpen() && os.Getenv("ALL") == "" {
				continue
			}
			typ := part.Type{Variant: v, Family: v.Families[random.IntN(len(v.Families))]}
			if c.Remembers() {
				with = append(with, typ)
			} else {
				without = append(without, typ)
			}
		}
	}
	var seen, unseen share
	try := func(t *testing.T, typ part.Type) bool {
		a := identified(t, identify.Plan{Candidates: []match.Candidate{nothing(t, probe.SeatOf(typ.Variant))}, Seed: 1}, typ)
		require.NotNil(t, a.Table, "%s: %s", typ.Name(), a.Reason)
		fmt.Fprintln(os.Stderr, "MEM", typ.Name(), a.Table.Remembers, a.Table.Steps, a.Probing)
		return a.Table.Remembers
	}
	forEach(t, sample.Of(random, 12, with), func(t *testing.T, typ part.Type) { seen.note(try(t, typ), "%s", typ.Name()) })
	forEach(t, sample.Of(random, 3, without), func(t *testing.T, typ part.Type) { unseen.note(!try(t, typ), "%s", typ.Name()) })
	t.Logf("seen in %d of %d; not in %d of %d that have none", seen.held, seen.of, unseen.held, unseen.of)
	t.Log("missed: ", seen.missed, "seen where there is none: ", unseen.missed)
}
