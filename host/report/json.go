package report

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/vectors/part"
)

// A Chip is the report of one chip as other programs read it, and as records
// keep it. Levels are those of IEEE 1364 (0 1 x z), dates those of ISO 8601, steps are numbered
// from 1 as in the files of vectors.
type Chip struct {
	Typed             string       `json:"typed"`
	Part              string       `json:"part"`   // of the plain series: "7410"
	Type              string       `json:"type"`   // in its family: "74LS10"
	Family            string       `json:"family"` // "74LS"
	Title             string       `json:"title"`
	Place             string       `json:"place,omitempty"`
	DateCode          *DateCode    `json:"date_code"` // null where none was given
	Note              string       `json:"note,omitempty"`
	Verdict           string       `json:"verdict"` // pass, fail, not-tested
	Reason            string       `json:"reason"`
	Findings          []string     `json:"findings"`
	VectorsPlanned    int          `json:"vectors_planned"` // of one round
	VectorsApplied    int          `json:"vectors_applied"` // in the last round
	Rounds            int          `json:"rounds,omitempty"`
	Runs              int          `json:"runs,omitempty"`
	RunsFailed        int          `json:"runs_failed,omitempty"`
	PinsFailed        []int        `json:"pins_failed"`
	Partial           []int        `json:"partial"` // pins of a chip that passed which were not tested
	Coverage          *Coverage    `json:"coverage,omitempty"`
	Gates             []Gate       `json:"gates"`
	FailureCount      int          `json:"failure_count"`
	Failures          []Failure    `json:"failures"` // the first 20
	Grade             string       `json:"grade,omitempty"`
	GradeReasons      []string     `json:"grade_reasons,omitempty"`
	GradeCriteria     []Criterion  `json:"grade_criteria"` // of every grade, best first
	TesterUncertainty string       `json:"tester_uncertainty"`
	Levels            []Level      `json:"levels"` // empty where none were measured
	LevelsUnmeasured  []string     `json:"levels_unmeasured"`
	FamilyCheck       string       `json:"family_check,omitempty"` // what the inputs say against the marking
	Margins           []MarginNote `json:"margins"`                // inputs that the adapter may not drive to a valid low
	NotTested         []string     `json:"not_tested"`
	Cautions          []string     `json:"cautions"`
	Comparison        string       `json:"comparison"`       // every readback, or by signatures
	Memory            *Memory      `json:"memory,omitempty"` // of a march test
	Method            string       `json:"method"`
	SupplyCurrentMA   *float64     `json:"supply_current_ma"` // null where not measured
	SupplyVolts       *float64     `json:"supply_volts"`      // V between the chip's supply pins; null where not measured
	Contact           []Contact    `json:"contact"`           // voltages before power, as they were measured
	Definition        string       `json:"definition"`
	DefinitionSHA256  string       `json:"definition_sha256"`
	VectorsSHA256     string       `json:"vectors_sha256"`
	Adapter           string       `json:"adapter"`
	Firmware          string       `json:"firmware"`
	Started           string       `json:"started"`     // RFC 3339
	DurationMS        float64      `json:"duration_ms"` // ms
	Caveat            string       `json:"caveat"`
}

// A Contact is a voltage at a socket position before power, under one of the looks
// of a step of the contact test (host/assay).
type Contact struct {
	Step     string  `json:"step"`
	Look     int     `json:"look"` // within the step, from 1
	Position int     `json:"position"`
	Volts    float64 `json:"volts"`
}

// A Criterion is a grade and what it asks for.
type Criterion struct {
	Grade string `json:"grade"`
	Asks  string `json:"asks"`
}

