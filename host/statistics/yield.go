// Package statistics summarises records: the yield of the chips tested,
// and how far that number can be trusted, by the 95 % interval of Clopper and Pearson;
// their date codes, levels and commonest faults; and the sheet of a lot that is
// inspected by a sample. Its charts and pages are self-contained, each in one file.
package statistics

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"

	"chipassay/host/record"
	"chipassay/host/verdict"
)

// Definition says in words what the numbers count.
const Definition = "Good: every vector right, and graded strong, sound or function only (levels were not measured). " +
	"Tested and not good: doubtful (every vector right, but something else is not, or not surely) and reject. " +
	"What could not be tested counts neither way. " +
	"Each chip counts once, as its last test and corrections left it. " +
	"The intervals are those of Clopper and Pearson, 95 %."

// most is how many of the commonest pins and causes are named.
const most = 10

// A Group is how the chips of one part, drawer or the like stand.
type Group struct {
	Key string `json:"key"` // empty, for a year "0", where it is not known
	Yield
	Fraction  *float64 `json:"fraction"` // null where none was tested
	Doubtful  int      `json:"doubtful"`
	Reject    int      `json:"reject"`
	NotTested int      `json:"not_tested"`
}

// GroupOf is the group of a key.
func GroupOf(key string, t record.Tally) Group {
	g := Group{Key: key, Yield: YieldOf(t.Good(), t.Tested()), Doubtful: t.Doubtful, Reject: t.Reject, NotTested: t.NotTested}
	if g.Tested > 0 {
		g.Fraction = new(g.Yield.Fraction())
	}
	return g
}

// Name is the key for a person.
func (g Group) Name(by string) string {
	switch {
	case by == record.ByYear && g.Key == "0":
		return "no date code"
	case g.Key == "":
		return "no " + by + " given"
	}
	return g.Key
}

// Share is the yield in per cent, "–" where no chip was tested.
func (g Group) Share() string {
	if g.Tested == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100*g.Yield.Fraction())
}

// Interval is the yield's interval in per cent, "–" where no chip was tested.
func (g Group) Interval() string {
	if g.Tested == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f to %.1f %%", 100*g.Low, 100*g.High)
}

// At is where a fraction is on the picture of a yield, 0 to 100.
func (Group) At(fraction float64) string { return strconv.FormatFloat(100*fraction, 'f', 1, 64) }

// A Pin is a pin of a type, and on how many of its chips it failed.
type Pin struct {
	Type  string `json:"type"`
	Pin   int    `json:"pin"`
	Chips int    `json:"chips"`
}

// ByName is what the yields are by, for the page and a terminal.
func (y Yields) ByName() string { return Names[y.By] }

// Names are the groups' words on the page and in a terminal.
var Names = map[string]string{
	record.ByPart: "part", record.ByType: "type", record.ByFamily: "family",
	record.ByDrawer: "drawer", record.ByLot: "lot", record.ByYear: "date-code year", record.ByBench: "bench",
}

func (p Pin) compare(other Pin) int {
	return cmp.Or(cmp.Compare(p.Type, other.Type), cmp.Compare(p.Pin, other.Pin))
}

// Yields are the yields of the chips that were asked for.
type Yields struct {
	By         string          `json:"by"` // record.ByPart to record.ByBench
	Definition string          `json:"definition"`
	Total      Group           `json:"total"`
	Groups     []Group         `json:"groups"`
	Pins       []Pin           `json:"pins"`   // the commonest that failed
	Causes     []Count[string] `json:"causes"` // the commonest, see Cause
}

// Collect counts the chips asked for by one of record.ByPart to record.ByBench.
func Collect(ctx context.Context, s *record.Store, q record.Query, by string) (Yields, error) {
	y := Yields{By: by, Definition: Definition, Groups: []Group{}, Pins: []Pin{}}
	counts, err := s.Counts(ctx, q, by)
	if err != nil {
		return y, err
	}
	var all record.Tally
	for _, c := range counts {
		y.Groups = append(y.Groups, GroupOf(c.Key, c.Tally))
		all = all.Sum(c.Tally)
	}
	y.Total = GroupOf("", all)
	failed := q
	failed.Verdict = verdict.Fail
	var pins []Pin
	var causes []string
	for r, err := range s.Find(ctx, failed) {
		if err != nil {
			return y, err
		}
		causes = append(causes, Cause(r.Reason))
		for _, pin := range slices.Compact(slices.Sorted(slices.Values(r.PinsFailed))) {
			pins = append(pins, Pin{Type: r.Type, Pin: pin})
		}
	}
	y.Causes = Commonest(slices.Values(causes), most, cmp.Compare)
	for _, c := range Commonest(slices.Values(pins), most, Pin.compare) {
		c.Key.Chips = c.Chips
		y.Pins = append(y.Pins, c.Key)
	}
	return y, nil
}
