package record

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The characters are those of OWASP, CSV Injection, from memory.
func TestCellsThatASpreadsheetWouldRun(t *testing.T) {
	for cell, want := range map[string]string{
		"=1+1":              `'=1+1`,
		`=cmd|' /C calc'!A`: `'=cmd|' /C calc'!A`,
		"+41":               `'+41`,
		"-5 V":              `'-5 V`,
		"@SUM(A1)":          `'@SUM(A1)`,
		"\t=1":              "'\t'=1",
		"\r=1":              "'\r=1",
		"\n=1":              "'\n=1",
		"＝1":                `'＝1`,
		"＠1":                `'＠1`,
		"'=1":               `''=1`, // and so two apostrophes are not one neutralised
		`="a",b`:            `'="a",b`,
		"a;=1":              `a;'=1`, // some spreadsheets part cells at a semicolon
		"a\t@b;+c;d":        "a\t'@b;'+c;d",
		"a;'=1":             `a;''=1`,
		"a; =1":             `a; =1`,
		"":                  ``,
		"'":                 `'`,
		"'tis bent":         `'tis bent`,
		"74LS10":            `74LS10`,
		"5 V - 4 V":         `5 V - 4 V`,
		"µA":                `µA`,
	} {
		require.Equal(t, want, Cell(cell), cell)
		require.Equal(t, cell, plain(want))
	}
}

func TestNeutralCellsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`([='+\-@a＝]{0,3}[;\t]?){0,3}.?`).Draw(t, "cell")
		written := Cell(cell)
		for i, part := range strings.FieldsFunc(";"+written, func(c rune) bool { return c == ';' || c == '\t' }) {
			if strings.ContainsAny(part[:1], "=+-@") {
				t.Fatalf("%q would run from part %d", written, i)
			}
		}
		if got := plain(written); got != cell {
			t.Fatalf("%q reads back as %q", cell, got)
		}
	})
}

// Every column is in a row, in the same order, behind the bench that shared records have; but the report is
// written behind them, as it is.
func TestRowsHaveAllColumns(t *testing.T) {
	var tags []string
	for field := range reflect.TypeFor[row]().Fields() {
		tags = append(tags, strings.TrimSuffix(field.Tag.Get("json"), ",omitempty"))
	}
	require.Equal(t, benchColumn+", "+strings.ReplaceAll(names(columns), ", report", "")+", "+photoColumn, strings.Join(tags, ", "))
}

// ways are the formats of exports.
var ways = []struct {
	name   string
	export func(*Store, context.Context, io.Writer, Query) (int, error)
	load   func(*Store, context.Context, io.Reader) (Imported, error)
}{
	{"csv", (*Store).ExportCSV, (*Store).ImportCSV},
	{"lines", (*Store).ExportLines, (*Store).ImportLines},
}

// drawn is any record that Append takes.
func drawn(t *rapid.T, n int64) Record {
	words := rapid.OneOf(rapid.String(), rapid.StringMatching(`[='+@"',;\\<&-]{0,4}[a-z ]{0,3}`))
	r := nand()
	for _, field := range []*string{&r.Part, &r.Type, &r.Family, &r.Drawer, &r.Lot, &r.Operator, &r.Marking, &r.DateCode, &r.Reason, &r.Note, &r.Adapter, &r.Firmware} {
		*field = words.Draw(t, "text")
	}
	r.PinsFailed = rapid.SliceOfN(rapid.IntRange(1, 28), 0, 3).Draw(t, "pins")
	if r.Report = nil; rapid.Bool().Draw(t, "report") {
		r.Report, _ = json.Marshal(map[string]string{words.Draw(t, "key"): words.Draw(t, "value")})
	}
	if n > 0 && rapid.Bool().Draw(t, "retest") {
		r.RetestOf = rapid.Int64Range(1, n).Draw(t, "of")
	}
	return r
}

