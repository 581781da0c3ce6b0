package selfcheck_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/selfcheck"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// opened is the virtual adapter on a socket.
func opened(socket *virtual.Socket) (*adapter.Adapter, func(), error) {
	ctx := context.Background()
	board, err := virtual.Open(ctx, socket)
	if err != nil {
		return nil, nil, err
	}
	a, err := adapter.Open(ctx, link.New(board, protocol.UsualRate))
	return a, func() { board.Close() }, err
}

// checked is what the check says of a board with an empty socket.
func checked(t interface{ Fatal(...any) }, b *virtual.Board, seed uint64) *selfcheck.Report {
	a, closed, err := opened(b.Socket(nil, seed))
	if err != nil {
		t.Fatal(err)
	}
	defer closed()
	r, err := selfcheck.Check(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	s, err := a.Status(context.Background())
	if err != nil || s.Powered || s.Driven != 0 || s.Bias != (protocol.Pull{}) || s.Load != (protocol.Pull{}) {
		t.Fatal("the socket is not safe after the check:", s, err)
	}
	return r
}

func damaged(t interface{ Fatal(...any) }, defects ...string) *virtual.Board {
	b := virtual.NewBoard()
	for _, d := range defects {
		if err := b.Damage(d); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// A good board has resistors within 1 % (firmware/README.md) and a converter within
// 3 counts, 15 mV; an adapter cannot be blamed for either.
func TestGoodBoardHasNoFault(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		offset := rapid.IntRange(-10, 10).Draw(t, "offset, mV")
		gain := rapid.IntRange(-10, 10).Draw(t, "gain, 1/10 %")
		b := damaged(t, fmt.Sprintf("converter offset %d mV", offset), fmt.Sprintf("converter gain %g", 1+float64(gain)/10_000))
		b.Spread(1, seed)
		if faults := checked(t, b, seed).Faults(); len(faults) > 0 {
			t.Fatalf("%v", faults)
		}
	})
}

// What each defect must be called: the group, a part of the line's name, and a
// part of what to look at. Lines are those of firmware/README.md's pin map.
var defectTable = []struct{ defect, group, line, look string }{
	{"L3 drive open", "drive lines", "L3 (socket position 3)", "180 Ω resistor between PA2 and position 3"},
	{"R8 drive open", "drive lines", "R8 (socket position 21)", "180 Ω resistor between PL7 and position 21"},
	{"L10 drive open", "drive lines", "L10 (socket position 10)", "180 Ω resistor between PC1 and position 10"},
	{"R14 drive open", "drive lines", "R14 (socket position 15)", "180 Ω resistor between PB5 and position 15"},
	{"L3 drive stuck low", "drive lines", "L3 (", "PA2 stuck low"},
	{"L4 drive stuck low", "drive lines", "L4 (", "PA3 stuck low"},
	{"R1 drive stuck high", "drive lines", "R1 (socket position 28)", "PL0 stuck high"},
	{"L1 drive stuck high", "drive lines", "L1 (", "PA0 stuck high"},
	{"R9 drive stuck high", "drive lines", "R9 (socket position 20)", "PB0 stuck high"},
	{"L9 drive stuck low", "low-side switches", "low-side switch or drive line of L9", "PC0 stuck low"},
	{"L1 sense open", "sense lines", "L1 (", "4.7 kΩ resistor between position 1 and PF0 (ADC 0)"},
	{"L8 sense open", "sense lines", "L8 (", "PF7 (ADC 7)"},
	{"R1 sense open", "sense lines", "R1 (", "position 28 and PK0 (ADC 8)"},
	{"R5 sense open", "sense lines", "R5 (socket position 24)", "PK4 (ADC 12)"},
	{"L5 bias open", "resistors", "bias resistor of L5", "10 kΩ resistor between the bias rail and position 5"},
	{"L12 bias open", "resistors", "bias resistor of L12", "position 12"},
	{"R2 load open", "resistors", "load resistor of R2 (socket position 27)", "1 kΩ resistor between the load rail and position 27"},
	{"R10 load open", "resistors", "load resistor of R10", "position 19"},
	{"L6 bias 8200 ohms", "resistors", "bias resistor of L6", "10 kΩ"},
	{"L6 bias 12000 ohms", "resistors", "bias resistor of L6", "10 kΩ"},
	{"R3 load 820 ohms", "resistors", "load resistor of R3", "1 kΩ"},
	{"R3 load 1200 ohms", "resistors", "load resistor of R3", "1 kΩ"},
	{"R3 load 10000 ohms", "resistors", "load resistor of R3", "1 kΩ"},
	{"L2 drive 145 ohms", "resistors", "drive resistor of L2", "180 Ω resistor between PA1 and position 2"},
	{"L2 drive 245 ohms", "resistors", "drive resistor of L2", "180 Ω"},
	{"L2 bridged to L3", "drive lines", "L2 (socket position 2) and L3 (socket position 3)", "solder between the lines of PA1 and PA2"},
	{"bias rail dead low", "rails", "bias rail", "PG1"},
	{"bias rail dead high", "rails", "bias rail", "PG0"},
	{"load rail dead low", "rails", "load rail", "PG5"},
	{"load rail dead high", "rails", "load rail", "PG2"},
	{"high switch 1 stuck off", "high-side switches", "L1 (", "PH0"},
	{"high switch 5 stuck off", "high-side switches", "L5 (", "PH3"},
	{"high switch 28 stuck off", "high-side switches", "R1 (socket position 28)", "PH6"},
	{"high switch 22 stuck on", "high-side switches", "R7 (socket position 22)", "PH5"},
	{"low switch 1 stuck off", "low-side switches", "L1 (", "output 0 of the latch"},
	{"low switch 11 stuck off", "low-side switches", "L11 (", "output 6 of the latch"},
	{"low switch 28 stuck off", "low-side switches", "R1 (socket position 28)", "output 12 of the latch"},
	{"low switch 7 stuck on", "low-side switches", "low-side switch of L7", "output 2 of the latch"},
	{"low switch 14 stuck on", "low-side switches", "low-side switch or drive line of L14", "output 8 of the latch"},
	{"monitor dead", "current monitor", "current monitor", "PD0 (SCL) and PD1 (SDA)"},
	{"shunt 1.5 ohms", "current monitor", "current monitor", "1 Ω shunt"},
	{"converter gain 1.03", "sense lines", "converter", "AREF"},
	{"converter offset 60 mV", "sense lines", "converter", "AREF"},
	{"button stuck", "button", "button line", "PE4"},
}

func TestEveryDefectIsNamed(t *testing.T) {
	for _, c := range defectTable {
		for seed := range uint64(4) {
			b := damaged(t, c.defect)
			if !strings.Contains(c.defect, "ohms") {
				b = virtual.NewBoard()
				b.Spread(1, seed)
				if err := b.Damage(c.defect); err != nil {
					t.Fatal(err)
				}
			}
			r := checked(t, b, seed)
			for _, g := range r.Groups {
				switch {
				case g.Name != c.group && len(g.Faults) > 0:
					t.Errorf("%s, seed %d: %s, too: %v", c.defect, seed, g.Name, g.Faults)
				case g.Name == c.group && len(g.Faults) != 1:
					t.Errorf("%s, seed %d: %d faults of %s: %v", c.defect, seed, len(g.Faults), g.Name, g.Faults)
				case g.Name == c.group && !(strings.Contains(g.Faults[0].Line, c.line) && strings.Contains(g.Faults[0].Look, c.look)):
					t.Errorf("%s, seed %d: called %v", c.defect, seed, g.Faults[0])
				}
			}
		}
	}
}

// Every line that a board has, and not a choice of them: one defect each, and the
// one fault names its position.
func TestEveryLineIsChecked(t *testing.T) {
	var cases []struct {
		defect   string
		position int
	}
	add := func(position int, format string, args ...any) {
		cases = append(cases, struct {
			defect   string
			position int
		}{fmt.Sprintf(format, args...), position})
	}
	for p := 1; p <= adapter.Positions; p++ {
		for _, d := range []string{"drive open", "drive stuck low", "drive stuck high", "bias open", "load open"} {
			add(p, "%s %s", adapter.Column(p), d)
		}
		if virtual.Sensed.Has(p) {
			for _, d := range []string{"sense open", "bias 12000 ohms", "load 820 ohms", "drive 250 ohms"} {
				add(p, "%s %s", adapter.Column(p), d)
			}
		}
	}
	for _, p := range virtual.SupplyHigh {
		add(p, "high switch %d stuck off", p)
		add(p, "high switch %d stuck on", p)
	}
	for _, p := range virtual.SupplyLow {
		add(p, "low switch %d stuck off", p)
		add(p, "low switch %d stuck on", p)
	}
	for _, c := range cases {
		faults := checked(t, damaged(t, c.defect), 7).Faults()
		if len(faults) != 1 || faults[0].Position != c.position {
			t.Errorf("%s: %v", c.defect, faults)
		}
	}
	t.Logf("%d defects, one a board, each named by its position", len(cases))
}

// Measurements are shares of the supply. An adapter that is calibrated to another
// one than 5 V is no worse for it, and its faults are the same. USB allows ± 5 %; as
// the virtual board has 5 V whatever it is told, its current is off by as much.
func TestCalibratedToAnotherSupply(t *testing.T) {
	for _, supply := range []float64{4.75, 5.25} {
		for defect, faults := range map[string]int{"shunt 1 ohms": 0, "L3 load 820 ohms": 1, "R5 drive open": 1} {
			a, closed, err := opened(damaged(t, defect).Socket(nil, 1))
			if err != nil {
				t.Fatal(err)
			}
			k, err := a.Calibration(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			k.SupplyVolts = supply
			if err := a.SetCalibration(t.Context(), k); err != nil {
				t.Fatal(err)
			}
			if r, err := selfcheck.Check(t.Context(), a); err != nil || len(r.Faults()) != faults {
				t.Errorf("%g V, %s: %v, %v", supply, defect, r, err)
			}
			closed()
		}
	}
}

// All of a kind of another value are each named, and the monitor is not blamed.
func TestAllOfAnotherValue(t *testing.T) {
	for _, d := range []string{"all load 820 ohms", "all bias 12000 ohms", "all drive 250 ohms"} {
		for _, g := range checked(t, damaged(t, d), 1).Groups {
			if want := map[string]int{"resistors": 16}[g.Name]; len(g.Faults) != want {
				t.Errorf("%s: %s: %v", d, g.Name, g.Faults)
			}
		}
	}
}

// Two rails dead leave nothing to check with, and the check says so.
func TestNoRailLeavesTheRestUnchecked(t *testing.T) {
	r := checked(t, damaged(t, "bias rail dead high", "load rail dead high"), 1)
	if len(r.Faults()) != 2 {
		t.Errorf("%v", r.Faults())
	}
	for _, g := range r.Groups[1:7] {
		if g.Good != "" || !strings.Contains(g.Unchecked, "no rail reaches both levels") {
			t.Errorf("%+v", g)
		}
	}
}

// Any part of the library in the socket, in one family of each technology, and a
// resistor, is something in it.
func TestOccupiedSocketIsRefused(t *testing.T) {
	parts, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	refused := func(name string, socket *virtual.Socket) {
		a, closed, err := opened(socket)
		if err != nil {
			t.Fatal(err)
		}
		defer closed()
		if r, err := selfcheck.Check(t.Context(), a); !errors.Is(err, selfcheck.ErrOccupied) {
			t.Errorf("%s: %v, %v", name, r, err)
		}
	}
	n := 0
	for _, p := range parts {
		seen := map[part.Technology]bool{}
		for _, family := range p.Families() {
			if seen[family.Technology] {
				continue
			}
			seen[family.Technology] = true
			typ, err := library.Choose(p, family)
			if err != nil {
				t.Fatal(err)
			}
			if typ.Variant.Refusal != "" {
				continue
			}
			chip, err := virtual.NewChip(typ)
			if err != nil {
				t.Fatal(err)
			}
			refused(typ.Name(), virtual.NewBoard().Socket(chip, 1))
			n++
		}
	}
	for _, ohms := range []float64{100, 2200, 10_000, 100_000} {
		refused(fmt.Sprintf("%g Ω", ohms), virtual.NewBoard().SocketWith(virtual.Resistor{Ohms: ohms, P: 2, Q: 27}, 1))
	}
	t.Logf("%d parts refused", n)
}

// pinMap reads the pin map of firmware/README.md: position by pin, for one row of its table.
func pinMap(t *testing.T, row string) string {
	text, err := os.ReadFile("../../firmware/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for l := range strings.Lines(string(text)) {
		if strings.HasPrefix(l, "| "+row+" |") {
			return strings.Split(l, "|")[2]
		}
	}
	t.Fatalf("firmware/README.md has no row %q", row)
	return ""
}

// What a fault names is what firmware/README.md has as the line of that position.
func TestPinsAreThoseOfThePinMap(t *testing.T) {
	ports := map[string][]int{"drive L1-L8": {1, 8}, "drive L9-L14": {9, 14}, "drive R1-R8": {28, 21}, "drive R9-R14": {20, 15}}
	runOf := regexp.MustCompile(`P([A-L])(\d)-P[A-L](\d)`)
	for row, ends := range ports {
		m := runOf.FindStringSubmatch(pinMap(t, row))
		first, _ := strconv.Atoi(m[2])
		step := 1
		if ends[0] > ends[1] {
			step = -1
		}
		for i, p := 0, ends[0]; p != ends[1]+step; i, p = i+1, p+step {
			pin := fmt.Sprintf("P%s%d", m[1], first+i)
			f := checked(t, damaged(t, adapter.Column(p)+" drive open"), 1).Faults()
			if len(f) != 1 || !strings.Contains(f[0].Look, " "+pin+" ") {
				t.Errorf("%s: position %d is driven by %s: %v", row, p, pin, f)
			}
		}
	}
	for _, m := range regexp.MustCompile(`(PH\d) pos\. (\d+)`).FindAllStringSubmatch(pinMap(t, "supply, high side"), -1) {
		f := checked(t, damaged(t, "high switch "+m[2]+" stuck off"), 1).Faults()
		if len(f) != 1 || !strings.Contains(f[0].Look, m[1]+";") {
			t.Errorf("position %s is switched by %s: %v", m[2], m[1], f)
		}
	}
	rails := map[string]string{"bias": pinMap(t, "bias rail"), "load": pinMap(t, "load rail")}
	for name, row := range rails {
		for _, m := range regexp.MustCompile(`(PG\d) (high|low) side`).FindAllStringSubmatch(row, -1) {
			f := checked(t, damaged(t, name+" rail dead "+m[2]), 1).Faults()
			if len(f) != 1 || !strings.HasSuffix(f[0].Look, m[1]) {
				t.Errorf("%s rail %s is %s: %v", name, m[2], m[1], f)
			}
		}
	}
}

// Groups come in the same order whatever is wrong.
func TestOrder(t *testing.T) {
	var names []string
	for _, g := range checked(t, damaged(t, "button stuck", "L3 drive open"), 1).Groups {
		names = append(names, g.Name)
	}
	want := []string{"rails", "sense lines", "drive lines", "resistors", "high-side switches", "low-side switches", "current monitor", "button", "indicators"}
	if !slices.Equal(names, want) {
		t.Errorf("%v", names)
	}
}
