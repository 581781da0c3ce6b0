package handlist

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rowsOf are the rows of a text as CSV.
func rowsOf(t *testing.T, text string) []Row {
	rows, err := ReadCSV(strings.NewReader(text), "")
	require.NoError(t, err)
	return rows
}

// Spreadsheets part cells by what the country uses, and write in Windows-1252. Source: common practice.
func TestReadCSV(t *testing.T) {
	want := []Row{{1, []string{"IC", "Lade", "Stück"}}, {3, []string{"7400", "D3, links", "2"}}}
	for name, text := range map[string]string{
		"comma":        "IC,Lade,Stück\n\n7400,\"D3, links\",2\n",
		"semicolon":    "IC;Lade;Stück\r\n;;\r\n7400;D3, links;2\r\n",
		"tab":          "IC\tLade\tStück\n\t\n 7400\tD3,  links\t2",
		"bar":          "IC|Lade|Stück\n\n7400|D3, links|2\n",
		"mark":         "\uFEFFIC;Lade;Stück\n\n7400;\"D3,\nlinks\";2\n",
		"UTF-16":       "\xff\xfeI\x00C\x00;\x00L\x00a\x00d\x00e\x00;\x00S\x00t\x00\xfc\x00c\x00k\x00\n\x00\n\x007\x004\x000\x000\x00;\x00D\x003\x00,\x00 \x00l\x00i\x00n\x00k\x00s\x00;\x002\x00",
		"Windows-1252": "IC;Lade;St\xfcck\n\n7400;D3, links;2\n",
		"Macintosh":    "IC;Lade;Stück\r\r7400;D3, links;2\r",
	} {
		assert.Equal(t, want, rowsOf(t, text), name)
	}
	assert.Equal(t, []Row{{1, []string{"IC", "Fach", "Notiz"}}, {2, []string{"7400", "D1", "alt, gut, von oben, neu"}}},
		rowsOf(t, "IC;Fach;Notiz\n7400;D1;alt, gut, von oben, neu\n"), "more commas than semicolons, but not in each line")
	assert.Equal(t, []string{"IC", "Fach, Reihe", "Notiz"}, rowsOf(t, "IC;Fach, Reihe;Notiz\n7400;D1, 2;alt\n")[0].Cells, "both in each line, semicolons more often")
	assert.Equal(t, []Row{{1, []string{"=1+1", "'s", "-5", "'"}}}, rowsOf(t, "'=1+1,'s,'-5,'"), "as this program writes them")
	_, err := ReadCSV(strings.NewReader("PK\x03\x04\x00\x00"), "")
	require.ErrorIs(t, err, ErrList)
	_, err = ReadCSV(strings.NewReader("IC;Note\n7400;a\n\"7402;b\n7404;c\n"), "")
	require.ErrorContains(t, err, "a quotation mark in line 3 is not closed")
	assert.Len(t, rowsOf(t, "IC;Note\n7400;3,5\" disk\n7402;b\n"), 3, "an inch")
	_, err = ReadCSV(strings.NewReader(strings.Repeat("x", maxSize+1)), "")
	require.ErrorIs(t, err, ErrList)
	_, err = ReadCSV(strings.NewReader(strings.Repeat("x\n", maxRows+1)), "")
	require.ErrorIs(t, err, ErrList)
}

// A file that is not Unicode is read in the coding in which its headers are named: those of ISO 8859-1's and 8859-2's kin of
// Windows, of a Macintosh, and of DOS. Source: the tables of RFC 1345's and Unicode's mappings (from memory).
func TestCodings(t *testing.T) {
	for name, c := range map[string]struct{ columns, text, drawer string }{
		"Windows-1252": {"part=Bauteil,count=Stück", "Bauteil;St\xfcck;Lade\n7400;2;T\xfcr\n", "Tür"},
		"Windows-1250": {"part=Układ, count=ILOŚĆ", "Uk\xb3ad;Ilo\x9c\xe6;Szuflada\n7400;2;\xa3\xf3d\x9f\n", "Łódź"},
		"Macintosh":    {"part=Circuit,count=Quantité", "Circuit;Quantit\x8e;Tiroir\n7400;2;\x8e\x8f\n", "éè"},
		"DOS":          {"part=Bauteil,count=Stück", "Bauteil;St\x81ck;Lade\n7400;2;T\x81r\n", "Tür"},
		"none":         {"part=Bauteil,count=Größe", "Bauteil;Lade\n7400;T\xfcr\n", "Tür"},
	} {
		rows, err := ReadCSV(strings.NewReader(c.text), c.columns)
		require.NoError(t, err, name)
		assert.Equal(t, c.drawer, rows[1].Cells[len(rows[1].Cells)-1], name)
	}
}

