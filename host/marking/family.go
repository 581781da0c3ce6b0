package marking

import "chipassay/vectors/part"

// madeSince holds, by family, about the first year of sale. The buffered B series
// came in 1976 with the common standard of its levels; what has no B, or an A, may
// be older (unbuffered4000).
//
// DTL was sold from 1964 on, a year before the first that a date code is read as.
//
// Source: from memory; a year or two either way is possible.
var madeSince = map[string]int{
	"DTL": 1965, "74": 1965, "74H": 1967, "74L": 1967, "74S": 1970, "74LS": 1971,
	"74ALS": 1979, "74AS": 1980, "74F": 1979,
	"74HC": 1981, "74HCT": 1982, "74C": 1971,
	"74AC": 1985, "74ACT": 1985, "74BCT": 1987,
	"4000A": unbuffered4000, "4000B": 1976, "4000UB": 1976,
	"TTL": 1970, "NMOS": 1972, "CMOS": 1975, // memories
	"DARLINGTON": 1974, // drivers
	"TIMER":      1972,
}

// unbuffered4000 is the first year of the 4000 series without a letter, or with an A.
const unbuffered4000 = 1968

// MadeSince gives about the first year in which a family was sold, or 0 where that or the
// family (nil) is not known.
func MadeSince(f *part.Family) int {
	if f == nil {
		return 0
	}
	return madeSince[f.Name]
}
