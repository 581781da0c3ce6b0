package assay

import (
	"fmt"
	"slices"

	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// judgeMemory says what the failing cells mean.
func (r *Result) judgeMemory(test march.Test) {
	m := r.Memory
	r.FailureCount = m.FailureCount
	if m.FailureCount == 0 {
		if r.Seating != nil {
			r.Verdict, r.Reason = Fail, r.Seating.String()
			return
		}
		r.Verdict = Pass
		r.Reason = fmt.Sprintf("all %d reads and writes of the march test went right, and while deselected it answered nothing and kept its words", r.VectorsApplied)
		return
	}
	r.Verdict = Fail
	if len(m.deselected) > 0 {
		r.Findings, r.Reason = m.deselected, m.deselected[0]
		return // what else was read wrongly follows from it
	}
	r.Findings = m.forgetful
	for p, t := range []march.Test{asked: test, retaining: retentionTest, crossing: shortTest} {
		if len(r.Findings) > 0 {
			break // what the later tests show follows from it
		}
		for _, f := range march.Classify(m.Shape, t, m.complete(purpose(p))) {
			pins := r.pinsOf(f)
			text := f.String()
			if len(pins) > 0 {
				text += " (" + pinList(pins) + ")"
			}
			r.Findings = append(r.Findings, text)
			r.fail(pins...)
		}
	}
	if len(m.of[asked])+len(m.of[retaining]) == 0 {
		r.Findings = append(r.Findings, "only the run with the low bias rail and the other address order fails: an output may not drive high by itself")
	}
	if r.Seating != nil {
		r.Findings = append([]string{r.Seating.String()}, r.Findings...)
	}
	r.Reason = fmt.Sprintf("%d reads were wrong", m.FailureCount)
	if len(r.Findings) > 0 {
		r.Reason = r.Findings[0]
	}
	if len(r.PinsFailed) == 0 {
		r.fail(r.dataPinsFailed()...)
	}
}

// pinsOf are the pins of the lines that a finding is about; none where it is about cells.
func (r *Result) pinsOf(f march.Finding) (pins []int) {
	m := r.Type.Variant.Memory
	for _, line := range f.Lines {
		switch f.Kind {
		case march.AddressStuck, march.AddressShort:
			number := r.Memory.Shape.Pins[line]
			if m.Kind == part.DynamicRAM && line >= m.RowBits {
				number -= m.RowBits // the column comes over the same pins
			}
			pins = append(pins, m.Address[number])
		case march.DataStuck, march.DataShort:
			pins = append(pins, m.DataOut[line])
		}
	}
	slices.Sort(pins)
	return slices.Compact(pins)
}

// dataPinsFailed are the output pins at which a wrong bit was seen.
func (r *Result) dataPinsFailed() (pins []int) {
	var wrong uint32
	for _, f := range r.Memory.Failures {
		wrong |= f.Expected ^ f.Seen
	}
	for bit, pin := range r.Type.Variant.Memory.DataOut {
		if wrong>>bit&1 != 0 {
			pins = append(pins, pin)
		}
	}
	return pins
}
