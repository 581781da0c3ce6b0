package virtual

import (
	"math/rand/v2"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A defect of a register's bit makes the chip that a definition with the line
// changed makes: both go through the same 4,000 random changes of their inputs, from
// the same state at power-up, and answer alike.
func TestDisobeyingBitIsADefinitionWithOneLineChanged(t *testing.T) {
	for _, c := range []struct{ defect, line, changed string }{
		{"bit 5 of Q holds at clear", "    when !/CLR  : 0", "    when !/CLR  : Q & 6'32\n"},
		{"bit 0 of 1Q holds at 1", "    when !/CLR  : 0", "    when !/CLR  : Q & 6'32\n"},
		{"bit 5 of Q ignores clear", "    when !/CLR  : 0", "    on rise CLK when !/CLR : D & 6'32\n    when !/CLR : Q & 6'32\n"},
		{"bit 2 of q inverts /clr", "    when !/CLR  : 0", "    when !/CLR  : 6'4\n"},
		{"bit 2 of Q inverts CLOCK", "    on rise CLK : D", "    on rise CLK : D ^ 6'4\n"},
		{"bit 0 of 4Q obeys clear always", "    on rise CLK : D", "    on rise CLK : D & 6'59\n    when 1 : Q & 6'59\n"},
		{"bit 0 of Q ignores 2", "    on rise CLK : D", "    on rise CLK : {D[5:1], Q[0]}\n"},
	} {
		broken, err := die74174(t, "", "", c.defect)
		if err != nil {
			t.Errorf("%s: %v", c.defect, err)
			continue
		}
		changed, err := die74174(t, c.line, c.changed)
		if err != nil {
			t.Fatal(err)
		}
		good, _ := die74174(t, "", "")
		random := rand.New(rand.NewPCG(1, 0))
		differ, shown := 0, 0
		for range 4000 {
			pin := []int{1, 3, 4, 6, 9, 9, 11, 13, 14}[random.IntN(9)]
			v := logic.Splat(logic.FromBool(random.IntN(2) == 0))
			for _, d := range []die{broken, changed, good} {
				d.Set(pin, v)
				d.Settle()
			}
			for _, q := range []int{2, 5, 7, 10, 12, 15} {
				if broken.Out(q) != changed.Out(q) {
					differ++
				}
				if broken.Out(q) != good.Out(q) {
					shown++
				}
			}
		}
		if differ > 0 || shown == 0 {
			t.Errorf("%s: %d answers are not those of the changed definition, %d those of no good chip", c.defect, differ, shown)
		}
	}
}

// die74174 is that of a hex D flip-flop as data sheets have it (from memory of the
// 74174's), with a line of its definition changed or with defects.
func die74174(t *testing.T, line, changed string, defects ...string) (die, error) {
	t.Helper()
	text := `part 74174 "hex D flip-flop with common clear"
kind register
families 74
source "from memory"
package DIP16
   /CLR  1 | U | 16 VCC
     1Q  2 |   | 15 6Q
     1D  3 |   | 14 6D
     2D  4 |   | 13 5D
     2Q  5 |   | 12 5Q
     3D  6 |   | 11 4D
     3Q  7 |   | 10 4Q
    GND  8 |   | 9  CLK
inputs  /CLR CLK 1D..6D
outputs 1Q..6Q
bus D = 1D..6D
bus Q = 1Q..6Q
register Q
    when !/CLR  : 0
    on rise CLK : D
`
	if line != "" {
		text = strings.Replace(text, line+"\n", changed, 1)
	}
	parts, err := part.Parse("test.part", text)
	if err != nil {
		t.Fatal(err)
	}
	d, err := newLogic(parts[0].Variants[0], parsed(t, defects...))
	if err == nil {
		d.Set(1, logic.Splat(logic.One))
		d.Set(9, logic.Splat(logic.Zero))
		d.Settle()
		d.PowerUp(1)
		d.Settle()
	}
	return d, err
}

func parsed(t *testing.T, texts ...string) (defects []Defect) {
	t.Helper()
	for _, text := range texts {
		d, err := ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		defects = append(defects, d)
	}
	return defects
}

// A rule obeyed at the other edge: each D comes to the output at the fall.
func TestBitObeysAtTheOtherEdge(t *testing.T) {
	d, err := die74174(t, "", "", "bit 0 of 1Q obeys clock at the other edge")
	if err != nil {
		t.Fatal(err)
	}
	set := func(pin int, v logic.Value) {
		d.Set(pin, logic.Splat(v))
		d.Settle()
	}
	set(1, logic.Zero)
	set(1, logic.One)
	for _, c := range []struct {
		clock, data   logic.Value
		first, second logic.Value
	}{
		{logic.Zero, logic.One, logic.Zero, logic.Zero},
		{logic.One, logic.One, logic.Zero, logic.One},
		{logic.Zero, logic.One, logic.One, logic.One},
		{logic.Zero, logic.Zero, logic.One, logic.One},
		{logic.One, logic.Zero, logic.One, logic.Zero},
		{logic.Zero, logic.Zero, logic.Zero, logic.Zero},
	} {
		set(3, c.data)
		set(4, c.data)
		set(9, c.clock)
		if first, second := d.Out(2).Lane(0), d.Out(5).Lane(0); first != c.first || second != c.second {
			t.Errorf("clock %v, data %v: 1Q %v, 2Q %v, want %v, %v", c.clock, c.data, first, second, c.first, c.second)
		}
	}
}

// What a definition's names and words find, and the message for those that find nothing.
func TestLogicDefectsOfTheLibrary(t *testing.T) {
	for _, c := range []struct{ typ, defect, says string }{
		{"74174", "bit 6 of Q ignores clear", "bits 0 to 5"},
		{"74174", "bit 0 of P ignores clear", "it has Q"},
		{"74174", "bit 0 of 1D ignores clear", "it has Q"},
		{"74174", "bit 0 of Q ignores load", "reads a pin load"},
		{"74174", "bit 0 of Q ignores 3", "rules 1 to 2"},
		{"74174", "bit 0 of Q obeys 2 always", "no condition"},
		{"74174", "bit 0 of Q obeys 1 at the other edge", "no edge"},
		{"74161", "bit 3 of Q ignores load", ""},
		{"74161", "bit 3 of Q ignores clock", "rules 2, 3"},
		{"74161", "bit 3 of Q ignores ENP", ""},
		{"4013", "bit 0 of q1 ignores reset", ""},
		{"4013", "bit 0 of q2 ignores set", ""},
		{"4040", "bit 11 of Q ignores reset", ""},
		{"7400", "bit 0 of 1Y ignores clear", "remembers nothing"},
		{"7476", "bit 0 of 1Q ignores clear", ""}, // its inner register is 1q
		{"7476", "1Q is edge-triggered", ""},
		{"7476", "1Q catches ones", "a good 7476 does so"},
		{"74LS76", "1Q catches ones", ""},
		{"74LS76", "1Q is edge-triggered", "a good 7476 does so"},
		{"74LS74", "1Q catches ones", "not of J-K"},
		{"74L71", "Q is edge-triggered", "not of J-K"},
		{"7454", "term 4 of Y dead", ""},
		{"7454", "term 5 of Y dead", "no product term 5"},
		{"7454", "term 1 of X dead", "no X"},
		{"74151", "term 8 of Y dead", ""},
		{"7486", "term 1 of 1Y dead", "no product term"},
		{"74174", "term 1 of Q dead", "6 bits"},
		{"2114", "bit 0 of D ignores clear", "memory"},
		{"2114", "term 1 of D0 dead", "memory"},
	} {
		typ, err := library.Open(c.typ)
		if err != nil {
			t.Fatal(err)
		}
		_, err = NewChip(typ, parsed(t, c.defect)...)
		switch {
		case c.says == "" && err != nil:
			t.Errorf("%s, %s: %v", c.typ, c.defect, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s, %s: %v, want %q", c.typ, c.defect, err, c.says)
		}
	}
	typ, err := library.Open("74LS76")
	if err != nil {
		t.Fatal(err)
	}
	for _, both := range [][]string{{"1Q catches ones", "bit 0 of 1Q ignores clear"}, {"bit 0 of 1Q ignores clear", "1Q catches ones"}} {
		if _, err := NewChip(typ, parsed(t, both...)...); err == nil {
			t.Errorf("%v are taken together", both)
		}
	}
}

// A good 7476 in the socket catches a one, as its data sheet warns; a 74LS76, which
// is edge-triggered, does not; and each may lie in the other's package.
func TestPulseTriggeredChipsCatchOnes(t *testing.T) {
	for _, c := range []struct {
		typ     string
		defects []string
		q       byte
	}{
		{"7476", nil, '1'}, {"7476", []string{"1Q is edge-triggered"}, '0'},
		{"74LS76", nil, '0'}, {"74LS76", []string{"1Q catches ones"}, '1'},
	} {
		typ, err := library.Open(c.typ)
		if err != nil {
			t.Fatal(err)
		}
		chip, err := NewChip(typ, parsed(t, c.defects...)...)
		if err != nil {
			t.Fatal(err)
		}
		s := NewSocket(chip, 1)
		positions := func(pins ...int) (w adapter.Word) {
			for _, pin := range pins {
				w |= adapter.At(chip.position(pin))
			}
			return w
		}
		s.Supply(positions(5), positions(13))
		all := positions(1, 2, 3, 4, 16)
		for _, high := range [][]int{{2}, {2, 3}, {1, 2, 3}, {1, 2, 3, 4}, {1, 2, 3}, {2, 3}} { // clear, then J within the pulse
			s.Drive(all, positions(high...))
		}
		if got := reads(s, chip.position(15)); got != c.q {
			t.Errorf("%s %v: 1Q reads %c, want %c", c.typ, c.defects, got, c.q)
		}
	}
}

// A tray's chips have defects inside as they have others; its error names the line.
func TestTrayTakesDefectsInside(t *testing.T) {
	places, err := ParseTray(strings.NewReader(`
74174  defect "bit 0 of 1Q holds at clear"  note "signal lamp driver"
7400   defect "3 late 20 us"  defect "1 shorted to 2 470 ohms"
`), library.Open)
	if err != nil || len(places) != 2 {
		t.Fatalf("%d places, %v", len(places), err)
	}
	if d := places[0].Chip.Defects; len(d) != 1 || d[0].Kind != BitHolds {
		t.Errorf("defects of the first: %v", d)
	}
	if d := places[1].Chip.Defects; len(d) != 2 || d[0].Kind != Late || d[1].Kind != ResistiveShort {
		t.Errorf("defects of the second: %v", d)
	}
	if _, err := ParseTray(strings.NewReader("7400\n7404 defect \"bit 0 of Q ignores clear\"\n"), library.Open); err == nil || !strings.Contains(err.Error(), "line 2") {
		t.Errorf("a bit of a part that has none: %v", err)
	}
}
