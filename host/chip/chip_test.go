package chip

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/record"
	"chipassay/host/report"
)

// tested is a store with a chip that passed, as number 1, and one that failed, as number 2.
func tested(t *testing.T) *record.Store {
	t.Helper()
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	for _, name := range []string{"pass", "fail"} {
		object, err := os.ReadFile(filepath.Join("..", "report", "testdata", name+".json"))
		require.NoError(t, err)
		r, err := record.FromReport(object)
		require.NoError(t, err)
		r.Drawer, r.Note = "D3", "from point controller A"
		_, err = s.Append(t.Context(), r)
		require.NoError(t, err)
	}
	return s
}

// A correction keeps the number and what was measured; what a person wrote reads otherwise
// in the record, and note and date code in its report too.
func TestCorrect(t *testing.T) {
	s := tested(t)
	before, err := s.Get(t.Context(), 1)
	require.NoError(t, err)
	r, err := Correct(t.Context(), s, 1, Correction{Drawer: new(" D4 "), DateCode: new("7938"), Note: new("cleaned")})
	require.NoError(t, err)
	assert.Equal(t, []any{int64(1), int64(3), record.Correction, "D4", "7938", 1979, "cleaned", before.Verdict},
		[]any{r.Chip, r.Serial, r.Kind, r.Drawer, r.DateCode, r.Year, r.Note, r.Verdict})
	d, err := report.ReadDocument(r.Report)
	require.NoError(t, err)
	assert.Equal(t, "cleaned", d.Note)
	assert.Equal(t, "1979-09-17", d.DateCode.From.String(), "week 38 of 1979 began on 17 September: ISO 8601")
	r, err = Correct(t.Context(), s, 1, Correction{DateCode: new("")})
	require.NoError(t, err)
	d, err = report.ReadDocument(r.Report)
	require.NoError(t, err)
	assert.Nil(t, d.DateCode)
	assert.Equal(t, "cleaned", d.Note)
	c, err := Find(t.Context(), s, 4)
	require.NoError(t, err)
	assert.Equal(t, []any{int64(1), int64(4), 3}, []any{c.Number, c.Serial(), len(c.History)})
}

// What cannot be corrected leaves the records as they were.
func TestRefusedCorrections(t *testing.T) {
	s := tested(t)
	_, err := Correct(t.Context(), s, 1, Correction{})
	assert.ErrorIs(t, err, ErrUnchanged)
	_, err = Correct(t.Context(), s, 1, Correction{DateCode: new("7600"), Note: new("x")})
	assert.Contains(t, record.FieldErrors(err)["date-code"], "there is no week 00")
	_, err = Correct(t.Context(), s, 9, Correction{Note: new("x")})
	assert.ErrorIs(t, err, record.ErrNone)
	_, err = TakeBack(t.Context(), s, 1, " ")
	assert.ErrorIs(t, err, ErrNoReason)
	c, err := Find(t.Context(), s, 1)
	require.NoError(t, err)
	assert.Len(t, c.History, 1)
	// A number that is neither the chip's nor the current record's is another that would be changed.
	for _, note := range []string{"x", "y"} {
		_, err = Correct(t.Context(), s, 1, Correction{Note: &note})
		require.NoError(t, err)
	}
	_, err = Correct(t.Context(), s, 3, Correction{Note: new("z")})
	assert.EqualError(t, err, "record 3 is not the current one of chip 1: name the chip's number, 1")
	_, err = Correct(t.Context(), s, 4, Correction{Note: new("z")})
	assert.NoError(t, err, "record 4 is the current one")
}

// Taking back brings back what was before, until nothing is left.
func TestTakeBack(t *testing.T) {
	s := tested(t)
	_, err := Correct(t.Context(), s, 2, Correction{Note: new("cleaned")})
	require.NoError(t, err)
	for _, left := range []string{"from point controller A", ""} {
		_, err := TakeBack(t.Context(), s, 2, " the wrong chip was in the socket ")
		require.NoError(t, err)
		c, err := Find(t.Context(), s, 2)
		require.NoError(t, err)
		last := c.History[len(c.History)-1]
		assert.Equal(t, "taken back: the wrong chip was in the socket", Words(last))
		if left == "" {
			assert.Nil(t, c.Current)
			assert.Equal(t, last.Serial, c.Serial())
		} else {
			assert.Equal(t, left, c.Current.Note)
		}
	}
	_, err = TakeBack(t.Context(), s, 2, "again")
	assert.EqualError(t, err, "record 2 was taken back")
}

// Only what differs is a change.
func TestChanges(t *testing.T) {
	r := record.Record{Drawer: "D3", Marking: "7400", DateCode: "7938"}
	got := Correction{Drawer: new(" D3 "), Marking: new("74LS00"), DateCode: new("7938"), Note: new(""), Lot: nil}.Changes(r)
	assert.Equal(t, Correction{Marking: new("74LS00")}, got)
}

func TestWords(t *testing.T) {
	for want, r := range map[string]record.Record{
		"tested: 7400 pass strong": {Kind: record.Test, Type: "7400", Verdict: "pass", Grade: "strong"},
		"tested: 7400 not tested":  {Kind: record.Test, Type: "7400", Verdict: "not-tested"},
		"tested again: 7400 fail":  {Kind: record.Test, Type: "7400", Verdict: "fail", RetestOf: 3},
		"corrected: 7400 pass":     {Kind: record.Correction, Type: "7400", Verdict: "pass"},
	} {
		assert.Equal(t, want, Words(r))
	}
	assert.Equal(t, "7938 (1979)", DateCode(record.Record{DateCode: "7938", Year: 1979}))
	assert.Empty(t, DateCode(record.Record{}))
	assert.Equal(t, "the note", Remark(record.Record{Verdict: "pass", Reason: "all right", Note: "the note"}))
	assert.Equal(t, "pin 2 is stuck (the note)", Remark(record.Record{Verdict: "fail", Reason: "pin 2 is stuck", Note: "the note"}))
	assert.Equal(t, "all right", Remark(record.Record{Verdict: "pass", Reason: "all right"}))
}

func TestParseNumber(t *testing.T) {
	n, err := ParseNumber(" 17 ")
	require.NoError(t, err)
	assert.Equal(t, int64(17), n)
	for _, typed := range []string{"", "0", "-1", "1.5", "one", "99999999999999999999"} {
		_, err := ParseNumber(typed)
		assert.Error(t, err, typed)
	}
}
