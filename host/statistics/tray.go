package statistics

import (
	"html/template"
	"maps"
	"slices"

	"chipassay/host/record"
	"chipassay/host/report"
)

// TrayCharts are the pictures of a run: date codes, yield by year, and how far inside their
// limits the output levels are. What counts as good is what Definition says.
func TrayCharts(t report.Tray) []template.HTML {
	byYear := map[int]record.Tally{}
	var levels margins
	for _, d := range t.Chips {
		levels.add(d)
		tally := byYear[d.DateCode.Year()]
		tally.Add(d.Verdict, d.Grade, 1)
		byYear[d.DateCode.Year()] = tally
	}
	return slices.Concat(yearCharts(yearsOf(byYear)), levels.charts())
}

// yearsOf are the years of date codes in their order, of which chips were tested. Year 0 is
// that of chips without a date code.
func yearsOf(byYear map[int]record.Tally) (years []Year) {
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		if t := byYear[year]; year != 0 && t.Tested() > 0 {
			years = append(years, Year{year, YieldOf(t.Good(), t.Tested())})
		}
	}
	return years
}
