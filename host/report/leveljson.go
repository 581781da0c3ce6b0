package report

import (
	"math"
)

// levelObjects are the readings in the order of the report, rounded to millionths.
func (s Sheet) levelObjects() []Level {
	objects := []Level{}
	if s.Result.Levels == nil {
		return objects
	}
	v := s.Result.Type.Variant
	for _, q := range quantities {
		for _, r := range s.Result.Levels.Readings {
			if r.Quantity != q.Quantity {
				continue
			}
			o := Level{
				Pin: levelPin(v, r), Name: pinName(v, levelPin(v, r)), Quantity: string(r.Quantity),
				Value: micro(r.Value), Unit: q.Unit, Uncertainty: micro(r.Uncertainty),
				Bound: bound(r), Standing: standingWords(r),
			}
			if !math.IsNaN(r.Limit) {
				o.Limit = new(micro(r.Limit))
			}
			if r.LoadMA > 0 {
				o.LoadMA, o.RatedMA = new(micro(r.LoadMA)), new(micro(r.RatedMA))
			}
			objects = append(objects, o)
		}
	}
	return objects
}

func (s Sheet) marginObjects() []MarginNote {
	objects := []MarginNote{}
	for _, m := range s.Result.Margins {
		objects = append(objects, MarginNote{m.Pin, pinName(s.Result.Type.Variant, m.Pin), micro(m.Volts), micro(m.VIL)})
	}
	return objects
}
