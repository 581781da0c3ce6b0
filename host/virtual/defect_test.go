package virtual

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

func TestParseDefect(t *testing.T) {
	for text, want := range map[string]Defect{
		"12 stuck low":                           {Kind: StuckLow, Pin: 12},
		"12 stuck high":                          {Kind: StuckHigh, Pin: 12},
		"2 open":                                 {Kind: OpenBond, Pin: 2},
		"8 shorted to 9":                         {Kind: Shorted, Pin: 8, Other: 9},
		"8 shorted to supply":                    {Kind: ShortedToSupply, Pin: 8},
		"8 shorted to ground":                    {Kind: ShortedToGround, Pin: 8},
		"3 leaks 1.5 mA":                         {Kind: Leaky, Pin: 3, Amount: 1.5},
		"6 weak 220 ohms":                        {Kind: Weak, Pin: 6, Amount: 220},
		"6 dead pull-up":                         {Kind: DeadPullUp, Pin: 6},
		"6 dead pull-down":                       {Kind: DeadPullDown, Pin: 6},
		"draws 30 mA more":                       {Kind: ExtraCurrent, Amount: 30},
		"1 intermittent":                         {Kind: Intermittent, Pin: 1},
		"1 intermittent 1000":                    {Kind: RarelyIntermittent, Pin: 1, Amount: 1000},
		"8 shorted to 9 47 ohms":                 {Kind: ResistiveShort, Pin: 8, Other: 9, Amount: 47},
		"6 late 2.5 us":                          {Kind: Late, Pin: 6, Amount: 2.5},
		"6 rises 0.6 us late":                    {Kind: LateRise, Pin: 6, Amount: 0.6},
		"6 falls 5 us late":                      {Kind: LateFall, Pin: 6, Amount: 5},
		"1 threshold 1.9 V":                      {Kind: Threshold, Pin: 1, Amount: 1.9},
		"1 bent":                                 {Kind: Bent, Pin: 1},
		"family ls":                              {Kind: WrongFamily, Family: "74LS"},
		"reversed":                               {Kind: Reversed},
		"shifted":                                {Kind: Shifted, Amount: 1},
		"shifted 2":                              {Kind: Shifted, Amount: 2},
		"empty":                                  {Kind: Empty},
		"bit 3 of Q ignores clear":               {Kind: BitIgnores, Number: 3, Name: "Q", Rule: "clear"},
		"bit 0 of 1q inverts /1CLR":              {Kind: BitInverts, Name: "1q", Rule: "/1CLR"},
		"Bit 12 of count Obeys 2 always":         {Kind: BitObeysAlways, Number: 12, Name: "count", Rule: "2"},
		"bit 1 of Q obeys clk at the other edge": {Kind: BitObeysOtherEdge, Number: 1, Name: "Q", Rule: "clk"},
		"term 3 of Y dead":                       {Kind: DeadTerm, Number: 3, Name: "Y"},
		"1Q catches ones":                        {Kind: CatchesOnes, Name: "1Q"},
		"1Q is edge-triggered":                   {Kind: EdgeTriggered, Name: "1Q"},
		"  2   OPEN ":                            {Kind: OpenBond, Pin: 2},
		"28 Shorted  To 007":                     {Kind: Shorted, Pin: 28, Other: 7},
	} {
		got, err := ParseDefect(text)
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "12", "stuck low", "12 stuck", "0 open", "29 open", "-1 open", "8 shorted to 8",
		"8 shorted to", "8 shorted to 99", "N open", "2 open 3", "2 open\x00", "99999999999999999999 open", "shifted sideways", "shifted 3",
		"3 leaks -1 mA", "3 leaks NaN mA", "3 leaks Inf mA", "6 weak 0 ohms", "family XYZ", "family", "29 bent", "draws mA more",
		"6 late 0 us", "6 late us", "1 threshold 5 V", "1 threshold -1 V", "1 intermittent 0.5", "8 shorted to 8 10 ohms", "8 shorted to 9 0 ohms",
		"bit -1 of Q ignores clear", "bit Q ignores clear", "term 0 of Y dead", "term Y dead", "catches ones"} {
		if _, err := ParseDefect(text); !errors.Is(err, ErrDefect) {
			t.Errorf("%q: %v, want ErrDefect", text, err)
		}
	}
	_, err := ParseDefect("a bit wobbly")
	for _, form := range []string{"a bit wobbly", "N stuck low", "N stuck high", "N open", "N shorted to M", "N leaks X mA", "family F", "reversed", "shifted X", "empty"} {
		if !strings.Contains(err.Error(), form) {
			t.Errorf("error %q does not mention %q", err, form)
		}
	}
}

