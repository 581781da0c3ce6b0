package offer

import (
	"bytes"
	"image"
	"image/jpeg"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/record"
	"chipassay/host/verdict"
)

func day(year int) time.Time { return time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC) }

// shop is a file of records with what may be offered, and what may not.
func shop(t *testing.T) *record.Store {
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	for _, r := range []record.Record{
		{Type: "74LS00", Verdict: verdict.Pass, Grade: verdict.Sound},
		{Type: "74LS00", Verdict: verdict.Pass, Grade: verdict.Strong},
		{Type: "7400", Verdict: verdict.Pass, Grade: verdict.Strong, DateCode: "8012", From: day(1980), To: day(1980), Year: 1980},
		{Type: "7400", Verdict: verdict.Pass, Grade: verdict.Strong, DateCode: "7938", From: day(1979), To: day(1979), Year: 1979},
		{Type: "7400", Verdict: verdict.Pass, Grade: verdict.Strong, DateCode: "7938", From: day(1979), To: day(1979), Year: 1979},
		{Type: "7400", Verdict: verdict.Pass}, // of a record before levels were measured
		{Type: "7410", Verdict: verdict.PassBut, Grade: verdict.Doubtful},
		{Type: "7410", Verdict: verdict.Pass, Grade: verdict.Doubtful},
		{Type: "7410", Verdict: verdict.Fail, Grade: verdict.Reject},
		{Type: "7410", Verdict: verdict.NotTested},
		{Type: "7410", Verdict: verdict.Pass, Grade: verdict.FunctionOnly, Reason: "in part: pins 1 and 2 were left out"},
		{Type: "7410", Verdict: verdict.Pass, Grade: verdict.Strong, Drawer: record.Away("the model club")},
	} {
		r.Part = "7400"
		_, err := s.Append(t.Context(), r)
		require.NoError(t, err)
	}
	return s
}

func TestGather(t *testing.T) {
	s := shop(t)
	l, err := Gather(t.Context(), s, record.Query{}, day(2026), func(typ string) string { return "gate " + typ })
	require.NoError(t, err)
	var got []string
	for _, row := range l.Table() {
		got = append(got, strings.Join(append(row[:7:7], row[8], row[9]), "|"))
	}
	assert.Equal(t, []string{
		"7400|gate 7400|||||function only|1|6",
		"7400|gate 7400||7938|1979|47|strong|2|4 5",
		"7400|gate 7400||8012|1980|46|strong|1|3",
		"74LS00|gate 74LS00|||||strong|1|2",
		"74LS00|gate 74LS00|||||sound|1|1",
	}, got)
	assert.Equal(t, 6, l.Total())
	r, err := s.Get(t.Context(), 5)
	require.NoError(t, err)
	assert.Equal(t, Chip{Number: record.Number{Serial: 5}, Record: record.Number{Serial: 5}, Digest: r.Digest}, l.Rows[1].Chips[1])
	for _, row := range l.Rows {
		assert.Contains(t, row.Meaning(), "every vector right")
	}
	assert.False(t, l.Virtual)
}

// The page shows what a hostile record holds as text, and pictures made small.
func TestPage(t *testing.T) {
	s := shop(t)
	_, err := s.Append(t.Context(), record.Record{Part: "7400", Type: "<script>x</script>", Verdict: verdict.Pass, Grade: verdict.Sound, Adapter: "virtual"})
	require.NoError(t, err)
	var picture bytes.Buffer
	require.NoError(t, jpeg.Encode(&picture, image.NewGray(image.Rect(0, 0, 1200, 600)), nil))
	_, err = s.AddPhoto(t.Context(), 4, picture.Bytes())
	require.NoError(t, err)
	l, err := Gather(t.Context(), s, record.Query{}, day(2026), func(string) string { return "" })
	require.NoError(t, err)
	require.NoError(t, l.AddPhotos(t.Context(), s))
	var b bytes.Buffer
	require.NoError(t, l.WriteHTML(&b))
	page := b.String()
	assert.Contains(t, page, "Demonstration, no offer: virtual chips")
	assert.Contains(t, page, "2 × 7400")
	assert.Contains(t, page, `width="480" height="240" alt="Chip 4 from above"`)
	assert.Equal(t, 1, strings.Count(page, "<img "))
	assert.NotContains(t, page, "<script>")
	assert.Contains(t, page, "function only: every vector right; the levels")
	assert.NotContains(t, page, "doubtful:", "grades of which there is none are not explained")
	assert.Less(t, b.Len(), 60_000)
}