// What is exported and imported elsewhere is the same, but for its number and
// place in the chain; imported again, nothing is added.
func TestExportsReadBack(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		from, err := Open(filepath.Join(dir, "from.sqlite")) // grows over the checks
		if err != nil {
			t.Fatal(err)
		}
		defer from.Close()
		var last int64
		if err := from.db.QueryRow("SELECT coalesce(max(serial), 0) FROM record").Scan(&last); err != nil {
			t.Fatal(err)
		}
		if _, err := from.Append(t.Context(), drawn(t, last)); err != nil {
			t.Fatal(err)
		}
		for _, way := range ways {
			var file, again bytes.Buffer
			if rows, err := way.export(from, t.Context(), &file, Query{All: true}); err != nil || rows != int(last)+1 {
				t.Fatal(rows, err)
			}
			to, err := Open(filepath.Join(dir, way.name+".sqlite"))
			if err != nil {
				t.Fatal(err)
			}
			defer to.Close()
			text := file.String()
			if done, err := way.load(to, t.Context(), strings.NewReader(text)); err != nil || done != (Imported{Added: 1, Duplicates: int(last)}) {
				t.Fatal(done, err, text)
			}
			for serial := int64(1); serial <= last+1; serial++ {
				a, err1 := from.Get(t.Context(), serial)
				b, err2 := to.Get(t.Context(), serial)
				if err1 != nil || err2 != nil || b.ImportedSerial != serial || b.ImportedDigest != a.Digest {
					t.Fatal(err1, err2, b)
				}
				a.ImportedSerial, a.ImportedDigest, a.Digest, a.Previous = b.ImportedSerial, b.ImportedDigest, b.Digest, b.Previous
				require.Equal(t, a, b)
			}
			// And back where it came from.
			if _, err := way.export(to, t.Context(), &again, Query{All: true}); err != nil {
				t.Fatal(err)
			}
			if done, err := way.load(from, t.Context(), &again); err != nil || done != (Imported{Duplicates: int(last) + 1}) {
				t.Fatal(done, err)
			}
		}
	})
}

func TestExportLayout(t *testing.T) { inBoth(t, testExportLayout) }

func testExportLayout(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	r := nand()
	r.Note, r.PinsFailed = "=7 pieces, D3", []int{2, 12}
	r = appended(t, s, r)
	var table, lines bytes.Buffer
	_, err := s.ExportCSV(t.Context(), &table, Query{})
	require.NoError(t, err)
	require.Equal(t, "serial,kind,time,part,type,family,drawer,lot,operator,marking,date_code,date_from,date_to,date_year,verdict,grade,reason,note,"+
		"pins_failed,adapter,firmware,definition_sha256,vectors_sha256,chip,retest_of,corrects,imported_serial,imported_digest,previous,digest,report,photo\r\n"+
		"1,test,2026-03-02T08:30:00.000Z,7410,74LS10,74LS,D3,signal box 4,,,7938,1979-09-17,1979-09-23,1979,pass,strong,"+
		"All steps answered as they should.,\"'=7 pieces, D3\",2 12,,,,,1,,,,,,"+r.Digest+",\"{\"\"verdict\"\":\"\"pass\"\"}\",\r\n", table.String())
	_, err = s.ExportLines(t.Context(), &lines, Query{})
	require.NoError(t, err)
	require.Equal(t, `{"serial":1,"kind":"test","time":"2026-03-02T08:30:00.000Z","part":"7410","type":"74LS10","family":"74LS","drawer":"D3","lot":"signal box 4",`+
		`"date_code":"7938","date_from":"1979-09-17","date_to":"1979-09-23","date_year":1979,"verdict":"pass","grade":"strong",`+
		`"reason":"All steps answered as they should.","note":"=7 pieces, D3","pins_failed":[2,12],"chip":1,"digest":"`+r.Digest+`","report":{"verdict":"pass"}}`+"\n", lines.String())
}

func TestImportsThatAreRefused(t *testing.T) { inBoth(t, testImportsThatAreRefused) }

