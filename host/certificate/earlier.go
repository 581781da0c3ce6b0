package certificate

import (
	"fmt"
	"strings"

	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// earlier are the other tests of the chip, the oldest first. None of them is current.
func (c Certificate) earlier() (tests []record.Record) {
	for _, h := range c.history {
		if h.Kind == record.Test && h.Serial != c.Tested.Serial {
			tests = append(tests, h)
		}
	}
	return tests
}

// otherTests says what became of the other tests of the chip: "replaces record
// 6, fail".
func (c Certificate) otherTests() string {
	var taken, void []string
	for _, h := range c.earlier() {
		words := fmt.Sprintf("record %d, %s", h.Serial, verdictOf(h))
		if v := voidOf(c.history, h.Serial); v != nil {
			void = append(void, fmt.Sprintf("%s, was voided by record %d: %s", words, v.Serial, v.Reason))
		} else {
			taken = append(taken, words)
		}
	}
	if len(taken) > 0 {
		void = append([]string{"replaces " + strings.Join(taken, "; ")}, void...)
	}
	return strings.Join(void, "; ")
}

// cleared are sentences on the tests that the chip did not pass and that are no longer current,
// for those who would take it for a chip that never failed.
func (c Certificate) cleared() (lines []string) {
	for _, h := range c.earlier() {
		if !h.Nonconforming(record.ByLevels) {
			continue
		}
		line := fmt.Sprintf("this record replaces record %d, %s, of %s: %s", h.Serial, verdictOf(h), moment(h.Time), h.Reason)
		if v := voidOf(c.history, h.Serial); v != nil {
			line = fmt.Sprintf("record %d, %s, of %s was voided by record %d: %s", h.Serial, verdictOf(h), moment(h.Time), v.Serial, v.Reason)
		}
		lines = append(lines, report.Sentence(line))
	}
	return lines
}

// voidOf is the row of a history that made another void; nil where there is none.
func voidOf(history []record.Record, serial int64) *record.Record {
	for i, h := range history {
		if h.Kind == record.Void && h.Corrects == serial {
			return &history[i]
		}
	}
	return nil
}

func verdictOf(r record.Record) string {
	if r.Verdict == verdict.Pass && r.Grade == verdict.Reject {
		return "pass, but of grade reject"
	}
	return r.Verdict.String()
}
