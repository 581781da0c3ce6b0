package memory

import (
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// Diagnose says what the failing cells mean, and the pins of the lines that are named.
func (m *Result) Diagnose(t part.Type, test march.Test) (findings []string, named part.Pins) {
	findings = m.forgetful
	for p, ran := range []march.Test{asked: test, retaining: retentionTest, crossing: shortTest} {
		if len(findings) > 0 {
			break // what the later tests show follows from it
		}
		for _, f := range march.Classify(m.Shape, ran, m.complete(purpose(p))) {
			pins, text := m.pinsOf(t.Variant.Memory, f), f.String()
			if pins != 0 {
				text += " (" + pins.Words() + ")"
			}
			findings = append(findings, text)
			named |= pins
		}
	}
	if len(m.of[asked])+len(m.of[retaining]) == 0 {
		findings = append(findings, "only the run with the low bias rail and the other address order fails: an output may not drive high by itself")
	}
	return findings, named
}

// pinsOf are the pins of the lines that a finding is about; none where it is about cells.
func (m *Result) pinsOf(memory *part.Memory, f march.Finding) (pins part.Pins) {
	for _, line := range f.Lines {
		switch f.Kind {
		case march.AddressStuck, march.AddressShort:
			number := m.Shape.Pins[line]
			if memory.Kind == part.DynamicRAM && line >= memory.RowBits {
				number -= memory.RowBits // the column comes over the same pins
			}
			pins |= part.PinSet(memory.Address[number])
		case march.DataStuck, march.DataShort:
			pins |= part.PinSet(memory.DataOut[line])
		}
	}
	return pins
}

// WrongOutputs are the output pins at which a wrong bit was seen.
func (m *Result) WrongOutputs(t part.Type) (pins part.Pins) {
	var wrong uint32
	for _, f := range m.Failures {
		wrong |= f.Expected ^ f.Seen
	}
	for bit, pin := range t.Variant.Memory.DataOut {
		pins = pins.With(pin, wrong>>bit&1 != 0)
	}
	return pins
}