func testImportsThatAreRefused(t *testing.T, newStore func(testing.TB) *Store) {
	from := newStore(t)
	first := appended(t, from, nand())
	again := nand()
	again.RetestOf = first.Serial
	appended(t, from, again)
	var table, lines, part bytes.Buffer
	_, err := from.ExportCSV(t.Context(), &table, Query{All: true})
	require.NoError(t, err)
	_, err = from.ExportLines(t.Context(), &lines, Query{All: true})
	require.NoError(t, err)
	_, err = from.ExportLines(t.Context(), &part, Query{})
	require.NoError(t, err)

	s := newStore(t)
	for name, c := range map[string]struct {
		load  func(*Store, string) error
		file  string
		words string
	}{
		"a word changed":         {loadCSV, strings.Replace(table.String(), "strong", "sound", 1), "record 1 of the file: it was changed"},
		"a word changed in line": {loadLines, strings.Replace(lines.String(), "strong", "sound", 1), "record 1 of the file: it was changed"},
		"cut off":                {loadLines, lines.String()[:lines.Len()-40], "record 2 of the file: "},
		"cut off in a table":     {loadCSV, table.String()[:table.Len()-90], "record 2 of the file: "},
		"an unknown column":      {loadLines, `{"price":3}`, `column "price" is not one of a record`},
		"another table":          {loadCSV, "line,stop\r\n7,depot\r\n", `column "line" is not one of a record`},
		"an empty table":         {loadCSV, "", "the header: EOF"},
		"a column twice":         {loadCSV, "serial,serial\r\n1,1\r\n", `column "serial" stands there twice`},
		"a part of a chip":       {loadLines, part.String(), "record 1 of the file: it is about record 1, which is neither in the file before it nor here"},
		"null":                   {loadLines, "null\n", "it was changed after it was written, or is not whole"},
	} {
		err := c.load(s, c.file)
		require.ErrorIs(t, err, ErrImport, name)
		require.ErrorContains(t, err, c.words, name)
		verified(t, s, 0)
	}
	require.NoError(t, loadCSV(s, "\uFEFF"+table.String()))
	require.NoError(t, loadLines(s, lines.String()))
	verified(t, s, 2)
}

func loadCSV(s *Store, file string) error {
	_, err := s.ImportCSV(context.Background(), strings.NewReader(file))
	return err
}

func loadLines(s *Store, file string) error {
	_, err := s.ImportLines(context.Background(), strings.NewReader(file))
	return err
}

// FuzzImport looks for a file on which an import panics, or a record of it that
// reads otherwise when its fields are written and read again.
func FuzzImport(f *testing.F) {
	from := newStore(f)
	appended(f, from, nand())
	for _, way := range ways {
		var file bytes.Buffer
		_, err := way.export(from, f.Context(), &file, Query{All: true})
		require.NoError(f, err)
		f.Add(file.Bytes())
	}
	f.Add([]byte(`{"serial":1,"pins_failed":[1,2],"report":{}}`))
	f.Add([]byte("serial,note\n1,\"'=2\""))
	f.Fuzz(func(t *testing.T, file []byte) {
		for _, records := range []iter.Seq2[carried, error]{csvRecords(bytes.NewReader(file)), jsonRecords(bytes.NewReader(file))} {
			for r, err := range records {
				if err != nil {
					break
				}
				var again Record
				for _, c := range columns {
					require.NoError(t, c.set(&again, c.get(&r.Record)), c.name)
				}
				require.Equal(t, r.Sum(), again.Sum())
			}
		}
	})
}

// A writer whose disk is full ends an export with its error, and the next one works.
func TestExportToFullDisk(t *testing.T) {
	s := newStore(t)
	for range 300 { // more than one batch of reports
		r := Record{Verdict: "pass", Report: []byte(`{"method":"` + strings.Repeat("exhaustive ", 200) + `"}`)}
		_, err := s.Append(t.Context(), r)
		require.NoError(t, err)
	}
	full := errors.New("no space left on device")
	_, err := s.ExportLines(t.Context(), writerFunc(func(p []byte) (int, error) { return 0, full }), Query{All: true})
	require.ErrorIs(t, err, full)
	rows, err := s.ExportLines(t.Context(), io.Discard, Query{All: true})
	require.NoError(t, err)
	require.Equal(t, 300, rows)
}

type writerFunc func(p []byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }
