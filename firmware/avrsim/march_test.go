//go:build simavr

package avrsim

import (
	"slices"
	"testing"
	"time"

	"chipassay/protocol"
)

// A march element: up or down, and its operations.
type element struct {
	down bool
	ops  string // r0 r1 w0 w1, two characters each
}

// March C- : van de Goor, "Testing Semiconductor Memories", 1991 (from memory).
// 10 operations a cell.
var marchCMinus = []element{{false, "w0"}, {false, "r0w1"}, {false, "r1w0"}, {true, "r0w1"}, {true, "r1w0"}, {false, "r0"}}

const operations = 10.0 // of March C-, a cell

// A memory under test, as the test writes its program.
type underTest struct {
	load        protocol.PatternLoad
	in, out     uint8 // groups of the bits written, and read
	outer       int   // turns of the outer loop, 0 if there is none
	inner       int   // of the inner loop, and its group and register
	rows        uint8 // group that the outer loop counts
	cell        protocol.Cell
	read, write func(value uint16) protocol.Access
}

func (m underTest) loop(a *assembly, register uint8, n int, down bool) {
	if down {
		a.loop(register, uint16(n-1), 0)
	} else {
		a.loop(register, 0, uint16(n-1))
	}
}

// march is March C- on it, a program an element. What stands for the outputs is shown
// as it should read.
func (m underTest) march() (loads []*protocol.PatternLoad) {
	ones := uint16(1)<<len(m.load.Groups[m.out]) - 1
	for _, e := range marchCMinus {
		var a assembly
		cell := m.cell
		for op := range len(e.ops) / 2 {
			value := uint16(e.ops[2*op+1]-'0') * ones
			if e.ops[2*op] == 'r' {
				cell.Accesses = append(cell.Accesses, m.read(value))
				a.value(m.out, value)
				a.put(protocol.OpShow, m.out)
			} else {
				cell.Accesses = append(cell.Accesses, m.write(value))
			}
		}
		if m.outer > 0 {
			m.loop(&a, 0, m.outer, e.down)
			a.put(protocol.OpLatch, m.rows, 0)
		}
		m.loop(&a, cell.Register, m.inner, e.down)
		a = cell.Append(a)
		a.put(protocol.OpNext, cell.Register)
		if m.outer > 0 {
			a.put(protocol.OpNext, 0)
		}
		a.put(protocol.OpEnd)
		load := m.load
		load.Code = a
		loads = append(loads, &load)
	}
	return loads
}

// A 4164 in its socket: 64K×1, D WE RAS CAS at 2 3 4 27 (data books, from memory).
// Its output is played by position 10, which is driven as it should read. All 128
// rows of 7 bits within 2 ms.
func dynamic64K(rows int) underTest {
	const d, we, ras, cas, q = 2, 3, 4, 27, 26
	address := []uint8{5, 7, 6, 24, 23, 22, 25, 21} // A0 to A7
	return underTest{
		load: protocol.PatternLoad{
			Settle:    4, // 250 ns, the access time of a slow one
			Direction: positions(append([]uint8{d, we, ras, cas, q}, address...)...), Level: positions(we, ras, cas),
			RefreshUS: 2000, RefreshBits: 7, RefreshGroup: 0, RefreshStrobe: positions(ras),
			Groups: [][]uint8{address, address, {d}, {q}}},
		in: 2, out: 3, outer: rows, inner: 256,
		cell: protocol.Cell{Idle: 0, Away: 1, Counted: 1, Register: 1},
		read: func(value uint16) protocol.Access {
			return protocol.Access{Kind: protocol.AccessCheck, Group: 3, Value: value, Pause: 4,
				Toggles: [4]uint32{positions(ras), 0, positions(cas), positions(ras, cas)}}
		},
		write: func(value uint16) protocol.Access {
			in := positions(d) * uint32(value)
			return protocol.Access{Toggles: [4]uint32{positions(ras) | in, positions(we), positions(cas), positions(ras, cas, we) | in}}
		},
	}
}

// A 2114 in its socket: 1K×4 static, CS WE at 8 20, data at 21 to 24 (data books,
// from memory). Reading, its outputs are played by positions 10 to 13.
func static1K(words int) underTest {
	const cs, we = 8, 20
	address := []uint8{3, 2, 1, 27, 26, 25, 7, 6, 5, 4}
	inout, played := []uint8{24, 23, 22, 21}, []uint8{10, 11, 12, 13}
	direction := positions(cs, we) | positions(address...) | positions(played...)
	return underTest{
		load: protocol.PatternLoad{Settle: 8, Direction: direction, Level: positions(cs, we), Groups: [][]uint8{address, inout, played}},
		in:   1, out: 2, inner: words,
		cell: protocol.Cell{Register: 0},
		read: func(value uint16) protocol.Access {
			return protocol.Access{Kind: protocol.AccessCheck, Group: 2, Value: value, Pause: 8, Toggles: [4]uint32{0, 0, positions(cs), positions(cs)}}
		},
		write: func(value uint16) protocol.Access {
			return protocol.Access{Kind: protocol.AccessTurned, Group: 1, Value: value,
				Toggles: [4]uint32{positions(we), 0, positions(cs), positions(cs)}}
		},
	}
}

