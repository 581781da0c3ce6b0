package statistics

import (
	"fmt"
	"html/template"
	"io"
	"strings"

	"chipassay/host/chart"
	"chipassay/host/lot"
	"chipassay/host/record"
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
	"A chip counts as nonconforming if it failed or its grade is reject. Acceptance is no release for safety-critical use."

// WriteHTML writes the sheet as a page that stands alone.
func (s LotSheet) WriteHTML(w io.Writer) error {
	p := s.Lot.Plan
	view := struct {
		Title, Subtitle, Word, Class, Outlook, Caveat string
		Plan, Worth, Tested                           []fact
		Notes                                         []string
		Chart                                         template.HTML
	}{
		Title: "A lot of " + fmt.Sprint(p.LotSize), Subtitle: fmt.Sprintf("%d chips", p.LotSize), Caveat: lotCaveat,
		Plan: planFacts(p), Worth: worthFacts(p),
		Chart: template.HTML(chart.Characteristic("Operating characteristic", p)),
	}
	if s.Lot.Name != "" {
		view.Title = "Lot " + s.Lot.Name
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
	return pages.ExecuteTemplate(w, "lot", view)
}

func planFacts(p lot.Plan) []fact {
	letter, more := p.Letter, ""
	if p.UsedLetter != p.Letter {
		more = "an arrow of the master table leads to the plan of " + p.UsedLetter
	}
	sample := fact{"Sample", fmt.Sprintf("%d chips", p.SampleSize), ""}
	if p.WholeLot {
		sample.More = "every chip of the lot"
	}
	return []fact{
		{"Acceptance quality limit", lot.FormatAQL(p.AQL) + " % nonconforming", ""},
		{"Inspection", fmt.Sprintf("%s, level %s", p.Severity, p.Level), ""},
		{"Code letter", letter, more},
		sample,
		{"Accepted with up to", fmt.Sprintf("%d nonconforming", p.Reject-1), fmt.Sprintf("Ac %d, Re %d", p.Accept, p.Reject)},
		{"Rejected from", fmt.Sprintf("%d nonconforming", p.Reject), ""},
	}
}

func worthFacts(p lot.Plan) []fact {
	c := p.Characteristic()
	consumer := fact{"Consumer's risk", fmt.Sprintf("10 %% of lots from a process with %.1f %% nonconforming are accepted", 100*c.LTPD), ""}
	if c.AtLTPD >= 0 {
		consumer.More = fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are accepted", p.LotSize, c.AtLTPD, 100*c.ConsumersRiskLot)
	}
	return []fact{
		{"Producer's risk", fmt.Sprintf("%.1f %% of lots from a process at the AQL are rejected", 100*c.ProducersRisk),
			fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are rejected", p.LotSize, c.AtAQL, 100*c.ProducersRiskLot)},
		consumer,
	}
}

func testedFacts(i record.Inspection) []fact {
	words := i.Proof().Words(i.Lot.Plan.LotSize)
	cleared := ""
	if n := len(i.Cleared); n > 0 {
		cleared = fmt.Sprintf("bad before, and no longer counted: %d", n)
	}
	return []fact{
		{"Tested", fmt.Sprintf("%d of %d chips of the sample", i.Tested, i.Lot.Plan.SampleSize), ""},
		{"Nonconforming", fmt.Sprint(i.Nonconforming), cleared},
		{"Not tested", fmt.Sprint(i.NotTested()), "drawn, but without a verdict; never counted as good"},
		{"What that proves", words[0], strings.Join(words[1:], "")},
	}
}
