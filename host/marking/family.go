package marking

import "chipassay/vectors/part"

// madeSince holds, by family, about the first year of sale. The 4000 series
// counts from its beginning, before there was a B or UB behind the number.
//
// Source: from memory; a year or two either way is possible.
var madeSince = map[string]int{
	"74": 1965, "74H": 1967, "74L": 1967, "74S": 1970, "74LS": 1971,
	"74ALS": 1979, "74AS": 1980, "74F": 1979,
	"74HC": 1981, "74HCT": 1982, "74C": 1971,
	"4000B": 1968, "4000UB": 1968,
	"TTL": 1970, "NMOS": 1972, "CMOS": 1975, // memories
}

// MadeSince gives about the first year in which a family was sold, or 0 where it is not known.
func MadeSince(f *part.Family) int { return madeSince[f.Name] }
