package report

import (
	"chipassay/host/assay"
)

// A criterion is a grade and what it asks for; Own marks the chip's grade.
type criterion struct {
	Grade, Asks string
	Own         bool
}

// criteria are the grades, best first, for every report.
func (s Sheet) criteria() (list []criterion) {
	for _, c := range assay.Criteria {
		list = append(list, criterion{string(c.Grade), c.Asks, c.Grade == s.Result.Grade})
	}
	return list
}

// marginMeaning says what the inputs of the section have in common.
const marginMeaning = "By the data sheet's worst case the adapter cannot drive these inputs to a valid low: the current that " +
	"may flow out of one lifts it above VIL across the adapter's drive resistance. A typical chip draws less and is tested " +
	"all the same; what it then answers wrongly may be the adapter's fault."

// margins are the inputs that the adapter may not drive low, a sentence each.
func (s Sheet) margins() (lines []string) {
	for _, m := range s.Result.Margins {
		lines = append(lines, Sentence(m.String()))
	}
	return lines
}