func FuzzParseDefect(f *testing.F) {
	for _, text := range []string{"12 stuck low", "8 shorted to 9", "reversed", "empty", "2 open", "3 leaks 1.5 mA", "shifted", "family ls", "x"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParseDefect(text)
		if err != nil {
			if !errors.Is(err, ErrDefect) {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if again, err := ParseDefect(d.String()); err != nil || again != d {
			t.Fatalf("%q reads as %v, which reads as %v, %v", text, d, again, err)
		}
	})
}

func TestChipRefusesDefectsItCannotHave(t *testing.T) {
	good := quadNAND(t, "74", part.TotemPole)
	for text, part := range map[string]string{
		"15 open":              "14 pins",
		"3 shorted to 16":      "14 pins",
		"14 stuck low":         "supply",
		"7 stuck high":         "ground",
		"14 shorted to supply": "supply itself",
		"7 shorted to ground":  "ground itself",
		"1 late 5 us":          "input",
		"3 threshold 2 V":      "output",
	} {
		d, err := ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := newChip(good.Type, good.die, []Defect{d}); err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q on a 14-pin chip: %v, want an error with %q", text, err, part)
		}
	}
}

// response reads outputs 3 and 6 of a quad NAND for each level of inputs 1, 2,
// 4 and 5, with the bias rail high: "pin 3, pin 6" for 16 vectors.
func response(s *Socket) string {
	pull(s, allHigh, allOff)
	var b strings.Builder
	for v := range 16 {
		var level adapter.Word
		for i, pin := range []int{1, 2, 4, 5} {
			if v>>i&1 != 0 {
				level |= pins(pin)
			}
		}
		s.Drive(pins(1, 2, 4, 5), level)
		fmt.Fprintf(&b, "%c%c ", reads(s, at(3)), reads(s, at(6)))
	}
	return strings.TrimSpace(b.String())
}

// expected writes what a gate pair answers when pin 3 and pin 6 are functions
// of the levels at 1, 2, 4 and 5 (bits 0 to 3).
func expected(three, six func(v int) byte) string {
	var b strings.Builder
	for v := range 16 {
		fmt.Fprintf(&b, "%c%c ", three(v), six(v))
	}
	return strings.TrimSpace(b.String())
}

func bitIf(high bool) byte {
	if high {
		return '1'
	}
	return '0'
}

