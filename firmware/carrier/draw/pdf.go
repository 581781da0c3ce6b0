package draw

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

type pdfWriter struct{ *fpdf.Fpdf }

// fontName is that of the fonts within the file; PDF's own have no Ω.
const fontName = "Go"

// PDF writes pages as one document, without a date.
func PDF(out io.Writer, title string, pages ...*Page) error {
	w := pdfWriter{fpdf.New("L", "mm", "A4", "")}
	w.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC()
	w.SetCreationDate(epoch)
	w.SetModificationDate(epoch)
	w.SetTitle(title, true)
	w.SetAutoPageBreak(false, 0)
	w.AddUTF8FontFromBytes(fontName, "", goregular.TTF)
	w.AddUTF8FontFromBytes(fontName, "B", gobold.TTF)
	w.SetLineCapStyle("round")
	w.SetLineJoinStyle("round")
	for _, p := range pages {
		orientation := "P"
		if p.Width > p.Height {
			orientation = "L"
		}
		w.AddPageFormat(orientation, fpdf.SizeType{Wd: min(p.Width, p.Height), Ht: max(p.Width, p.Height)})
		w.Bookmark(p.Title, 0, 0)
		for _, i := range p.items {
			i.pdf(&w)
		}
	}
	var document bytes.Buffer
	if err := w.Output(&document); err != nil {
		return fmt.Errorf("making %q: %w", title, err)
	}
	_, err := out.Write(document.Bytes())
	return err
}

// rgb takes a colour apart.
func rgb(colour string) (r, g, b int) {
	if _, err := fmt.Sscanf(colour, "#%02x%02x%02x", &r, &g, &b); err != nil && colour != "" {
		panic(fmt.Sprintf("draw: colour %q", colour))
	}
	return r, g, b
}

// set takes the style over, and gives what fpdf calls the manner of drawing:
// D draws lines, F fills. It is empty if there is nothing to draw.
func (w *pdfWriter) set(s Style) string {
	manner := ""
	if s.Stroke != "" {
		w.SetDrawColor(rgb(s.Stroke))
		w.SetLineWidth(s.Width)
		manner = "D"
		if s.Dash[1] > 0 {
			w.SetDashPattern(s.Dash[:], 0)
		} else {
			w.SetDashPattern(nil, 0)
		}
	}
	if s.Fill != "" {
		w.SetFillColor(rgb(s.Fill))
		manner = "F" + manner
	}
	return manner
}

func (p path) pdf(w *pdfWriter) {
	manner := w.set(p.style)
	if manner == "" {
		return
	}
	w.MoveTo(p.points[0].X, p.points[0].Y)
	for _, at := range p.points[1:] {
		w.LineTo(at.X, at.Y)
	}
	if p.closed {
		w.ClosePath()
	}
	w.DrawPath(manner)
}

func (c circle) pdf(w *pdfWriter) {
	if manner := w.set(c.style); manner != "" {
		w.Circle(c.at.X, c.at.Y, c.radius, manner)
	}
}

func (t Text) pdf(w *pdfWriter) {
	style := ""
	if t.Bold {
		style = "B"
	}
	w.SetFont(fontName, style, 10)
	w.SetFontUnitSize(t.Size)
	w.SetTextColor(rgb(t.Colour))
	from := map[Anchor]float64{Start: 0, Middle: t.Length() / 2, End: t.Length()}[t.Anchor]
	if !t.Up {
		w.Fpdf.Text(t.At.X-from, t.At.Y, t.Words)
		return
	}
	w.TransformBegin()
	w.TransformRotate(90, t.At.X, t.At.Y)
	w.Fpdf.Text(t.At.X-from, t.At.Y, t.Words)
	w.TransformEnd()
}
