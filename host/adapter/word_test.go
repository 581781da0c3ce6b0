package adapter

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// The table of protocol/SPEC.md, Positions and words: the position at each bit.
var specColumns = []struct{ firstBit, firstPosition, step, n int }{
	{0, 1, 1, 8},    // L1-8
	{8, 9, 1, 6},    // L9-14
	{16, 28, -1, 8}, // R1-8
	{24, 20, -1, 6}, // R9-14
}

func TestWord(t *testing.T) {
	var all Word
	for _, c := range specColumns {
		for i := range c.n {
			p, want := c.firstPosition+c.step*i, Word(1)<<(c.firstBit+i)
			if got := At(p); got != want {
				t.Errorf("position %d: %#x, want %#x", p, got, want)
			}
			if got := slices.Collect(want.Positions()); !slices.Equal(got, []int{p}) {
				t.Errorf("%#x: positions %v, want %d", want, got, p)
			}
			all |= want
		}
	}
	if all != All {
		t.Errorf("all positions are %#x, not %#x", all, All)
	}
}

// design.md: chip pin p of an n-pin package sits at position p on the left
// (p ≤ n/2) and at 28 - (n - p) on the right; its supply pairs reach switches.
func TestPositionOf(t *testing.T) {
	for _, c := range []struct{ pins, pin, position int }{
		{14, 1, 1}, {14, 7, 7}, {14, 8, 22}, {14, 14, 28},
		{16, 8, 8}, {16, 9, 21}, {16, 16, 28},
		{8, 4, 4}, {8, 5, 25}, {8, 8, 28},
		{24, 12, 12}, {24, 13, 17}, {24, 24, 28},
		{28, 14, 14}, {28, 15, 15}, {28, 28, 28},
	} {
		if got := PositionOf(c.pin, c.pins); got != c.position {
			t.Errorf("pin %d of %d: position %d, want %d", c.pin, c.pins, got, c.position)
		}
	}
}

// revisionA is the adapter of design.md.
func revisionB() *Adapter {
	return &Adapter{Capabilities: Capabilities{
		Positions:  All,
		SupplyHigh: At(1, 4, 5, 8, 22, 28),
		SupplyLow:  At(1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28),
		MaxPayload: 1032, MaxSteps: 256, MaxBusy: 1e9,
	}}
}

func TestSeatTakesTheSupplyPinsOfDesign(t *testing.T) {
	a := revisionB()
	// Pins, VCC and GND: the corners of 8 to 28 pins, and the odd ones that design.md lists.
	for _, c := range [][3]int{
		{8, 8, 4}, {14, 14, 7}, {16, 16, 8}, {18, 18, 9}, {20, 20, 10}, {22, 22, 11}, {24, 24, 12}, {28, 28, 14},
		{14, 4, 11}, {14, 5, 10}, {16, 5, 12}, {16, 5, 13}, {24, 24, 7}, {16, 1, 8}, {16, 8, 16}, {16, 10, 9}, {24, 24, 1},
	} {
		if _, err := a.Seat(c[0], c[1], c[2]); err != nil {
			t.Errorf("%d pins, VCC %d, GND %d: %v", c[0], c[1], c[2], err)
		}
	}
}

func TestSeatRefusesInWords(t *testing.T) {
	for _, c := range []struct {
		pins, vcc, gnd int
		says           string
	}{
		{40, 40, 20, "28 positions"},
		{15, 15, 7, "two rows"},
		{14, 14, 14, "pins 14 and 14"},
		{14, 0, 7, "pins 0 and 7"},
		{14, 3, 7, "supply to pin 3 of a 14-pin package, which is at socket position 3: it has switches at 1, 4, 5, 8, 22, 28"},
		{14, 14, 6, "ground to pin 6 of a 14-pin package, which is at socket position 6"},
	} {
		_, err := revisionB().Seat(c.pins, c.vcc, c.gnd)
		if !errors.Is(err, ErrCannot) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%d pins, VCC %d, GND %d: %v, want %q", c.pins, c.vcc, c.gnd, err, c.says)
		}
	}
}