func TestDefectsShowAtOutputs(t *testing.T) {
	six := func(v int) byte { return bitIf(v&12 != 12) }
	constant := func(c byte) func(int) byte { return func(int) byte { return c } }
	ttlAnd := func(v int) byte { return bitIf(v&3 != 3 && v&12 != 12) } // a TTL low wins
	for _, c := range []struct {
		family, defect string
		want           string
	}{
		{"74", "1 stuck low", expected(constant('1'), six)},
		{"74", "1 stuck high", expected(func(v int) byte { return bitIf(v&2 == 0) }, six)},
		{"74", "3 stuck low", expected(constant('0'), six)},
		{"74", "3 stuck high", expected(constant('1'), six)},
		{"4000B", "3 stuck high", expected(constant('1'), six)},
		{"74", "1 open", expected(func(v int) byte { return bitIf(v&2 == 0) }, six)},   // an open TTL input acts as a high
		{"74LS", "1 open", expected(func(v int) byte { return bitIf(v&2 == 0) }, six)}, // common practice
		{"74", "3 open", expected(constant('1'), six)},                                 // the bias rail's level
		{"74", "14 open", expected(constant('1'), constant('1'))},
		// Through the clamp diodes of inputs that are low it finds some ground: ngspice has a low at 1.39 V with
		// two such inputs and at 1.82 V with one, on the transistors of testdata/spice/7400.cir.
		{"74", "7 open", "11 11 11 01 11 11 11 u1 11 11 11 u1 10 1u 1u 11"},
		{"74", "empty", expected(constant('1'), constant('1'))},
		{"74", "3 shorted to 6", expected(ttlAnd, ttlAnd)},
		{"74LS", "3 shorted to 6", expected(ttlAnd, ttlAnd)},
		{"74AS", "6 shorted to 3", expected(ttlAnd, ttlAnd)},
		{"74", "3 shorted to 7", expected(constant('0'), six)},
	} {
		s := powered(quadNAND(t, c.family, part.TotemPole, c.defect))
		if got := response(s); got != c.want {
			t.Errorf("%s with %s:\n got %s\nwant %s", c.family, c.defect, got, c.want)
		}
	}
}

// What the electrical defects do to levels, by Ohm's law worked beside each.
func TestElectricalDefects(t *testing.T) {
	for _, c := range []struct {
		family, defect string
		in             adapter.Word // driven high of pins 1 and 2
		bias, load     pulled
		pin            int
		volts, within  float64
		why            string
	}{
		{"74HC", "1 leaks 5 mA", pins(1, 2), allOff, allOff, 1, 4.95 * 1000 / 1145.0, 0.01, "1 kΩ below the drive's 145 Ω"},
		{"74HC", "3 weak 1000 ohms", pins(1, 2), allOff, allHigh, 3, 4.94 * 1041.0 / 2076, 0.03, "1 kΩ and half of 0.33 V / 4 mA, more or less, against 1035 Ω"},
		{"74LS", "3 dead pull-up", pins(1), allLow, allOff, 3, 0, 0.01, "nothing pulls up"},
		{"74LS", "3 dead pull-up", pins(1), allHigh, allOff, 3, 4.95, 0.01, "the bias hides it"},
		{"74LS", "3 dead pull-down", pins(1, 2), allHigh, allOff, 3, 4.95, 0.01, "nothing pulls down"},
		{"74", "3 shorted to ground", pins(1), allOff, allOff, 3, 0.3 * 0.04, 0.006, "0.3 Ω of the switch, and some 40 mA"},
		{"74", "3 shorted to supply", pins(1, 2), allOff, allOff, 3, 4.9, 0.15, "1.2 Ω of port, fuse, shunt and switch against a low output at its limit"},
		{"74HC", "family 74LS", 0, allOff, allLow, 1, 0.23, 0.01, "an LS input draws 4.7 V / 21 kΩ through 1030 Ω"},
	} {
		s := powered(quadNAND(t, c.family, part.TotemPole, c.defect))
		pull(s, c.bias, c.load)
		if c.in != 0 {
			s.Drive(pins(1, 2), c.in)
		}
		about(t, c.family+" "+c.defect+": "+c.why, float64(s.Millivolts(at(c.pin)))/1000, c.volts, c.within)
	}
	good, hungry := powered(quadNAND(t, "74LS", part.TotemPole)), powered(quadNAND(t, "74LS", part.TotemPole, "draws 30 mA more"))
	if more := hungry.CurrentMicroamps() - good.CurrentMicroamps(); more < 29_000 || more > 30_000 { // less what the lower supply saves
		t.Errorf("%d µA more, want 30 mA", more)
	}
}

