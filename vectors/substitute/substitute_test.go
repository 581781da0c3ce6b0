package substitute

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/tied"
	"chipassay/vectors/twin"
)

var parts = sync.OnceValue(func() []*part.Part {
	all, err := library.Builtin().Parts()
	if err != nil {
		panic(err)
	}
	return all
})

var catalogue = sync.OnceValue(func() *tied.Catalogue {
	c, err := tied.Catalogued(parts())
	if err != nil {
		panic(err)
	}
	return c
})

func typeOf(t *testing.T, typed string) part.Type {
	t.Helper()
	typ, err := library.Open(typed)
	if err != nil {
		t.Fatal(err)
	}
	return typ
}

var found = map[string]*Substitutes{}

func substitutesOf(t *testing.T, typed, load string) *Substitutes {
	t.Helper()
	if s := found[typed+","+load]; s != nil {
		return s
	}
	l, err := ParseLoad(load)
	if err != nil {
		t.Fatal(err)
	}
	s, err := For(typeOf(t, typed), parts(), catalogue(), l)
	if err != nil {
		t.Fatal(err)
	}
	found[typed+","+load] = s
	return s
}

// find gives the words of a type's differences, ok where the list has it.
func find(list []Substitute, typ string) (words string, ok bool) {
	for _, s := range list {
		if slices.Contains(s.Types(), typ) {
			var all []string
			for _, d := range s.Differences {
				all = append(all, d.Words)
			}
			return strings.Join(all, "; "), true
		}
	}
	return "", false
}

// TestKnownSubstitutes holds the lists against the pinouts of the data books (from
// memory) and common practice.
func TestKnownSubstitutes(t *testing.T) {
	for _, c := range []struct{ of, dropIn, otherPins, withTies, never string }{
		{"7400", "74LS00 74HC00 74HCT00 7437 7403 7438 74132 74LS132", "4011B 7401 74LS01", "7410 7420 7430", "7408 7402 7486 74158 7442"},
		{"7410", "74LS10 74F10 7412", "4023B", "7420 7430", "7411 7427"},
		{"4011B", "4011UB 4093B", "7400 74HC00", "4012B 4023B", "4001B"},
		{"74LS51", "74HC51", "", "74LS55", "7451"}, // the 7451 is 2-2, 2-2 on other pins
		{"7490", "74LS90", "74290", "", "7493 7492"},
		{"7493", "74LS93", "74293", "", "7490"},
		{"7486", "74LS86 74136", "4070B 4030B 74LS386", "", "7432"},
		{"74LS161", "74161 74HC161 74LS161", "", "", "74LS163 74LS160"}, // 163 clears with the clock
		{"74LS74", "7474 74HC74", "", "", "4013B"},                      // sets and clears high
		{"7404", "74LS04 74HC04 7405 7406 7414 7416", "4049UB", "7400 7402", "7407"},
		{"74LS245", "74HC245 74LS645", "", "", "74LS640"},
		{"2114", "2149", "", "", "2101"},
		{"7442", "74LS42", "", "", "7443 7444 74155"}, // other codes; outputs share inputs
		{"4063B", "7485 74LS85", "74L85", "", ""},
		// What remembers, by the function tables and logic diagrams of the data books, from memory.
		{"7474", "74LS74", "", "74109 74LS109", "4013B 74175 7475 7470"},         // the 109 "performs as D-type if J and K̄ are tied together"
		{"7473", "74LS73", "74107 74LS107", "7476 74LS112 74111", "7474 74109"},  // the 109 has another K and edge
		{"7476", "74LS76", "74LS112 74111", "", "7473 74109 7474"},               // the 107 has no preset
		{"7475", "74LS75", "74LS375 7477 74100", "", "7474 74175"},               // a 77 and a 100 have no /Q; a latch is no flip-flop
		{"7477", "74LS77", "7475 74LS375 74100", "", "7474"},                     //
		{"74174", "74LS174 40174B", "74273", "", "74LS378 74374"},                // a 378 has an enable and no clear
		{"74LS373", "74HC373 40373B", "74LS573", "", "74LS374 74LS533 74LS574"},  // 374: edge; 533: inverted
		{"74LS374", "74HC374 40374B", "74LS574", "", "74LS373 74LS377 74ALS564"}, // 377: no three-state
		{"74178", "", "", "74179", "74195"},                                      // a 179 is a 178 with a clear
		{"74393", "74LS393", "4024B 4040B", "4520B", "74390 4518B 7493 4020B"},   // the 4520's enable counts falls while its clock is low
		{"4024B", "74HC4024", "4040B 74HC4040", "", "4020B 74393"},               // a 4020 has no Q2 and Q3
		{"7491", "74LS91", "", "74164", "4015B"},                                 // eight stages with A AND B, and a clear
		{"74191", "74LS191", "", "", "74190 74193 4516B"},
		{"74193", "40193B", "", "", "74192 74191"},
		{"74163", "40163B", "", "", "74161 74162 74169"},
		{"4013B", "", "", "", "7474 4027B 74175"},
	} {
		s := substitutesOf(t, c.of, "")
		all := slices.Concat(s.DropIn, s.OtherPins, s.WithTies)
		for _, list := range []struct {
			name  string
			list  []Substitute
			types string
		}{{"drop-in", s.DropIn, c.dropIn}, {"other pins", s.OtherPins, c.otherPins}, {"with ties", s.WithTies, c.withTies}} {
			for _, typ := range strings.Fields(list.types) {
				if _, ok := find(list.list, typ); !ok && typ != c.of {
					t.Errorf("%s: no %s %s", c.of, list.name, typ)
				}
			}
		}
		for _, typ := range strings.Fields(c.never + " " + c.of) {
			if words, ok := find(all, typ); ok {
				t.Errorf("%s: %s is listed: %s", c.of, typ, words)
			}
		}
	}
}

