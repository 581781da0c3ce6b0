package statistics

import (
	"fmt"
	"html/template"
	"io"
	"strings"

	"chipassay/host/lot"
	"chipassay/host/record"
	"chipassay/host/report"
)

// A LotSheet is the sheet of a lot: its plan and what that is worth and, where
// there is an inspection, where it stands.
type LotSheet struct {
	Lot        record.Lot         // without a name where the plan was only computed
	Inspection *record.Inspection // or nil
}

// lotCaveat is what no plan says.
const lotCaveat = "The sample speaks for the lot only if it was drawn from all of it at random. An accepted lot may hold bad chips: " +
	"the plan bounds how many are to be expected over a series of lots, and its characteristic how many one lot may hold. " +
	"A chip counts as nonconforming if it failed or its grade is reject, and where levels decide, if every vector was right and something else is wrong. Acceptance is no release for safety-critical use."

// WriteHTML writes the sheet as a page that stands alone.
func (s LotSheet) WriteHTML(w io.Writer) error { return report.Execute(w, pages, "lot", s) }

// PageTitle is the page's own.
func (s LotSheet) PageTitle() string {
	if s.Lot.Name != "" {
		return "Lot " + s.Lot.Name
	}
	return "A lot of " + fmt.Sprint(s.Lot.Plan.LotSize)
}

// Subtitle is what the lot is, below its name.
func (s LotSheet) Subtitle() string {
	words := fmt.Sprintf("%d chips", s.Lot.Plan.LotSize)
	if s.Lot.Name != "" {
		words += ", opened " + s.Lot.Time.Format("2 January 2006")
	}
	if s.Lot.Source != "" {
		words += ", from " + s.Lot.Source
	}
	return words
}

// Class is the decision as a class of the style sheet.
func (s LotSheet) Class() string {
	if s.Inspection == nil {
		return ""
	}
	return strings.ReplaceAll(string(s.Inspection.Decision), " ", "-")
}

// Tested says what was tested, and what that proves.
func (s LotSheet) Tested() []report.Fact {
	i, cleared := s.Inspection, ""
	words := i.Proof().Words(s.Lot.Plan.LotSize)
	if n := len(i.Cleared); n > 0 {
		cleared = fmt.Sprintf("bad before, and no longer counted: %d", n)
	}
	return []report.Fact{
		{Label: "Tested", Value: fmt.Sprintf("%d of %d chips of the sample", i.Tested, s.Lot.Plan.SampleSize)},
		{Label: "Nonconforming", Value: fmt.Sprint(i.Nonconforming), More: cleared},
		{Label: "Not tested", Value: fmt.Sprint(i.NotTested()), More: "drawn, but without a verdict; never counted as good"},
		{Label: "What that proves", Value: words[0], More: strings.Join(words[1:], "")},
	}
}

// PlanFacts are the plan.
func (s LotSheet) PlanFacts() []report.Fact {
	p, arrow, whole := s.Lot.Plan, "", ""
	if p.UsedLetter != p.Letter {
		arrow = "an arrow of the master table leads to the plan of " + p.UsedLetter
	}
	if p.WholeLot {
		whole = "every chip of the lot"
	}
	return []report.Fact{
		{Label: "Acceptance quality limit", Value: lot.FormatAQL(p.AQL) + " % nonconforming"},
		{Label: "Inspection", Value: fmt.Sprintf("%s, level %s", p.Severity, p.Level)},
		{Label: "Code letter", Value: p.Letter, More: arrow},
		{Label: "Sample", Value: fmt.Sprintf("%d chips", p.SampleSize), More: whole},
		{Label: "Accepted with up to", Value: fmt.Sprintf("%d nonconforming", p.Reject-1), More: fmt.Sprintf("Ac %d, Re %d", p.Accept, p.Reject)},
		{Label: "Rejected from", Value: fmt.Sprintf("%d nonconforming", p.Reject)},
		{Label: "A chip", Value: s.Lot.Decides.Words()},
	}
}

// Worth is what the plan is worth.
func (s LotSheet) Worth() (facts []report.Fact) {
	for _, r := range s.Lot.Plan.Risks() {
		facts = append(facts, report.Fact{Label: r.Name, Value: r.Process, More: r.Lot})
	}
	return facts
}

// Chart is the operating characteristic.
func (s LotSheet) Chart() template.HTML { return lotChart(s.Lot.Plan) }

// Caveat is what no plan says.
func (LotSheet) Caveat() string { return lotCaveat }
