package memory

import (
	"cmp"
	"context"
	"fmt"
	"math/bits"

	"chipassay/host/adapter"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// Contents are what two readings of a read-only memory gave.
type Contents struct {
	Words     []byte // of the first, a byte a word
	Selected  string // by which levels, where its mask decides that
	Applied   int    // reads
	Failures  int    // words that differ, and findings
	Findings  []string
	Pins      part.Pins // that are wrong
	NotTested []string
}

// Read reads a powered read-only memory twice: with the bias high and, where its outputs
// drive both ways, low; and once with each control left inactive.
func Read(ctx context.Context, socket Socket, p Plan) (c Contents, err error) {
	b := bench{socket, p.Type, p.Type.Variant.Memory}
	if err := c.findSelects(ctx, &b); err != nil || len(c.Findings) > 0 {
		c.Failures = len(c.Findings)
		return c, err
	}
	first, second, err := c.readTwice(ctx, b, p)
	if err != nil {
		return c, err
	}
	if err := c.readWithout(ctx, b, first); err != nil {
		return c, err
	}
	c.Words, c.Failures = first, len(c.Findings)
	differed := ""
	for address := range first {
		different := first[address] ^ second[address]
		if different == 0 {
			continue
		}
		c.Failures++
		differed = cmp.Or(differed, fmt.Sprintf("address %d reads %02X with the bias rail high and %02X with it low: an output does not drive one way",
			address, first[address], second[address]))
		for bit, pin := range b.m.DataOut {
			if different>>bit&1 != 0 {
				c.Pins |= part.PinSet(pin)
			}
		}
	}
	if differed != "" {
		c.Findings = append([]string{differed}, c.Findings...)
	}
	return c, nil
}

// readTwice reads the powered chip.
func (c *Contents) readTwice(ctx context.Context, b bench, p Plan) (first, second []byte, err error) {
	for i, bias := range []adapter.Pull{adapter.High, againstBias(b.t)} {
		if bias == adapter.Low {
			if bias, err = c.readable(ctx, b, second); err != nil {
				return nil, nil, err
			}
		}
		contents, err := c.readAll(ctx, b, bias, func(done float64) {
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
func (c *Contents) readable(ctx context.Context, b bench, contents []byte) (adapter.Pull, error) {
	if len(contents) == 0 || b.socket.Can().Measure == 0 {
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
	volts, lows, err := b.hazyHigh(ctx, address, ones)
	for pin := range lows.All() {
		c.Findings = append(c.Findings, fmt.Sprintf("%v reads high with the bias high and low with it low: it does not drive high", &b.t.Variant.Pins[pin-1]))
	}
	c.Pins |= lows
	if err != nil || volts == 0 {
		return adapter.Low, err
	}
	c.NotTested = append(c.NotTested, hazyWords(volts))
	return adapter.High, nil
}

// readWithout reads a word with each control left inactive in turn, under each bias
// rail from which the word differs, and notes where all of it drives all the same.
// Where only some bits do, an output is stuck, which only a file to compare with shows.
func (c *Contents) readWithout(ctx context.Context, b bench, contents []byte) error {
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
			c.Findings = append(c.Findings, b.stuckActive("the outputs drive", control))
			c.Pins = c.Pins.With(control.Pin, true)
		}
	}
	return nil
}

// takeWithout reads one word with a control left inactive.
func (b bench) takeWithout(ctx context.Context, control part.Control, rail adapter.Pull, address int) (seen byte, err error) {
	if err := b.socket.Pulls(ctx, rail, adapter.Off); err != nil {
		return 0, err
	}
	c := b.program(b.counting())
	c.at(address, c.released(c.without(control).take()))
	err = c.RunToEnd(ctx, runBudget, nil, func(now adapter.Run) error {
		if len(now.Output) > 0 {
			seen = now.Output[0]
		}
		return nil
	})
	return seen, err
}

// readAll reads every word once.
func (c *Contents) readAll(ctx context.Context, b bench, bias adapter.Pull, progress func(float64)) ([]byte, error) {
	if err := b.socket.Pulls(ctx, bias, adapter.Off); err != nil {
		return nil, err
	}
	p := b.program(b.counting())
	p.over(march.AddressOrder{}, false, p.take())
	var contents []byte
	err := p.RunToEnd(ctx, runBudget, nil, func(now adapter.Run) error {
		contents = append(contents, now.Output...)
		c.Applied += len(now.Output)
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
