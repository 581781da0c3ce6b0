package statistics

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The reasons are as reports word them, from memory.
func TestCausesReadAlike(t *testing.T) {
	for reason, want := range map[string]string{
		"pin 12 (1Y) is stuck low":                      "pin 12 (1Y) is stuck low",
		"in run 3: pin 2 (1B) acts as if not connected": "pin 2 (1B) acts as if not connected",
		"fails only sometimes: 3 of 20 runs, pin 3 (1Y) in 2, pin 6 (2Y) in 1; in the first of them pin 3 (1Y) is stuck low": "sometimes: pin 3 (1Y) is stuck low",
		"fails only sometimes: of 7 vectors the signatures were wrong, and repeated they were answered rightly":              "fails only sometimes: of some vectors the signatures were wrong, and repeated they were answered rightly",
		"intermittent: 3 of 12 runs, pin 3 (1Y) in 3; in the first of them pin 3 (1Y) is stuck low":                          "sometimes: pin 3 (1Y) is stuck low",
		"intermittent: the signatures of 7 vectors were wrong, but right when repeated":                                      "intermittent: the signatures of some vectors were wrong, but right when repeated",
		"pin 3 (1Y) is stuck low, in each of 12 runs":                                                                        "pin 3 (1Y) is stuck low",
		"pin 3 (1Y) is wrong, at step 17":                    "pin 3 (1Y) is wrong",
		"1204 reads were wrong":                              "some reads were wrong",
		"pin 3 (1Y) is wrong (step 17)":                      "pin 3 (1Y) is wrong",
		"the cell at address 0x0AF bit 2 is stuck at 1":      "the cell at some address bit 2 is stuck at 1",
		"bit 2 of word 514 is stuck at 1":                    "bit 2 of some word is stuck at 1",
		"behaves exactly as a 7403: wrong part or re-marked": "behaves exactly as a 7403: wrong part or re-marked",
		"pins 1 (1A) and 2 (1B) are shorted":                 "pins 1 (1A) and 2 (1B) are shorted",
		"pin 14 makes no contact":                            "pin 14 makes no contact",
	} {
		assert.Equal(t, want, Cause(reason))
	}
}
