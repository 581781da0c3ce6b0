package sheet

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

func written(t require.TestingT, rows ...[]any) []byte {
	var b bytes.Buffer
	require.NoError(t, Write(&b, Sheet{"chips", []string{"a", "b"}, Of(rows)}, Sheet{"more", []string{"c"}, Of(nil)}))
	return b.Bytes()
}

func rowsOf(t require.TestingT, file []byte) (rows [][]string) {
	for r, err := range Read(bytes.NewReader(file)) {
		require.NoError(t, err)
		require.Equal(t, len(rows)+1, r.Number)
		rows = append(rows, r.Cells)
	}
	return rows
}

// What is written reads back, formulas as text; an empty row keeps its number.
func TestRoundTrip(t *testing.T) {
	file := written(t, []any{"=1+1", 7938}, []any{"", ""}, []any{" <b> & \"x\" _x000D_ ", "Lade äöü €"}, []any{"0342", -5})
	assert.Equal(t, [][]string{{"a", "b"}, {"=1+1", "7938"}, nil, {" <b> & \"x\" _x000D_ ", "Lade äöü €"}, {"0342", "-5"}}, rowsOf(t, file))
	book, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	f, err := book.Open("xl/worksheets/sheet1.xml")
	require.NoError(t, err)
	xml, err := io.ReadAll(f)
	require.NoError(t, err)
	assert.NotContains(t, string(xml), "<f>", "ISO/IEC 29500-1, 18.3.1.40: a formula")
	assert.Contains(t, string(xml), "<v>7938</v>", "a number is one")
}

func TestAnyTextReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom([]rune("aZ09 _x=+-@'\"<>&;äß€漢𝄞,"))).Draw(t, "text")
		rows := rowsOf(t, written(t, []any{text, "end"}))
		require.Equal(t, []string{text, "end"}, rows[1])
	})
}

func TestLimits(t *testing.T) {
	full := strings.Repeat("x", MaxCell)
	assert.Equal(t, full, rowsOf(t, written(t, []any{full}))[1][0])
	var b bytes.Buffer
	require.ErrorIs(t, Write(&b, Sheet{"s", nil, Of([][]any{{full + "x"}})}), ErrSheet)
	broken := errors.New("broken")
	require.ErrorIs(t, Write(&b, Sheet{"s", nil, func(yield func([]any, error) bool) { yield(nil, broken) }}), broken)
	for _, file := range []string{"", "IC;Code\n", "PK\x03\x04 and no more"} {
		for _, err := range Read(strings.NewReader(file)) {
			require.ErrorIs(t, err, ErrSheet)
		}
	}
	assert.True(t, Is("a/b.XLSX"))
	assert.False(t, Is("xlsx"))
}

// hostile is a workbook with a part replaced, of a file that somebody made to do harm.
func hostile(t *testing.T, part string, change func(string) string) []byte {
	t.Helper()
	from, err := zip.NewReader(bytes.NewReader(written(t, []any{"7400", 1})), int64(len(written(t, []any{"7400", 1}))))
	require.NoError(t, err)
	var b bytes.Buffer
	to := zip.NewWriter(&b)
	for _, f := range from.File {
		r, err := f.Open()
		require.NoError(t, err)
		body, err := io.ReadAll(r)
		require.NoError(t, err)
		if f.Name == part {
			changed := change(string(body))
			require.NotEqual(t, string(body), changed)
			body = []byte(changed)
		}
		w, err := to.Create(f.Name)
		require.NoError(t, err)
		_, err = w.Write(body)
		require.NoError(t, err)
	}
	require.NoError(t, to.Close())
	return b.Bytes()
}

// fails wants the reading to end with one error, after few rows.
func fails(t *testing.T, file []byte, most int) {
	t.Helper()
	var last error
	n := 0
	for _, err := range Read(bytes.NewReader(file)) {
		if last = err; n > most {
			break
		}
		n++
	}
	require.ErrorIs(t, last, ErrSheet)
	require.LessOrEqual(t, n, most)
}

// What the library of this version does not catch itself: a row number without limit (the format
// has 1,048,576 rows: ISO/IEC 29500-1, 18.2), a size that is none, and a damaged encrypted workbook.
func TestHarmfulFiles(t *testing.T) {
	const huge = "9223372036854775806"
	fails(t, hostile(t, "xl/worksheets/sheet1.xml", func(xml string) string { return strings.Replace(xml, `<row r="2"`, `<row r="`+huge+`"`, 1) }), MaxRows+1)

	sized := hostile(t, "xl/styles.xml", func(xml string) string { return xml + " " })
	directory := bytes.LastIndex(sized, []byte("xl/styles.xml")) - 46 // its entry: APPNOTE.TXT of ZIP, 4.3.12
	require.Equal(t, "PK\x01\x02", string(sized[directory:directory+4]))
	for i := range 4 {
		sized[directory+24+i] = 0xFF // the size is in an extra field that is missing
	}
	fails(t, sized, 1)

	encrypted := append([]byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"), make([]byte, 2048)...)
	fails(t, encrypted, 1)
	panics := func() (err error) {
		defer stumbled(&err)
		var none []int
		_ = none[len(encrypted)]
		return nil
	}
	require.ErrorIs(t, panics(), ErrSheet)
}

func FuzzRead(f *testing.F) {
	f.Add(written(f, []any{"7400", 1}))
	f.Fuzz(func(t *testing.T, file []byte) {
		n := 0
		for _, err := range Read(bytes.NewReader(file)) {
			if n++; err != nil || n > 1000 {
				break
			}
		}
	})
}

// A person merges the drawer's cells beside its chips, and lets the spreadsheet show dates as the country does.
// 27288 is 16 September 1974 in days from 30 December 1899: ISO/IEC 29500-1, 18.17.4.1.
func TestReadByHand(t *testing.T) {
	book := excelize.NewFile()
	for cell, value := range map[string]any{"A1": "Inventory", "A2": "IC", "B2": "Drawer", "C2": "Made", "A3": "7400", "B3": "D1", "C3": 27288, "A4": "7402", "A6": "7404", "B6": "D2"} {
		require.NoError(t, book.SetCellValue("Sheet1", cell, value))
	}
	style, err := book.NewStyle(&excelize.Style{NumFmt: 14}) // the country's short date
	require.NoError(t, err)
	require.NoError(t, book.SetCellStyle("Sheet1", "C3", "C3", style))
	require.NoError(t, book.MergeCell("Sheet1", "A1", "C1"))
	require.NoError(t, book.MergeCell("Sheet1", "B3", "B5"))
	var file bytes.Buffer
	require.NoError(t, book.Write(&file))
	var got []string
	for row, err := range ReadByHand(bytes.NewReader(file.Bytes()), func([]string) bool { return false }) {
		require.NoError(t, err)
		got = append(got, strings.Join(row.Cells, "|"))
	}
	require.Equal(t, []string{"Inventory", "IC|Drawer|Made", "7400|D1|1974-09-16", "7402|D1", "", "7404|D2"}, got)
}
