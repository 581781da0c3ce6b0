package draw

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
)

func sample() *Page {
	p := &Page{Title: "R & Ω", Width: 297, Height: 210}
	black := Style{Stroke: "#000000", Width: 0.25}
	p.Line(black, Point{10, 10}, Point{20, 10})
	p.Area(Style{Fill: "#ff8000"}, Point{10, 20}, Point{20, 20}, Point{15, 25})
	p.Circle(black, Point{30, 30}, 2)
	p.Text(Text{At: Point{40, 40}, Size: 3, Words: "10 kΩ ±5 %, 10 µF"})
	p.Text(Text{At: Point{60, 60}, Size: 3, Anchor: Middle, Bold: true, Up: true, Words: "<R301>"})
	return p
}

// Both formats come out the same each time, and hold no date but the fixed one.
func TestSameEachTime(t *testing.T) {
	var first, second bytes.Buffer
	for _, out := range []*bytes.Buffer{&first, &second} {
		if err := PDF(out, "sample", sample(), sample()); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("two PDFs of one drawing differ")
	}
	if n := bytes.Count(first.Bytes(), []byte("D:19700101")); n != 2 || bytes.Count(first.Bytes(), []byte("(D:")) != n {
		t.Errorf("the PDF has a date that is not the fixed one")
	}
	if n := bytes.Count(first.Bytes(), []byte("/Type /Page\n")); n != 2 {
		t.Errorf("the PDF has %d pages, want 2", n)
	}
	if !bytes.Equal(sample().SVG(), sample().SVG()) {
		t.Error("two SVGs of one drawing differ")
	}
}

// An SVG is XML, and a reader gets the words back.
func TestSVGIsXML(t *testing.T) {
	var words []string
	d := xml.NewDecoder(bytes.NewReader(sample().SVG()))
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if text, is := token.(xml.CharData); is && strings.TrimSpace(string(text)) != "" {
			words = append(words, string(text))
		}
	}
	if got, want := strings.Join(words, "|"), "R & Ω|10 kΩ ±5 %, 10 µF|<R301>"; got != want {
		t.Errorf("words %q, want %q", got, want)
	}
}

// Seen from behind, what was at the left is at the right, twice over it is as before, and words keep their places.
func TestMirrored(t *testing.T) {
	p := &Page{Width: 100, Height: 100}
	p.Line(Style{Stroke: "#000000", Width: 1}, Point{10, 1}, Point{20, 2})
	p.Text(Text{At: Point{30, 5}, Size: 3, Words: "U21"})
	from, to := p.Texts()[0].Bounds()
	m := p.Mirrored(50)
	mirroredFrom, mirroredTo := m.Texts()[0].Bounds()
	if math.Abs(mirroredFrom.X-(100-to.X)) > 0.01 || math.Abs(mirroredTo.X-(100-from.X)) > 0.01 {
		t.Errorf("words from %v to %v stand from %v to %v", from, to, mirroredFrom, mirroredTo)
	}
	if !strings.Contains(string(m.SVG()), `points="90,1 80,2"`) {
		t.Error("the line is not mirrored")
	}
	if !bytes.Equal(m.Mirrored(50).SVG(), p.SVG()) {
		t.Error("mirrored twice, the page is another")
	}
}

// Digits of the regular face are 0.556 em wide, as those of Helvetica are (from memory).
func TestLength(t *testing.T) {
	got := Text{Size: 2048, Words: "0123456789"}.Length()
	if want := 10 * 2048 * 0.556; math.Abs(got-want) > 10 {
		t.Errorf("ten digits take %.1f, want %.1f", got, want)
	}
}
