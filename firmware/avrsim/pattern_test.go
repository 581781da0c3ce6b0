//go:build simavr

package avrsim

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

// An assembly is the code of a pattern program, an instruction a call.
type assembly []byte

func (a *assembly) put(op uint8, operands ...uint8) { *a = append(append(*a, op), operands...) }
func (a *assembly) flip(numbers ...uint8) {
	*a = binary.LittleEndian.AppendUint32(append(*a, protocol.OpFlip), positions(numbers...))
}
func (a *assembly) value(group uint8, value uint16) {
	*a = binary.LittleEndian.AppendUint16(append(*a, protocol.OpValue, group), value)
}
func (a *assembly) loop(register uint8, first, last uint16) {
	*a = append(*a, protocol.OpLoop, register)
	*a = binary.LittleEndian.AppendUint16(binary.LittleEndian.AppendUint16(*a, first), last)
}

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
			}
		})
	}
}

// rows watches the strobes of a dynamic memory.
type rows struct {
	strobe  adapter.Word
	address []uint8
	before  adapter.Word
	last    map[uint32]uint64 // by row, cycle of its last strobe
	longest uint64            // between two of a row, cycles
}

func (r *rows) watch(cycle uint64, _, level adapter.Word) {
	if r.before&^level&r.strobe != 0 {
		var row uint32
		for bit, position := range r.address {
			if level&adapter.At(int(position)) != 0 {
				row |= 1 << bit
			}
		}
		if last, seen := r.last[row]; seen {
			r.longest = max(r.longest, cycle-last)
		}
		r.last[row] = cycle
	}
	r.before = level
}

