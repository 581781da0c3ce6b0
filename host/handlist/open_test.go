package handlist

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/sheet"
)

// A list is read from a spreadsheet, from CSV and from standard input alike; what is neither is refused by its name.
func TestOpen(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	var book bytes.Buffer
	require.NoError(t, sheet.Write(&book, sheet.Sheet{Name: "list", Head: []string{"IC", "Drawer"}, Rows: sheet.Of([][]any{{"7400", "D3"}})}))
	want := []Row{{1, []string{"IC", "Drawer"}}, {2, []string{"7400", "D3"}}}
	const text = "IC,Drawer\n7400,D3\n"
	for _, name := range []string{file("list.csv", text), file("list.xlsx", book.String()), "-"} {
		rows, err := Open(name, strings.NewReader(text), "")
		require.NoError(t, err, name)
		require.Equal(t, want, rows, name)
	}
	for name, words := range map[string]string{
		file("list.ods", text): "save it as .xlsx or CSV", file("bad.xlsx", text): "bad.xlsx: not a spreadsheet",
		file("bad.csv", "a\x00b"): "it holds bytes of 0", filepath.Join(dir, "none.csv"): "no such file",
	} {
		_, err := Open(name, nil, "")
		require.ErrorContains(t, err, words, name)
	}
}

// A workbook's list is on the first sheet that has its header, behind a title page or an empty one.
func TestSheetOfAList(t *testing.T) {
	title := sheet.Sheet{Name: "title", Head: []string{"Tram museum"}, Rows: sheet.Of([][]any{{"IC"}, {"signal department"}})}
	list := sheet.Sheet{Name: "list", Head: []string{"IC", "Drawer"}, Rows: sheet.Of([][]any{{"7400", "D3"}})}
	parts := sheet.Sheet{Name: "parts", Head: []string{"Value", "Qty"}, Rows: sheet.Of([][]any{{"7404", 2}})}
	var book bytes.Buffer
	require.NoError(t, sheet.Write(&book, sheet.Sheet{Name: "Sheet1", Rows: sheet.Of(nil)}, title, list, parts))
	name := filepath.Join(t.TempDir(), "list.xlsx")
	require.NoError(t, os.WriteFile(name, book.Bytes(), 0o600))
	for columns, want := range map[string][]Row{
		"part=IC, drawer=drawer": {{1, []string{"IC", "Drawer"}}, {2, []string{"7400", "D3"}}},
		"":                       {{1, []string{"Value", "Qty"}}, {2, []string{"7404", "2"}}},
		"part=Chip":              nil,
	} {
		rows, err := Open(name, nil, columns)
		require.NoError(t, err)
		require.Equal(t, want, rows, columns)
	}
}
