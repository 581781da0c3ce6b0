package adapter

import (
	"context"
	"math"
	"math/bits"
	"time"

	"chipassay/protocol"
)

// References are what the far converters make of the 2.500 V reference and of the
// supply behind the shunt, V, if the rail were the calibration's: to look whether the
// reference can be gone by. What is not there is not a number.
type References struct{ First, Second, Supply float64 }

// References measures them without going by any, the socket without supply.
func (a *Adapter) References(ctx context.Context) (References, error) {
	none := math.NaN()
	found := References{none, none, none}
	asked := uint32(0)
	if a.Capabilities.Far.Has(9) || a.Capabilities.Reference {
		asked |= protocol.ReferenceFirst | protocol.SupplyBehindShunt
	}
	if a.Capabilities.Far.Has(20) {
		asked |= protocol.ReferenceSecond
	}
	if asked == 0 {
		return found, nil
	}
	request := protocol.Measure{Unpowered: true, Steps: []protocol.MeasureStep{{Positions: asked, SettleUS: 100, Averaging: 3}}}
	reply := protocol.MeasureReply{Positions: []uint32{asked}}
	if err := a.call(ctx, &request, &reply, 10*time.Millisecond); err != nil {
		return found, err
	}
	a.pulls = protocol.Pulls{}
	for _, of := range []struct {
		bit  uint32
		into *float64
	}{{protocol.SupplyBehindShunt, &found.Supply}, {protocol.ReferenceFirst, &found.First}, {protocol.ReferenceSecond, &found.Second}} {
		if asked&of.bit != 0 {
			*of.into = float64(reply.Steps[0].Millivolts[bits.OnesCount32(asked&(of.bit-1))]) / 1000
		}
	}
	return found, nil
}

// Supply measures the adapter's 5 V rail by its reference, and the supply behind fuse and
// shunt, V, the socket without supply. What the adapter cannot measure is not a number. A
// reference that cannot be gone by is ErrFault.
func (a *Adapter) Supply(ctx context.Context) (rail, behindShunt float64, err error) {
	r, err := a.References(ctx)
	if err != nil || math.IsNaN(r.First) || !a.Capabilities.Reference {
		return math.NaN(), math.NaN(), err
	}
	k, err := a.constantsOf(ctx)
	if err != nil {
		return math.NaN(), math.NaN(), err
	}
	if err := soundReference(r.First); err != nil {
		return math.NaN(), math.NaN(), err
	}
	scale := referenceVolts / r.First
	return scale * k.SupplyVolts, scale * r.Supply, nil
}
