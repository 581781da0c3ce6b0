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
		if year := d.DateCode.Year(); year != 0 {
			tally := byYear[year]
			tally.Add(d.Verdict, d.Grade, 1)
			byYear[year] = tally
		}
	}
	var years []Year
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		if t := byYear[year]; t.Tested() > 0 {
			years = append(years, Year{Year: year, Good: t.Good(), Bad: t.Tested() - t.Good()})
		}
	}
	return slices.Concat(yearCharts(years), levels.charts())
}
