package statistics

import (
	"html/template"
	"maps"
	"slices"

	"chipassay/host/record"
	"chipassay/host/report"
)

// TrayCharts are the pictures of a run: date codes, yield by year, and output levels
// against their limits. What counts as good is what Definition says.
func TrayCharts(t report.Tray) ([]template.HTML, error) {
	byYear := map[int]record.Tally{}
	for _, s := range t.Chips {
		year := s.DateCode.Year()
		if year == 0 {
			continue
		}
		tally := byYear[year]
		tally.Add(s.Verdict, s.Grade, 1)
		byYear[year] = tally
	}
	var years []Year
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		if g := groupOf("", byYear[year]); g.Tested > 0 {
			years = append(years, Year{Year: year, Good: g.Good, Bad: g.Tested - g.Good})
		}
	}
	levels, _, err := Levels(func(yield func(report.Document, error) bool) {
		for _, s := range t.Chips {
			if !yield(s, nil) {
				return
			}
		}
	})
	return slices.Concat(yearCharts(years), levelCharts(levels)), err
}