// Each of the 128 rows is strobed at least every 2 ms (data sheet of the 4164, from
// memory): while the program runs, while replies go out, while nothing is asked,
// and while the state is.
func TestRefreshIsKept(t *testing.T) {
	p := open(t, "")
	memory := dynamic64K(2)
	seen := &rows{strobe: adapter.At(4), address: memory.load.Groups[0][:7], last: map[uint32]uint64{}}
	p.bench.Carrier.Watch = seen.watch
	line := powered(t, p.Conn, 8, 28)
	line.run(memory.march()...)
	within := func(what string) {
		t.Helper()
		if len(seen.last) != 128 {
			t.Errorf("%s: %d rows", what, len(seen.last))
		}
		t.Logf("%s: at most %v between two strobes of a row", what, duration(seen.longest))
		if seen.longest > cyclesIn(2*time.Millisecond) {
			t.Errorf("%s: %v between two strobes of a row", what, duration(seen.longest))
		}
		seen.longest = 0
	}
	within("running")
	if err := p.Pass(300 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	within("idle")
	for range 20 {
		line.must(new(protocol.Status), new(protocol.StatusReply))
	}
	within("answering STATUS")

	// An error a cell: the reply is as long as can be.
	var a assembly
	a.value(3, 1)
	a.loop(0, 0, 65535)
	a.put(protocol.OpCheck, 3)
	a.put(protocol.OpNext, 0)
	a.put(protocol.OpWait, 50, 0, 1)
	a.put(protocol.OpEnd)
	memory.load.Code = a
	line.must(&memory.load, &protocol.Acknowledged{Request: protocol.TypePattern})
	within("loading another program")
	for range 5 {
		var reply protocol.PatternReply
		line.must(&protocol.PatternRun{Log: true, BudgetMS: 500}, &reply)
		if len(reply.Output) < 1000 {
			t.Errorf("%d bytes put out", len(reply.Output))
		}
	}
	within("replying")
	for ended := false; !ended; {
		var reply protocol.PatternReply
		line.must(&protocol.PatternRun{BudgetMS: 20}, &reply)
		ended = reply.Ended
	}
	within("waiting")
}

// The next program may come at any time: each row is strobed in time while it is loaded,
// also when the one before leaves the longest time between two refreshes, and whatever
// the next one has most of.
func TestRefreshIsKeptInLoads(t *testing.T) {
	short, groups, code, accesses := dynamic64K(2).load, dynamic64K(2).load, dynamic64K(2).load, dynamic64K(2)
	short.Code = []byte{protocol.OpEnd}
	for range 2 {
		groups.Groups = append(groups.Groups, []uint8{2, 3, 4, 5, 6, 7, 21, 22, 23, 24, 25, 26, 27, 1, 9, 10})
	}
	groups.Code = short.Code
	loop := slices.Concat([]byte{protocol.OpLoop, 0, 0, 0, 0, 0}, bytes.Repeat([]byte{protocol.OpValue, 2, 1, 0}, 12), []byte{protocol.OpNext, 0})
	code.Code = append(bytes.Repeat(loop, 16), protocol.OpEnd)
	for range protocol.CellAccesses {
		accesses.cell.Accesses = append(accesses.cell.Accesses, accesses.read(0))
	}
	accesses.load.Code = append(accesses.cell.Append(accesses.cell.Append(nil)), protocol.OpEnd) // MostAccesses
	for name, load := range map[string]*protocol.PatternLoad{"groups": &groups, "code": &code, "accesses": &accesses.load} {
		t.Run(name, func(t *testing.T) {
			p := open(t, "")
			seen := &rows{strobe: adapter.At(4), address: short.Groups[0][:7], last: map[uint32]uint64{}}
			line := powered(t, p.Conn, 8, 28)
			p.bench.Carrier.Watch = seen.watch
			for phase := range 40 {
				line.must(&short, &protocol.Acknowledged{Request: protocol.TypePattern})
				if err := p.Pass(10*time.Millisecond + time.Duration(phase)*50*time.Microsecond); err != nil {
					t.Fatal(err)
				}
				line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
			}
			t.Logf("%s: at most %v between two strobes of a row", name, duration(seen.longest))
			if seen.longest > cyclesIn(2*time.Millisecond) {
				t.Errorf("%v between two strobes of a row", duration(seen.longest))
			}
		})
	}
}

// The supply is shorted in the middle of programs.
func TestTripInPatterns(t *testing.T) {
	long := func(settle uint16) *protocol.PatternLoad {
		var a assembly
		a.loop(0, 0, 65535)
		for range 20 {
			a.put(protocol.OpSpot, 1)
		}
		a.put(protocol.OpNext, 0)
		a.put(protocol.OpEnd)
		return &protocol.PatternLoad{Settle: settle, Direction: positions(1), Code: a}
	}
	wait := long(0)
	wait.Code = []byte{protocol.OpWait, 200, 0, 1, protocol.OpEnd}
	for name, load := range map[string]*protocol.PatternLoad{
		"refresh": dynamic64K(256).march()[1], "no settling": long(0), "settling 100 µs": long(1600), "settling 4 ms": long(64000), "waiting": wait,
	} {
		longest := time.Duration(0)
		for phase := range 12 {
			p := open(t, "")
			line := powered(t, p.Conn, 8, 28)
			line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
			shorted := p.bench.short(5*time.Millisecond + time.Duration(phase)*91*time.Microsecond)
			if err := line.call(&protocol.PatternRun{BudgetMS: 100}, new(protocol.PatternReply)); !errors.Is(err, protocol.Overcurrent) {
				t.Fatalf("%s, phase %d: %v", name, phase, err)
			}
			longest = max(longest, duration(p.bench.opened()-shorted))
		}
		t.Logf("%s: switched off within %v", name, longest)
		if longest >= longestTrip {
			t.Errorf("%s: switched off after %v", name, longest)
		}
	}
}

// BenchmarkInstruction is what one instruction takes more in a loop.
func BenchmarkInstruction(b *testing.B) {
	const turns, times = 1000, 20
	near, far := []uint8{1, 2, 3, 4, 25, 24, 23, 22}, []uint8{1, 2, 3, 4, 10, 24, 23, 16}
	bits16 := []uint8{1, 2, 3, 4, 5, 6, 7, 9, 10, 16, 17, 18, 25, 24, 23, 22}
	flip := func(numbers ...uint8) (a assembly) { a.flip(numbers...); return a }
	for _, c := range []struct {
		name string
		code assembly
	}{
		{"NEXT", nil},
		{"FLIP", flip(1, 10)},
		{"SHOW", assembly{protocol.OpShow, 1}},
		{"CHECK", assembly{protocol.OpCheck, 4}},
		{"LATCH 8 bits", assembly{protocol.OpLatch, 1, 0}},
		{"LATCH 16 bits", assembly{protocol.OpLatch, 2, 0}},
		{"VALUE 8 bits", assembly{protocol.OpValue, 1, 1, 2}},
		{"SET", assembly{protocol.OpSet, 3, 0, 0, 0, 1, 0, 0, 0}},
		{"DRIVE", assembly{protocol.OpDrive, 1}},
		{"RELEASE", assembly{protocol.OpRelease, 5}},
		{"FOLD", assembly{protocol.OpFold}},
		{"STEP", assembly{protocol.OpStep, 1, 0, 0, 0}},
		{"SPOT", assembly{protocol.OpSpot, 1}},
		{"PAUSE 0", assembly{protocol.OpPause, 0}},
		{"MARK", assembly{protocol.OpMark, 1}},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			line := powered(b, p.Conn, 28, 12)
			took := func(times int) float64 {
				var a assembly
				a.loop(1, 0, turns-1)
				for range times {
					a = append(a, c.code...)
				}
				a.put(protocol.OpNext, 1)
				a.put(protocol.OpEnd)
				load := &protocol.PatternLoad{Direction: positions(bits16...), Mask: positions(5), Code: a,
					Groups: [][]uint8{near, far, bits16, {2}, {2, 10}, {26}}}
				line.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
				busy := p.bench.busy()
				line.must(&protocol.PatternRun{BudgetMS: 1000}, new(protocol.PatternReply))
				return float64(p.bench.busy()-busy) / turns
			}
			for b.Loop() {
				if c.code == nil {
					b.ReportMetric(took(0), "cycles")
					continue
				}
				b.ReportMetric((took(times)-took(0))/times, "cycles")
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
