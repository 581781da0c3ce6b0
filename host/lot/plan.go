// Package lot accepts or rejects a lot of chips on a sample: single sampling by
// attributes after ISO 2859-1:1999, whose tables for code letters and for normal
// and tightened inspection are those of MIL-STD-105E.
//
// A plan gives how many chips to draw and how many bad ones reject the lot; its
// operating characteristic gives what the plan is worth. The buyer of a single lot is
// protected only as far as that characteristic goes. The rest of the scheme's
// protection is the switching between severities over a series of lots.
package lot

import (
	"fmt"
	"slices"
	"strings"
)

// A Level is an inspection level: how large the sample is for a lot's size.
type Level string

// The special levels are for small samples, II is the usual one.
const (
	S1  Level = "S-1"
	S2  Level = "S-2"
	S3  Level = "S-3"
	S4  Level = "S-4"
	I   Level = "I"
	II  Level = "II"
	III Level = "III"
)

// Levels returns the levels in the order of the standard's Table 1.
func Levels() []Level { return []Level{S1, S2, S3, S4, I, II, III} }

// A Severity says by which master table a lot is inspected.
type Severity string

const (
	Normal    Severity = "normal"    // Table 2-A
	Tightened Severity = "tightened" // Table 2-B
	Reduced   Severity = "reduced"   // Table 2-C of ISO 2859-1:1999

	// Reduced105E is Table II-C of MIL-STD-105E. The second edition of ISO 2859-1
	// closed its gap between Ac and Re, so the two tables for reduced inspection
	// differ; the others do not.
	Reduced105E Severity = "reduced-105E"
)

// Severities returns the severities in the order of the tables.
func Severities() []Severity { return []Severity{Normal, Tightened, Reduced, Reduced105E} }

// MinSize is the smallest lot that Table 1 covers, chips.
const MinSize = 2

// PerCent is the largest AQL that counts nonconforming chips in per cent. The
// AQLs above it count nonconformities per 100 chips, of which one chip may have
// several.
const PerCent = 10

// A Plan is a single sampling plan for one lot.
type Plan struct {
	LotSize    int      `json:"lot"` // chips
	AQL        float64  `json:"aql"` // per cent nonconforming up to PerCent, above it nonconformities per 100 chips
	Level      Level    `json:"level"`
	Severity   Severity `json:"severity"`
	Letter     string   `json:"code_letter"` // as Table 1 gives it
	UsedLetter string   `json:"used_letter"` // after the master table's arrows; its plan is used
	SampleSize int      `json:"sample_size"` // chips; all of a lot that is no larger
	WholeLot   bool     `json:"whole_lot"`   // every chip is to be tested
	Accept     int      `json:"accept"`      // Ac: the lot is accepted with so many nonconforming or fewer
	Reject     int      `json:"reject"`      // Re: and rejected with so many or more
}

// PlanFor looks a plan up. Its errors name the values that are allowed.
func PlanFor(size int, aql float64, level Level, severity Severity) (Plan, error) {
	if size < MinSize {
		return Plan{}, fmt.Errorf("lot size %d: the tables begin at %d chips", size, MinSize)
	}
	column := slices.Index(Levels(), level)
	if column < 0 {
		return Plan{}, fmt.Errorf("inspection level %q: one of %s", level, list(Levels()))
	}
	table, ok := masterTables()[severity]
	if !ok {
		return Plan{}, fmt.Errorf("severity %q: one of %s", severity, list(Severities()))
	}
	if !slices.Contains(table.aqls, aql) {
		return Plan{}, fmt.Errorf("AQL %g: one of %s", aql, listAQLs(table.aqls))
	}
	letter := codeLetter(size, column)
	row := table.follow(letter, aql)
	return Plan{
		LotSize: size, AQL: aql, Level: level, Severity: severity,
		Letter: letter, UsedLetter: row.letter,
		SampleSize: min(row.size, size), WholeLot: row.size >= size,
		Accept: row.cell.accept, Reject: row.cell.reject,
	}, nil
}

// FormatAQL writes an AQL as the tables print it: 0.010, 0.40, 1.0, 15.
func FormatAQL(aql float64) string {
	switch {
	case aql < 0.1:
		return fmt.Sprintf("%.3f", aql)
	case aql < 1:
		return fmt.Sprintf("%.2f", aql)
	case aql < 10:
		return fmt.Sprintf("%.1f", aql)
	}
	return fmt.Sprintf("%.0f", aql)
}

// AQLs returns the AQLs of the master tables, ascending.
func AQLs() []float64 { return slices.Clone(masterTables()[Normal].aqls) }

func listAQLs(aqls []float64) string {
	texts := make([]string, len(aqls))
	for i, aql := range aqls {
		texts[i] = FormatAQL(aql)
	}
	return strings.Join(texts, ", ")
}

func list[T ~string](values []T) string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = string(v)
	}
	return strings.Join(texts, ", ")
}
