package drawer

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"chipassay/host/report"
	"chipassay/host/statistics"
	"chipassay/host/verdict"
)

// A Summary is what came of a run. A chip tested again counts as often as it was
// tested; the records say how each stands.
type Summary struct {
	Tray   report.Tray // every test that was not taken back
	Sorted bool        // the chips were identified: they are listed by part
	// Numbers are those under which the chips were recorded, in the order of the tray;
	// nil where they are not shown.
	Numbers []string
}

// mostPins is how many of the commonest failing pins a summary names.
const mostPins = 3

func (r *Run) summary() Summary {
	s := Summary{Tray: report.Tray{Title: titled(r.Drawer), Chips: r.sheets}, Sorted: r.Identify}
	if r.Numbers {
		for _, w := range r.current() {
			s.Numbers = append(s.Numbers, w.BagNumber)
		}
	}
	return s
}

// titled is the title of a drawer's run: "Drawer D3" for D3, and "Drawer 5" for "Drawer 5".
func titled(name string) string {
	const word = "drawer"
	if len(name) >= len(word) && strings.EqualFold(name[:len(word)], word) {
		return name
	}
	return "Drawer " + name
}

// tally counts the chips of a run so far.
func (r *Run) tally() string {
	return fmt.Sprintf("%s  %s", r.Drawer, r.summary().Tray.Summary())
}

// show shows how things stand; of now only Testing and News count. A run shows it at every
// turn, so that chips are counted only when a record was added or taken back.
func (r *Run) show(now Standing) {
	if n := len(r.written); n > 0 {
		now.Last = r.written[n-1].Serial
	}
	if r.counted.Tally == "" || r.counted.Last != now.Last { // the last record stands for all before it
		r.counted = Standing{Tally: r.tally(), Written: r.current(), Last: now.Last}
	}
	now.Tally, now.Awaits, now.Written = r.counted.Tally, r.awaits(), r.counted.Written
	if now.Testing {
		now.Awaits = "testing: leave the chip alone"
	}
	now.Paused, now.Lost, now.Empty, now.Kept = r.state == paused, r.state == lost, r.seat() == waiting, r.seat() == tested
	now.Sheet, now.Recorded = r.found.sheet, r.found.words
	r.Screen.Show(now)
}

// printf prints a line or several.
func (r *Run) printf(format string, args ...any) { r.Screen.Say(fmt.Sprintf(format, args...)) }

// current are the chips of the run that are recorded, each as its last record has it,
// in the order in which they came.
func (r *Run) current() (list []Written) {
	places := map[int64]int{}
	for i, w := range r.written {
		after := r.sheets
		if i+1 < len(r.written) {
			after = r.written[i+1].sheets
		}
		now := Written{w.Chip, w.BagNumber(), w.Marking, after[len(after)-1]}
		if at, ok := places[w.Chip]; ok {
			list[at] = now
			continue
		}
		places[w.Chip] = len(list)
		list = append(list, now)
	}
	return list
}

// nextChip says which chip is waited for.
func (r *Run) nextChip() string {
	words := fmt.Sprintf("chip %d", len(r.sheets)+1)
	if !r.Identify {
		words += ", " + r.typ.Name()
	}
	if r.next.date != nil {
		words += ", date code " + r.next.date.Raw
	}
	return words
}

// String is the summary for the operator: counts, the yield with its interval, and
// the commonest failing pins.
func (s Summary) String() string {
	lines := []string{s.Tray.Summary()}
	pass, fail := s.Tray.Count(verdict.Pass), s.Tray.Count(verdict.PassBut)+s.Tray.Count(verdict.Fail)
	if pass+fail > 0 {
		y := statistics.YieldOf(pass, pass+fail)
		lines = append(lines, fmt.Sprintf("%.0f %% passed of those tested (95 %% interval %.0f to %.0f %%)", 100*y.Fraction(), 100*y.Low, 100*y.High))
	}
	var pins []string
	for _, c := range statistics.Commonest(s.failedPins, mostPins, cmp.Compare) {
		pins = append(pins, fmt.Sprintf("%s (%d)", c.Key, c.Chips))
	}
	if len(pins) > 0 {
		lines = append(lines, "pins that failed most: "+strings.Join(pins, ", "))
	}
	if s.Sorted {
		lines = append(lines, s.byPart()...)
	}
	return strings.Join(lines, "\n")
}

// byPart lists the chips by their numbers, or else their places in the run, those of one type
// and verdict on a line: what to lay into which bag. What is unknown comes last.
func (s Summary) byPart() (lines []string) {
	type bag struct {
		unknown             bool
		part, kind, verdict string
		rank                int
	}
	places, noun := map[bag][]string{}, "chip"
	for i, d := range s.Tray.Chips {
		place := d.Place
		if i < len(s.Numbers) {
			place, noun = s.Numbers[i], "number"
		}
		b := bag{d.Family == "", d.Part, d.Type, d.Verdict.String(), slices.Index(verdict.All, d.Verdict)}
		places[b] = append(places[b], place)
	}
	bags := slices.SortedFunc(maps.Keys(places), func(a, b bag) int {
		if a.unknown != b.unknown {
			return map[bool]int{true: 1, false: -1}[a.unknown]
		}
		return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.kind, b.kind), a.rank-b.rank)
	})
	for _, b := range bags {
		few := noun
		if len(places[b]) > 1 {
			few += "s"
		}
		lines = append(lines, fmt.Sprintf("%-10s  %-10s  %s %s", b.kind, b.verdict, few, strings.Join(places[b], ", ")))
	}
	return lines
}

// failedPins yields a part's pin for each chip at which it failed.
func (s Summary) failedPins(found func(string) bool) {
	for _, sheet := range s.Tray.Chips {
		if sheet.Verdict != verdict.Fail {
			continue
		}
		for _, pin := range sheet.PinsFailed {
			if !found(fmt.Sprintf("%s pin %d", sheet.Part, pin)) {
				return
			}
		}
	}
}
