package handlist

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

var now = time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)

// takenOver is a list as records.
func takenOver(t *testing.T, text, columns string) (Takeover, error) {
	lib, err := library.With()
	require.NoError(t, err)
	table, err := Headed(rowsOf(t, text), columns)
	require.NoError(t, err)
	c, err := table.Named(columns, false)
	require.NoError(t, err)
	return table.TakeOver(c, "lists/"+t.Name()+".csv", now, func(typed string) (part.Type, bool, error) { return marking.Resolve(typed, lib) })
}

// What is printed on the chip, in columns of any name, becomes its type; what is not understood
// stays readable, and no row passes as tested.
func TestTakeOver(t *testing.T) {
	over, err := takenOver(t, `Chip,Aufdruck,Datum,Kiste,Los,Menge,Notiz,Preis
74LS00,DM74LS00N 8123,8123,D3,depot,2 in a tube,ok getestet,1.50
,SN7400N,,D1,,,,
4011,,1982,D2,,,,
????,,7938,D2,,0x,,
,,,D5,,3,,
7400,,,D5,,0,,
7400,,,D5,,drei,,
`, "part=Chip,marking=Aufdruck,date=Datum,drawer=Kiste,lot=Los,count=Menge,note=Notiz")
	require.NoError(t, err)
	require.Len(t, over.Records, 5)
	r := over.Records[1]
	assert.Equal(t, record.Record{
		Time: now, Part: "7400", Type: "74LS00", Family: "74LS", Drawer: "D3", Lot: "depot", Marking: "DM74LS00N 8123",
		DateCode: "8123", From: time.Date(1981, 6, 1, 0, 0, 0, 0, time.UTC), To: time.Date(1981, 6, 7, 0, 0, 0, 0, time.UTC), Year: 1981,
		Verdict: verdict.NotTested, Reason: "not tested by this program: from line 2 of TestTakeOver.csv, chip 2", Note: "Menge: 2 in a tube; ok getestet; Preis: 1.50",
	}, r)
	assert.Equal(t, "not tested by this program: from line 2 of TestTakeOver.csv", over.Records[0].Reason)
	r = over.Records[2]
	assert.Equal(t, []string{"7400", "SN7400N", ""}, []string{r.Type, r.Marking, r.Note}, "the marking does where the part is not given")
	r = over.Records[3]
	assert.Equal(t, []any{"4011B", "", "4011 names no family, 4011B taken; date not understood: 1982"}, []any{r.Type, r.DateCode, r.Note}, "a year is no date code")
	assert.Equal(t, "how many is not understood, 1 taken: drei", over.Records[4].Note)
	assert.Equal(t, []Doubt{{4, "4011 names no family, 4011B taken"}, {4, "date not understood: 1982"}, {8, "how many is not understood, 1 taken: drei"}}, over.Doubts)
	assert.Equal(t, []int{5, 6, 7}, over.Without)
	assert.Equal(t, 3+1, over.Rows)
	for _, r := range over.Records {
		assert.Equal(t, verdict.NotTested, r.Verdict)
		assert.Empty(t, r.Grade)
	}
	_, err = takenOver(t, "IC,n\n"+"7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,10000\n7400,1\n", "part=IC,count=n")
	require.ErrorIs(t, err, ErrList)
}

// What no record can hold is said before anything is added, with its line.
func TestTooLong(t *testing.T) {
	_, err := takenOver(t, "IC,Note\n7400,"+strings.Repeat("x", record.MaxText)+"\n", "part=IC,note=Note")
	require.NoError(t, err)
	_, err = takenOver(t, "IC,Note\n\n7400,"+strings.Repeat("x", record.MaxText+1)+"\n", "part=IC,note=Note")
	require.ErrorContains(t, err, "line 3 has a text of 10001 bytes")
}

// A list that is taken over twice adds what is new in it; all or nothing.
func TestSkip(t *testing.T) {
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	defer s.Close()
	over, err := takenOver(t, "IC,n\n7400,2\nXR2206,\n", "part=IC,count=n")
	require.NoError(t, err)
	require.NoError(t, s.AppendAll(t.Context(), over.Records))
	moved, err := s.Get(t.Context(), 1)
	require.NoError(t, err)
	moved.Kind, moved.Corrects, moved.Drawer = record.Correction, 1, "D7"
	_, err = s.Append(t.Context(), moved)
	require.NoError(t, err)
	over, err = takenOver(t, "IC,n\n7400,3\nXR2206,\n7402,1\n", "part=IC,count=n")
	require.NoError(t, err)
	require.NoError(t, over.Skip(t.Context(), s, t.Name()+".csv"))
	require.Equal(t, 3, over.Duplicates)
	var reasons []string
	for _, r := range over.Records {
		reasons = append(reasons, r.Type)
	}
	require.Equal(t, []string{"7400", "7402"}, reasons, "of a larger count the rest")

	// The list was sorted, a line was put in, and two lines are alike; then it is kept under another name.
	over, err = takenOver(t, "IC,n\n7403,1\nXR2206,\nXR2206,\n7400,2\n", "part=IC,count=n")
	require.NoError(t, err)
	again := over
	again.Records = slices.Clone(over.Records)
	require.NoError(t, over.Skip(t.Context(), s, t.Name()+".csv"))
	require.Equal(t, []int{3, 0}, []int{over.Duplicates, over.Alike})
	reasons = nil
	for _, r := range over.Records {
		reasons = append(reasons, r.Marking)
	}
	require.Equal(t, []string{"7403", "XR2206"}, reasons)
	require.NoError(t, again.Skip(t.Context(), s, "copy.csv"))
	require.Equal(t, []any{0, 3, t.Name() + ".csv"}, []any{again.Duplicates, again.Alike, again.Like})

	over.Records[1].Verdict = "good"
	require.ErrorIs(t, s.AppendAll(t.Context(), over.Records), record.ErrRecord)
	rows, bad, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 4, rows)
}
