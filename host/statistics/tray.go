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
	delete(byYear, 0) // no date code
	var years []Year
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		if t := byYear[year]; t.Tested() > 0 {
			years = append(years, Year{year, YieldOf(t.Good(), t.Tested())})
		}
	}
	return slices.Concat(yearCharts(years), levels.charts())
}
