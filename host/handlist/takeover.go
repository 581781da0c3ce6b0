package handlist

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// A Takeover is a hand-kept list of chips as records. None was tested by this program, whatever
// the list says of it.
type Takeover struct {
	Records    []record.Record
	Rows       int // of which records are made
	Duplicates int // chips that were taken over from this list before
	Alike      int // chips that are as others that were taken over from the list Like
	Like       string
	Doubts     []Doubt // what is not understood, and kept as a note
	Without    []int   // lines without a part, or of no chip, which are left out
}

// A Doubt is what is not understood of a line.
type Doubt struct {
	Line int
	Why  string
}

// mostChips is how many chips a list can have.
const mostChips = 100_000

// TakeOver makes records of a list that comes from a file. Find finds a part by its marking, and
// says whether that names its family.
func (t Table) TakeOver(c Columns, file string, now time.Time, find func(string) (part.Type, bool, error)) (Takeover, error) {
	var over Takeover
	for _, row := range t.Rows {
		r, doubts := t.record(c, row, now, find)
		n := 1
		if cell := c.of(row, Count); cell != "" {
			var err error
			if n, err = countOf(cell, ""); err != nil {
				n = 1
				doubts = append(doubts, "how many is not understood, 1 taken: "+cell)
			}
		}
		if n == 0 || r.Marking == "" || isSum(r.Marking) {
			over.Without = append(over.Without, row.Line)
			continue
		}
		if len(over.Records)+n > mostChips {
			return over, fmt.Errorf("%w: it has over %d chips", ErrList, mostChips)
		}
		for _, d := range doubts {
			over.Doubts = append(over.Doubts, Doubt{row.Line, d})
		}
		r.Note = strings.Join(append(doubts, t.notes(c, row)...), "; ")
		for _, text := range []string{r.Marking, r.Drawer, r.Lot, r.Note} {
			if len(text) > record.MaxText {
				return over, fmt.Errorf("%w: line %d has a text of %d bytes, over %d: shorten it", ErrList, row.Line, len(text), record.MaxText)
			}
		}
		over.Rows++
		for i := range n {
			one := r
			one.Reason = fmt.Sprintf("not tested by this program: from line %d of %s", row.Line, filepath.Base(file))
			if i > 0 { // not "of n": with a larger count later only the rest is new
				one.Reason += fmt.Sprintf(", chip %d", i+1)
			}
			over.Records = append(over.Records, one)
		}
	}
	return over, nil
}

// isSum reports whether a row is the sum of those above.
func isSum(part string) bool {
	switch strings.ToLower(strings.TrimRight(part, ": ")) {
	case "sum", "total", "totals", "subtotal", "grand total", "summe", "gesamt", "gesamtsumme", "zwischensumme":
		return true
	}
	return false
}

// record is a chip of a row, and what of it is not understood.
func (t Table) record(c Columns, row Row, now time.Time, find func(string) (part.Type, bool, error)) (r record.Record, doubts []string) {
	typed := cmp.Or(c.of(row, Part), c.of(row, Marking))
	r = record.Record{
		Time: now, Verdict: verdict.NotTested,
		Drawer: c.of(row, Drawer), Lot: c.of(row, Lot), Marking: cmp.Or(c.of(row, Marking), typed),
	}
	if typed == "" {
		return r, nil
	}
	typ, named, err := find(typed)
	if err != nil {
		doubts = append(doubts, "part not understood: "+typed)
	} else {
		r.Part, r.Type, r.Family = typ.Part().Number, typ.Name(), typ.Family.Name
		if !named && len(typ.Variant.Families) > 1 {
			doubts = append(doubts, fmt.Sprintf("%s names no family, %s taken", typed, typ.Name()))
		}
	}
	raw := c.of(row, Date)
	if raw == "" {
		return r, doubts
	}
	d, err := readDate(raw, marking.MadeSince(part.FamilyByName(r.Family)), now)
	if err != nil {
		return r, append(doubts, "date not understood: "+raw)
	}
	r.SetDate(&d)
	return r, doubts
}

// notes are the texts of a row that belong to no other field: of columns that no person named,
// with their headers, and what stands behind a number of chips.
func (t Table) notes(c Columns, row Row) (texts []string) {
	for i, cell := range row.Cells {
		if cell == "" {
			continue
		}
		switch {
		case slices.Contains(c[Note], i):
			texts = append(texts, cell)
		case slices.Contains(c[Count], i) && remarkOf(cell) != "":
			texts = append(texts, t.Head[i]+": "+cell)
		case c.named(i):
		case i < len(t.Head) && t.Head[i] != "":
			texts = append(texts, t.Head[i]+": "+cell)
		default:
			texts = append(texts, cell)
		}
	}
	return texts
}

// named reports whether a column holds a field.
func (c Columns) named(column int) bool {
	for _, at := range c {
		if slices.Contains(at, column) {
			return true
		}
	}
	return false
}

// Words say which column is what, and which become a note.
func (t Table) Words(c Columns) string {
	var fields, notes []string
	for i, h := range t.Head {
		if !c.named(i) {
			if h != "" {
				notes = append(notes, h)
			}
			continue
		}
		for _, f := range ofStock {
			if slices.Contains(c[f], i) {
				fields = append(fields, fmt.Sprintf("%s is the %s", h, f))
			}
		}
	}
	words := strings.Join(fields, ", ")
	if len(notes) > 0 {
		words += "; into the note: " + strings.Join(notes, ", ")
	}
	return words
}

// from is what each record of a list names as its reason: the line, the file, and which of several chips.
var from = regexp.MustCompile(`^not tested by this program: from line \d+ of (.*?)(?:, chip \d+)?$`)

// Skip leaves out the chips that the records hold already from a list of the same name, in whatever line they were: of
// chips that are alike as many as there are. It counts those that are alike and came from another list.
func (over *Takeover) Skip(ctx context.Context, s *record.Store, file string) error {
	type likeness [6]string
	like := func(r record.Record) likeness {
		return likeness{r.Type, r.Marking, r.Drawer, r.Lot, r.DateCode, r.Note}
	}
	there, elsewhere, names := map[likeness]int{}, map[likeness]int{}, map[likeness]string{}
	all, _, err := s.Together(ctx) // another bench may have had the list
	if err != nil {
		return err
	}
	for r, err := range all.Find(ctx, record.Query{All: true, Verdict: verdict.NotTested, Text: "not tested by this program: from line "}) {
		if err != nil {
			return err
		}
		list := from.FindStringSubmatch(r.Reason)
		switch {
		case list == nil, r.Kind != record.Test, r.Serial != r.Chip: // a chip counts once, also where it was corrected since
		case list[1] == filepath.Base(file):
			there[like(r)]++
		default:
			elsewhere[like(r)]++
			names[like(r)] = list[1]
		}
	}
	before := len(over.Records)
	over.Records = slices.DeleteFunc(over.Records, func(r record.Record) bool {
		k := like(r)
		there[k]--
		return there[k] >= 0
	})
	over.Duplicates += before - len(over.Records)
	for _, r := range over.Records {
		if k := like(r); elsewhere[k] > 0 {
			elsewhere[k]--
			over.Alike++
			over.Like = names[k]
		}
	}
	return nil
}