// A heated intermittent answers rightly while it is cold, and not always when warm.
func TestIntermittentBond(t *testing.T) {
	s := powered(quadNAND(t, "74LS", part.TotemPole, "3 intermittent"))
	pull(s, allHigh, allOff)
	wrong := func() (n int) {
		for range 80 {
			s.Drive(pins(1, 2), 0)
			s.Drive(pins(1, 2), pins(1, 2))
			if s.Sample().Has(at(3)) {
				n++
			}
			s.Drive(0, 0)
		}
		return n
	}
	if n := wrong(); n > 30 {
		t.Errorf("%d of the first 80 are wrong", n)
	}
	if n := wrong(); n == 0 || n == 80 {
		t.Errorf("%d of 80 are wrong once warm", n)
	}
}

func TestShiftedChipTouchesNextPositions(t *testing.T) {
	chip := quadNAND(t, "74", part.TotemPole, "shifted 2")
	for pin, position := range map[int]int{1: 3, 7: 9, 14: 26, 8: 20} {
		if got := chip.position(pin); got != position {
			t.Errorf("pin %d at position %d, want %d", pin, got, position)
		}
	}
}

// Two MOS outputs of one strength against each other meet in the middle of the
// supply, where an input reads neither level.
func TestShortedMOSOutputsMeetHalfway(t *testing.T) {
	s := powered(quadNAND(t, "74HC", part.TotemPole, "3 shorted to 6"))
	s.Drive(pins(1, 2, 4, 5), pins(1, 2))
	about(t, "74HC low against high", float64(s.Millivolts(at(3)))/1000, 2.5, 0.1)
	if r := reads(s, at(6)); r != 'u' {
		t.Errorf("reads %c, want u", r)
	}
}

// A NAND gate whose output touches its input, the other input high, is an
// inverter fed back on itself: a TTL one hunts; with the other input low it rests high.
func TestFeedbackThroughShort(t *testing.T) {
	s := powered(quadNAND(t, "74", part.TotemPole, "2 shorted to 3"))
	s.Drive(pins(1), 0)
	if r := reads(s, at(3)); r != '1' && s.Millivolts(at(3)) < 2400 {
		t.Errorf("held: pin 3 reads %c at %d mV", r, s.Millivolts(at(3)))
	}
	s.Drive(pins(1), pins(1))
	if r := reads(s, at(3)); r != 'u' {
		t.Errorf("fed back: pin 3 reads %c, want u", r)
	}
	s.Drive(pins(1), 0)
	pull(s, allHigh, allOff)
	if r := reads(s, at(3)); r != '1' {
		t.Errorf("held again: pin 3 reads %c, want 1", r)
	}
}

// An open MOS input keeps whatever charge it has, for nothing takes it away: it
// acts as one level throughout, which only the seed decides.
func TestOpenMOSInputFloats(t *testing.T) {
	run := func(seed uint64) (answers string) {
		s := NewSocket(quadNAND(t, "4000B", part.TotemPole, "1 open"), seed)
		s.Supply(adapter.At(28), adapter.At(7))
		for i := range 64 {
			level := pins(2)
			if i&1 != 0 {
				level |= pins(1)
			}
			s.Drive(pins(1, 2), level)
			answers += string(bitIf(s.Sample().Has(at(3))))
		}
		return answers
	}
	low, high := strings.Repeat("0", 64), strings.Repeat("1", 64)
	seen := map[string]bool{}
	for seed := range uint64(16) {
		answers := run(seed)
		seen[answers] = true
		if answers != low && answers != high {
			t.Errorf("seed %d: answers %s, want one level throughout", seed, answers)
		}
		if again := run(seed); again != answers {
			t.Errorf("seed %d gives another run the second time", seed)
		}
	}
	if !seen[low] || !seen[high] {
		t.Error("all of 16 seeds float at the same level")
	}
}

func TestReversedChipTouchesOppositePositions(t *testing.T) {
	chip := quadNAND(t, "74", part.TotemPole, "reversed")
	for pin, position := range map[int]int{14: 7, 7: 28, 1: 22, 8: 1} { // 14-pin: pin p is where p+7 should be
		if got := chip.position(pin); got != position {
			t.Errorf("pin %d at position %d, want %d", pin, got, position)
		}
	}
}

