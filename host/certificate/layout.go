package certificate

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// papers are the sizes of paper: ISO 216 A4, and US Letter of 8½ × 11 in.
var papers = map[string]struct{ width, height MM }{"a4": {210, 297}, "letter": {215.9, 279.4}}

// ErrLayout is the error for labels that cannot be laid out.
var ErrLayout = errors.New("these labels cannot be laid out")

// A LayoutWords is a layout as typed; the numbers are mm.
type LayoutWords struct {
	Size   string // "63.5x38.1"
	Paper  string // "A4", "letter"
	Margin string // "5", or "5x10": at the sides, and above and below
	Gap    string // "2.5", or "2.5x0": across, and down
}

// A Layout is where labels are on a sheet, mm from its upper left corner. As many
// as there is room for are in the middle of the paper.
type Layout struct {
	PaperWidth, PaperHeight MM
	Width, Height           MM // of a label
	GapX, GapY              MM
	Columns, Rows           int
	Left, Top               MM // of the first label
}

// Layout lays out the labels.
func (w LayoutWords) Layout() (Layout, error) {
	paper, known := papers[strings.ToLower(w.Paper)]
	if !known {
		return Layout{}, fmt.Errorf("%w: paper %q is not known: A4 or letter", ErrLayout, w.Paper)
	}
	l := Layout{PaperWidth: paper.width, PaperHeight: paper.height}
	var marginX, marginY MM
	var size, margin, gap error
	l.Width, l.Height, size = millimetres("--size", cmp.Or(w.Size, "0"))
	marginX, marginY, margin = millimetres("--margin", w.Margin)
	l.GapX, l.GapY, gap = millimetres("--gap", w.Gap)
	if err := errors.Join(size, margin, gap); err != nil {
		return l, err
	}
	if l.Width*l.Height == 0 || !strings.ContainsAny(w.Size, "xX×") {
		return l, fmt.Errorf("%w: name the size of a label in mm: --size 63.5x38.1", ErrLayout)
	}
	l.Columns = fits(l.PaperWidth-2*marginX, l.Width, l.GapX)
	l.Rows = fits(l.PaperHeight-2*marginY, l.Height, l.GapY)
	if l.Columns == 0 || l.Rows == 0 {
		return l, fmt.Errorf("%w: a label of %s mm does not fit the paper of %s mm with its margin of %s mm",
			ErrLayout, both(l.Width, l.Height), both(l.PaperWidth, l.PaperHeight), both(marginX, marginY))
	}
	l.Left = (l.PaperWidth - span(l.Columns, l.Width, l.GapX)) / 2
	l.Top = (l.PaperHeight - span(l.Rows, l.Height, l.GapY)) / 2
	return l, nil
}

// fits is how many labels fit side by side in some room. A hundredth of a mm is forgiven.
func fits(room, label, gap MM) int {
	return max(0, int((room+gap+0.01)/(label+gap)))
}

// span is the width of so many labels with the gaps between.
func span(n int, label, gap MM) MM {
	return MM(n)*label + MM(n-1)*gap
}

// PerSheet is how many labels a sheet holds.
func (l Layout) PerSheet() int { return l.Columns * l.Rows }

// Place is the sheet on which the n-th label is, both from 0, and the label's
// upper left corner there: row by row, from the left.
func (l Layout) Place(n int) (sheet int, x, y MM) {
	sheet, n = n/l.PerSheet(), n%l.PerSheet()
	column, row := n%l.Columns, n/l.Columns
	return sheet, l.Left + MM(column)*(l.Width+l.GapX), l.Top + MM(row)*(l.Height+l.GapY)
}

// measures are a number of mm below 1000, or two.
var measures = regexp.MustCompile(`^ *(\d{1,3}(?:\.\d+)?) *(?:[xX×] *(\d{1,3}(?:\.\d+)?) *)?$`)

// millimetres reads what is typed behind a flag: "63.5x38.1", and "5" for both.
func millimetres(flag, typed string) (x, y MM, err error) {
	m := measures.FindStringSubmatch(typed)
	if m == nil {
		return 0, 0, fmt.Errorf("%w: %s %s: give mm, such as 5, or 63.5x38.1 for across and down", ErrLayout, flag, typed)
	}
	across, err1 := strconv.ParseFloat(m[1], 64)
	down, err2 := strconv.ParseFloat(cmp.Or(m[2], m[1]), 64)
	return MM(across), MM(down), errors.Join(err1, err2)
}

func both(x, y MM) string { return x.String() + " x " + y.String() }

// MM is a length in millimetres.
type MM float64

// String writes it to the hundredth, without zeros at the end.
func (x MM) String() string {
	return strconv.FormatFloat(math.Round(float64(x)*100)/100, 'f', -1, 64)
}
