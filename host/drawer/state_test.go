package drawer

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
)

// What each event does in each state, as a person at the bench would want it (common
// practice): * something, . nothing, ! a refusal in words. Columns are the events in their
// order: came gone button Enter retest pause go end silent answered.
func TestTableOfStates(t *testing.T) {
	want := map[state]string{
		waiting:    "*.*******.",
		tested:     ".********.",
		passedOver: ".********.",
		paused:     "...*!.**..",
		lost:       "...!!!!*.*",
		ended:      "..........",
	}
	for s := range states {
		var got strings.Builder
		for e := range events {
			got.WriteString(kindOf(s, e))
		}
		assert.Equal(t, want[s], got.String(), "state %d", s)
	}
}

// kindOf gives the kind of an action: refusals are the same whatever the run is.
func kindOf(s state, e event) string {
	do := at(s, e)
	if do == nil {
		return "."
	}
	refused := s == lost && e != end && e != answered || s == paused && e == again
	if refused {
		if _, ok := do(nil, nil).(invalid); ok {
			return "!"
		}
	}
	return "*"
}

// Turns that take a run through every state, and what becomes of the chips (common practice).
func TestThroughStates(t *testing.T) {
	for _, c := range []struct {
		name, script string
		gone         []int
		tests        int
		rows         []string
		says         string
	}{
		{"Enter goes on after a pause", "cc<pause><>--cc--", nil, 2, []string{"1 7400 pass", "2 7400 pass"}, ""},
		{"a note in a pause is about the chip in the socket", "cc<pause><note x><go>--cc--", nil, 2, []string{"2 7400 pass  x", "3 7400 pass"}, "corrected"},
		{"no retest in a pause", "cc<pause><retest><go>--", nil, 1, []string{"1 7400 pass"}, "paused: type go first"},
		{"taken back in a pause, the chip has no record", "cc<pause><undo><go><note x>--cc--", nil, 2, []string{"3 7400 pass  x"}, "taken back: the test of chip 1: pass"},
		{"a pause in a pause", "<pause><pause><go>cc--", nil, 1, []string{"1 7400 pass"}, ""},
		{"the end in a pause", "cc--<pause><end>cc--", nil, 1, []string{"1 7400 pass"}, ""},
		{"skip is of the next chip while this one is still there", "cc<skip>--cc--cc--", nil, 2, []string{"1 7400 pass", "2 7400 pass"}, "skipped; take it out"},
		{"the last word counts", "cc--<skip><retest>cc--", nil, 2, []string{"2 7400 pass"}, ""},
		{"likewise", "cc--<retest><skip>cc--cc--", nil, 2, []string{"1 7400 pass", "2 7400 pass"}, ""},
		{"Enter does not test a skipped chip", "<skip>cc<>--", nil, 0, nil, "take it out, or type retest"},
		{"the button does", "<skip>cc-bb--", nil, 1, []string{"1 7400 pass"}, ""},
		{"and retest", "<skip>cc<retest>--", nil, 1, []string{"1 7400 pass"}, ""},
		{"a chip whose test was taken back is tested as a new one", "cc<undo><retest>--", nil, 2, []string{"3 7400 pass"}, ""},
		{"retest of nothing", "<retest>cc--", nil, 1, []string{"1 7400 pass"}, "no chip was tested yet"},
		{"retest taken back with undo", "cc--<retest><undo>cc--", nil, 2, []string{"3 7400 pass"}, ""},
		{"lost in a test, the chip is tested when the adapter is back", "cccc--", []int{0}, 2, []string{"1 7400 pass"}, "check its cable"},
		{"lost in a retest, the next chip is a new one", "cc<retest>--cc--", []int{1}, 3, []string{"1 7400 pass", "2 7400 pass"}, "the adapter is back"},
		{"lost in a retest, and typed again", "cc<retest><retest>c<retest>--", []int{1}, 3, []string{"2 7400 pass"}, noAnswer},
		{"a note while the adapter is lost", "ccx<note x>--", nil, 1, []string{"2 7400 pass  x"}, "corrected"},
		{"nothing else is done then", "ccx<pause><go><>--", nil, 1, []string{"1 7400 pass"}, noAnswer},
		{"but end", "cc--x<end>cc--", nil, 1, []string{"1 7400 pass"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &bench{script: c.script, gone: c.gone}
			rows, shown := played(t, b, func(r *Run) {
				r.Reconnect = func(context.Context) (Bench, error) {
					if strings.HasPrefix(b.script, "<") { // not before all was typed
						return nil, errGone
					}
					return b, nil
				}
			})
			require.Equal(t, c.rows, rows, shown)
			assert.Len(t, b.tests, c.tests, shown)
			assert.Contains(t, shown, c.says)
		})
	}
}

// A chip that was put in wrongly has no record; the same chip put in right is tested as the
// one that was meant.
func TestARetestPutInWrongly(t *testing.T) {
	wrong := &contact.Seating{Found: contact.EmptySocket}
	b := &bench{script: "cc<retest>cc--", verdicts: []assay.Verdict{assay.Pass, assay.NotTested, assay.Fail}, seatings: []*contact.Seating{nil, wrong}}
	rows, shown := played(t, b, nil)
	require.Equal(t, []string{"2 7400 fail"}, rows, shown)
	require.Contains(t, shown, "tested again, recorded, strong")
}

// Nobody sees a number of a record unless they ask; then it is that of the chip's bag.
func TestNumbers(t *testing.T) {
	script := "cc--cc<retest><note x>--cc--"
	_, shown := played(t, &bench{script: script}, nil)
	assert.NotRegexp(t, `number|record \d`, shown)
	_, shown = played(t, &bench{script: script}, func(r *Run) { r.Numbers = true })
	assert.Equal(t, 2, strings.Count(shown, "recorded as number 2"), shown)
	assert.Contains(t, shown, "recorded as number 5, strong", "after a retest and a correction of the second")
}