// A starter has the near half: 16 positions, and with them what has up to 16 pins.
func TestStarterSeatsSixteenPins(t *testing.T) {
	a := revisionB()
	a.Capabilities.Positions = At(1, 2, 3, 4, 5, 6, 7, 8, 21, 22, 23, 24, 25, 26, 27, 28)
	for _, pins := range []int{8, 14, 16} {
		if _, err := a.Seat(pins, pins, pins/2); err != nil {
			t.Errorf("%d pins: %v", pins, err)
		}
	}
	for _, pins := range []int{18, 20, 24, 28} {
		if _, err := a.Seat(pins, pins, pins/2); !errors.Is(err, ErrCannot) || !strings.Contains(err.Error(), "add the far half") {
			t.Errorf("%d pins: %v", pins, err)
		}
	}
}

// A starter has two low-side switches, 7 and 8 (design.md). A 14-pin chip touches all but positions 8 and
// 21 of its near half: pins 8 to 14 are at 22 to 28. That one converter is dead is made up.
func TestWhatAStarterCanDo(t *testing.T) {
	near := At(1, 2, 3, 4, 5, 6, 7, 8, 21, 22, 23, 24, 25, 26, 27, 28)
	a := &Adapter{Capabilities: Capabilities{Positions: near, Sense: near, Measured: near &^ At(3), SupplyHigh: At(28), SupplyLow: At(7, 8), Sweep: true}}
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	want := Abilities{Reach: 0b11111111_000000000000_11111111, Ground: 0b11000000, Measure: 0b11111111_000000000000_11111011, Sense: 0b1111111_1111111, Sweep: true}
	if got := seat.Can(); got != want {
		t.Errorf("can %+v, want %+v", got, want)
	}
}

func TestPowerOnRefusesALimitThatTheAdapterCannotKeep(t *testing.T) {
	a := revisionB()
	a.Capabilities.MaxCurrentMA = 250
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	for _, limit := range []int{0, -1, 251} {
		if _, err := seat.PowerOn(context.Background(), limit); !errors.Is(err, ErrCannot) {
			t.Errorf("%d mA: %v, want ErrCannot", limit, err)
		}
	}
}

// Pins to word and back is the identity, for every package.
func TestSeatMapsPinsBothWays(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.SampledFrom([]int{8, 14, 16, 20, 24, 28}).Draw(r, "pins")
		seat, err := revisionB().Seat(n, n, n/2)
		if err != nil {
			r.Fatal(err)
		}
		set := part.Pins(rapid.Uint32Range(0, 1<<n-1).Draw(r, "set"))
		w := seat.word(set)
		if got := seat.pins(w); got != set {
			r.Fatalf("%v became %v", set, got)
		}
		for pin := range set.All() {
			if !w.Has(PositionOf(pin, n)) {
				r.Fatalf("pin %d is not at position %d of %v", pin, PositionOf(pin, n), w)
			}
		}
	})
}

// The batches of a sequence are the sequence, none is over its limit, and one
// whose steps turn pins round is no longer than turning.
func TestBatches(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		fixed := rapid.IntRange(1, 12).Draw(r, "fixed")
		turning := rapid.IntRange(1, fixed).Draw(r, "turning")
		var steps []stimulus.Step
		for _, driven := range rapid.SliceOfN(rapid.Uint32Range(0, 1), 1, 60).Draw(r, "driven") {
			steps = append(steps, stimulus.Step{Driven: part.Pins(driven), Drive: part.Pins(len(steps))})
		}
		var joined []stimulus.Step
		for rest := steps; len(rest) > 0; {
			var b batch
			b, rest = cut(rest, fixed, turning)
			limit := fixed
			if sameDirection(b, len(b)) < len(b) {
				limit = turning
			}
			if len(b) == 0 || len(b) > limit {
				r.Fatalf("a batch of %d, limit %d", len(b), limit)
			}
			joined = append(joined, b...)
		}
		if !slices.Equal(joined, steps) {
			r.Fatal("the batches are not the sequence")
		}
	})
}
