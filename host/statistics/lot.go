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
func (s LotSheet) WriteHTML(w io.Writer) error {
	p := s.Lot.Plan
	view := struct {
		PageTitle, Subtitle, Word, Class, Outlook, Caveat string
		Plan, Worth, Tested                               []report.Fact
		Notes                                             []string
		Chart                                             template.HTML
	}{
		PageTitle: "A lot of " + fmt.Sprint(p.LotSize), Subtitle: fmt.Sprintf("%d chips", p.LotSize), Caveat: lotCaveat,
		Plan: append(planFacts(p), report.Fact{Label: "A chip", Value: s.Lot.Decides.Words()}), Worth: worthFacts(p),
		Chart: lotChart(p),
	}
	if s.Lot.Name != "" {
		view.PageTitle = "Lot " + s.Lot.Name
		view.Subtitle += ", opened " + s.Lot.Time.Format("2 January 2006")
	}
	if s.Lot.Source != "" {
		view.Subtitle += ", from " + s.Lot.Source
	}
	if i := s.Inspection; i != nil {
		view.Word = map[lot.Decision]string{lot.Accept: "Accepted", lot.Reject: "Rejected", lot.GoOn: "Not decided"}[i.Decision]
		view.Class = strings.ReplaceAll(string(i.Decision), " ", "-")
		view.Outlook, view.Notes, view.Tested = i.Outlook(), i.Notes(), testedFacts(*i)
	}
	return report.Execute(w, pages, "lot", view)
}

func planFacts(p lot.Plan) []report.Fact {
	letter, more := p.Letter, ""
	if p.UsedLetter != p.Letter {
		more = "an arrow of the master table leads to the plan of " + p.UsedLetter
	}
	sample := report.Fact{Label: "Sample", Value: fmt.Sprintf("%d chips", p.SampleSize)}
	if p.WholeLot {
		sample.More = "every chip of the lot"
	}
	return []report.Fact{
		{Label: "Acceptance quality limit", Value: lot.FormatAQL(p.AQL) + " % nonconforming"},
		{Label: "Inspection", Value: fmt.Sprintf("%s, level %s", p.Severity, p.Level)},
		{Label: "Code letter", Value: letter, More: more},
		sample,
		{Label: "Accepted with up to", Value: fmt.Sprintf("%d nonconforming", p.Reject-1), More: fmt.Sprintf("Ac %d, Re %d", p.Accept, p.Reject)},
		{Label: "Rejected from", Value: fmt.Sprintf("%d nonconforming", p.Reject)},
	}
}

func worthFacts(p lot.Plan) []report.Fact {
	c := p.Characteristic()
	consumer := report.Fact{Label: "Consumer's risk", Value: fmt.Sprintf("10 %% of lots from a process with %.1f %% nonconforming are accepted", 100*c.LTPD)}
	if c.AtLTPD >= 0 {
		consumer.More = fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are accepted", p.LotSize, c.AtLTPD, 100*c.ConsumersRiskLot)
	}
	return []report.Fact{
		{Label: "Producer's risk", Value: fmt.Sprintf("%.1f %% of lots from a process at the AQL are rejected", 100*c.ProducersRisk),
			More: fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are rejected", p.LotSize, c.AtAQL, 100*c.ProducersRiskLot)},
		consumer,
	}
}

func testedFacts(i record.Inspection) []report.Fact {
	words := i.Proof().Words(i.Lot.Plan.LotSize)
	cleared := ""
	if n := len(i.Cleared); n > 0 {
		cleared = fmt.Sprintf("bad before, and no longer counted: %d", n)
	}
	return []report.Fact{
		{Label: "Tested", Value: fmt.Sprintf("%d of %d chips of the sample", i.Tested, i.Lot.Plan.SampleSize)},
		{Label: "Nonconforming", Value: fmt.Sprint(i.Nonconforming), More: cleared},
		{Label: "Not tested", Value: fmt.Sprint(i.NotTested()), More: "drawn, but without a verdict; never counted as good"},
		{Label: "What that proves", Value: words[0], More: strings.Join(words[1:], "")},
	}
}