// TestFanOut holds the families against the fan-outs that data books and textbooks print.
//
// Source: from memory: TTL 10 of its own loads; 74LS to 74 5; 74 to 74LS 20 high;
// 74S and 74H 10 of their own; HC 2 TTL and 10 LS loads; 4000B one LS load, two of 74L.
func TestFanOut(t *testing.T) {
	for _, c := range []struct {
		driver, driven string
		want           float64
	}{
		{"7400", "7400", 10}, {"74LS00", "7400", 5}, {"7400", "74LS00", 20}, {"74LS00", "74LS00", 20},
		{"74H00", "74H00", 10}, {"74S00", "74S00", 10}, {"74HC00", "7400", 2}, {"74HC00", "74LS00", 10},
		{"4011B", "74LS00", 1}, {"4011B", "74L00", 2}, {"4011B", "7400", 0}, {"7437", "7400", 30},
	} {
		if got := fanOut(electricalOf(typeOf(t, c.driver)), typeOf(t, c.driven)); got != c.want {
			t.Errorf("%s drives %g inputs of a %s, want %g", c.driver, got, c.driven, c.want)
		}
	}
}

func TestWhatDiffers(t *testing.T) {
	for _, c := range []struct{ of, load, typ, words string }{
		{"7400", "", "74LS00", "drives 5 74 inputs, not 10; 9.5 ns a gate, not 10"},
		{"74LS00", "", "7400", "an input is 4 74LS loads; 10 ns a gate, not 9.5"},
		// 74HC takes 3.5 V for a high and TTL gives 2.4 V: a pull-up (common practice); the
		// least is what 16 mA sink at 5.25 V, 303 Ω.
		{"7400", "", "74HC00", "pull-up of 4.7 kΩ (least 330 Ω) at inputs fed by 74; no input open; drives 2 74 inputs, not 10; 9 ns a gate, not 10"},
		{"7400", "", "74HCT00", "no input open; drives 2 74 inputs, not 10; 10 ns a gate, not 10"},
		{"7400", "", "7403", "open collector: pull-up of 2.2 kΩ at each output"},
		// A 74248 has resistors at its segments where a 74249 has open collectors (data books).
		{"74LS248", "", "74LS249", "open collector: pull-up of 2.2 kΩ at a b c d e f g"},
		{"556", "", "555", "other pins, 8 of them; 1 in a package, not 2"}, // both have OUT and an open DIS
		{"7403", "", "7400", "drives high too: only where outputs are not wired together or to more than 5 V"},
		{"7400", "", "74132", "Schmitt inputs"},
		{"74132", "", "7400", "no hysteresis: not for slow edges"},
		{"7400", "", "7410", "tie 1C=H; 3 in a package, not 4"},
		{"4011B", "", "74HC00", "other pins; supply of 6 V at most; 9 ns a gate, not 125"},
		{"4011B", "", "74LS00", "other pins; pull-up of 4.7 kΩ at outputs that feed 4000B; a 4000B output drives 1 of its inputs; supply of 5.25 V at most; 9.5 ns a gate, not 125"},
		// Five LS loads are 2 mA, and 10 mA are left of 16 mA for the LED: 2.8 V over 280 Ω.
		{"74LS00", "5 x 74LS, 1 LED", "7400", "an input is 4 74LS loads; 10 ns a gate, not 9.5; carries the load; LED through 330 Ω, 8.5 mA"},
		{"7400", "20 x 74LS, 1 LED", "74LS00", "drives 5 74 inputs, not 10; too weak for the load: leaves 0 mA for an LED; 9.5 ns a gate, not 10"},
		{"7400", "6 x 74", "74LS00", "drives 5 74 inputs, not 10; too weak for the load: 9.6 of 8 mA low; 9.5 ns a gate, not 10"},
		// A 7476 is pulse-triggered, a 74LS76, 74LS112 and 74H106 are edge-triggered, a 74111 has
		// data lock-out (data books).
		{"7476", "", "74LS76", "drives 5 74 inputs, not 10; edge-triggered: takes its inputs as the clock falls, not throughout the pulse; 9.5 ns a gate, not 10"},
		{"7476", "", "74111", "other pins; data lock-out: takes its inputs as the clock rises, not throughout the pulse"},
		{"74LS112", "", "7476", "other pins; pulse-triggered: its inputs must be steady while the clock is high; an input is 8 74LS loads; 10 ns a gate, not 9.5"},
		{"74LS112", "", "74LS76", "other pins"},
		{"7474", "", "74109", "tie /1K=1J /2K=2J; an input is 3 74 loads"},
		{"7473", "", "7476", "tie /1PRE=H /2PRE=H"},
		{"7475", "", "7477", "other pins, 14 of them; no /1Q /2Q /3Q /4Q: an inverter where one is needed"},
		{"74175", "", "7474", "tie /1PRE=H 2CLK=1CLK /2CLR=/1CLR /2PRE=H; 2 in a package, not 4; an input is 2 74 loads"},
		// J and K change places where preset is to do a clear's work.
		{"74LS113", "", "74LS73", "other pins; names cross, as /1Q to 1Q"},
		// A 4163 permits what a 74163 does not: its enables must not change while the clock is low (data books).
		{"4163B", "", "74163", "/CLR /LOAD ENP ENT must not change while pin 2 (CLK) is low; pull-up of 4.7 kΩ at outputs that feed 4000B; a 4000B output drives no of its inputs; supply of 5.25 V at most; 10 ns a gate, not 125"},
		{"4163B", "", "74HC163", "supply of 6 V at most; 9 ns a gate, not 125"},
		// So does a 74LS163 (SN54160 to SN74S163, Texas Instruments, read). Of the up/down counters a
		// 74LS191 wants the same of its modes as a 74191 (National, 1989, read), and a 74F191 does
		// not (Fairchild, read).
		{"74LS163", "", "74163", "/CLR /LOAD ENP ENT must not change while pin 2 (CLK) is low; an input is 8 74LS loads; 10 ns a gate, not 9.5"},
		{"74F191", "", "74LS191", "/CTEN D_U must not change while pin 14 (CLK) is low; drives 13 74F inputs, not 33; 9.5 ns a gate, not 3.4"},
		{"74LS191", "", "74191", "an input is 12 74LS loads; 10 ns a gate, not 9.5"},
		{"74LS191", "", "74F191", "an input is 4.5 74LS loads; drives 50 74LS inputs, not 20; 3.4 ns a gate, not 9.5"},
		// What an output withstands: 7406 30 V, 7416 15 V, both 40 mA (SN7406/SN7416, SDLS031A,
		// read); 74F06 12 V (Philips, 1992, read). A gate's output stands 5.5 V.
		{"7406", "", "7416", "outputs to 15 V at most, not 30"},
		{"7416", "", "7406", "outputs to 30 V, not 15"},
		{"7406", "", "7405", "outputs to 5.5 V at most, not 30; sinks 16 mA, not 40"},
		{"7416", "", "74F06", "outputs to 12 V at most, not 15; drives 40 74 inputs, not 10; 3.4 ns a gate, not 10"},
		{"7446", "", "7447", "outputs to 15 V at most, not 30"},
		{"7445", "", "74145", "outputs to 15 V at most, not 30"},
		{"75461", "", "7409", "other pins, 14 of them; outputs to 5.5 V at most, not 35; sinks 16 mA, not 300; drives 10 74 inputs, not 30"},
		// Darlingtons saturate near 1 V, above a TTL low; a 2804 is for CMOS of 6 to 15 V
		// (ULN2803/ULN2804, Motorola, 1996, read).
		{"2803", "", "ULN2804", "inputs behind 10.5 kΩ for 6 to 15 V: at 5 V good for 125 mA"},
		{"ULN2804", "", "2803", "inputs behind 2.7 kΩ for 5 V: they take 4 times the current"},
		{"7406", "", "2003", "other pins, 16 of them; no input open; its low is up to 1.1 V: for lamps and relays, no level for 74 inputs; an input takes 1.9 mA when high; outputs to 50 V, not 30"},
		{"75470", "", "75450", "outputs to 30 V at most, not 70"},
		// A P-channel drain pulls high only; a 2245 has 25 Ω in its outputs, and a 26LS33 takes ±15 V
		// between the line and ground where a 26LS32 takes ±7 V (data sheets, from memory).
		{"74C904", "", "74C907", "1Y 2Y 3Y 4Y 5Y 6Y: pull high only, a pull-down at each"},
		{"74C907", "", "74C904", "1Y 2Y 3Y 4Y 5Y 6Y: driven low too, not to be wired together"},
		// DTL outputs have resistors to the supply, and were wired together (textbooks).
		{"946", "", "7400", "drives high by a transistor: only where outputs are not wired together; drives 10 DTL inputs, not 7; 10 ns a gate, not 25"},
		{"946", "", "949", "drives 6 DTL inputs, not 7"},
		{"74BCT2245", "", "74BCT245", "no series resistors in its outputs"},
		{"26LS33", "", "26LS32", "not for 15 V common mode"},
		{"26LS33", "", "75173", "not for 15 V common mode"},
		{"75173", "", "26LS33", ""},
		{"74HC7245", "", "74HC245", "no hysteresis: not for slow edges"},
		// A 6508's address is latched as /E falls (data sheet, from memory).
		{"2125", "", "6508", "slowest grade 460 ns, not 70: mind the suffix; takes the address as its enable falls, and wants that for each access anew"},
		{"7406", "5 x 74LS", "2003", "other pins, 16 of them; no input open; its low is up to 1.1 V: for lamps and relays, no level for 74 inputs; an input takes 1.9 mA when high; no low for the 74LS inputs: up to 1.1 V; outputs to 50 V, not 30"},
		// An expandable gate has a node more than a plain one (data books).
		{"7450", "", "7451", "no X at pin 11: only where it is not used; no /X at pin 12: only where it is not used"},
		{"7451", "", "7450", "pin 11 (X) stays open; pin 12 (/X) stays open"},
		// A 4049 brings higher levels down, and sinks two TTL loads (data books).
		{"4049UB", "", "4069UB", "other pins, 14 of them; no input above the supply; sinks 0.44 mA, not 3.2"},
		{"4066B", "", "4016B", "switches of some 280 Ω, not 125"},
		{"7404", "", "1489", "other pins; 4 in a package, not 6; inputs of a line receiver, some kΩ to ground each; drives 6 74 inputs, not 10; Schmitt inputs; 25 ns a gate, not 10"},
		{"7400", "HC", "74LS00", "drives 5 74 inputs, not 10; pull-up of 4.7 kΩ for the 74HC inputs; 9.5 ns a gate, not 10; carries the load"},
	} {
		s := substitutesOf(t, c.of, c.load)
		words, ok := find(slices.Concat(s.DropIn, s.OtherPins, s.WithTies), c.typ)
		if !ok || words != c.words {
			t.Errorf("%s for %s: %q, want %q", c.typ, c.of, words, c.words)
		}
	}
}

