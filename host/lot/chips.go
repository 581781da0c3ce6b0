package lot

import (
	"fmt"
	"slices"
	"strings"
)

// PlanForChips is PlanFor for lots of which chips are counted: it refuses the AQLs
// above PerCent.
func PlanForChips(size int, aql float64, level Level, severity Severity) (Plan, error) {
	if aql > PerCent {
		return Plan{}, fmt.Errorf("AQL %g: an AQL above %d counts nonconformities per 100 chips, and one chip may have several; here chips are counted: give %[2]d or less", aql, PerCent)
	}
	countsChips := slices.DeleteFunc(AQLs(), func(a float64) bool { return a > PerCent })
	if !slices.Contains(countsChips, aql) {
		return Plan{}, fmt.Errorf("AQL %g: one of %s", aql, listAQLs(countsChips))
	}
	return PlanFor(size, aql, level, severity)
}

// ParseLevel understands a level as typed: II, ii, 2, S-1, s1.
func ParseLevel(typed string) (Level, error) {
	text := strings.ToUpper(strings.TrimSpace(typed))
	switch text {
	case "1", "2", "3":
		text = strings.Repeat("I", int(text[0]-'0'))
	case "S1", "S2", "S3", "S4":
		text = "S-" + text[1:]
	}
	if !slices.Contains(Levels(), Level(text)) {
		return "", fmt.Errorf("inspection level %q: one of %s", typed, list(Levels()))
	}
	return Level(text), nil
}

// ParseSeverity understands a severity as typed.
func ParseSeverity(typed string) (Severity, error) {
	for _, severity := range Severities() {
		if strings.EqualFold(strings.TrimSpace(typed), string(severity)) {
			return severity, nil
		}
	}
	return "", fmt.Errorf("severity %q: one of %s", typed, list(Severities()))
}
