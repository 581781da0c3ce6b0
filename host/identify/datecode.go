package identify

import (
	"slices"
	"strings"
	"time"

	"chipassay/host/marking"
)

// DateCode is the date code in what can be read of the marking, not before the family that
// the chip turned out to be of, nor after now; nil for none.
func (a *Answer) DateCode(now time.Time) *marking.DateCode {
	since := 0
	if a.Test != nil {
		since = marking.MadeSince(a.Test.Type.Family)
	}
	for _, parse := range []func(string, int, time.Time) (marking.DateCode, error){marking.ParseDateCode, marking.ParseMonthCode} {
		for _, group := range slices.Backward(strings.Fields(a.plan.Hint.Marking)) {
			if len(a.Candidates) > 0 && strings.HasSuffix(group, a.Candidates[0].Part.Number) {
				continue
			}
			if d, err := parse(group, since, now); err == nil {
				return &d
			}
		}
	}
	return nil
}
