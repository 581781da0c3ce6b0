package certificate

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"chipassay/host/report"
	"chipassay/host/verdict"
)

//go:embed page.html
var pageText string

//go:embed labels.html
var labelsText string

//go:embed page.css
var styleText string

// page is the HTML of certificates and labels. The styles are part of the program,
// so they may stand in it as they are; all other text is escaped.
var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"style": func() template.CSS { return template.CSS(styleText) },
}).Parse(pageText + labelsText))

// A sheet is a certificate in the words of the page.
type sheet struct {
	Serial                             int64
	Verdict                            verdict.Verdict
	Grade                              verdict.Grade
	Heading                            heading
	Name, Subtitle, GradeWords, Reason string
	QR                                 code
	Chip, Coverage, Origin             []fact
	Findings, NotTested, Cautions      []string
	Levels                             []levelTable
	LevelNotes, Margins                []string
	Criteria                           []verdict.Criterion
	Uncertainty, Caveat                string
}

func (c Certificate) sheet() (sheet, error) {
	r, t := c.Record, c.Chip
	qr, err := codeOf(r)
	if err != nil {
		return sheet{}, err
	}
	subtitle := []string{r.Type, t.Title}
	if r.DateCode != "" {
		subtitle = append(subtitle, "date code "+c.dateYear())
	}
	cautions := sentences(t.Cautions)
	if d := t.DateCode; d != nil && d.Raw == r.DateCode && d.Doubt != "" && !slices.Contains(t.Cautions, d.Doubt) {
		cautions = append(cautions, report.Sentence(d.Doubt))
	}
	s := sheet{
		Serial: r.Serial, Verdict: c.verdict(), Grade: r.Grade, Heading: c.heading(), Name: c.name(), QR: qr,
		Subtitle: strings.Join(slices.DeleteFunc(subtitle, func(s string) bool { return s == "" }), " · "),
		Reason:   report.Sentence(r.Reason), Chip: c.chipFacts(), Coverage: c.coverageFacts(), Origin: c.originFacts(),
		Findings:  sentences(slices.DeleteFunc(slices.Clone(t.Findings), func(f string) bool { return f == r.Reason })),
		NotTested: sentences(t.NotTested), Cautions: cautions,
		Levels: levelTables(t.Levels), LevelNotes: levelNotes(t), Criteria: t.GradeCriteria,
		Uncertainty: t.TesterUncertainty, Caveat: report.Caveat,
	}
	s.Findings = append(c.cleared(), s.Findings...)
	switch {
	case r.Grade != "":
		s.GradeWords = "grade " + r.Grade.String()
	case r.Verdict.Passed():
		s.GradeWords = "not graded"
	}
	if t.Grade == r.Grade && len(t.GradeReasons) > 0 {
		s.Findings = append(s.Findings, report.Sentence("why "+s.GradeWords+": "+strings.Join(t.GradeReasons, "; ")))
	}
	for _, m := range t.Margins {
		s.Margins = append(s.Margins, fmt.Sprintf("Pin %d (%s): up to %.2f V when driven low, VIL is %.2f V.", m.Pin, m.Name, m.Volts, m.VIL))
	}
	return s, nil
}

// levelNotes are what there is to say below the levels.
func levelNotes(t report.Document) (notes []string) {
	if t.FamilyCheck != "" {
		notes = append(notes, "Family check: "+report.Sentence(t.FamilyCheck))
	}
	for _, text := range t.LevelsUnmeasured {
		notes = append(notes, "Not measured: "+strings.TrimSuffix(text, ".")+".")
	}
	return notes
}

// Write writes certificates as one page that stands alone and prints a chip a
// sheet, or more where there is much to say. The title is for several.
func Write(w io.Writer, title string, certificates []Certificate) error {
	v := struct {
		Title  string
		Sheets []sheet
		Last   int64 // serial of the last sheet, below which a signature comes to stand
	}{Title: title}
	for _, c := range certificates {
		s, err := c.sheet()
		if err != nil {
			return fmt.Errorf("record %d: %w", c.Record.Serial, err)
		}
		v.Sheets, v.Last = append(v.Sheets, s), s.Serial
	}
	if len(v.Sheets) == 1 {
		s := v.Sheets[0]
		v.Title = fmt.Sprintf("%s: %s, %s, record %d", s.Heading.Kind, s.Name, s.Heading.Word, s.Serial)
	}
	return execute(w, "certificates", v)
}

// execute writes a page, with a replacement for what would turn the direction of
// the text around it: a hostile note could make a line read as another.
func execute(w io.Writer, name string, view any) error {
	var b bytes.Buffer
	if err := page.ExecuteTemplate(&b, name, view); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(func(c rune) rune {
		switch {
		case c == '\u061C', c == '\u200E', c == '\u200F', '\u202A' <= c && c <= '\u202E', '\u2066' <= c && c <= '\u2069':
			return '\uFFFD'
		}
		return c
	}, b.Bytes()))
	return err
}
