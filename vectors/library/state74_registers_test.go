package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The models of the 7400 series' D flip-flops, J-K flip-flops and latches, by pin
// numbers. From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"7474": eachOf(dFlipFlop74(1, 2, 3, 4, 5, 6), dFlipFlop74(13, 12, 11, 10, 9, 8)),

	"74174": dRegister{clock: 9, clear: 1, d: []int{3, 4, 6, 11, 13, 14}, q: []int{2, 5, 7, 10, 12, 15}}.model,
	"74175": dRegister{clock: 9, clear: 1, d: []int{4, 5, 12, 13}, q: []int{2, 7, 10, 15}, bar: []int{3, 6, 11, 14}}.model,
	"74273": dRegister{clock: 11, clear: 1, d: octalIn, q: octalOut}.model,
	"74377": dRegister{clock: 11, enable: 1, d: octalIn, q: octalOut}.model,
	"74378": dRegister{clock: 9, enable: 1, d: []int{3, 4, 6, 11, 13, 14}, q: []int{2, 5, 7, 10, 12, 15}}.model,
	"74379": dRegister{clock: 9, enable: 1, d: []int{4, 5, 12, 13}, q: []int{2, 7, 10, 15}, bar: []int{3, 6, 11, 14}}.model,
	"74374": dRegister{clock: 11, off: 1, d: octalIn, q: octalOut}.model,
	"74534": dRegister{clock: 11, off: 1, d: octalIn, q: octalOut, inverts: true}.model,
	"74574": dRegister{clock: 11, off: 1, d: flowIn, q: flowOut}.model,
	"74564": dRegister{clock: 11, off: 1, d: flowIn, q: flowOut, inverts: true}.model,
	"74576": dRegister{clock: 11, off: 1, d: flowIn, q: flowOut, inverts: true}.model,
	"74373": dRegister{gate: 11, off: 1, d: octalIn, q: octalOut}.model,
	"74533": dRegister{gate: 11, off: 1, d: octalIn, q: octalOut, inverts: true}.model,
	"74573": dRegister{gate: 11, off: 1, d: flowIn, q: flowOut}.model,
	"74563": dRegister{gate: 11, off: 1, d: flowIn, q: flowOut, inverts: true}.model,
	"74580": dRegister{gate: 11, off: 1, d: flowIn, q: flowOut, inverts: true}.model,
	"7475": eachOf(
		dRegister{gate: 13, d: []int{2, 3}, q: []int{16, 15}, bar: []int{1, 14}}.model,
		dRegister{gate: 4, d: []int{6, 7}, q: []int{10, 9}, bar: []int{11, 8}}.model),
	"7477": eachOf(
		dRegister{gate: 12, d: []int{1, 2}, q: []int{14, 13}}.model,
		dRegister{gate: 3, d: []int{5, 6}, q: []int{9, 8}}.model),
	"74375": eachOf(
		dRegister{gate: 4, d: []int{1, 7}, q: []int{3, 5}, bar: []int{2, 6}}.model,
		dRegister{gate: 12, d: []int{9, 15}, q: []int{11, 13}, bar: []int{10, 14}}.model),

	"7473":  eachOf(jk{clock: 1, clear: 2, j: 14, k: 3, q: 12, bar: 13}.model, jk{clock: 5, clear: 6, j: 7, k: 10, q: 9, bar: 8}.model),
	"74107": eachOf(jk{clock: 12, clear: 13, j: 1, k: 4, q: 3, bar: 2}.model, jk{clock: 9, clear: 10, j: 8, k: 11, q: 5, bar: 6}.model),
	"7476": eachOf(jk{clock: 1, preset: 2, clear: 3, j: 4, k: 16, q: 15, bar: 14}.model,
		jk{clock: 6, preset: 7, clear: 8, j: 9, k: 12, q: 11, bar: 10}.model),
	"74112": eachOf(jk{clock: 1, preset: 4, clear: 15, j: 3, k: 2, q: 5, bar: 6}.model,
		jk{clock: 13, preset: 10, clear: 14, j: 11, k: 12, q: 9, bar: 7}.model),
	"74113": eachOf(jk{clock: 1, preset: 4, j: 3, k: 2, q: 5, bar: 6}.model, jk{clock: 13, preset: 10, j: 11, k: 12, q: 9, bar: 8}.model),
	"74114": eachOf(jk{clock: 13, preset: 4, clear: 1, j: 3, k: 2, q: 5, bar: 6}.model,
		jk{clock: 13, preset: 10, clear: 1, j: 11, k: 12, q: 9, bar: 8}.model),
	"74109": eachOf(jk{clock: 4, preset: 5, clear: 1, j: 2, k: 3, q: 6, bar: 7, rises: true, notK: true}.model,
		jk{clock: 12, preset: 11, clear: 15, j: 14, k: 13, q: 10, bar: 9, rises: true, notK: true}.model),
	"74279": eachOf(setReset(1, 4, 2, 3), setReset(5, 7, 6), setReset(10, 9, 11, 12), setReset(14, 13, 15)),
	"74259": addressable259,
})