// TestMemories: a 4116 takes +12 V at pin 8 and −5 V at pin 1, where a 2118 has +5 V and
// nothing (data books). A 6664 refreshes by pin 1, which a 4164 leaves open. The first
// 2816s were written with 21 V.
func TestMemories(t *testing.T) {
	for _, c := range []struct{ of, typ, words string }{
		{"2118", "MCM4517", ""},
		{"2104", "MK4027", ""},
		{"6664", "4164", "no /RF at pin 1: only where it is not used"},
		{"4164", "6664", "pin 1 is an input (/RF): tie it"},
		{"28C16", "2816", "may not be written with 5 V alone: only where it is read; slowest grade 450 ns, not 350: mind the suffix; drives 10 CMOS inputs, not 40"},
	} {
		if words, ok := find(substitutesOf(t, c.of, "").DropIn, c.typ); !ok || words != c.words {
			t.Errorf("%s for %s: %q, want %q", c.typ, c.of, words, c.words)
		}
	}
	// An output of a 2114 sinks 2.1 mA (data book).
	if words, _ := find(substitutesOf(t, "2114", "5 x 74").DropIn, "2149"); !strings.Contains(words, "too weak for the load: 8 of 2.1 mA low") {
		t.Errorf("2149 with 5 TTL inputs: %q", words)
	}
	for _, c := range []struct{ of, never string }{{"4116", "2118"}, {"4116", "MCM4517"}, {"2118", "4116"}, {"2716", "TMS2716"}, {"2532", "2732"}} {
		if words, ok := find(substitutesOf(t, c.of, "").DropIn, c.never); ok {
			t.Errorf("%s for %s: %q", c.never, c.of, words)
		}
	}
}

