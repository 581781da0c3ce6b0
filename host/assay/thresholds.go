package assay

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay/thresholds"
	"chipassay/vectors/part"
)

// thresholdsUntested is what is not tested without a capacitor.
const thresholdsUntested = "input thresholds: the voltages at which an input switches"

// measureThresholds measures the inputs of a chip that passed, with a capacitor at one after the
// other. What cannot be measured is said, and not held against the chip.
func (r *Result) measureThresholds(ctx context.Context, socket Socket, p Plan) {
	q := p.Thresholds
	if q == nil {
		return
	}
	skip := func(why string) { r.NotTested = append(r.NotTested, "thresholds: "+why) }
	can := socket.Can()
	switch {
	case r.Verdict != Pass:
		skip("measured only of a chip whose every vector is right")
		return
	case !can.Watch || can.Measure == 0:
		skip("the adapter cannot time edges or measure voltages")
		return
	case r.Type.Variant.Unsupplied:
		skip("the part has no supply, so the adapter does not hold its levels")
		return
	}
	probes, unmeasured := thresholds.Probes(p.Circuit, p.Sequence.Steps, q.All || q.Only != 0)
	if q.Only != 0 {
		probes = slices.DeleteFunc(probes, func(p thresholds.Probe) bool { return !q.Only.Has(p.Pin) })
		unmeasured = slices.DeleteFunc(unmeasured, func(text string) bool {
			return !slices.ContainsFunc(r.Type.Variant.Pins, func(pin part.Pin) bool {
				return q.Only.Has(pin.Number) && strings.Contains(text, pin.String())
			})
		})
		unmeasured = append(unmeasured, "thresholds of the other inputs: they were not asked for")
	}
	r.NotTested = append(r.NotTested, unmeasured...)
	current, supplied := r.SupplyCurrentMA, r.supplied
	defer func() { r.SupplyCurrentMA, r.supplied = current, supplied }()
	for _, probe := range probes {
		in, err := r.threshold(ctx, socket, p, probe)
		if err != nil {
			skip(fmt.Sprintf("%v: %s", &r.Type.Variant.Pins[probe.Pin-1], unfinished(err)))
			if ctx.Err() != nil {
				break
			}
			continue
		}
		r.Thresholds = append(r.Thresholds, in)
	}
	if len(probes) > 0 {
		if err := q.Clip(ctx, 0); err != nil {
			skip(unfinished(err))
		}
	}
	if len(r.Thresholds) > 0 {
		r.findTwins(p)
		r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return text == thresholdsUntested })
	}
	if l := r.Levels; l != nil {
		l.Unmeasured = slices.DeleteFunc(l.Unmeasured, func(text string) bool {
			return slices.ContainsFunc(r.Thresholds, func(in thresholds.Input) bool {
				return strings.HasPrefix(text, fmt.Sprintf("thresholds of %v", &r.Type.Variant.Pins[in.Pin-1]))
			})
		})
	}
}

// threshold measures one input: the capacitor first, and then the powered chip.
func (r *Result) threshold(ctx context.Context, socket Socket, p Plan, probe thresholds.Probe) (in thresholds.Input, err error) {
	if err := Safe(ctx, socket); err != nil {
		return in, err
	}
	if err := p.Thresholds.Clip(ctx, probe.Pin); err != nil {
		return in, err
	}
	farads, err := thresholds.Capacitor(ctx, socket, probe.Pin, len(r.Type.Variant.Pins), p.Thresholds.Farads)
	if err != nil {
		return in, err
	}
	err = r.powered(ctx, socket, func() error {
		in, err = thresholds.Measure(ctx, socket, r.Type, probe, farads)
		return err
	})
	return in, err
}
