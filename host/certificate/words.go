package certificate

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// kinds say how a page begins: only a pass is certified.
var kinds = map[verdict.Verdict]string{
	verdict.Pass:      "Certificate of test",
	verdict.Fail:      "No certificate: record of a test that failed",
	verdict.NotTested: "No certificate: this chip was not tested",
}

// kind is how the page begins. What is not known is not tested; a chip that passed with a
// but is headed with it. A chip of the virtual adapter is none, and nothing certifies it.
func (c Certificate) kind() string {
	v := c.verdict()
	switch {
	case c.virtual() && v.Passed():
		return "Demonstration, no certificate: a virtual chip in the virtual adapter"
	case v == verdict.PassBut:
		return "No certificate of good standing: " + cmp.Or(strings.Join(c.Chip.But, "; "), "something is wrong besides the vectors")
	case v == verdict.Pass && len(c.Chip.Tied) > 0:
		return "Certificate of a test for one use: only with " + strings.Join(c.Chip.Tied, " ")
	case v == verdict.Pass && c.inPart():
		return "Certificate of a test in part"
	}
	return kinds[v]
}

// inPart reports whether only some of the chip was tested.
func (c Certificate) inPart() bool { return len(c.Chip.Partial) > 0 }

// virtual reports whether the test was made without hardware.
func (c Certificate) virtual() bool { return strings.HasPrefix(c.Record.Adapter, "virtual") }

func (c Certificate) verdict() verdict.Verdict {
	if c.Record.Verdict.Known() {
		return c.Record.Verdict
	}
	return verdict.NotTested
}

// name is what the chip is called: its marking, or what was typed for it; one that was
// identified, what it is.
func (c Certificate) name() string {
	if c.Chip.Identified != "" {
		return c.Record.Type
	}
	return cmp.Or(c.Record.Marking, c.Chip.Typed, c.Record.Type)
}

// dateCode is the record's date code. One that the report does not have is read from the record.
func (c Certificate) dateCode() *report.DateCode {
	r, d := c.Record, c.Chip.DateCode
	if r.DateCode == "" {
		return nil
	}
	if d == nil || d.Raw != r.DateCode {
		since := 0
		if f := part.FamilyByName(r.Family); f != nil {
			since = marking.MadeSince(f)
		}
		read, err := marking.ReadDateCode(r.DateCode, since, r.Time)
		if d = report.DateOf(&read); err != nil {
			d = &report.DateCode{}
		}
	}
	own := *d
	own.Raw, own.From, own.To = r.DateCode, day(r.From), day(r.To)
	return &own
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// A Sheet is a certificate as the templates show it: the document of the test, with what
// the record says instead. The template sheet of report.Page shows it too.
type Sheet struct {
	report.Document
	Certificate
	Kind string
	QR   code
}

// Sheet is the sheet of a certificate.
func (c Certificate) Sheet() (Sheet, error) {
	qr, err := codeOf(c.Record)
	r, d := c.Record, c.Chip
	d.Verdict, d.Reason, d.Typed, d.DateCode, d.Note = c.verdict(), r.Reason, c.name(), c.dateCode(), r.Note
	d.DefinitionSHA256, d.VectorsSHA256, d.Adapter, d.Firmware = r.DefinitionSHA256, r.VectorsSHA256, r.Adapter, r.Firmware
	if d.Grade != r.Grade {
		d.Grade, d.GradeReasons = r.Grade, nil
	}
	if d.DateCode != nil && d.DateCode.Doubt != "" && !slices.Contains(d.Cautions, d.DateCode.Doubt) {
		d.Cautions = append(slices.Clone(d.Cautions), d.DateCode.Doubt)
	}
	d.Findings = append(c.cleared(), d.Findings...)
	d.Photo = c.photo
	return Sheet{d, c, c.kind(), qr}, err
}

// Serial is the number of the record itself.
func (p Sheet) Serial() int64 { return p.Record.Serial }

// Number is that of the chip's first record, which is on its bag.
func (p Sheet) Number() int64 { return p.Record.Chip }

// PageTitle is that of a page of one certificate.
func (p Sheet) PageTitle() string {
	kind, _, _ := strings.Cut(p.Kind, ":")
	return fmt.Sprintf("%s: %s, %s, record %d", kind, p.Typed, p.Headline(), p.Number())
}

// ChipFacts say what the chip is, by its record.
func (p Sheet) ChipFacts() []report.Fact {
	r, tested := p.Record, ""
	if p.Chip.Typed != "" && p.Chip.Typed != r.Type {
		tested = "tested as " + p.Chip.Typed
	}
	return report.Known(
		report.Fact{Label: "Part", Value: r.Type, More: p.Title},
		report.Fact{Label: "Family", Value: strings.TrimSuffix(r.Family+", "+p.FamilyTitle, ", ")},
		report.Fact{Label: "Marking", Value: cmp.Or(r.Marking, "not recorded"), More: tested},
		report.Fact{Label: "How it is known", Value: p.Chip.Identified},
		p.DateCode.Fact(),
		report.Fact{Label: "Drawer", Value: r.Drawer},
		report.Fact{Label: "Lot", Value: r.Lot},
		report.Fact{Label: "Note", Value: p.OwnNote()},
	)
}

const momentForm = "2 January 2006, 15:04 UTC"

// OriginFacts say by what means the verdict was reached, and where it is kept.
func (p Sheet) OriginFacts() []report.Fact {
	r := p.Record
	number := report.Fact{Label: "Record", Value: strconv.FormatInt(r.Chip, 10)}
	if r.Serial != r.Chip {
		number.More = fmt.Sprintf("its current record is %d", r.Serial)
	}
	if r.Serial != p.Tested.Serial {
		number.More += fmt.Sprintf(", which corrects what was recorded with the test in record %d, on %s; the measurements are unchanged",
			p.Tested.Serial, r.Time.Format(momentForm))
	}
	imported := ""
	if r.ImportedSerial != 0 {
		imported = fmt.Sprintf("record %d of another file", r.ImportedSerial)
	}
	photo := ""
	if p.photo != nil {
		photo = p.photo.SHA256
	}
	return append(report.Known(
		number,
		report.Fact{Label: "Other tests of this chip", Value: p.otherTests()},
		report.Fact{Label: "Tested", Value: moment(p.Tested.Time)},
		report.Fact{Label: "Operator", Value: r.Operator},
		report.Fact{Label: "Imported", Value: imported, More: r.ImportedDigest},
		report.Fact{Label: "Record SHA-256", Value: r.Digest, Mono: true},
		report.Fact{Label: "Photo SHA-256", Value: photo, Mono: true},
	), p.MeansFacts()...)
}

func moment(t time.Time) string {
	if t.IsZero() {
		return "at a time not recorded"
	}
	return t.UTC().Format(momentForm)
}
