package selfcheck

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
)

// models keeps the models of groups, which take longer to make than a check.
var models = map[string]*model{}

func modelOf(groups []carrier.Group) *model {
	key := fmt.Sprint(groups)
	if models[key] == nil {
		models[key] = newModel(carrier.New().Fitted(groups...))
	}
	return models[key]
}

// checkedSocket is what the check says of a socket on the virtual adapter, which runs the real firmware.
func checkedSocket(socket *virtual.Socket, o Options) (*Report, error) {
	ctx := context.Background()
	board, err := virtual.Open(ctx, socket)
	if err != nil {
		return nil, err
	}
	defer board.Close()
	a, err := adapter.Open(ctx, link.New(board, protocol.UsualRate))
	if err != nil {
		return nil, err
	}
	r, err := checked(ctx, a, o, modelOf)
	s, statusErr := a.Status(ctx)
	if statusErr != nil || s.Powered || s.Driven != 0 || s.Bias != (protocol.Pull{}) || s.Load != (protocol.Pull{}) || s.Low != 0 {
		return nil, fmt.Errorf("the socket is not safe after the check: %+v, %v", s, statusErr)
	}
	return r, err
}

func faultsOf(t *testing.T, defects ...string) []Fault {
	t.Helper()
	return faultsOfGroup(t, carrier.Converters, defects...)
}

// faultsOfGroup is what is found on a board of the groups up to one.
func faultsOfGroup(t *testing.T, last carrier.Group, defects ...string) []Fault {
	t.Helper()
	b := virtual.NewBoard()
	b.Groups(carrier.AllGroups()[:last+1]...)
	for _, d := range defects {
		if err := b.Damage(d); err != nil {
			t.Fatal(err)
		}
	}
	r, err := checkedSocket(b.Socket(nil, 1), Options{Building: true, Group: last})
	if err != nil {
		t.Fatalf("%v: %v", defects, err)
	}
	return r.Faults()
}

// No good board has a fault: with any groups, resistors within 5 %, outputs and
// switches weak and strong, a supply from 4.6 to 5.25 V at the port, and a converter
// within 15 mV and 0.4 % (3 counts in the data sheet, from memory).
func TestGoodBoards(t *testing.T) {
	groups := [][]carrier.Group{{}, {carrier.Load}, {carrier.Load, carrier.FarHalf}, {carrier.Switches}, {carrier.FarHalf},
		{carrier.Load, carrier.FarHalf, carrier.Switches}, carrier.AllGroups(), {carrier.Load, carrier.FarHalf, carrier.Converters}}
	for seed := range uint64(48) {
		b := virtual.NewBoard()
		fitted := groups[seed%8]
		b.Groups(fitted...)
		b.Spread(5, seed)
		b.Corner(int(seed/8%3) - 1)
		b.USB(4.6 + 0.65*float64(seed%5)/4)
		for _, d := range []string{fmt.Sprintf("converter offset %d mV", int(seed%3)*15-15), fmt.Sprintf("converter gain %g", 1+0.002*float64(int(seed%5)-2))} {
			if err := b.Damage(d); err != nil {
				t.Fatal(err)
			}
		}
		r, err := checkedSocket(b.Socket(nil, seed), Options{})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for _, f := range r.Faults() {
			t.Errorf("seed %d, %v: %v", seed, fitted, f)
		}
		for _, g := range append([]carrier.Group{carrier.Starter}, fitted...) {
			if !slices.Contains(r.Fitted, g.String()) {
				t.Errorf("seed %d: %v, fitted is %v", seed, r.Fitted, fitted)
			}
		}
	}
}

// The progress rises to 1 on a good board; on one where less can be looked at it stays below.
func TestProgress(t *testing.T) {
	for defect, whole := range map[string]bool{"": true, "R305 open": false} {
		b := virtual.NewBoard()
		if defect != "" {
			if err := b.Damage(defect); err != nil {
				t.Fatal(err)
			}
		}
		var shown []float64
		if _, err := checkedSocket(b.Socket(nil, 1), Options{Progress: func(done float64) { shown = append(shown, done) }}); err != nil {
			t.Fatal(err)
		}
		last := shown[len(shown)-1]
		if len(shown) < 20 || !slices.IsSorted(shown) || shown[0] <= 0 || shown[0] > 0.1 || last > 1 || (last == 1) != whole {
			t.Errorf("%q: %v", defect, shown)
		}
	}
}

// harmless lists defects that the simulated board takes for harmless and a real one
// may not: lines of the microcontroller and of the registers' chains that fight, a base
// without its resistor or with another, whose current it takes for the usual one, and a reference held at 5 V.
func harmless(d Defect) bool {
	control := func(net string) bool { return isControl(net) || flickers(net) }
	switch {
	case d.kind == shorted:
		return control(d.NetA) || control(d.NetB) || strings.HasPrefix(d.NetA, "PH") || strings.HasPrefix(d.NetB, "PH")
	case d.kind == wrongValue:
		return strings.HasPrefix(d.Ref, "R6")
	}
	return false
}

