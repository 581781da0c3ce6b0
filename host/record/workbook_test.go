package record

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/sheet"
)

// A spreadsheet carries every row, with reports over the length of a cell; what was changed in it is
// refused, and so is another table.
func TestWorkbook(t *testing.T) {
	open := func(name string) *Store {
		s, err := Open(filepath.Join(t.TempDir(), name))
		require.NoError(t, err)
		t.Cleanup(func() { s.Close() })
		return s
	}
	from := open("from")
	for i, note := range []string{"=1+1", "'=2", "a \"b\"; c\td", ""} {
		report, err := json.Marshal(map[string]string{"x": strings.Repeat("𝄞ä", i*20_000)})
		require.NoError(t, err)
		r := Record{Part: "7400", Type: "7400", Family: "74", Verdict: "fail", Grade: "reject", PinsFailed: []int{2, 12}, Note: note, Report: report}
		if i == 3 {
			r.RetestOf, r.Report = 1, nil
		}
		_, err = from.Append(t.Context(), r)
		require.NoError(t, err)
	}
	var b bytes.Buffer
	n, err := from.ExportWorkbook(t.Context(), &b, Query{All: true})
	require.NoError(t, err)
	require.Equal(t, 4, n)

	to := open("to")
	done, err := to.ImportWorkbook(t.Context(), bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	require.Equal(t, Imported{Added: 4}, done)
	for serial := range int64(4) {
		want, err := from.Get(t.Context(), serial+1)
		require.NoError(t, err)
		got, err := to.Get(t.Context(), serial+1)
		require.NoError(t, err)
		require.Equal(t, want.Digest, got.ImportedDigest)
		require.Equal(t, want.Report, got.Report)
		require.Equal(t, want.Note, got.Note)
	}
	done, err = to.ImportWorkbook(t.Context(), bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	require.Equal(t, Imported{Duplicates: 4}, done)

	var rows [][]any
	for r, err := range sheet.Read(bytes.NewReader(b.Bytes())) {
		require.NoError(t, err)
		row := []any{}
		for _, c := range r.Cells {
			if c == "reject" && r.Number == 3 {
				c = "strong"
			}
			row = append(row, c)
		}
		rows = append(rows, row)
	}
	head := []string{}
	for _, c := range rows[0] {
		head = append(head, c.(string))
	}
	var changed, other bytes.Buffer
	require.NoError(t, sheet.Write(&changed, sheet.Sheet{Name: "records", Head: head, Rows: sheet.Of(rows[1:])}))
	empty := open("empty")
	_, err = empty.ImportWorkbook(t.Context(), &changed)
	require.ErrorIs(t, err, ErrImport)
	require.ErrorContains(t, err, "record 2 of the file: it was changed")
	require.NoError(t, sheet.Write(&other, sheet.Sheet{Name: "list", Head: []string{"IC", "Lade"}, Rows: sheet.Of(nil)}))
	_, err = empty.ImportWorkbook(t.Context(), &other)
	require.ErrorContains(t, err, "--columns")
	_, err = empty.ImportWorkbook(t.Context(), strings.NewReader("IC;Lade"))
	require.ErrorIs(t, err, sheet.ErrSheet)
	rowsThere, _, err := empty.Verify(t.Context())
	require.NoError(t, err)
	require.Zero(t, rowsThere)
}
