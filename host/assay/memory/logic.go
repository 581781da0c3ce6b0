package memory

import (
	"context"
	"fmt"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/march"
)

// A Table is what combinational logic with the pins of a ROM read at every combination of its
// inputs, one word a combination, the lowest bit that of the first pin read.
type Table struct {
	High, Low []uint16 // with the bias high, and low
	// Again are further readings with the bias high, each in another order of the combinations:
	// counting down, and with the last input changing fastest, up and down. Before a
	// combination in which a latch holds stand others in each, so that what it holds differs.
	Again [][]uint16
}

// ReadLogic reads powered logic at every combination of the address pins. The pins that are
// read may be among those that are driven.
func ReadLogic(ctx context.Context, socket Socket, p Plan, pins []int) (t Table, err error) {
	b := bench{socket, p.Type, p.Type.Variant.Memory}
	runs := []order{{bias: adapter.High}, {bias: adapter.Low}, {bias: adapter.High, down: true},
		{bias: adapter.High, reversed: true}, {bias: adapter.High, down: true, reversed: true}}
	for i, run := range runs {
		words, err := b.readWords(ctx, run, pins, func(done float64) {
			if p.Progress != nil {
				p.Progress((float64(i) + done) / float64(len(runs)))
			}
		})
		switch {
		case err != nil:
			return t, err
		case i == 0:
			t.High = words
		case i == 1:
			t.Low = words
		default:
			t.Again = append(t.Again, words)
		}
	}
	return t, nil
}

// LogicReadings is how often ReadLogic reads each combination.
const LogicReadings = 5

// An order is in which order combinations are read, and under which bias.
type order struct {
	bias     adapter.Pull
	down     bool
	reversed bool // the last input changes fastest
}

// readWords reads some pins at every combination of the address.
func (b bench) readWords(ctx context.Context, o order, pins []int, progress func(float64)) ([]uint16, error) {
	if err := b.socket.Pulls(ctx, o.bias, adapter.Off); err != nil {
		return nil, err
	}
	numbers := b.counting()
	if o.reversed {
		slices.Reverse(numbers)
	}
	c := b.program(numbers)
	taken := c.Group(pins)
	c.over(march.AddressOrder{}, o.down, func() { c.Take(taken) })
	width := (len(pins) + 7) / 8
	var output []byte
	err := c.RunToEnd(ctx, runBudget, nil, func(now adapter.Run) error {
		output = append(output, now.Output...)
		progress(float64(len(output)) / float64(width*b.m.Words))
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(output) != width*b.m.Words {
		return nil, fmt.Errorf("the adapter gave %d bytes of %d", len(output), width*b.m.Words)
	}
	words := make([]uint16, b.m.Words)
	for i := range words {
		count, at := i, 0
		if o.down {
			count = len(words) - 1 - i
		}
		for bit, number := range numbers {
			at |= count >> bit & 1 << number
		}
		for k := range width {
			words[at] |= uint16(output[i*width+k]) << (8 * k)
		}
	}
	return words, nil
}