// Each single defect of the netlist that changes anything measurable is named, and none
// is taken for another: the part, or one of the nets, is among those that a fault names.
// What is not seen is on the list of the unseen. The defects are injected into the
// virtual board, which has a solver of its own.
func TestEachDefectIsNamed(t *testing.T) {
	for _, c := range []struct {
		last  carrier.Group
		every int
	}{{carrier.Converters, 16}, {carrier.Starter, 24}, {carrier.FarHalf, 48}} {
		t.Run(c.last.String(), func(t *testing.T) {
			injectEach(t, c.last, sample.Number(c.every, 1))
		})
	}
}

// injectEach injects every so many of the defects of a board of the groups up to one.
func injectEach(t *testing.T, last carrier.Group, every int) {
	groups := carrier.AllGroups()[:last+1]
	m := modelOf(groups)
	wholly := m.shownBy()
	measurable, named, ways := 0, 0, map[int]int{}
	for i := sample.Random(t).IntN(every); i < len(m.defects); i += every {
		d := m.defects[i]
		faults := faultsOfGroup(t, last, d.String())
		if len(faults) == 0 {
			if wholly[i] && !harmless(d) {
				t.Errorf("%v: not found, and not on the list of what is not", d)
			}
			continue
		}
		measurable++
		right := slices.ContainsFunc(faults, func(f Fault) bool { return slices.ContainsFunc(d.names(), f.Has) })
		switch {
		case !right || len(faults) != 1:
			t.Errorf("%v: %d faults: %v", d, len(faults), faults)
		default:
			named++
			ways[faults[0].places(m)]++
		}
		if !wholly[i] {
			t.Errorf("%v: found, but on the list of what is not: %v", d, faults)
		}
	}
	t.Logf("%d of %d measurable defects named rightly; by the number of places to look at: %v", named, measurable, ways)
	if float64(named) < 0.95*float64(measurable) {
		t.Error("fewer than 95 %")
	}
}

// places counts the parts at which a fault's defects are to be looked for: solder lies at
// one that has both nets side by side.
func (f *Fault) places(m *model) int {
	var refs []string
	for _, d := range f.defects {
		if d.kind != shorted {
			refs = append(refs, d.Ref)
		}
	}
	for _, d := range f.defects {
		at := ""
		if d.kind == shorted {
			for i := range m.good.Parts {
				p := &m.good.Parts[i]
				for j := 1; j < len(p.Pins); j++ {
					pair := []string{p.Pins[j-1].Net, p.Pins[j].Net}
					if slices.Contains(pair, d.NetA) && slices.Contains(pair, d.NetB) && (at == "" || slices.Contains(refs, p.Ref)) {
						at = p.Ref
					}
				}
			}
			refs = append(refs, at)
		}
	}
	slices.Sort(refs)
	return len(slices.Compact(refs))
}

// Two defects at different positions are both named.
func TestTwoDefects(t *testing.T) {
	random := sample.Random(t)
	for range 12 {
		p, q := 1+random.IntN(28), 1+random.IntN(28)
		if p == q {
			continue
		}
		kinds := []string{"R1", "R2", "R3", "R4"}
		refs := []string{fmt.Sprintf("%s%02d", kinds[random.IntN(4)], p), fmt.Sprintf("%s%02d", kinds[random.IntN(4)], q)}
		faults := faultsOf(t, refs[0]+" open", refs[1]+" open")
		if len(faults) != 2 {
			t.Errorf("%v: %v", refs, faults)
		}
		for _, ref := range refs {
			if !slices.ContainsFunc(faults, func(f Fault) bool { return f.Has(ref) }) {
				t.Errorf("%v: %s is not named: %v", refs, ref, faults)
			}
		}
	}
}

// The words for some defects.
func TestWords(t *testing.T) {
	for _, c := range []struct{ defect, what, look string }{
		{"R305 open", "R305, 10 kΩ bias resistor at L5, is open, or U21 pin 4 (QE) is open", "both joints and the value of R305, between bias_L5 (U21 pin 4) and L5 (socket position 5)"},
		{"R105 1200 ohms", "R105, 120 Ω drive resistor at L5, is of the wrong value, about 1.2 kΩ", "R105, between PA4 (label 26)"},
		{"R403 1500 ohms", "R403, 1 kΩ load resistor at L3, is of the wrong value, about 1.5", "value of R403"},
		{"R310 22000 ohms", "R310, 10 kΩ bias resistor at L10, is of the wrong value, about 2", "value of R310"},
		{"R128 330 ohms", "R128, 120 Ω drive resistor at R1, is of the wrong value, about 3", "value of R128"},
		{"R210 open", "R210, 4.7 kΩ sense resistor at L10, is open, or U41 pin 2 (CH1) is open", "U41 pin 2"},
		{"Q107 turned", "Q107, an n-channel MOSFET at L7, is turned round", "Q107: its type, its flat side"},
		{"L5 shorted to L6", "L5 (socket position 5) and L6 (socket position 6) touch", "solder between L5 (socket position 5) and L6"},
		{"U22 pin 12 open", "U22 pin 12 (RCLK) is open", "U22 pin 12"},
		{"U33 missing", "the load registers U31, U32, U33, U34: what is shifted in does not come out", "with the jumper of JP3 at 1-2"},
		{"U41 missing", "U41 does not answer", "U41"},
		{"monitor dead", "U51", "U51"},
		{"shunt 1 ohms", "the shunt of U51 is not 0.1 Ω", "R100"},
		{"R831 open", "R831, 2.2 kΩ resistor, is open", "R831"},
		{"button stuck", "touch", "PE4"},
	} {
		faults := faultsOf(t, c.defect)
		if len(faults) != 1 || !strings.Contains(faults[0].What, c.what) || !strings.Contains(faults[0].Look, c.look) || faults[0].Found == "" {
			t.Errorf("%s: %v", c.defect, faults)
		}
	}
}

