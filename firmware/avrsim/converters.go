//go:build simavr

package avrsim

// convertersOff is the select line of both far converters: PORTJ, 0 = selected.
const convertersOff = 1 << 0

// How an MCP3208 is talked to, from memory of its data sheet: a start bit, single-ended,
// three bits of the channel; the sample is taken from the fifth clock's rising to the
// sixth's falling edge, which gives the null bit; twelve bits follow.
const (
	commandClocks = 5
	sampleClocks  = 6
	lastClock     = sampleClocks + 12
	halfClock     = 4                // cycles: 250 ns at least
	longEnough    = 30 * Hertz / 1e6 // cycles of sampling behind 4.7 kΩ, to 1 mV
)

// converters are the two far converters, which share select, clock and data in.
type converters struct {
	selected    bool
	clocks      int // from the start bit on
	command     int
	single      bool
	sampledFrom uint64
	edge        uint64 // cycle of the clock's last edge
	counts      [2]int
	out         [2]bool
	driven      bool // the outputs are
}

// selects follows the select line.
func (c *Carrier) selects(on bool) {
	if on != c.converters.selected {
		c.converters = converters{selected: on, edge: c.now()}
		c.purposeEnds()
	}
}

// clocked follows an edge of the clock.
func (c *Carrier) clocked(rising, data bool) {
	v := &c.converters
	if !v.selected {
		return
	}
	if c.now()-v.edge < halfClock {
		c.violation("the converters' clock is faster than 2 MHz")
	}
	v.edge = c.now()
	switch {
	case rising && v.clocks == 0:
		if data { // the start bit
			v.clocks = 1
		}
	case rising:
		v.clocks++
		switch {
		case v.clocks == 2:
			v.single = data
		case v.clocks <= commandClocks:
			v.command <<= 1
			if data {
				v.command |= 1
			}
			if v.clocks == commandClocks {
				v.sampledFrom = c.now()
			}
		}
	case v.clocks == sampleClocks:
		c.convert()
	case v.clocks > sampleClocks:
		bit := max(0, lastClock-v.clocks)
		for i, count := range v.counts {
			v.out[i] = v.clocks <= lastClock && count>>bit&1 != 0
		}
	}
}

// convert ends the sampling, and gives the null bit.
func (c *Carrier) convert() {
	v := &c.converters
	if took := c.now() - v.sampledFrom; took < longEnough {
		c.violation("a far converter samples for %v", duration(took))
	}
	if !v.single {
		c.violation("a far converter is asked for a difference")
	}
	for i := range v.counts {
		v.counts[i] = c.Socket.Convert(16 + 8*i + v.command)
	}
	v.driven, v.out = true, [2]bool{}
}

// outOfConverter is a converter's output, which is stronger than a chain's behind its
// 4.7 kΩ on the same line.
func (c *Carrier) outOfConverter(which int) source {
	return source{c.converters.driven && c.Socket.Converter(which), c.converters.out[which]}
}
