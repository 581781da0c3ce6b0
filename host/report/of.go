package report

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"chipassay/host/assay"
	"chipassay/host/assay/levels"
	"chipassay/host/marking"
	"chipassay/host/verdict"
)

// Caveat closes every report.
const Caveat = "This report states what this test found on the day. It is not a release for safety-critical use; " +
	"that is for qualified people to decide under local rules."

// mostCellFailures bounds the failing reads that a document lists.
const mostCellFailures = 256

// Of is the document of a result. The part is as typed; place, date code and note may
// be missing.
func Of(r *assay.Result, typed, place string, date *marking.DateCode, note string) Document {
	v := r.Type.Variant
	d := Document{
		Version: Version, Typed: cmp.Or(typed, r.Type.Name()), Part: r.Type.Part().Number, Type: r.Type.Name(),
		Family: r.Type.Family.Name, FamilyTitle: r.Type.Family.Title, Title: r.Type.Part().Title, Variant: v.Note,
		Pins: []Pin{}, VCC: v.VCC(), GND: v.GND(), Identified: r.Identified, Place: place, DateCode: date, Note: note,
		Verdict: r.Verdict, Reason: r.Reason, But: orEmpty(r.But), Trouble: r.Trouble, OtherPart: orEmpty(r.OtherPart), Cause: r.Cause, Findings: orEmpty(r.Findings),
		VectorsPlanned: r.VectorsPlanned, VectorsApplied: r.VectorsApplied, Rounds: r.Rounds, Runs: r.Runs, RunsFailed: r.RunsFailed,
		PinsFailed: orEmpty(r.PinsFailed), Partial: orEmpty(r.Partial), Tied: strings.Fields(v.Use), Coverage: CoverageOf(r.Coverage), Gates: gatesOf(r),
		FailureCount: r.FailureCount, Failures: []Failure{}, Grade: r.Grade, GradeReasons: r.GradeReasons,
		GradeCriteria: verdict.Criteria, TesterUncertainty: levels.Uncertainty,
		Levels: levelsOf(r), LevelsUnmeasured: []string{}, Margins: orEmpty(slices.Clone(r.Margins)), NotTested: orEmpty(r.NotTested), Cautions: orEmpty(r.Cautions),
		Comparison: r.Comparison, Memory: memoryOf(r), Timing: timingsOf(r), Method: r.Method, Contact: orEmpty(slices.Clone(r.ContactVolts)),
		Definition: r.Definition, DefinitionSHA256: r.DefinitionSHA256, VectorsSHA256: r.VectorsSHA256,
		Adapter: r.Adapter, Firmware: r.Firmware, Started: r.Started.Truncate(time.Second), DurationMS: float64(r.Duration.Microseconds()) / 1000,
		Caveat: Caveat,
	}
	for _, p := range v.Pins {
		d.Pins = append(d.Pins, Pin{p.Number, p.Name, p.Role.String(), p.Untested})
	}
	if date != nil && date.Doubt != "" {
		d.Cautions = append(slices.Clone(d.Cautions), date.Doubt)
	}
	for _, f := range r.Failures[:min(len(r.Failures), assay.MaxFailures)] {
		d.Failures = append(d.Failures, Failure{f.Pin, d.pinName(f.Pin), f.Step, f.Inputs, f.Expected.String(), f.Observed.String()})
	}
	d.Thresholds = thresholdsOf(r)
	for _, l := range r.Late {
		transition := "fall"
		if l.High {
			transition = "rise"
		}
		us, uncertainty := l.Microseconds()
		d.Late = append(d.Late, LateOutput{l.Pin, d.pinName(l.Pin), transition, Rounded(us), Rounded(uncertainty)})
	}
	for i, m := range d.Margins {
		d.Margins[i].Volts = Rounded(m.Volts)
	}
	for i, c := range d.Contact {
		d.Contact[i].Volts = Rounded(c.Volts)
	}
	if r.SupplyCurrentMA >= 0 {
		d.SupplyCurrentMA = &r.SupplyCurrentMA
	}
	if r.SupplyVolts > 0 {
		d.SupplyVolts = new(Rounded(r.SupplyVolts))
	}
	if l := r.Levels; l != nil {
		d.LevelsUnmeasured, d.FamilyCheck = orEmpty(l.Unmeasured), l.Family
	}
	return d
}

// gateStates are what may be said of a gate, in the order of the report.
var gateStates = []string{"sound", "failed", outsideLimits, "tested in part", "not tested"}

// outsideLimits is a gate that gave every right answer, with a level or current outside its limit.
const outsideLimits = "outside limits"

// gatesOf reports which gates are sound. One with a pin that the test leaves out is
// tested in part at best.
func gatesOf(r *assay.Result) []Gate {
	gates, v := []Gate{}, r.Type.Variant
	leftOut := func(n int) bool { return v.Pins[n-1].Untested != "" || v.Held(n) }
	for _, g := range v.Gates {
		state := "not tested"
		switch sound := slices.Contains(r.GatesSound, g.Name); {
		case slices.Contains(r.GatesFailed, g.Name):
			state = "failed"
		case sound && slices.ContainsFunc(g.Pins, r.Levels.Outside):
			state = outsideLimits
		case sound && slices.ContainsFunc(g.Pins, leftOut):
			state = "tested in part"
		case sound:
			state = "sound"
		}
		gates = append(gates, Gate{g.Name, g.Pins, state})
	}
	return gates
}

// levelsOf are the readings in the order of the report, rounded to millionths.
func levelsOf(r *assay.Result) []Level {
	list := []Level{}
	if r.Levels == nil {
		return list
	}
	v := r.Type.Variant
	for _, q := range quantities {
		for _, m := range r.Levels.Readings {
			if string(m.Quantity) != q.Symbol {
				continue
			}
			pin := cmp.Or(m.Pin, v.VCC()) // the supply current is the supply pin's
			l := Level{Pin: pin, Name: v.Pins[pin-1].Name, Quantity: q.Symbol, Value: Rounded(m.Value), Unit: q.Unit, Uncertainty: Rounded(m.Uncertainty),
				Bound: "max", Standing: m.Standing().String()}
			if m.Quantity == levels.VOH {
				l.Bound = "min"
			}
			if !math.IsNaN(m.Limit) {
				l.Limit = new(Rounded(m.Limit))
			}
			if m.LoadMA > 0 {
				l.LoadMA, l.RatedMA = new(Rounded(m.LoadMA)), new(Rounded(m.RatedMA))
			}
			list = append(list, l)
		}
	}
	return list
}

func memoryOf(r *assay.Result) *Memory {
	m := r.Memory
	if m == nil {
		return nil
	}
	return &Memory{Test: m.Test, Words: m.Shape.Words, Bits: m.Shape.Bits, Runs: orEmpty(m.Passes), FailureCount: m.FailureCount,
		Failures: orEmpty(m.Failures[:min(len(m.Failures), mostCellFailures)]), Bitmap: bitmapOf(r.Type.Variant.Memory, m.Failures)}
}

// Rounded rounds to millionths, which no reading resolves.
func Rounded(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// orEmpty makes an array of nothing, not a null.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
