package assay

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"chipassay/host/assay/levels"
	"chipassay/vectors/part"
)

// releaseTime bounds how long switching off may take once the context is done.
const releaseTime = 3 * time.Second

// safe switches off whatever the context says.
func safe(ctx context.Context, socket Socket) error {
	off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
	defer cancel()
	return socket.PowerOff(off)
}

// powered powers the chip for as long as work takes, and switches off whatever happens.
func (r *Result) powered(ctx context.Context, socket Socket, work func() error) (err error) {
	defer func() {
		if offErr := safe(ctx, socket); offErr != nil && err == nil {
			err = fmt.Errorf("the supply could not be switched off, pull the adapter's plug: %w", offErr)
		}
	}()
	if r.SupplyCurrentMA, err = socket.PowerOn(ctx, cmp.Or(r.limitMA, supplyLimitMA(r.Type.Family))); err != nil {
		return err
	}
	r.supplied = true
	return work()
}

// supplyLimitMA is the current at which the supply trips, in mA: above what the
// largest parts of the family draw, below what harms a wrongly placed chip at once.
func supplyLimitMA(f *part.Family) int {
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
	"74HC": {0, 0}, "74HCT": {0, 0}, "74C": {0, 0}, "4000B": {0, 0}, "4000UB": {0, 0},
	"TTL": {110, 110}, "NMOS": {110, 110}, "CMOS": {40, 40},
}

// lowLimitMA is the trip's limit for a chip of which nothing is known, mA: 30 mA over
// what a typical one draws, so that none of them trips; a turned or shorted chip takes
// more, and what is left of 5 V times 30 mA, 0.15 W, heats no package (some 100 K/W,
// from memory) by more than 15 K.
func lowLimitMA(t part.Type) int {
	typical := typicalMA[t.Family.Name]
	if levels.Small(t) {
		return typical[0] + 30
	}
	if t.Variant.Memory != nil && t.Variant.Memory.Kind == part.DynamicRAM {
		return 35 + 30
	}
	return min(typical[1]+30, supplyLimitMA(t.Family))
}
