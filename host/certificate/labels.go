package certificate

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// Measures of a label, mm.
const (
	leastModule = 0.33 // of the QR code: what a telephone reads from a print; common practice
	mostCode    = 26.0 // the code is not larger than this
	leastText   = 2.1  // size of the type, 6 pt
	mostText    = 4.2
	leastColumn = 18.0 // width for the text
	border      = 1.2  // kept free within the label: sheets are not cut more exactly
	between     = 1.2  // code and text; the code's quiet zone adds to it
	lineHeight  = 1.22
	firstLine   = 1.5 // size of the first line, of the others'
	lines       = 4   // on a label
	letterWidth = 0.6 // mean width of a bold sans-serif letter, of its size
)

// A label is one label of a sheet: texts, and numbers in mm.
type label struct {
	X, Y, Code string
	QR         code
	Lines      []labelLine
	Verdict    verdict.Verdict
}

type labelLine struct{ Text, Size string }

// ReadLabels are the certificates for labels, which need no report of the test.
func ReadLabels(ctx context.Context, s *record.Store, serials []int64) (list []Certificate, err error) {
	for _, serial := range serials {
		c, err := read(ctx, s, serial)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, nil
}

// WriteLabels writes labels as a page that prints on sheets of them. The first skip
// labels of the first sheet are left free.
func WriteLabels(w io.Writer, l Layout, skip int, list []Certificate) error {
	if skip < 0 || skip >= l.PerSheet() {
		return fmt.Errorf("%w: --skip %d: a sheet has %d labels", ErrLayout, skip, l.PerSheet())
	}
	v := struct {
		PaperWidth, PaperHeight, Width, Height, Border string
		Columns, Rows                                  int
		Sheets                                         [][]label
	}{decimal(l.PaperWidth), decimal(l.PaperHeight), decimal(l.Width), decimal(l.Height), decimal(border), l.Columns, l.Rows, nil}
	for i, c := range list {
		b, err := l.label(c)
		if err != nil {
			return err
		}
		sheet, x, y := l.Place(skip + i)
		if sheet == len(v.Sheets) {
			v.Sheets = append(v.Sheets, nil)
		}
		b.X, b.Y = decimal(x), decimal(y)
		v.Sheets[sheet] = append(v.Sheets[sheet], b)
	}
	return report.Execute(w, pages, "labels", v)
}

// label sets the label of a record.
func (l Layout) label(c Certificate) (label, error) {
	qr, err := c.QR()
	if err != nil {
		return label{}, err
	}
	height := l.Height - 2*border
	least := float64(qr.Side()) * leastModule
	leastHeight := max(least, (firstLine+lines-1)*leastText*lineHeight)
	if column := l.Width - 2*border - between - least; column < leastColumn || height < leastHeight {
		return label{}, fmt.Errorf("%w: labels of %s mm are too small to be read: they need at least %s mm", ErrLayout, size(l.Width, l.Height),
			size(math.Ceil(least+leastColumn+2*border+between), math.Ceil(leastHeight+2*border)))
	}
	side := min(height, mostCode, max(least, 0.4*l.Width), l.Width-2*border-between-leastColumn)
	b := label{QR: qr, Code: decimal(side), Verdict: c.Verdict}
	column := l.Width - 2*border - between - side
	text := min(mostText, height/((firstLine+lines-1)*lineHeight))
	for i, line := range c.labelLines() {
		most := text
		if i == 0 {
			most *= firstLine
		}
		fitting := column / (letterWidth * float64(max(1, utf8.RuneCountInString(line))))
		b.Lines = append(b.Lines, labelLine{line, decimal(max(leastText, min(most, fitting)))})
	}
	return b, nil
}

// labelLines are the lines of a label: the part, the grade, the date code with its
// year, and the chip's number with the drawer. What does not fit is cut at its end.
func (c Certificate) labelLines() [lines]string {
	place := fmt.Sprintf("no. %d", c.Number())
	if name := c.Record.Drawer; name != "" {
		if word := "drawer "; len(name) > len(word) && strings.EqualFold(name[:len(word)], word) {
			name = strings.TrimSpace(name[len(word):])
		}
		place += ", drawer " + name
	}
	date := "no date code"
	if c.DateCode != nil {
		date = c.DateCode.Short()
	}
	return [lines]string{c.Record.Type, c.labelGrade(), date, place}
}

// labelGrade is the grade of a chip that passed and what it is good for, else the verdict.
func (c Certificate) labelGrade() string {
	words := c.Headline()
	switch {
	case c.Verdict != verdict.Pass:
	case len(c.Tied) > 0:
		words = "only with " + strings.Join(c.Tied, " ")
	default:
		words = cmp.Or(c.Grade.String(), "pass, not graded")
		if len(c.Partial) > 0 {
			words += ", in part"
		}
	}
	if c.Identified != "" {
		words += ", identified"
	}
	if c.virtual() {
		words = "virtual: " + words
	}
	return words
}
