package statistics

import (
	"html/template"
	"maps"
	"slices"

	"chipassay/host/assay"
	"chipassay/host/chart"
	"chipassay/host/report"
)

// TrayCharts are the pictures of a run: date codes, yield by year, and output levels
// against their limits. What counts as good is what Definition says.
func TrayCharts(t report.Tray) ([]template.HTML, error) {
	byYear := map[int]chart.Year{}
	for _, s := range t.Sheets {
		if s.DateCode == nil || s.Result.Verdict == assay.NotTested {
			continue
		}
		year := s.DateCode.Period().Year
		y := byYear[year]
		y.Year = year
		if s.Result.Verdict == assay.Pass && s.Result.Grade != assay.Doubtful && s.Result.Grade != assay.Reject {
			y.Good++
		} else {
			y.Bad++
		}
		byYear[year] = y
	}
	var years []chart.Year
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		years = append(years, byYear[year])
	}
	levels, _, err := Levels(func(yield func(report.Chip, error) bool) {
		for _, s := range t.Sheets {
			if !yield(s.Chip(), nil) {
				return
			}
		}
	})
	return slices.Concat(yearCharts(years), levelCharts(levels)), err
}
