package record

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A year, a week, a day or a date code bounds the date codes. Years with 53 weeks and days
// of weeks by the calendar, after the rule of ISO 8601: week 1 has the year's first Thursday.
func TestFilterPeriods(t *testing.T) {
	for typed, want := range map[string][2]string{
		"1979": {"1979-01-01", "1979-12-31"}, "1979-W38": {"1979-09-17", "1979-09-23"}, "1979-w38": {"1979-09-17", "1979-09-23"}, " 7938 ": {"1979-09-17", "1979-09-23"},
		"1979-09-17": {"1979-09-17", "1979-09-17"}, "1981-W53": {"1981-12-28", "1982-01-03"}, "1960": {"1960-01-01", "1960-12-31"}, "2099": {"2099-01-01", "2099-12-31"},
	} {
		q, err := Filter{From: typed, To: typed}.Query()
		require.NoError(t, err, typed)
		assert.Equal(t, want, [2]string{q.From.Format(time.DateOnly), q.To.Format(time.DateOnly)}, typed)
	}
	for _, typed := range []string{"1979-W53", "7954", "7900", "79", "1979-9-17", "1979-W3", "79-W38", "yesterday", "19790917"} {
		for field, f := range map[string]Filter{"from": {From: typed}, "to": {To: typed}} {
			_, err := f.Query()
			var wrong *FieldError
			require.ErrorAs(t, err, &wrong, typed)
			assert.Equal(t, field, wrong.Field, typed)
		}
	}
}

// A number alone is the part in all families, a type only that.
func TestFilterFields(t *testing.T) {
	q, err := Filter{Part: " 74ls00 ", Family: " hc ", Drawer: " D3 ", Lot: " depot-1 ", Verdict: "PASS-BUT", Grade: "function only", Text: "a_b"}.Query()
	require.NoError(t, err)
	assert.Equal(t, Query{Type: "74LS00", Family: "74HC", Drawer: "D3", Lot: "depot-1", Verdict: "pass-but", Grade: "function-only", Text: "a_b"}, q)
	q, err = Filter{Part: "7400"}.Query()
	require.NoError(t, err)
	assert.Equal(t, Query{Part: "7400"}, q)
	assert.Equal(t, "of part 7400, from drawer D3, up to 1981", Filter{Part: "7400", Drawer: "D3", To: "1981", Text: " "}.Words())
	assert.Empty(t, Filter{}.Words())
}

// Each field has its own error, and one alone is that of two fields that contradict.
func TestFilterErrors(t *testing.T) {
	_, err := Filter{Family: "ZZ", Verdict: "perhaps", Grade: "A", From: "x", To: "y"}.Query()
	wrong := FieldErrors(err)
	assert.Len(t, wrong, 5)
	assert.Equal(t, "there is no such family: as 74, 74LS, HC or B", wrong["family"])
	assert.Equal(t, "one of pass, pass-but, fail, not-tested", wrong["verdict"])
	_, err = Filter{From: "1982", To: "1981"}.Query()
	assert.Equal(t, map[string]string{"to": "is before 1982"}, FieldErrors(err))
	assert.EqualError(t, err, "to 1981: is before 1982")
	_, err = Filter{From: "1982", To: "1982"}.Query()
	assert.NoError(t, err)
	assert.Equal(t, map[string]string{"": "of no field", "lot": "first"},
		FieldErrors(errors.Join(&FieldError{"lot", "", "first"}, errors.New("of no field"), &FieldError{"lot", "", "second"})))
	assert.Empty(t, FieldErrors(nil))
}