// Source: bills of materials as KiCad writes them. kicad-cli: the output in KiCad's issue 22613, which lacks the quantity, and
// the labels of its documentation. Scripts: bom_csv_grouped_by_value.py and bom_csv_grouped_by_value_with_fp.py of KiCad's
// eeschema/python_scripts, and the former as it was, which wrote all components one by one first. Board editor: published
// lists with its header. Fields table: from memory.
func TestBillsOfMaterials(t *testing.T) {
	for name, text := range map[string]string{
		"fields table": `"Reference","Value","Datasheet","Footprint","Qty","DNP"` + "\n" + `"U1,U2","74LS00","~","DIP-14","2",""` + "\n" + `"R1","4700","~","R","1",""` + "\n" + `"U3","7447","~","DIP-16","1","DNP"`,
		"script": `"Source:","signal.kicad_sch"` + "\n" + `"Date:","Monday"` + "\n" + `"Component Count:","4"` + "\n\n" + `"Ref","Qnty","Value","Cmp name","Footprint","DNP"` + "\n" +
			`"U1, U2, ","2","74LS00","74LS00","DIP-14",""` + "\n" + `"R1, ","1","4700","R","R",""` + "\n" + `"U3","1","7447","7447","DIP-16","1"`,
		"command":                    `"Refs","Value","Footprint","Qty","DNP"` + "\n" + `"U1,U2","74LS00","Package_DIP:DIP-14_W7.62mm","2",""` + "\n" + `"R1,R3-R9","4700","R","8",""` + "\n" + `"U3","7447","DIP-16","1","DNP"`,
		"command without a quantity": `"id","Refs","Value","Footprint","DNP"` + "\n" + `"468","U1-U2","74LS00","DIP-14",""` + "\n" + `"145","R1,R3-R9","4700","R",""` + "\n" + `"7","U3","7447","DIP-16","DNP"`,
		"grouped script": `"Source:","signal.kicad_sch"` + "\n" + `"Date:","Monday"` + "\n" + `"Tool:","Eeschema"` + "\n" + `"Generator:","bom_csv_grouped_by_value.py"` + "\n" + `"Component Count:","4"` + "\n\n" + `"Collated Components:"` + "\n\n" +
			`"Item","Qty","Reference(s)","Value","LibPart","Footprint","Datasheet","DNP"` + "\n" + `"1","2","U1, U2","74LS00","74xx:74LS00","DIP-14","~",""` + "\n" + `"2","1","R1","4700","Device:R","R","~",""` + "\n" + `"3","1","U3","7447","74xx:7447","DIP-16","~","DNP"`,
		"older script": `"Source:","signal.sch"` + "\n" + `"Individual Components:"` + "\n\n" + `"Item","Qty","Reference(s)","Value","LibPart","DNP"` + "\n" + `"","","U1","74LS00","74xx:74LS00",""` + "\n" + `"","","U2","74LS00","74xx:74LS00",""` + "\n" +
			`"","","R1","4700","Device:R",""` + "\n" + `"","","U3","7447","74xx:7447","DNP"` + "\n\n\n\n" + `"Collated Components:"` + "\n\n" + `"Item","Qty","Reference(s)","Value","LibPart","DNP"` + "\n" +
			`"1","2","U1, U2","74LS00","74xx:74LS00",""` + "\n" + `"2","1","R1","4700","Device:R",""` + "\n" + `"3","1","U3","7447","74xx:7447","DNP"`,
		"board": `"Id";"Designator";"Footprint";"Quantity";"Designation";"Supplier and ref";"Do not populate"` + "\n" + `1;"U2,U1";"DIP-14";2;"74LS00";;` + "\n" + `2;"R1";"R";1;"4700";;` + "\n" + `3;"U3";"DIP-16";1;"7447";;yes`,
	} {
		table, columns, err := PartsList(rowsOf(t, text))
		require.NoError(t, err, name)
		lines := table.Lines(columns)
		require.Len(t, lines, 3, name)
		assert.Equal(t, []any{"74LS00", 2, false, false}, []any{lines[0].Part, lines[0].Count, lines[0].Other, lines[0].Left}, name)
		assert.Equal(t, []any{"4700", true}, []any{lines[1].Part, lines[1].Other}, name)
		assert.Equal(t, []any{"7447", true, false}, []any{lines[2].Part, lines[2].Left, lines[2].Other}, name)
	}
	for _, head := range []string{"Referenz;Wert;Menge", "Référence;Valeur;Qté", "Oznaczenie;Wartość;Ilość"} { // translated
		_, columns, err := PartsList(rowsOf(t, head+"\nU1;7400;2\n"))
		require.NoError(t, err, head)
		assert.Equal(t, Columns{Reference: {0}, Part: {1}, Count: {2}}, columns, head)
	}
	_, _, err := PartsList(rowsOf(t, "IC,Lade\n7400,D3\n"))
	require.ErrorIs(t, err, ErrList, "nothing says how many")
	_, _, err = PartsList(rowsOf(t, "Ref,Qty\nU1,1\n"))
	require.ErrorIs(t, err, ErrList, "nothing says which")
	_, _, err = PartsList(nil)
	require.ErrorIs(t, err, ErrList)
}

