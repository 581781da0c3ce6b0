package assay

import (
	"context"
	"fmt"
	"math/bits"

	"chipassay/host/adapter"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// NoTest says why a memory that is typed so is not tested; nil where it is.
func NoTest(t part.Type, typed string) error {
	if m := t.Variant.Memory; m == nil || !m.Kind.ROM() {
		return nil
	}
	return fmt.Errorf("a %s is read only, and only its contents can be judged: chipassay dump %s --compare FILE", t.Name(), typed)
}

// ReadROM reads a read-only memory, a byte a word, twice: with the bias rail high
// and, where its outputs drive both ways, low. The result says how the chip lies
// and whether both readings agree; its verdict is never a pass, for what is right
// only a file to compare with can tell. Without contents the result says why.
func ReadROM(ctx context.Context, socket MemorySocket, p MemoryPlan) ([]byte, *Result) {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r := begin(plan)
	r.Comparison = "two readings with each other"
	r.Method, r.VectorsPlanned = fmt.Sprintf("every one of %d words of %d bits read", m.Words, m.Bits), 2*m.Words
	defer r.end()
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return nil, refused
	}
	var first, second []byte
	differed := false
	err := r.powered(ctx, socket, func() (err error) {
		if err := r.measureSupply(ctx, socket); err != nil {
			return err
		}
		if first, second, err = r.readTwice(ctx, socket, p); err != nil {
			return err
		}
		return r.readWithout(ctx, memoryBench{socket, r.Type, m}, first)
	})
	if err != nil {
		return nil, r.notTested(unfinished(err))
	}
	if len(r.Findings) > 0 {
		r.FailureCount = len(r.Findings)
	}
	for address := range first {
		if first[address] != second[address] {
			r.FailureCount++
			if !differed {
				differed = true
				r.Findings = append([]string{fmt.Sprintf("address %d reads %02X with the bias rail high and %02X with it low: an output does not drive one way",
					address, first[address], second[address])}, r.Findings...)
			}
			for bit, pin := range m.DataOut {
				if (first[address]^second[address])>>bit&1 != 0 {
					r.fail(pin)
				}
			}
		}
	}
	if r.FailureCount > 0 {
		r.Verdict, r.Reason = Fail, r.Findings[0]
		return first, r
	}
	return first, r.notTested("its contents were read twice alike; only a file to compare them with tells whether they are right")
}

// readTwice reads the powered chip.
func (r *Result) readTwice(ctx context.Context, socket MemorySocket, p MemoryPlan) (first, second []byte, err error) {
	b := memoryBench{socket, r.Type, r.Type.Variant.Memory}
	for i, bias := range []adapter.Pull{adapter.High, againstBias(r.Type)} {
		if bias == adapter.Low {
			if bias, err = r.readable(ctx, b, second); err != nil {
				return nil, nil, err
			}
		}
		contents, err := r.readAll(ctx, b, bias, func(done float64) {
			if p.Progress != nil {
				p.Progress((float64(i) + done) / 2)
			}
		})
		if err != nil {
			return nil, nil, err
		}
		first, second = second, contents
	}
	return first, second, nil
}

// readable is the low bias, or the high one where the adapter could not read the highs of
// what was read under that.
func (r *Result) readable(ctx context.Context, b memoryBench, contents []byte) (adapter.Pull, error) {
	meter, ok := b.socket.(LevelMeter)
	if !ok || len(contents) == 0 {
		return adapter.Low, nil
	}
	address := 0
	for i, word := range contents {
		if bits.OnesCount8(word) > bits.OnesCount8(contents[address]) {
			address = i
		}
	}
	var ones part.Pins
	for bit, pin := range b.m.DataOut {
		ones = ones.With(pin, contents[address]>>bit&1 != 0)
	}
	volts, lows, err := b.hazyHigh(ctx, meter, address, ones)
	for pin := range lows.All() {
		r.fail(pin)
		r.Findings = append(r.Findings, fmt.Sprintf("pin %d (%s) reads high with the bias high and stands low with it low: it does not drive high", pin, b.t.Variant.Pins[pin-1].Name))
	}
	if err != nil || volts == 0 {
		return adapter.Low, err
	}
	r.NotTested = append(r.NotTested, hazyWords(volts))
	return adapter.High, nil
}

// readWithout reads a word with each control left inactive in turn, under each bias
// rail from which the word differs, and notes where all of it drives all the same.
// Where only some bits do, an output is stuck, which only a file to compare with tells.
func (r *Result) readWithout(ctx context.Context, b memoryBench, contents []byte) error {
	for _, control := range b.holdable() {
		drives := false
		for _, rail := range b.rails() {
			released := map[adapter.Pull]uint8{adapter.High: 1<<b.m.Bits - 1}[rail]
			address, most := 0, 0
			for i, word := range contents {
				if n := bits.OnesCount8(word ^ released); n > most {
					address, most = i, n
				}
			}
			seen, err := b.takeWithout(ctx, control, rail, address)
			if err != nil {
				return err
			}
			drives = drives || most > 0 && seen == contents[address]
		}
		if drives {
			r.Findings = append(r.Findings, b.stuckActive("the outputs drive", control))
			r.fail(control.Pin)
		}
	}
	return nil
}

// takeWithout reads one word with a control left inactive.
func (b memoryBench) takeWithout(ctx context.Context, control part.Control, rail adapter.Pull, address int) (seen byte, err error) {
	if err := b.socket.Pulls(ctx, rail, adapter.Off); err != nil {
		return 0, err
	}
	c := b.program(b.counting())
	c.at(address)
	c.without(control).read(func() {
		c.Pause(biasTime)
		c.Take(c.out)
	})
	err = c.RunToEnd(ctx, runBudget, nil, func(now adapter.Run) error {
		if len(now.Output) > 0 {
			seen = now.Output[0]
		}
		return nil
	})
	return seen, err
}

// readAll reads every word once.
func (r *Result) readAll(ctx context.Context, b memoryBench, bias adapter.Pull, progress func(float64)) ([]byte, error) {
	if err := b.socket.Pulls(ctx, bias, adapter.Off); err != nil {
		return nil, err
	}
	c := b.program(b.counting())
	c.over(march.AddressOrder{}, false, func() { c.read(func() { c.Take(c.out) }) })
	var contents []byte
	err := c.RunToEnd(ctx, runBudget, nil, func(now adapter.Run) error {
		contents = append(contents, now.Output...)
		r.VectorsApplied += len(now.Output)
		progress(float64(len(contents)) / float64(b.m.Words))
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(contents) != b.m.Words {
		return nil, fmt.Errorf("the adapter gave %d words of %d", len(contents), b.m.Words)
	}
	return contents, nil
}
