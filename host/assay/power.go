package assay

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/assay/levels"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// releaseTime bounds how long switching off may take once the context is done.
const releaseTime = 3 * time.Second

// Safe switches off whatever the context says.
func Safe(ctx context.Context, socket Socket) error {
	off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
	defer cancel()
	return socket.PowerOff(off)
}

// powered powers the chip for as long as work takes, and switches off whatever happens.
func (r *Result) powered(ctx context.Context, socket Socket, work func() error) (err error) {
	defer func() {
		if offErr := Safe(ctx, socket); offErr != nil && err == nil {
			err = fmt.Errorf("the supply could not be switched off, pull the adapter's plug: %w", offErr)
		}
	}()
	if r.SupplyCurrentMA, err = socket.PowerOn(ctx, cmp.Or(r.limitMA, SupplyLimitMA(r.Type.Family))); err != nil {
		return err
	}
	r.supplied = true
	return work()
}

// SupplyLimitMA is the current at which the supply trips, in mA: above what the
// largest parts of the family draw, below what harms a wrongly placed chip at once.
func SupplyLimitMA(f *part.Family) int {
	switch {
	case f.Technology.Bipolar(), f.Technology == part.NMOS:
		return 200
	case slices.Contains(part.MemoryFamilies, f):
		return 120
	}
	return 60
}

// typicalMA is what a typical chip of a family draws at rest, mA: a gate, inverter or
// buffer in a package of at most 16 pins, and the largest of the others. From memory of
// the data books' typical values: 7400 8, 74181 91, 74S181 120, 74LS245 64, 74F181 43,
// 74AS181 135; dynamic memories while they are strobed, static ones selected.
var typicalMA = map[string][2]int{
	"74": {12, 91}, "74H": {26, 100}, "74L": {2, 20}, "74S": {24, 120}, "74LS": {4, 64}, "74ALS": {3, 45}, "74AS": {12, 135}, "74F": {10, 100},
	"74HC": {0, 0}, "74HCT": {0, 0}, "74C": {0, 0}, "4000A": {0, 0}, "4000B": {0, 0}, "4000UB": {0, 0},
	"74AC": {0, 0}, "74ACT": {0, 0}, "74BCT": {25, 70},
	"DTL": {10, 30}, "DARLINGTON": {0, 0}, "TIMER": {6, 12},
	"TTL": {110, 110}, "NMOS": {110, 110}, "CMOS": {40, 40},
}

// LowLimitMA is the trip's limit for a chip of which nothing is known, mA: 30 mA over
// what a typical one draws, so that none of them trips; a turned or shorted chip takes
// more, and what is left of 5 V times 30 mA, 0.15 W, heats no package (some 100 K/W,
// from memory) by more than 15 K.
func LowLimitMA(t part.Type) int {
	typical := typicalMA[t.Family.Name]
	if levels.Small(t) {
		return typical[0] + 30
	}
	if t.Variant.Memory != nil && t.Variant.Memory.Kind == part.DynamicRAM {
		return 35 + 30
	}
	return min(typical[1]+30, SupplyLimitMA(t.Family))
}

// leastSupply, V, is what the data sheets of the bipolar and NMOS families ask for at
// the chip's own pins: below, they promise no level and no function.
const leastSupply = 4.75

// measureSupply measures what the powered chip gets at its own pins, once.
func (r *Result) measureSupply(ctx context.Context, socket Socket) error {
	if r.SupplyVolts != 0 || socket.Can().Measure == 0 {
		return nil
	}
	volts, err := socket.SupplyVolts(ctx)
	if err == nil && !math.IsNaN(volts) {
		r.SupplyVolts = volts
	}
	return err
}

// lowSupply reports whether the chip had less than its data sheet asks for. CMOS parts
// take 3 V, or 4.5 V (74HCT), and their levels are referred to their supply.
func (r *Result) lowSupply() bool {
	return r.SupplyVolts > 0 && r.supplyMayBeLow()
}

// supplyMayBeLow is lowSupply, and true where it is not known.
func (r *Result) supplyMayBeLow() bool {
	technology := r.Type.Family.Technology
	return (technology.Bipolar() || technology == part.NMOS) && r.SupplyVolts < leastSupply
}

// lowSupplyWords say what to do. The 5 V of the usual boards come from their jack
// through a regulator, past the computer's port and its cable (from memory).
func (r *Result) lowSupplyWords() string {
	return fmt.Sprintf("the chip's supply pin had %.2f V, below the %.2f V of its data sheet: the supply may be at fault, not the chip. "+
		"Feed the board at its jack with 7 to 9 V DC and test again", r.SupplyVolts, leastSupply)
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