func TestStuckInputLooksLikeAnInput(t *testing.T) {
	s := powered(quadNAND(t, "74LS", part.TotemPole, "1 stuck low"))
	s.Drive(pins(1), pins(1))
	if v := s.Millivolts(at(1)); v < 4900 {
		t.Errorf("pin 1 driven high is at %d mV", v)
	}
	if got := s.chip.pads[0].stuck; got != logic.Zero {
		t.Errorf("stuck at %v", got)
	}
}

// A rarely intermittent bond opens at one change in so many from the start, not
// only once the chip is warm. Of 20,000 changes at one in 50, 400 are expected with
// a standard deviation of 20 (the binomial distribution's): five of those either way.
func TestRarelyIntermittentBond(t *testing.T) {
	run := func(pin int, seed uint64) (open int, when []int) {
		s := NewSocket(quadNAND(t, "74LS", part.TotemPole, fmt.Sprint(pin, " intermittent 50")), seed)
		s.Supply(adapter.At(28), adapter.At(7))
		pull(s, allHigh, allOff)
		s.Drive(pins(1, 2), pins(1, 2)) // pin 3 is low, and high only by the bias rail
		for i := range 20_000 {
			s.Drive(pins(1, 2, 4), pins(1, 2)|pins(4)*adapter.Word(i&1))
			if s.Sample().Has(at(3)) {
				open++
				when = append(when, i)
			}
		}
		return open, when
	}
	// The output; the supply and the ground, without which it is released too, but that pin 4, while it is low, is a
	// ground by its clamp diode.
	for pin, want := range map[int]int{3: 400, 14: 400, 7: 200} {
		open, when := run(pin, 1)
		if open < want*3/4 || open > want*5/4 {
			t.Errorf("pin %d is open at %d of 20,000 changes, want about %d", pin, open, want)
			continue
		}
		if when[0] > 2000 {
			t.Errorf("pin %d is first open at change %d", pin, when[0])
		}
		if again, at := run(pin, 1); again != open || !slices.Equal(at, when) {
			t.Errorf("pin %d: the same seed gives another run the second time", pin)
		}
		if _, other := run(pin, 2); slices.Equal(other, when) {
			t.Errorf("pin %d: another seed opens at the same changes", pin)
		}
	}
}

// An input switches at the threshold that it has, be it far from its family's:
// driven through the load resistor's and the bias resistor's divider it stands at
// 4.95 V × 1/11 or × 10/11, 0.46 or 4.49 V; through the drive at 0 or 4.95 V.
func TestThreshold(t *testing.T) {
	for _, c := range []struct {
		defect             string
		bias, load         pulled
		want               byte // of a NAND gate whose other input is high
		driven, whenDriven byte // driven low, and high
	}{
		{"1 threshold 0.4 V", allHigh, allLow, '0', '1', '0'}, // 0.46 V is a high
		{"1 threshold 0.5 V", allHigh, allLow, '1', '1', '0'},
		{"1 threshold 4.4 V", allLow, allHigh, '0', '1', '0'},
		{"1 threshold 4.6 V", allLow, allHigh, '1', '1', '0'}, // 4.49 V is a low
	} {
		s := powered(quadNAND(t, "74HC", part.TotemPole, c.defect))
		pull(s, c.bias, c.load)
		s.Drive(pins(2), pins(2))
		if r := reads(s, at(3)); r != c.want {
			t.Errorf("%s, bias %v, load %v: pin 3 reads %c, want %c", c.defect, c.bias, c.load, r, c.want)
		}
		s.Drive(pins(1, 2), pins(2))
		low := reads(s, at(3))
		s.Drive(pins(1, 2), pins(1, 2))
		if high := reads(s, at(3)); low != c.driven || high != c.whenDriven {
			t.Errorf("%s: pin 3 reads %c and %c, want %c and %c", c.defect, low, high, c.driven, c.whenDriven)
		}
	}
}
