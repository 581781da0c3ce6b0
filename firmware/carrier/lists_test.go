package carrier

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"chipassay/firmware/carrier/ngspice"
)

// The parts list has each part once, in its group.
func TestBOMHasEveryPart(t *testing.T) {
	n := New()
	listed := map[string]bool{}
	var groups [5]int
	for _, item := range n.BOM() {
		for g, q := range item.Quantity {
			if len(item.Refs) > 0 {
				groups[g] += q
			}
		}
		if len(item.Refs) > 0 && item.All() != len(item.Refs) {
			t.Errorf("%s: %d of %d references", item.Value, item.All(), len(item.Refs))
		}
		for _, ref := range item.Refs {
			if listed[ref] || n.Part(ref) == nil {
				t.Errorf("%s is listed twice, or is no part", ref)
			}
			listed[ref] = true
		}
		if item.Substitutes == "" || item.Price == 0 {
			t.Errorf("%s: no substitute or no price", item.Value)
		}
	}
	if len(listed) != len(n.Parts) {
		t.Errorf("%d parts listed of %d", len(listed), len(n.Parts))
	}
	for i := range AllGroups() {
		// Groups in order: what Fitted adds with each.
		added := len(n.Fitted(AllGroups()[:i+1]...).Parts)
		if i > 0 {
			added -= len(n.Fitted(AllGroups()[:i]...).Parts)
		}
		if groups[i] != added {
			t.Errorf("%v: %d parts in the list, %d fitted", AllGroups()[i], groups[i], added)
		}
	}
}

// One who follows the wire list builds the netlist: what is joined by its wires is
// what a net joins, group by group, and no wire leads to a part that is not there yet.
func TestWiringBuildsTheNetlist(t *testing.T) {
	n := New()
	joined := map[string]string{} // a terminal, or a bus, to another of its tree
	var root func(at string) string
	root = func(at string) string {
		if up, ok := joined[at]; ok && up != at {
			return root(up)
		}
		return at
	}
	soldered := map[string]bool{}
	steps := n.Wiring()
	for i, s := range steps {
		if s.Check == "" {
			soldered[s.From.Part.Ref] = true
			to := s.Bus
			if to == "" {
				to = s.To.String()
			}
			a, b := root(s.From.String()), root(to)
			if a == b {
				t.Errorf("step %d: %v and %s are joined already", i+1, s.From, to)
			}
			joined[a] = b
			if s.From.Part.Group > s.Group || s.To.Part != nil && s.To.Part.Group > s.Group {
				t.Errorf("step %d, %v: %v to %v of a later group", i+1, s.Group, s.From, s.To)
			}
		}
		if i+1 < len(steps) && steps[i+1].Group == s.Group {
			continue
		}
		// The group is done: every net of what is fitted is one tree, but for
		// ends that lead nowhere yet.
		fitted := n.Fitted(AllGroups()[:s.Group+1]...)
		for _, net := range fitted.Nets() {
			ends := fitted.Terminals(net)
			for _, end := range ends[1:] {
				if root(end.String()) != root(ends[0].String()) {
					t.Errorf("after %v: %v and %v of %s are not joined", s.Group, ends[0], end, net)
				}
			}
		}
	}
	// No two nets are.
	seen := map[string]string{}
	for _, net := range n.Nets() {
		at := root(n.Terminals(net)[0].String())
		if seen[at] != "" {
			t.Errorf("%s and %s are joined", net, seen[at])
		}
		seen[at] = net
	}
	for _, p := range n.Parts {
		if !soldered[p.Ref] && p.Kind != Link {
			t.Errorf("%s is never soldered", p.Ref)
		}
	}
}

// Every part but the plain ones has a reading: a wrong or missing one is found by hand too.
func TestEveryPartHasAReading(t *testing.T) {
	n := New()
	for _, p := range n.Parts {
		switch p.Kind {
		case MCU, Socket, Header, Link:
			continue
		}
		if len(n.Readings(p.Ref)) == 0 {
			t.Errorf("%s has no reading", p.Ref)
		}
	}
}