// While one builds, each group is checked with those before it, and the next is named.
func TestBuilding(t *testing.T) {
	groups := carrier.AllGroups()
	for i, g := range groups {
		b := virtual.NewBoard()
		b.Groups(groups[:i+1]...)
		r, err := checkedSocket(b.Socket(nil, 1), Options{Building: true, Group: g})
		if err != nil || len(r.Faults()) != 0 {
			t.Fatalf("%v: %v, %v", g, r, err)
		}
		next := strings.Join(r.Next, "\n")
		want := "calibrate"
		if i+1 < len(groups) {
			want = "solder the group " + groups[i+1].String()
		}
		if !strings.Contains(next, want) {
			t.Errorf("%v: %s", g, next)
		}
		if i == 0 {
			continue
		}
		// one group less than stated: it is not there, or its registers are at fault
		b = virtual.NewBoard()
		b.Groups(groups[:i]...)
		r, err = checkedSocket(b.Socket(nil, 1), Options{Building: true, Group: g})
		if err != nil || len(r.Faults()) == 0 || !strings.Contains(strings.Join(r.Next, "\n"), "if nothing of the group "+g.String()) {
			t.Errorf("%v without it: %+v, %v", g, r, err)
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
		if r, err := checkedSocket(socket, Options{}); !errors.Is(err, ErrOccupied) {
			t.Errorf("%s: %v, %v", name, r, err)
		}
	}
	every := sample.Number(12, 1)
	for i := 0; i < len(parts); i += every {
		p := parts[i]
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
		}
	}
	for _, ohms := range []float64{100, 2200, 10_000, 100_000} {
		refused(fmt.Sprintf("%g Ω", ohms), virtual.NewBoard().SocketWith(virtual.Resistor{Ohms: ohms, P: 2, Q: 27}, 1))
	}
}

// What is not seen is there with a reading: capacitors, lamps, what only a reset needs.
func TestUnseen(t *testing.T) {
	of := map[string]Hidden{}
	for _, h := range Unseen() {
		of[h.Part] = h
		if h.What == "" || h.Meter == "" {
			t.Errorf("%+v", h)
		}
	}
	for _, ref := range []string{"C11", "C128", "C228", "D1", "D2", "D3", "R801", "R811", "R814", "R501", "R728", "S1"} {
		if _, ok := of[ref]; !ok {
			t.Errorf("%s is not on the list", ref)
		}
	}
	for _, ref := range []string{"Q107", "U21", "R628", "U51", "F1"} {
		if h, ok := of[ref]; ok {
			t.Errorf("on the list: %+v", h)
		}
	}
}

// Ohm's law by hand, with 25 Ω in an output of the microcontroller and 40 in one of a
// register: bias against load 10,040 to 1,040 Ω is 0.469 V of 5; a driven position 145
// against 1,040 Ω 4.388 V; two that touch, one driven, 145 against 520 Ω 3.910 V; two whose lines
// touch, 25 Ω into two paths of 120 and 1,040 Ω side by side, 580: 4.793 V, of which 1040/1160 are 4.297 V.
func TestPredictionsByHand(t *testing.T) {
	b := bit(2)
	plan := []condition{{bias: true, biasUp: b, load: true, measured: b}, {driven: b, level: b, load: true, measured: b}}
	volts := func(d string) [2]float64 {
		n := carrier.New()
		for _, defect := range Defects(n) {
			if defect.String() == d {
				defect.apply(n)
			}
		}
		e := newCircuit(n, func(*carrier.Part) bool { return false }).expect(laneAt[2], plan)
		return [2]float64{e[0].volts.low, e[1].volts.low}
	}
	for _, c := range []struct {
		defect string
		at     int
		want   float64
	}{{"", 0, 0.469}, {"", 1, 4.388}, {"L2 shorted to L3", 1, 3.910}, {"PA1 shorted to PA2", 1, 4.297}} {
		if got := volts(c.defect)[c.at]; math.Abs(got-c.want) > 0.001 {
			t.Errorf("%q: %.3f V, want %.3f", c.defect, got, c.want)
		}
	}
}
