package report

import (
	"bytes"
	"cmp"
	_ "embed"
	"html/template"
	"io"
	"slices"
	"strings"
	"unicode"

	"chipassay/host/verdict"
)

//go:embed pieces.html
var piecesText string

//go:embed page.html
var pageText string

//go:embed style.css
var styleText string

// pieces are what every page is made of. The style is part of the program, so it may
// be in a page as it is; all other text is escaped.
var pieces = template.Must(template.New("pieces").Funcs(template.FuncMap{
	"style":         func() template.CSS { return template.CSS(styleText) },
	"level":         SheetLevel,
	"marginMeaning": func() string { return MarginMeaning },
}).Parse(piecesText))

// Page makes templates of a text and the pieces that every page is made of: head, with
// the one style sheet, and foot; mark, facts, list, and sheet, which shows a Document
// or what embeds one. The data of head has PageTitle
// and Class. The text may use own functions.
func Page(text string, own ...template.FuncMap) *template.Template {
	t := template.Must(pieces.Clone())
	for _, f := range own {
		t.Funcs(f)
	}
	return template.Must(t.Parse(text))
}

var page = Page(pageText)

// Execute writes a page, with a replacement for what would turn the direction of the text
// around it: a hostile note could make a line read as another.
func Execute(w io.Writer, t *template.Template, name string, data any) error {
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(func(c rune) rune {
		if unicode.Is(unicode.Bidi_Control, c) {
			return unicode.ReplacementChar
		}
		return c
	}, b.Bytes()))
	return err
}

// A view is a document on a page: its number within a run, from 1; 0 alone.
type view struct {
	Document
	Number int
	Detail bool // it has a report of its own on the page
}

// Evidence are the facts of a chip in short, without those that its row of the table or its
// findings say. Its levels and supply are among them where they may be what is wrong.
func (v view) Evidence() []Fact {
	said := []string{"Vectors", "Gates"}
	if v.Verdict != verdict.PassBut {
		said = append(said, "Levels", "Supply", "Unmeasured")
	}
	return slices.DeleteFunc(v.BriefFacts(), func(f Fact) bool { return slices.Contains(said, f.Label) })
}

// PageTitle is the page's own.
func (d Document) PageTitle() string { return d.Typed + ": " + d.Headline() }

// WriteHTML writes the report of one chip as a self-contained page.
func (d Document) WriteHTML(w io.Writer) error {
	return Execute(w, page, "one", d)
}

// WriteHTML writes the run as one self-contained page: its charts, a table with a row a
// chip, and below it in short what there is to add to the row of each that is not a plain
// pass, or the whole report of every chip. In short it prints on at most a page for each 20
// chips if a quarter of them or fewer are bad, and on twice as many if all are.
func (t Tray) WriteHTML(w io.Writer) error {
	var chips []view
	for i, d := range t.Chips {
		chips = append(chips, view{d, i + 1, t.EveryChip || !d.Plain() && len(d.Short())+d.VectorsApplied > 0})
	}
	return Execute(w, page, "tray", struct {
		Tray
		PageTitle, Class, Caveat string
		Views                    []view
	}{t, cmp.Or(t.Title, "A tray of chips"), "", Caveat, chips})
}

// Plain reports whether a chip passed whole, with no but.
func (d Document) Plain() bool { return d.Verdict == verdict.Pass && !d.inPart() }

// Class is the verdict as a class of the style sheet.
func (d Document) Class() string { return d.Verdict.Class() }

// Sentence is why the verdict is what it is, as a sentence.
func (d Document) Sentence() string { return Sentence(d.Why()) }

// Subtitle is what the chip is, below its marking.
func (d Document) Subtitle() string {
	text := strings.TrimSuffix(d.Title+" · "+d.FamilyTitle, " · ")
	if d.Identified != "" {
		text += " · identified"
	}
	if d.DateCode != nil {
		text += " · date code " + d.DateCode.String()
	}
	return text
}

// MoreThan is how many more readings are wrong than those of a list.
func (d Document) MoreThan(list []Failure) int { return d.FailureCount - len(list) }