// The resistances that the meter must show are those of the circuit without packages and
// microcontroller, by ngspice with 1 µA.
func TestMeterReadings(t *testing.T) {
	var b strings.Builder
	b.WriteString("* the bare carrier\n")
	if err := New().WriteSpice(&b); err != nil {
		t.Fatal(err)
	}
	var nodes []string
	for _, net := range SpiceNodes() {
		nodes = append(nodes, spiceNode(net))
	}
	folded(&b, "Xcarrier ", "+ ", append(nodes, "carrier"))
	var readings []Step
	var control strings.Builder
	for _, s := range New().Wiring() {
		if s.Ohms == 0 {
			continue
		}
		readings = append(readings, s)
		i, red, black := len(readings), reachable(s.From), reachable(s.To)
		if red == "" || black == "" {
			t.Fatalf("%s to %s: not a node of the subcircuit", s.Red, s.Black)
		}
		fmt.Fprintf(&b, "Imeter%d %s %s 0\n", i, black, red)
		fmt.Fprintf(&control, "alter Imeter%d = 1u\nop\nlet r%d = (%s-%s)*1e6\nprint r%d\nalter Imeter%d = 0\n", i, i, voltage(red), voltage(black), i, i)
	}
	if len(readings) < 28+28+28+28+13+12 {
		t.Errorf("%d readings", len(readings))
	}
	b.WriteString("Rground rail 0 1g\n.control\n" + control.String() + "quit\n.endc\n.end\n")
	out := ngspice.Run(t, b.String())
	for i, s := range readings {
		_, after, found := strings.Cut(out, fmt.Sprintf("\nr%d = ", i+1))
		if !found {
			t.Fatalf("ngspice did not print r%d:\n%s", i+1, out)
		}
		ohms, err := strconv.ParseFloat(strings.Fields(after)[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("Ω from %s to %s", s.Red, s.Black), ohms, s.Ohms, s.Ohms/500)
	}
}

// reachable gives the terminal's net as a node of the subcircuit's outside: nets
// inside it, as those of bases, are not.
func reachable(t Terminal) string {
	if net := spiceNode(t.Pin.Net); net == "0" || slices.Contains(SpiceNodes(), t.Pin.Net) {
		return net
	}
	return "xcarrier." + strings.ToLower(t.Pin.Net)
}

// voltage is a node's in an expression.
func voltage(node string) string {
	if node == "0" {
		return "0"
	}
	return "v(" + node + ")"
}

// The netlist for board editors gives back every terminal of every net.
func TestKiCadNetlist(t *testing.T) {
	n := New()
	var b strings.Builder
	if err := n.WriteKiCad(&b); err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	net := ""
	for line := range strings.Lines(b.String()) {
		f := strings.Split(line, `"`)
		switch {
		case strings.Contains(line, "(net (code"):
			net = f[3]
		case strings.Contains(line, "(node "):
			got[f[1]+"."+f[3]] = net
		}
	}
	want := 0
	for _, p := range n.Parts {
		if !strings.Contains(b.String(), `(comp (ref "`+p.Ref+`")`) {
			t.Errorf("%s is missing", p.Ref)
		}
		for _, pin := range p.Pins {
			if pin.Net != "" {
				want++
			}
			if got[p.Ref+"."+pin.Number] != pin.Net {
				t.Errorf("%s.%s is on %q, want %q", p.Ref, pin.Number, got[p.Ref+"."+pin.Number], pin.Net)
			}
		}
	}
	if len(got) != want {
		t.Errorf("%d terminals, want %d", len(got), want)
	}
	if open, closed := strings.Count(b.String(), "("), strings.Count(b.String(), ")"); open != closed {
		t.Errorf("%d opening and %d closing brackets", open, closed)
	}
}

// Both lists are sound CSV with a cell a column.
func TestListsAreCSV(t *testing.T) {
	for name, write := range map[string]func(*strings.Builder) error{
		"bom.csv":    func(b *strings.Builder) error { return New().WriteBOM(b) },
		"wiring.csv": func(b *strings.Builder) error { return New().WriteWiring(b) },
	} {
		var b strings.Builder
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
		if err != nil || len(rows) < 10 {
			t.Errorf("%s: %d rows, %v", name, len(rows), err)
		}
	}
}
