package assay

import (
	"context"
	"fmt"
	"math"

	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// leastSupply, V, is what the data sheets of the bipolar and NMOS families ask for at
// the chip's own pins: below, they promise no level and no function.
const leastSupply = 4.75

// measureSupply measures what the powered chip gets at its own pins, once.
func (r *Result) measureSupply(ctx context.Context, socket Socket) error {
	if r.SupplyVolts != 0 || socket.Measurable() == 0 {
		return nil
	}
	volts, err := socket.SupplyVolts(ctx)
	if err == nil && !math.IsNaN(volts) {
		r.SupplyVolts = volts
	}
	return err
}

// lowSupply tells whether the chip had less than its data sheet asks for. CMOS parts
// take 3 V, or 4.5 V (74HCT), and their levels are referred to their supply.
func (r *Result) lowSupply() bool {
	technology := r.Type.Family.Technology
	return (technology.Bipolar() || technology == part.NMOS) && r.SupplyVolts > 0 && r.SupplyVolts < leastSupply
}

// supplyMayBeLow is lowSupply, and true where it is not known.
func (r *Result) supplyMayBeLow() bool {
	technology := r.Type.Family.Technology
	return r.lowSupply() || r.SupplyVolts == 0 && (technology.Bipolar() || technology == part.NMOS)
}

// lowSupplyWords say what to do. The 5 V of the usual boards come from their jack
// through a regulator, past the computer's port and its cable (from memory).
func (r *Result) lowSupplyWords() string {
	return fmt.Sprintf("the chip had %.2f V at its supply pin, under the %.2f V that its data sheet asks for: what is wrong may be the supply's and not the chip's; "+
		"feed the board at its jack, with 7 to 9 V of direct current, and test again", r.SupplyVolts, leastSupply)
}

// sayLowSupply says that a failure or a weak level may be the supply's.
func (r *Result) sayLowSupply() {
	if !r.lowSupply() || r.Verdict == NotTested || r.Verdict == Pass && r.Grade == verdict.Strong {
		return
	}
	if words := r.lowSupplyWords(); r.Verdict == Fail {
		r.Findings = append(r.Findings, words)
	} else {
		r.GradeReasons = append(r.GradeReasons, words)
	}
}