// TestMoreThanAsked: a J-K flip-flop answers the whole test of an R-S one, and not the
// other way round; a level that is left open is no answer.
func TestMoreThanAsked(t *testing.T) {
	if words, ok := find(substitutesOf(t, "74L71", "").DropIn, "74L72"); !ok || words != "does more where the 74L71 is not specified" {
		t.Errorf("74L72 for 74L71: %q", words)
	}
	if words, ok := find(substitutesOf(t, "74L72", "").DropIn, "74L71"); ok {
		t.Errorf("74L71 for 74L72: %q", words)
	}
	for _, want := range []logic.Value{logic.One, logic.Zero, logic.Z} {
		if twin.Agree(logic.Splat(logic.X), want, part.TotemPole) != 0 {
			t.Errorf("an unknown level is an answer to %v", want)
		}
	}
}

// TestMonostablesAreNotGuessed: what levels cannot show is not compared.
func TestMonostablesAreNotGuessed(t *testing.T) {
	s := substitutesOf(t, "74LS123", "")
	if !s.Untold || len(s.OtherPins)+len(s.WithTies) > 0 {
		t.Errorf("74LS123: %+v", s)
	}
	for _, one := range s.DropIn {
		if one.Part.Number != "74123" {
			t.Errorf("74LS123: %s", one.Types())
		}
	}
}