// A Level is one reading, V or mA by its unit. The supply current is that
// of the supply pin.
type Level struct {
	Pin         int      `json:"pin"`
	Name        string   `json:"name"`
	Quantity    string   `json:"quantity"` // VOL VOH IOZ IIL IIH open ICC
	Value       float64  `json:"value"`
	Unit        string   `json:"unit"`        // V, mA
	Uncertainty float64  `json:"uncertainty"` // the tester's own, either way
	Limit       *float64 `json:"limit"`       // null where the data sheet gives none
	Bound       string   `json:"bound"`       // of the limit: max, min
	LoadMA      *float64 `json:"load_ma"`     // null but for an output level
	RatedMA     *float64 `json:"rated_ma"`    // at which the limit holds
	Standing    string   `json:"standing"`
}

// A MarginNote is an input that the adapter may not drive to a valid low.
type MarginNote struct {
	Pin   int     `json:"pin"`
	Name  string  `json:"name"`
	Volts float64 `json:"volts"` // V, at most, when driven low
	VIL   float64 `json:"vil"`   // V
}

// A Memory is what a march test found. Addresses count from 0; element is that
// of the test's run, from 0.
type Memory struct {
	Test         string        `json:"test"`
	Words        int           `json:"words"`
	Bits         int           `json:"bits"`
	Runs         []string      `json:"runs"`
	FailureCount int           `json:"failure_count"` // of reads
	Failures     []CellFailure `json:"failures"`      // the first mostCellFailures
}

// A CellFailure is a word of a memory that was read wrongly.
type CellFailure struct {
	Address   int    `json:"address"`
	Expected  uint32 `json:"expected"`
	Seen      uint32 `json:"seen"`
	Element   int    `json:"element"`
	AfterWait bool   `json:"after_wait"`
}

// mostCellFailures bounds the failing reads that a report lists.
const mostCellFailures = 256

func memoryObject(m *assay.MemoryResult) *Memory {
	if m == nil {
		return nil
	}
	o := &Memory{Test: m.Test, Words: m.Shape.Words, Bits: m.Shape.Bits, Runs: orEmpty(m.Passes),
		FailureCount: m.FailureCount, Failures: []CellFailure{}}
	for _, f := range m.Failures[:min(len(m.Failures), mostCellFailures)] {
		o.Failures = append(o.Failures, CellFailure{f.Address, f.Expected, f.Seen, f.Element, f.AfterWait})
	}
	return o
}

// A Failure is one wrong value at one pin; the values are those of IEEE 1364.
type Failure struct {
	Pin      int    `json:"pin"`
	Name     string `json:"name"`
	Step     int    `json:"step"`
	Inputs   string `json:"inputs"`
	Expected string `json:"expected"`
	Observed string `json:"observed"`
}

// A DateCode is a date code and the days that it was taken for, ISO 8601.
type DateCode struct {
	Raw        string   `json:"raw"`
	From       string   `json:"from"`
	To         string   `json:"to"`
	Candidates []Period `json:"candidates"`
	Rule       string   `json:"rule"`
	Doubt      string   `json:"doubt,omitempty"`
}

// A Period is one week, ISO 8601.
type Period struct {
	Year int    `json:"year"`
	Week int    `json:"week"`
	From string `json:"from"`
	To   string `json:"to"`
}

type trayJSON struct {
	Title     string `json:"title"`
	Pass      int    `json:"pass"`
	Fail      int    `json:"fail"`
	NotTested int    `json:"not_tested"`
	Chips     []Chip `json:"chips"`
}

// Chip is the sheet as other programs read it.
func (s Sheet) Chip() Chip { return s.object() }

// ReadChip reads what Sheet.WriteJSON wrote. Fields of a later version are passed over.
func ReadChip(object []byte) (Chip, error) {
	var c Chip
	if err := json.Unmarshal(object, &c); err != nil {
		return Chip{}, fmt.Errorf("report of a chip: %w", err)
	}
	return c, nil
}

// WriteJSON writes the report of one chip as one object.
func (s Sheet) WriteJSON(w io.Writer) error { return writeJSON(w, s.object()) }

