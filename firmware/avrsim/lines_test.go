//go:build simavr

package avrsim

import (
	"fmt"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/virtual"
)

// A wired carrier is one whose lines a test moves itself, without an MCU. A line that
// is not in low or high is an input.
type wired struct {
	*Carrier
	cycle     uint64
	low, high map[Port]uint8
}

// newWired has every output as the firmware has it at rest: enables off, all else at 0.
func newWired(socket *virtual.Socket) *wired {
	w := &wired{Carrier: NewCarrier(socket), cycle: 1000, low: map[Port]uint8{}, high: map[Port]uint8{}}
	w.now = func() uint64 { return w.cycle }
	w.Monitor.now = w.now
	for line := range strings.FieldsSeq("PB6 PG2 PG5 PJ0 PH0 PH1 PH3 PH4 PH5 PH6") {
		w.set(line, true)
	}
	for line := range strings.FieldsSeq("PC6 PC7 PD7 PG0 PG1") {
		w.set(line, false)
	}
	return w
}

// set drives a line, named as the netlist names it, and lets 1 µs pass.
func (w *wired) set(line string, high bool) {
	p, bit := Port(line[1]), uint8(1)<<(line[2]-'0')
	w.low[p], w.high[p] = w.low[p]|bit, w.high[p]&^bit
	if high {
		w.low[p], w.high[p] = w.low[p]&^bit, w.high[p]|bit
	}
	w.Changed(p, w.low[p]|w.high[p], w.high[p])
	w.cycle += 16
}

// reads is the level at a line with its pull-up on.
func (w *wired) reads(line string) bool {
	p, bit := Port(line[1]), uint8(1)<<(line[2]-'0')
	w.Changed(p, w.low[p]|w.high[p], w.high[p]|bit)
	return w.Levels(p)&bit != 0
}

func (w *wired) pulse(line string) { w.set(line, true); w.set(line, false) }

// shift clocks n bits in, the highest first.
func (w *wired) shift(bits uint64, n int) {
	for i := n - 1; i >= 0; i-- {
		w.set("PC6", bits>>i&1 != 0)
		w.pulse("PC7")
	}
}

// store shifts an output's bit, or none for -1, through a chain and stores it.
func (w *wired) store(line string, output, outputs int) {
	w.shift(1<<(output+1)>>1, outputs)
	w.pulse(line)
}

func (w *wired) sound(t *testing.T) {
	t.Helper()
	for _, v := range w.Violations {
		t.Error(v)
	}
}

// outputOf is the number of a register's output in its chain: the netlist names it as
// "U22 QC", and the registers of a chain are numbered from 1.
func outputOf(t *testing.T, entry string) int {
	t.Helper()
	var register int
	var q rune
	if _, err := fmt.Sscanf(entry, "U%d Q%c", &register, &q); err != nil {
		t.Fatalf("%q: %v", entry, err)
	}
	return 8*(register%10-1) + int(q-'A')
}

// Each register output reaches its position and no other, by the netlist's table of
// lanes: bias and load high at it alone; low-side and high-side switches against them.
func TestLinesReachTheirPositions(t *testing.T) {
	for _, l := range carrier.Lanes() {
		w := newWired(virtual.NewSocket(nil, 1))
		at := adapter.At(l.Position)
		for _, group := range []struct{ entry, store, off string }{{l.Bias, "PG0", "PG2"}, {l.Load, "PG1", "PG5"}} {
			w.store(group.store, -1, 32)
			w.set(group.off, false)
			if got := w.Socket.Sample(); got != 0 {
				t.Errorf("%s: with all low %v read high", l.Name, got)
			}
			w.store(group.store, outputOf(t, group.entry), 32)
			if got := w.Socket.Sample(); got != at {
				t.Errorf("%s: with its output of %s high %v read high", l.Name, group.entry, got)
			}
			w.set(group.off, true)
		}
		w.shift(0xFFFF_FFFF, 32)
		w.pulse("PG0")
		w.set("PG2", false)
		if l.Low != "" {
			w.store("PD7", -1, 16)
			w.set("PB6", false)
			w.store("PD7", outputOf(t, l.Low), 16)
			if got := w.Socket.Sample(); got != adapter.All&^at {
				t.Errorf("%s: with %s high %v read high", l.Name, l.Low, got)
			}
			w.store("PD7", -1, 16)
			w.set("PB6", true)
		}
		if l.High != "" {
			w.store("PG0", -1, 32)
			w.set(l.High, false)
			if got := w.Socket.Sample(); got != at {
				t.Errorf("%s: with %s low %v read high", l.Name, l.High, got)
			}
			w.set(l.High, true)
		}
		w.sound(t)
	}
}

// What comes out of a chain is what went in 16 or 32 clocks before; a line at which
// nothing is reads by its pull-up.
func TestReadBack(t *testing.T) {
	w := newWired(virtual.NewSocket(nil, 1))
	for _, c := range []struct {
		line    string
		outputs int
	}{{"PJ1", 16}, {"PD2", 32}, {"PD3", 32}} {
		w.shift(0, 40)
		w.shift(1, 1)
		for clocks := 1; clocks < 40; clocks++ {
			if got := w.reads(c.line); got != (clocks == c.outputs) {
				t.Errorf("%s reads %v after %d clocks", c.line, got, clocks)
			}
			w.shift(0, 1)
		}
	}
	w.chains[lowChain].outputs = 0
	if !w.reads("PJ1") {
		t.Error("a line without a chain is low")
	}
	w.sound(t)
}

