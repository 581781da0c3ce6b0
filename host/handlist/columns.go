package handlist

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/host/sheet"
)

// A Field is what a column of a list says.
type Field string

// The fields of lists.
const (
	Part      Field = "part" // its marking or number
	Date      Field = "date" // date code
	Drawer    Field = "drawer"
	Lot       Field = "lot"
	Count     Field = "count" // chips
	Marking   Field = "marking"
	Note      Field = "note"
	Reference Field = "reference" // where in a circuit: U1, U2
	Left      Field = "left"      // set where the part is not fitted
)

// ofStock are the fields of a list of chips, and ofParts those of a parts list.
var (
	ofStock = []Field{Part, Date, Drawer, Lot, Count, Marking, Note}
	ofParts = []Field{Part, Count, Reference, Left, Note}
)

// usual are the names that columns of parts lists have, in lower case, the likeliest first.
//
// Source: the bills of materials of KiCad: its schematic editor's symbol fields table (Reference, Value, Qty, DNP), its
// command kicad-cli sch export bom (Refs, Value, Footprint, Qty, DNP: KiCad's issue 22613), its scripts
// bom_csv_grouped_by_value (Item, Qty, Reference(s), Value) and …_with_fp (Ref, Qnty, Value, Cmp name) in
// eeschema/python_scripts, its board editor (Id, Designator, Footprint, Quantity, Designation, Supplier and ref); others are
// common practice.
var usual = map[Field][]string{
	Part:      {"value", "part", "designation", "part number", "type", "ic", "chip", "marking", "device", "wert", "typ", "bauteil", "valeur", "circuit", "wartość", "układ"},
	Count:     {"qty", "qnty", "quantity", "count", "amount", "pieces", "number", "anzahl", "menge", "stück", "qté", "quantité", "ilość"},
	Reference: {"reference", "references", "ref", "refs", "designator", "designators", "reference(s)", "referenz", "référence", "repère", "oznaczenie"},
	Left:      {"dnp", "do not populate", "exclude from bom", "exclude_from_bom"},
}

// Columns say which columns of a table hold a field; a note can have several.
type Columns map[Field][]int

// Named understands which columns a person names: "part=IC, date=Code". Fields are those of a
// parts list, or else those of a list of chips.
func (t Table) Named(typed string, partsList bool) (Columns, error) {
	fields := ofStock
	if partsList {
		fields = ofParts
	}
	c := Columns{}
	for pair := range strings.SplitSeq(typed, ",") {
		if strings.TrimSpace(pair) == "" {
			continue
		}
		field, name, ok := strings.Cut(pair, "=")
		f := Field(strings.ToLower(strings.TrimSpace(field)))
		name = strings.TrimSpace(name)
		switch {
		case !ok || name == "":
			return nil, fmt.Errorf("--columns %s: give a field and the column's header: part=IC", strings.TrimSpace(pair))
		case !slices.Contains(fields, f):
			return nil, fmt.Errorf("--columns %s: there is no field %q; the fields are %s", strings.TrimSpace(pair), f, listed(fields))
		case len(c[f]) > 0 && f != Note:
			return nil, fmt.Errorf("--columns: %s is named twice", f)
		}
		i := indexOf(t.Head, name)
		if i < 0 {
			return nil, fmt.Errorf("--columns %s: no column is headed %q; the headers are %s", strings.TrimSpace(pair), name, strings.Join(t.Head, ", "))
		}
		c[f] = append(c[f], i)
	}
	if len(c[Part]) == 0 {
		return nil, fmt.Errorf("--columns: name the column of the part: part=%s", t.Head[0])
	}
	return c, nil
}

// headers are those that a person names.
func headers(typed string) (names []string) {
	for pair := range strings.SplitSeq(typed, ",") {
		if _, name, _ := strings.Cut(pair, "="); strings.TrimSpace(name) != "" {
			names = append(names, strings.TrimSpace(name))
		}
	}
	return names
}

// indexOf is where a name is among the cells of a header, or -1.
func indexOf(cells []string, name string) int {
	return slices.IndexFunc(cells, func(h string) bool { return strings.EqualFold(h, name) })
}

// hasAll reports whether all names are there.
func hasAll(cells, names []string) bool {
	return !slices.ContainsFunc(names, func(name string) bool { return indexOf(cells, name) < 0 })
}

// partsHeader are the columns of a parts list's header by their usual names, if it is one.
func partsHeader(cells []string) (Columns, bool) {
	c := Columns{}
	for field, names := range usual {
		for _, name := range names {
			if at := indexOf(cells, name); at >= 0 {
				c[field] = []int{at}
				break
			}
		}
	}
	return c, len(c[Part]) > 0 && len(cells) > 1 && (len(c[Count]) > 0 || len(c[Reference]) > 0)
}

func listed(fields []Field) string {
	var names []string
	for _, f := range fields {
		names = append(names, string(f))
	}
	return strings.Join(names, ", ")
}

// maxCells is more than any header has.
const maxCells = 10_000

// Headed makes a table of rows, the header being the first that has all columns a person names. If none has, it is the one that
// most likely is meant, so that what is wrong can be said: that with most of them, or else with the most cells.
func Headed(rows []Row, typed string) (Table, error) {
	if len(rows) == 0 {
		return Table{}, fmt.Errorf("%w: it is empty", ErrList)
	}
	best, most := 0, -1
	for i, r := range rows[:min(len(rows), sheet.Preamble)] {
		if hasAll(r.Cells, headers(typed)) {
			return Table{r.Cells, rows[i+1:]}, nil
		}
		score := 0
		for _, name := range headers(typed) {
			if indexOf(r.Cells, name) >= 0 {
				score += maxCells
			}
		}
		for _, cell := range r.Cells[:min(len(r.Cells), maxCells-1)] {
			if cell != "" {
				score++
			}
		}
		if score > most {
			best, most = i, score
		}
	}
	return Table{rows[best].Cells, rows[best+1:]}, nil
}

// PartsList finds the header of a parts list by the names that its columns usually have. Where the same header comes
// again, the list is what follows the last: an older script of KiCad writes all components one by one first, and
// then the same in groups.
func PartsList(rows []Row) (Table, Columns, error) {
	for i, r := range rows[:min(len(rows), sheet.Preamble)] {
		if c, is := partsHeader(r.Cells); is {
			for j := len(rows) - 1; j > i; j-- {
				if slices.Equal(rows[j].Cells, r.Cells) {
					i = j
					break
				}
			}
			return Table{r.Cells, rows[i+1:]}, c, nil
		}
	}
	return Table{}, nil, fmt.Errorf("%w of parts: no header is found, such as Reference, Value, Qty: name the columns with --columns \"part=IC, count=Pieces\"", ErrList)
}

// of is the text of a row's field.
func (c Columns) of(r Row, f Field) string {
	if at := c[f]; len(at) > 0 {
		return r.cell(at[0])
	}
	return ""
}
