package pictures

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/plan"
)

// The guide's table of groups has the numbers of the netlist, the parts list and the plan.
func TestGuideCounts(t *testing.T) {
	guide, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	n := carrier.New()
	placed, err := plan.Place(n)
	if err != nil {
		t.Fatal(err)
	}
	var parts, wires, bridges [5]int
	var cost [5]float64
	for _, p := range n.Parts {
		parts[max(p.Group, p.Needs)]++
	}
	for _, w := range plan.Wires(n, placed) {
		switch {
		case w.To.Part == nil:
		case w.Short():
			bridges[w.Group]++
		default:
			wires[w.Group]++
		}
	}
	for _, item := range n.BOM() {
		for g, quantity := range item.Quantity {
			cost[g] += float64(quantity) * item.Price
		}
	}
	for _, g := range carrier.AllGroups() {
		row := ""
		for line := range strings.Lines(string(guide)) {
			if strings.HasPrefix(line, "| "+g.String()+" | ") {
				row = line
			}
		}
		between := ","
		if g == carrier.Starter {
			between = ", and"
		}
		ends := fmt.Sprintf("| %d | %.0f | %d%s %d", parts[g], cost[g], wires[g], between, bridges[g])
		if !strings.Contains(row, ends) {
			t.Errorf("%v: the guide says %q, want %q in it", g, strings.TrimSpace(row), ends)
		}
	}
}