// run runs programs to their ends, one after the other.
func (c caller) run(loads ...*protocol.PatternLoad) {
	c.t.Helper()
	for _, load := range loads {
		c.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
		for ended := false; !ended; {
			var reply protocol.PatternReply
			c.must(&protocol.PatternRun{Log: true, BudgetMS: 500}, &reply)
			if reply.Errors != 0 {
				c.t.Fatalf("%d errors, registers %v", reply.Errors, reply.Registers)
			}
			ended = reply.Ended
		}
	}
}

// March C- of 1K × 4 takes 0.06 s of the MCU's time at most, with its LOADs: four times what a
// loop for the one chip would need (README.md).
func TestMarchTakesItsTime(t *testing.T) {
	p := open(t, "")
	line := powered(t, p.Conn, 28, 9)
	busy := p.bench.busy()
	line.run(static1K(1024).march()...)
	took := duration(p.bench.busy() - busy)
	t.Log(took)
	if took > 60*time.Millisecond {
		t.Errorf("%v", took)
	}
}

// BenchmarkMarch is March C- on a part of a memory, and what that comes to for the
// whole: every turn of its outer loop takes as long as the others.
func BenchmarkMarch(b *testing.B) {
	for _, c := range []struct {
		name         string
		memory       underTest
		whole        int // words of the whole memory
		high, ground uint8
	}{
		{"64Kx1 dynamic", dynamic64K(64), 65536, 8, 28},
		{"1Kx4 static", static1K(1024), 1024, 28, 9},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			line := powered(b, p.Conn, c.high, c.ground)
			for b.Loop() {
				loads := c.memory.march()
				busy := p.bench.busy()
				for _, load := range loads { // again each in its RUN
					line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
				}
				loading := float64(p.bench.busy() - busy)
				busy = p.bench.busy()
				line.run(loads...)
				took := float64(p.bench.busy()-busy) - loading
				words := float64(max(c.memory.outer, 1) * c.memory.inner)
				b.ReportMetric(took/operations/words, "cycles/operation")
				b.ReportMetric(took/Hertz*float64(c.whole)/words, "MCU-s-for-the-whole")
				b.ReportMetric(loading/Hertz*1000/float64(len(loads)), "MCU-ms-a-LOAD")
				b.ReportMetric(took/Hertz*float64(c.whole)/words+loading/Hertz, "MCU-s-with-LOADs")
			}
		})
	}
}

// BenchmarkAccess is what one access takes more in a CELL: cycles, of near positions (L1-8,
// R1-8) that nothing may interrupt, and of one port a word; interrupts and refresh included.
func BenchmarkAccess(b *testing.B) {
	near, one := dynamic64K(1), static1K(256)
	rom := one
	rom.load.Groups = slices.Clone(rom.load.Groups)
	rom.load.Groups[2] = []uint8{10, 11, 12, 13, 15, 16, 17, 18}
	for _, c := range []struct {
		name         string
		memory       underTest
		access       func(value uint16) protocol.Access
		high, ground uint8
	}{
		{"read near", near, near.read, 8, 28},
		{"write near", near, near.write, 8, 28},
		{"read", one, one.read, 28, 9},
		{"write, turned", one, one.write, 28, 9},
		{"take of 8 bits", rom, func(uint16) protocol.Access {
			access := one.read(0)
			access.Kind = protocol.AccessTake
			return access
		}, 28, 9},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			line := powered(b, p.Conn, c.high, c.ground)
			took := func(times int) float64 {
				cell := c.memory.cell
				for range times {
					cell.Accesses = append(cell.Accesses, c.access(0))
				}
				var a assembly
				a.loop(cell.Register, 0, 255)
				a = cell.Append(a)
				a.put(protocol.OpNext, cell.Register)
				a.put(protocol.OpEnd)
				load := c.memory.load
				load.Code = a
				line.must(&load, &protocol.Acknowledged{Request: protocol.TypePattern})
				busy := p.bench.busy()
				line.must(&protocol.PatternRun{BudgetMS: 1000}, new(protocol.PatternReply))
				return float64(p.bench.busy()-busy) / 256
			}
			for b.Loop() {
				one := took(1)
				more := (took(5) - one) / 4
				b.ReportMetric(more, "cycles")
				b.ReportMetric(one-more, "cycles-beside")
			}
		})
	}
}
