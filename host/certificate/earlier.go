package certificate

import (
	"fmt"
	"strings"

	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// earlier yields the other tests of the chip, the oldest first, each with the row that made
// it void; nil for one that this test replaces. None of them is current.
func (c Certificate) earlier(yield func(test record.Record, void *record.Record) bool) {
	voids := map[int64]*record.Record{}
	for i, h := range c.history {
		if h.Kind == record.Void {
			voids[h.Corrects] = &c.history[i]
		}
	}
	for _, h := range c.history {
		if h.Kind == record.Test && h.Serial != c.Tested.Serial && !yield(h, voids[h.Serial]) {
			return
		}
	}
}

// otherTests says what became of the other tests of the chip: "replaces record
// 6, fail".
func (c Certificate) otherTests() string {
	var replaced, void []string
	for test, v := range c.earlier {
		words := fmt.Sprintf("record %d, %s", test.Serial, verdictOf(test))
		if v != nil {
			void = append(void, fmt.Sprintf("%s, was voided by record %d: %s", words, v.Serial, v.Reason))
			continue
		}
		if replaced == nil {
			words = "replaces " + words
		}
		replaced = append(replaced, words)
	}
	return strings.Join(append(replaced, void...), "; ")
}

// cleared are sentences on the tests that the chip did not pass and that are no longer current,
// for those who would take it for a chip that never failed.
func (c Certificate) cleared() (lines []string) {
	for test, v := range c.earlier {
		if !test.Nonconforming(record.ByLevels) {
			continue
		}
		words := fmt.Sprintf("record %d, %s, of %s", test.Serial, verdictOf(test), report.Moment(test.Time.UTC()))
		if v != nil {
			lines = append(lines, report.Sentence(fmt.Sprintf("%s was voided by record %d: %s", words, v.Serial, v.Reason)))
		} else {
			lines = append(lines, report.Sentence("this record replaces "+words+": "+test.Reason))
		}
	}
	return lines
}

func verdictOf(r record.Record) string {
	if r.Verdict == verdict.Pass && r.Grade == verdict.Reject {
		return "pass, but of grade reject"
	}
	return r.Verdict.String()
}
