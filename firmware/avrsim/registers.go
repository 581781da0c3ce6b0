//go:build simavr

package avrsim

import "chipassay/host/adapter"

// The registers' lines: the pin map of firmware/README.md.
const (
	shiftData, shiftClock = 1 << 6, 1 << 7 // PORTC

	lowStore             = 1 << 7         // PORTD
	biasStore, loadStore = 1 << 0, 1 << 1 // PORTG
	lowOff               = 1 << 6         // PORTB, 0 = outputs on; likewise:
	biasOff, loadOff     = 1 << 2, 1 << 5 // PORTG
	lowBack              = 1 << 1         // PORTJ
	biasBack, loadBack   = 1 << 2, 1 << 3 // PORTD
)

// The chains, as host/virtual and board.h number them.
const (
	lowChain = iota
	biasChain
	loadChain
)

var chainNames = [...]string{"low-side", "bias", "load"}

// A chain is shift registers in series, clocked bit by bit. Their contents are
// whatever they are when the power comes, and no reset reaches them.
type chain struct {
	outputs int    // bits; 0 for none, or none that shift
	shift   uint32 // output i is bit i
	stored  uint32
	clocks  int  // since a strobe or the converters' select last moved: what was shifted for this purpose
	cleared bool // since the MCU's last reset zeros were shifted through and stored
	on      bool
}

// highOpens is how long a high-side switch takes to open, cycles: the base's charge.
const highOpens = 10 * Hertz / 1e6

// garbage is what the registers hold when the power comes.
const garbage = 0xA5C3_5A3C

func (c *chain) mask() uint32 { return uint32(1<<c.outputs - 1) }

func (c *chain) clock(data bool) {
	c.shift = c.shift << 1 & c.mask()
	if data && c.outputs > 0 {
		c.shift |= 1
	}
	c.clocks++
}

// out is the serial output.
func (c *chain) out() source {
	return source{c.outputs > 0, c.outputs > 0 && c.shift>>(c.outputs-1)&1 != 0}
}

// A source is what may drive a read-back line.
type source struct{ drives, high bool }

// read puts what drives a line, the first of sources that does, into the levels of its
// port, which are those of the pull-ups before.
func (c *Carrier) read(levels, line uint8, sources ...source) uint8 {
	for _, s := range sources {
		switch {
		case s.drives && s.high:
			return levels | line
		case s.drives:
			return levels &^ line
		}
	}
	return levels
}

// lit are the outputs that are high.
func (c *chain) lit() uint32 {
	if !c.on || c.outputs == 0 {
		return 0
	}
	return c.stored
}

// low are the positions of the low-side chain's outputs.
var lowOutputs = [...]int{1, 4, 7, 8, 21, 24, 25, 28, 9, 10, 11, 12, 14}

// lowWord are the positions whose low-side switch the outputs close.
func lowWord(outputs uint32) (w adapter.Word) {
	for i, p := range lowOutputs {
		if outputs>>i&1 != 0 {
			w |= adapter.At(p)
		}
	}
	return w
}

// pullWord turns the outputs of a bias or load chain, L1-8, R1-8, L9-14, R9-14 by
// registers, into a word.
func pullWord(outputs uint32) adapter.Word {
	return adapter.Word(outputs&0xFF|outputs&0xFF00<<8|outputs&0xFF_0000>>8|outputs&0xFF00_0000) & adapter.All
}

// strobe follows a rising edge of a chain's store line.
func (c *Carrier) strobe(which int) {
	chain := &c.chains[which]
	if chain.clocks < chain.outputs {
		c.violation("the %s chain of %d outputs is stored after %d clocks", chainNames[which], chain.outputs, chain.clocks)
	}
	chain.stored = chain.shift
	chain.cleared = chain.cleared || chain.stored == 0
	c.purposeEnds()
}

// purposeEnds notes that what was shifted up to now has been used.
func (c *Carrier) purposeEnds() {
	for i := range c.chains {
		c.chains[i].clocks = 0
	}
}

// enable follows the output enable of a chain.
func (c *Carrier) enable(which int, on bool) {
	chain := &c.chains[which]
	if on && !chain.on && !chain.cleared {
		c.violation("the outputs of the %s chain are turned on before zeros were stored in it", chainNames[which])
	}
	chain.on = on
}

// registers hands what the chains' outputs do now to the socket.
func (c *Carrier) registers() {
	for which := range c.pulls {
		chain := &c.chains[biasChain+which]
		now := pull{on: chain.on && chain.outputs > 0, up: pullWord(chain.lit())}
		if c.pulls[which] != now {
			c.pulls[which] = now
			c.pulled(which)
		}
	}
	if low := lowWord(c.chains[lowChain].lit()); low != c.lowAt {
		if gone := c.lowAt &^ low; gone != 0 && c.highAt != 0 {
			c.violation("the low side opens with the high side closed")
		} else if since := c.now() - c.opened; gone != 0 && c.opened != 0 && since < highOpens {
			c.violation("the low side opens %v after the high side", duration(since))
		}
		c.lowAt = low
		c.supply()
	}
}
