package certificate

import (
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"

	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

//go:embed page.html
var pageText string

//go:embed labels.html
var labelsText string

// pages are the templates of certificates and labels; labels have a style of their own.
var pages = report.Page(pageText + labelsText)

// Write writes certificates, which need the reports of their tests, as one page that stands
// alone and prints a chip a sheet, or more where there is much to say. The title is for several.
func Write(w io.Writer, title string, certificates []Certificate) error {
	named := map[record.Number]bool{}
	for _, c := range certificates {
		if err := c.Check(); err != nil {
			return err
		}
		if named[c.Record.Bag()] {
			return fmt.Errorf("chip %s is named twice", c.Record.Bag())
		}
		named[c.Record.Bag()] = true
	}
	if len(certificates) == 1 {
		title = certificates[0].PageTitle()
	}
	return report.Execute(w, pages, "certificates", struct {
		PageTitle, Class string
		Sheets           []Certificate
		Last             record.Number // number of the last sheet, below which a signature comes to stand
	}{title, "", certificates, certificates[len(certificates)-1].Row()})
}

// Kind is how the page begins. Only a pass is certified; a chip that passed with a but is
// headed with it. A chip of the virtual adapter is none, and nothing certifies it.
func (c Certificate) Kind() string {
	switch {
	case c.Verdict == verdict.Fail:
		return "No certificate: record of a test that failed"
	case c.Verdict == verdict.NotTested:
		return "No certificate: this chip was not tested"
	case c.virtual():
		return "Demonstration, no certificate: a virtual chip in the virtual adapter"
	case c.Verdict == verdict.PassBut:
		return "No certificate of good standing: " + cmp.Or(strings.Join(c.But, "; "), "something is wrong besides the vectors")
	case len(c.Tied) > 0:
		return "Certificate of a test for one use: only with " + strings.Join(c.Tied, " ")
	case len(c.Partial) > 0:
		return "Certificate of a test in part"
	}
	return "Certificate of test"
}

// virtual reports whether the test was made without hardware.
func (c Certificate) virtual() bool { return strings.HasPrefix(c.Adapter, "virtual") }

// Name is what the chip is called: its marking, or what was typed for it; one that was
// identified, what it is.
func (c Certificate) Name() string {
	if c.Identified != "" {
		return c.Record.Type
	}
	return cmp.Or(c.Record.Marking, c.Typed, c.Record.Type)
}

// PageTitle is that of a page of one certificate.
func (c Certificate) PageTitle() string {
	kind, _, _ := strings.Cut(c.Kind(), ":")
	return fmt.Sprintf("%s: %s, %s, record %s", kind, c.Name(), c.Headline(), c.Record.BagNumber())
}

// ChipFacts say what the chip is, also by its record.
func (c Certificate) ChipFacts() []report.Fact {
	return append(c.Document.ChipFacts(), report.Known(
		report.Fact{Label: "Marking", Value: cmp.Or(c.Record.Marking, "not recorded")},
		report.Fact{Label: "Drawer", Value: c.drawer()},
		report.Fact{Label: "Lot", Value: c.Record.Lot},
	)...)
}

// OriginFacts say by what means the verdict was reached, and where it is kept.
func (c Certificate) OriginFacts() []report.Fact {
	r := c.Record
	number := report.Fact{Label: "Record", Value: strconv.FormatInt(r.Chip, 10)}
	if r.Serial != r.Chip {
		number.More = fmt.Sprintf("its current record is %d", r.Serial)
	}
	if r.Serial != c.Tested.Serial {
		number.More += fmt.Sprintf(", which corrects what was recorded with the test in record %d, on %s; the measurements are unchanged",
			c.Tested.Serial, report.Moment(r.Time.UTC()))
	}
	imported, photo := "", ""
	if c.Photo != nil {
		photo = c.Photo.SHA256
	}
	if r.ImportedSerial != 0 {
		imported = fmt.Sprintf("record %d of another file", r.ImportedSerial)
	}
	return append(report.Known(
		number,
		report.Fact{Label: "Other tests of this chip", Value: c.otherTests()},
		report.Fact{Label: "Operator", Value: r.Operator},
		report.Fact{Label: "Imported", Value: imported, More: r.ImportedDigest},
		report.Fact{Label: "Record SHA-256", Value: r.Digest, Mono: true},
		report.Fact{Label: "Photo SHA-256", Value: photo, Mono: true},
	), c.Document.OriginFacts()...)
}