// WriteJSON writes the run as one object: title, pass, fail and not_tested
// (counts), and chips, an array of what Sheet.WriteJSON writes.
func (t Tray) WriteJSON(w io.Writer) error {
	o := trayJSON{Title: t.Title, Chips: []Chip{}}
	o.Pass, o.Fail, o.NotTested = t.Counts()
	for _, s := range t.Sheets {
		o.Chips = append(o.Chips, s.object())
	}
	return writeJSON(w, o)
}

func writeJSON(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(object)
}

func (s Sheet) object() Chip {
	r := s.Result
	t := r.Type
	o := Chip{
		Typed: s.Typed, Part: t.Part().Number, Type: t.Name(), Family: t.Family.Name, Title: t.Part().Title,
		Place: s.Place, DateCode: DateOf(s.DateCode), Note: s.Note,
		Verdict: string(r.Verdict), Reason: r.Reason, Findings: orEmpty(r.Findings),
		VectorsPlanned: r.VectorsPlanned, VectorsApplied: r.VectorsApplied, Rounds: r.Rounds,
		Runs: r.Runs, RunsFailed: r.RunsFailed,
		PinsFailed: orEmpty(r.PinsFailed), Partial: orEmpty(r.Partial), Coverage: CoverageOf(r.Coverage), Gates: s.gates(),
		FailureCount: r.FailureCount, Failures: failureObjects(t.Variant, r.Failures),
		Grade: string(r.Grade), GradeReasons: r.GradeReasons, GradeCriteria: criterionObjects(), TesterUncertainty: assay.Uncertainty,
		Levels: s.levelObjects(), LevelsUnmeasured: []string{}, Margins: s.marginObjects(),
		Memory: memoryObject(r.Memory), Comparison: r.Comparison, NotTested: orEmpty(r.NotTested), Cautions: orEmpty(s.cautions()), Method: r.Method,
		Definition: r.Definition, DefinitionSHA256: r.DefinitionSHA256, VectorsSHA256: r.VectorsSHA256,
		Adapter: r.Adapter, Firmware: r.Firmware,
		Started: r.Started.Format(time.RFC3339), DurationMS: float64(r.Duration.Microseconds()) / 1000,
		Caveat: Caveat,
	}
	if r.SupplyCurrentMA >= 0 {
		o.SupplyCurrentMA = &r.SupplyCurrentMA
	}
	if r.SupplyVolts > 0 {
		o.SupplyVolts = new(micro(r.SupplyVolts))
	}
	o.Contact = []Contact{}
	for _, c := range r.ContactVolts {
		o.Contact = append(o.Contact, Contact{string(c.Step), c.Look, c.Position, micro(c.Volts)})
	}
	if l := r.Levels; l != nil {
		o.LevelsUnmeasured, o.FamilyCheck = orEmpty(l.Unmeasured), l.Family
	}
	return o
}

func criterionObjects() (objects []Criterion) {
	for _, c := range assay.Criteria {
		objects = append(objects, Criterion{string(c.Grade), c.Asks})
	}
	return objects
}

func failureObjects(v *part.Variant, failures []assay.Failure) []Failure {
	objects := []Failure{}
	for _, f := range failures[:min(len(failures), assay.MaxFailures)] {
		objects = append(objects, Failure{
			Pin: f.Pin, Name: pinName(v, f.Pin), Step: f.Step, Inputs: f.Inputs,
			Expected: f.Expected.String(), Observed: f.Observed.String(),
		})
	}
	return objects
}

// DateOf is a date code as other programs read it; nil for none.
func DateOf(d *marking.DateCode) *DateCode {
	if d == nil {
		return nil
	}
	o := &DateCode{
		Raw: d.Raw, From: d.From.Format(time.DateOnly), To: d.To.Format(time.DateOnly),
		Candidates: []Period{}, Rule: d.Rule, Doubt: d.Doubt,
	}
	for _, p := range d.Candidates {
		o.Candidates = append(o.Candidates, Period{p.Year, p.Week, p.From.Format(time.DateOnly), p.To.Format(time.DateOnly)})
	}
	return o
}

// orEmpty makes an array of nothing, not a null.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