func TestLoads(t *testing.T) {
	l, err := ParseLoad("5 x 74LS, 2x HC,1 LED, B, 2 LEDs")
	if err != nil || len(l.Inputs) != 3 || l.Inputs[0].N != 5 || l.Inputs[1].N != 2 || l.Inputs[2].N != 1 || l.LEDs != 3 {
		t.Errorf("%+v, %v", l, err)
	}
	for _, text := range []string{"5x74LS,1LED", "74LS x 5; LED", "5 × ls + 1 led", "5 74LS inputs and 1 LED", "2 LS, 3*LS & 1 LED"} {
		l, err := ParseLoad(text)
		n := 0
		for _, in := range l.Inputs {
			if n += in.N; in.Family.Name != "74LS" {
				t.Errorf("%q has %s inputs", text, in.Family.Name)
			}
		}
		if err != nil || n != 5 || l.LEDs != 1 {
			t.Errorf("%q: %+v, %v", text, l, err)
		}
	}
	if l, err := ParseLoad("3 TTL"); err != nil || len(l.Inputs) != 1 || l.Inputs[0].Family.IIL != 1.6 { // mA, one TTL load
		t.Errorf("3 TTL: %+v, %v", l, err)
	}
	for _, wrong := range []string{"5 x", "x", "3 CMOS", "5 74XY", "-1 x 74", "5 x 74LS 3", "0 x 74", "5 x 74LS00", "10 mA", ",", "1000 LS"} {
		if l, err := ParseLoad(wrong); err == nil {
			t.Errorf("%q is read as %+v", wrong, l)
		}
	}
}

func TestTenLines(t *testing.T) {
	for _, typed := range []string{"7400", "7404", "74LS51", "74LS161", "74LS123", "74181", "2114", "4001B"} {
		var b strings.Builder
		s := substitutesOf(t, typed, "5 x 74LS, 1 LED")
		if err := s.WriteText(&b, false, nil); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(b.String()), "\n")
		if len(lines) > fewLines {
			t.Errorf("%s: %d lines", typed, len(lines))
		}
		for _, line := range lines {
			if len([]rune(line)) > columns {
				t.Errorf("%s: %q has more than %d columns", typed, line, columns)
			}
		}
	}
}