// Pins of the usual octal packages: outputs beside inputs, and flow-through.
var (
	octalIn  = []int{3, 4, 7, 8, 13, 14, 17, 18}
	octalOut = []int{2, 5, 6, 9, 12, 15, 16, 19}
	flowIn   = []int{2, 3, 4, 5, 6, 7, 8, 9}
	flowOut  = []int{19, 18, 17, 16, 15, 14, 13, 12}
)

// eachOf is a chip of independent parts.
func eachOf(parts ...modelOf) modelOf {
	return func(v *part.Variant) model {
		var models []model
		for _, of := range parts {
			models = append(models, of(v))
		}
		return func(was, is part.Pins) map[int]logic.Value {
			out := map[int]logic.Value{}
			for _, m := range models {
				for pin, level := range m(was, is) {
					out[pin] = level
				}
			}
			return out
		}
	}
}

func dFlipFlop74(clear, d, clock, preset, q, bar int) modelOf {
	return func(*part.Variant) model {
		state := [2]int{-1, -1}
		return func(was, is part.Pins) map[int]logic.Value {
			switch pre, clr := !is.Has(preset), !is.Has(clear); {
			case pre && clr:
				state = [2]int{1, 1}
			case pre:
				state = [2]int{1, 0}
			case clr:
				state = [2]int{0, 1}
			case rose(was, is, clock):
				level := number(is, d)
				state = [2]int{level, 1 - level}
			}
			out := map[int]logic.Value{}
			show(out, state[0], q)
			show(out, state[1], bar)
			return out
		}
	}
}

// A dRegister is a row of D flip-flops, or of latches where it has a gate. Pins
// are 0 where the chip has none; clear, enable and off are active low, low and high.
type dRegister struct {
	clock, gate, clear, enable, off int
	d, q, bar                       []int
	inverts                         bool
}

func (r dRegister) model(*part.Variant) model {
	state := make([]int, len(r.d))
	for i := range state {
		state[i] = -1
	}
	return func(was, is part.Pins) map[int]logic.Value {
		out := map[int]logic.Value{}
		takes := r.gate != 0 && is.Has(r.gate) || r.clock != 0 && rose(was, is, r.clock) && (r.enable == 0 || !is.Has(r.enable))
		for i := range state {
			switch {
			case r.clear != 0 && !is.Has(r.clear):
				state[i] = 0
			case takes:
				state[i] = number(is, r.d[i])
			}
			level := state[i]
			if r.inverts && level >= 0 {
				level = 1 - level
			}
			show(out, level, r.q[i])
			if r.bar != nil {
				if level >= 0 {
					level = 1 - level
				}
				show(out, level, r.bar[i])
			}
		}
		release(out, r.off != 0 && is.Has(r.off), r.q...)
		return out
	}
}

// A jk is one J-K flip-flop; preset and clear are active low, 0 where there are none.
type jk struct {
	clock, preset, clear, j, k, q, bar int
	rises, notK                        bool // the clock's edge; /K instead of K
}

func (f jk) model(*part.Variant) model {
	state := -1
	return func(was, is part.Pins) map[int]logic.Value {
		pre, clr := f.preset != 0 && !is.Has(f.preset), f.clear != 0 && !is.Has(f.clear)
		edge := fell(was, is, f.clock)
		if f.rises {
			edge = rose(was, is, f.clock)
		}
		out := map[int]logic.Value{}
		if pre && clr {
			state = -1 // which of the two goes first decides
			show(out, 1, f.q)
			show(out, 1, f.bar)
			return out
		}
		j, k := is.Has(f.j), is.Has(f.k) != f.notK
		switch {
		case pre:
			state = 1
		case clr:
			state = 0
		case edge && j && k && state >= 0:
			state = 1 - state
		case edge && j && !k:
			state = 1
		case edge && k && !j:
			state = 0
		}
		show(out, state, f.q)
		bar := -1
		if state >= 0 {
			bar = 1 - state
		}
		show(out, bar, f.bar)
		return out
	}
}

// setReset is one latch of the 74279: any set low gives a high, also with the reset.
func setReset(reset, q int, sets ...int) modelOf {
	return func(*part.Variant) model {
		state := -1
		return func(_, is part.Pins) map[int]logic.Value {
			set := false
			for _, s := range sets {
				set = set || !is.Has(s)
			}
			switch {
			case set:
				state = 1
			case !is.Has(reset):
				state = 0
			}
			out := map[int]logic.Value{}
			show(out, state, q)
			return out
		}
	}
}

func addressable259(*part.Variant) model {
	outputs := []int{4, 5, 6, 7, 9, 10, 11, 12}
	state := []int{-1, -1, -1, -1, -1, -1, -1, -1}
	return func(_, is part.Pins) map[int]logic.Value {
		chosen := number(is, 3, 2, 1)
		out := map[int]logic.Value{}
		for i := range state {
			if !is.Has(15) { // cleared, but for the addressed one of a demultiplexer
				state[i] = 0
			}
			if !is.Has(14) && i == chosen {
				state[i] = number(is, 13)
			}
			show(out, state[i], outputs[i])
		}
		return out
	}
}