func TestCounts(t *testing.T) {
	for _, c := range []struct {
		cell, references string
		want             int
	}{
		{"", "", 1}, {"", "U1", 1}, {"", "U1, U2 U5-U7", 5}, {"", "IC10-IC12;IC20", 4}, {"", "U7-U5", 1}, {"", "U3-5", 3}, {"", "U6001-U6003", 3},
		{"3", "U1", 3}, {"0", "U1", 0}, {"4 pcs", "", 4}, {"12x", "", 12}, {"x5", "", 5}, {"3 x", "", 3}, {"12Stk.", "", 12}, {"3,00", "", 3}, {"2.0", "", 2}, {"1 tube", "", 1},
	} {
		n, err := countOf(c.cell, c.references)
		assert.NoError(t, err)
		assert.Equal(t, c.want, n, "%+v", c)
	}
	for _, cell := range []string{"many", "-1", "10001", "2.5", "1.000", "2-3", "99999999999999999999"} {
		_, err := countOf(cell, "")
		assert.Error(t, err, cell)
	}
	for cell, remark := range map[string]string{"12": "", "12 Stk": "", "5 szt.": "", "3x": "", "4 PCS": "", "1 Tube": "1 Tube", "6 (2 bent)": "6 (2 bent)", "many": ""} {
		assert.Equal(t, remark, remarkOf(cell), cell)
	}
	for references, other := range map[string]bool{"": false, "U1": false, "IC3, IC4": false, "R1": true, "C1-C9": true, "SW2": true, "7": false, "DD1": false, "r1": true, "xt2": true, "R_1": true, "R[1]": true} {
		assert.Equal(t, other, isOther(references), references)
	}
}

// D is a diode or a circuit, and 4007 beside it a diode of that short name.
func TestReferencesWithD(t *testing.T) {
	table := Table{Rows: []Row{{1, []string{"D1, D2", "7400"}}, {2, []string{"D3", "4007"}}, {3, []string{"U1", "4007"}}}}
	var got [][2]bool
	for _, l := range table.Lines(Columns{Reference: {0}, Part: {1}}) {
		got = append(got, [2]bool{l.Diode, l.Other})
	}
	require.Equal(t, [][2]bool{{true, false}, {true, true}, {false, false}}, got)
}

// A header that is mistyped is said with those of the row that is meant.
func TestMistypedHeader(t *testing.T) {
	rows := rowsOf(t, "Werkstatt,,\nIC,Code,Lade\n7400,7938,D3\n")
	for typed, want := range map[string]string{"part=IS": "the headers are IC, Code, Lade", "part=IC, date=Kode": `no column is headed "Kode"`} {
		table, err := Headed(rows, typed)
		require.NoError(t, err)
		require.Equal(t, []string{"IC", "Code", "Lade"}, table.Head)
		_, err = table.Named(typed, false)
		require.ErrorContains(t, err, want)
	}
}

// A header with one of the names is meant before a longer row with none.
func TestHeaderWithOneName(t *testing.T) {
	table, err := Headed(rowsOf(t, "signal,box,of,1974\nIC,Code\n7400,7938\n"), "part=IC, date=Kode")
	require.NoError(t, err)
	require.Equal(t, []string{"IC", "Code"}, table.Head)
}

func TestNamedColumns(t *testing.T) {
	table, err := Headed(rowsOf(t, "Werkstatt,2024\nIC,Code,Lade,Farbe,Ort\n7400,7938,D3,blau,oben\n"), "part=IC, date=code")
	require.NoError(t, err)
	require.Len(t, table.Rows, 1)
	c, err := table.Named("part=IC, date=code, note=Farbe,note=Ort, ", false)
	require.NoError(t, err)
	assert.Equal(t, Columns{Part: {0}, Date: {1}, Note: {3, 4}}, c)
	for typed, words := range map[string]string{
		"date=Code":              "name the column of the part",
		"part=Chip":              "the headers are IC, Code, Lade",
		"part":                   "give a field and the column's header",
		"part=IC, colour=Farbe":  "there is no field \"colour\"",
		"part=IC, part=Code":     "named twice",
		"part=IC, reference=Ort": "there is no field \"reference\"",
	} {
		_, err := table.Named(typed, false)
		require.ErrorContains(t, err, words, typed)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add([]byte("Reference,Value,Qty\nU1-U3,7400,3\n"))
	f.Add([]byte("IC;Code\n\"7400;x"))
	f.Fuzz(func(t *testing.T, text []byte) {
		rows, err := ReadCSV(strings.NewReader(string(text)), "")
		if err != nil {
			return
		}
		if table, c, err := PartsList(rows); err == nil {
			for _, l := range table.Lines(c) {
				if l.Count < 0 || l.Count > mostCounted || l.Part == "" {
					t.Errorf("%+v", l)
				}
			}
		}
	})
}
