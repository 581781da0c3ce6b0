package certificate

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"unicode/utf8"

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

// A label is one label of a sheet.
type label struct {
	X, Y, Code MM
	QR         code
	Lines      []labelLine
	Verdict    verdict.Verdict
}

type labelLine struct {
	Text string
	Size MM
}

// WriteLabels writes labels as a page that prints on sheets of them. The first skip
// labels of the first sheet are left free.
func WriteLabels(w io.Writer, l Layout, skip int, list []Certificate) error {
	if skip < 0 || skip >= l.PerSheet() {
		return fmt.Errorf("%w: --skip %d: a sheet has %d labels", ErrLayout, skip, l.PerSheet())
	}
	var sheets [][]label
	for i, c := range list {
		b, err := l.label(c)
		if err != nil {
			return err
		}
		sheet := 0
		if sheet, b.X, b.Y = l.Place(skip + i); sheet == len(sheets) {
			sheets = append(sheets, nil)
		}
		sheets[sheet] = append(sheets[sheet], b)
	}
	return report.Execute(w, pages, "labels", struct {
		Layout
		Border MM
		Sheets [][]label
	}{l, border, sheets})
}

// label sets the label of a record.
func (l Layout) label(c Certificate) (label, error) {
	qr, err := c.QR()
	if err != nil {
		return label{}, err
	}
	height := l.Height - 2*border
	least := MM(qr.Side()) * leastModule
	leastHeight := max(least, (firstLine+lines-1)*leastText*lineHeight)
	if column := l.Width - 2*border - between - least; column < leastColumn || height < leastHeight {
		return label{}, fmt.Errorf("%w: labels of %s mm are too small to be read: they need at least %s mm", ErrLayout, both(l.Width, l.Height),
			both(MM(math.Ceil(float64(least+leastColumn+2*border+between))), MM(math.Ceil(float64(leastHeight+2*border)))))
	}
	side := min(height, mostCode, max(least, 0.4*l.Width), l.Width-2*border-between-leastColumn)
	b := label{QR: qr, Code: side, Verdict: c.Verdict}
	column := l.Width - 2*border - between - side
	text := min(mostText, height/((firstLine+lines-1)*lineHeight))
	for i, line := range c.labelLines() {
		most := text
		if i == 0 {
			most *= firstLine
		}
		fitting := column / (letterWidth * MM(max(1, utf8.RuneCountInString(line))))
		b.Lines = append(b.Lines, labelLine{line, max(leastText, min(most, fitting))})
	}
	return b, nil
}

// labelLines are the lines of a label: the part, the grade, the date code with its
// year, and the chip's number with the drawer. What does not fit is cut at its end.
func (c Certificate) labelLines() [lines]string {
	place := "no. " + c.Record.BagNumber()
	if name := drawerWord.ReplaceAllString(c.drawer(), ""); name != "" {
		place += ", drawer " + name
	}
	date := "no date code"
	if c.DateCode != nil {
		date = c.DateCode.String()
	}
	return [lines]string{c.Record.Type, c.labelGrade(), date, place}
}

// drawerWord is what a drawer's name may begin with.
var drawerWord = regexp.MustCompile(`(?i)^drawer +`)

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