// convert asks both converters for a channel as the data sheet has it (from memory), and
// gives the null bits and what is read at each clock's rising edge.
func (w *wired) convert(channel uint64, sampling uint64) (null [2]bool, counts [2]int) {
	w.set("PJ0", false)
	w.shift(0b11000|channel, 5)
	w.cycle += sampling
	w.pulse("PC7")
	back := [2]string{"PD2", "PD3"}
	for i, line := range back {
		null[i] = !w.reads(line)
	}
	for range 12 {
		w.pulse("PC7")
		for i, line := range back {
			counts[i] <<= 1
			if w.reads(line) {
				counts[i]++
			}
		}
	}
	w.set("PJ0", true)
	return null, counts
}

// The reference of 2.500 V, a share of the rail; the supply behind the shunt, and a
// position driven high against nothing: nearly 4096.
func TestFarConverters(t *testing.T) {
	w := newWired(virtual.NewSocket(nil, 1))
	for p, bit := range map[string]bool{"PC4": true, "PC5": false, "PB0": false, "PB3": true} {
		w.set(p, bit)
	}
	reference := int(2.5/w.Socket.RailVolts()*4096 + 0.5)
	w.shift(0xFFFF_FFFF, 32) // so that the chains' own ends are high
	for _, c := range []struct {
		channel     uint64
		left, right int
	}{
		{6, reference, reference}, {4, 4095, -1}, {5, 0, -1}, {0, -1, 0}, {3, -1, 4095}, {7, 4095, -1},
	} {
		null, counts := w.convert(c.channel, 500)
		for i, want := range []int{c.left, c.right} {
			if !null[i] || want >= 0 && (counts[i] < want-1 || counts[i] > want+1) {
				t.Errorf("channel %d of converter %d: null bit %v, count %d, want %d", c.channel, i+1, null[i], counts[i], want)
			}
		}
	}
	if !w.reads("PD2") || !w.reads("PD3") {
		t.Error("without the converters the chains' ends are low")
	}
	w.sound(t)
}

// Each mistake that a firmware can make with the lines is noted, and named.
func TestMistakesWithLines(t *testing.T) {
	clear := func(w *wired) {
		w.store("PD7", -1, 16)
		w.store("PG0", -1, 32)
	}
	for _, c := range []struct {
		name   string
		faulty func(w *wired)
		want   string
	}{
		{"bias on before it is cleared", func(w *wired) { w.set("PG2", false) }, "outputs of the bias chain are turned on before"},
		{"load on before it is cleared", func(w *wired) { clear(w); w.set("PG5", false) }, "outputs of the load chain are turned on before"},
		{"low side on before it is cleared", func(w *wired) { w.store("PD7", 2, 16); w.set("PB6", false) }, "outputs of the low-side chain"},
		{"cleared before the last reset", func(w *wired) { clear(w); w.Reset(); w.set("PG2", false) }, "outputs of the bias chain"},
		{"half a chain", func(w *wired) { w.store("PG0", 3, 16) }, "bias chain of 32 outputs is stored after 16 clocks"},
		{"what was shifted for another", func(w *wired) { w.store("PG0", 3, 32); w.pulse("PD7") }, "low-side chain of 16 outputs is stored after 0 clocks"},
		{"supply and ground at 28", func(w *wired) { clear(w); w.store("PD7", 7, 16); w.set("PB6", false); w.set("PH6", false) }, "the high-side and the low-side switch are closed"},
		{"two supplies", func(w *wired) { w.set("PH0", false); w.set("PH1", false) }, "more than one"},
		{"driving 22 against its supply", func(w *wired) { w.set("PH5", false); w.set("PL6", false) }, "driven against their supply switches"},
		{"driving 4 against its ground", func(w *wired) { clear(w); w.set("PB6", false); w.set("PA3", true); w.store("PD7", 1, 16) }, "driven against their supply switches"},
		{"the low side 1 µs after the high side", func(w *wired) {
			clear(w)
			w.store("PD7", 2, 16)
			w.set("PB6", false)
			w.shift(0, 16)
			w.set("PH6", false)
			w.set("PH6", true)
			w.pulse("PD7")
		}, "the low side opens"},
		{"a converter that samples for 5 µs", func(w *wired) { w.convert(6, 80) }, "a far converter samples for"},
		{"a converter's clock of 8 MHz", func(w *wired) {
			w.set("PJ0", false)
			w.set("PC7", true)
			w.cycle -= 15
			w.set("PC7", false)
		}, "faster than 2 MHz"},
		{"a difference", func(w *wired) {
			w.set("PJ0", false)
			w.shift(0b10110, 5)
			w.cycle += 500
			w.pulse("PC7")
		}, "asked for a difference"},
	} {
		w := newWired(virtual.NewSocket(nil, 1))
		c.faulty(w)
		if got := strings.Join(w.Violations, "\n"); !strings.Contains(got, c.want) {
			t.Errorf("%s: noted %q, want %q", c.name, got, c.want)
		}
	}
}
