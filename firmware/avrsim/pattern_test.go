//go:build simavr

package avrsim

import (
	"encoding/binary"
	"errors"
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

const operations = 10 // of March C-, a cell

// A memory under test, as the test writes its program: the parts of an access in
// instructions.
type memory struct {
	load        protocol.PatternLoad
	in, out     uint8 // groups of the bits written, and read
	outer       int   // turns of the outer loop
	inner       int   // of the inner loop
	latchOuter  func(*assembly)
	latchInner  func(*assembly)
	read, write func(*assembly)
}

func (m memory) loop(a *assembly, register uint8, n int, down bool) {
	if down {
		a.loop(register, uint16(n-1), 0)
	} else {
		a.loop(register, 0, uint16(n-1))
	}
}

// march is March C- on it. What stands for the outputs is shown as it should read.
func (m memory) march() *protocol.PatternLoad {
	var a assembly
	ones := uint16(1)<<len(m.load.Groups[m.out]) - 1
	for _, e := range marchCMinus {
		for op := range len(e.ops) / 2 {
			value := uint16(e.ops[2*op+1]-'0') * ones
			group := m.in
			if e.ops[2*op] == 'r' {
				group = m.out
			}
			a.value(group, value)
			a.put(protocol.OpShow, group)
		}
		m.loop(&a, 0, m.outer, e.down)
		m.latchOuter(&a)
		m.loop(&a, 1, m.inner, e.down)
		m.latchInner(&a)
		for op := range len(e.ops) / 2 {
			if e.ops[2*op] == 'r' {
				m.read(&a)
			} else {
				m.write(&a)
			}
		}
		a.put(protocol.OpNext, 1)
		a.put(protocol.OpNext, 0)
	}
	a.put(protocol.OpEnd)
	load := m.load
	load.Code = a
	return &load
}

// A 4164 in its socket: 64K×1, D WE RAS CAS at 2 3 4 27 (data books, from memory).
// Its output is played by position 10, which is driven as it should read. All 128
// rows of 7 bits within 2 ms.
func dynamic64K(rows int) memory {
	const d, we, ras, cas, q = 2, 3, 4, 27, 10
	address := []uint8{5, 7, 6, 24, 23, 22, 25, 21} // A0 to A7
	show := func(a *assembly, group uint8) { a.put(protocol.OpShow, group) }
	return memory{
		load: protocol.PatternLoad{
			Settle:    4, // 250 ns, the access time of a slow one
			Direction: positions(append([]uint8{d, we, ras, cas, q}, address...)...), Level: positions(we, ras, cas),
			RefreshUS: 2000, RefreshBits: 7, RefreshGroup: 0, RefreshStrobe: positions(ras),
			Groups: [][]uint8{address, address, {d}, {q}}},
		in: 2, out: 3, outer: rows, inner: 256,
		latchOuter: func(a *assembly) { a.put(protocol.OpLatch, 0, 0) },
		latchInner: func(a *assembly) { a.put(protocol.OpLatch, 1, 1) },
		read: func(a *assembly) {
			show(a, 0)
			a.flip(ras)
			show(a, 1)
			a.flip(cas)
			a.put(protocol.OpCheck, 3)
			a.flip(ras, cas)
		},
		write: func(a *assembly) {
			show(a, 0)
			a.flip(ras, we)
			show(a, 1)
			a.flip(cas)
			a.flip(ras, cas, we)
		},
	}
}

// A 2114 in its socket: 1K×4 static, CS WE at 8 20, data at 21 to 24 (data books,
// from memory). Reading, its outputs are played by positions 10 to 13.
func static1K(outer int) memory {
	const cs, we = 8, 20
	high, low := []uint8{15 + 10, 7, 6, 5, 4}, []uint8{3, 2, 1, 27, 26} // ten lines of address, in halves
	inout, played := []uint8{24, 23, 22, 21}, []uint8{10, 11, 12, 13}
	direction := positions(cs, we) | positions(high...) | positions(low...) | positions(played...)
	return memory{
		load: protocol.PatternLoad{Settle: 8, Direction: direction, Level: positions(cs, we), Groups: [][]uint8{high, low, inout, played}},
		in:   2, out: 3, outer: outer, inner: 32,
		latchOuter: func(a *assembly) { a.put(protocol.OpLatch, 0, 0); a.put(protocol.OpShow, 0) },
		latchInner: func(a *assembly) { a.put(protocol.OpLatch, 1, 1); a.put(protocol.OpShow, 1) },
		read: func(a *assembly) {
			a.flip(cs)
			a.put(protocol.OpCheck, 3)
			a.flip(cs)
		},
		write: func(a *assembly) {
			a.flip(cs, we)
			a.put(protocol.OpDrive, 2)
			a.flip(cs, we)
			a.put(protocol.OpRelease, 2)
		},
	}
}

// run runs a program to its end, and gives the number of requests.
func (c caller) run(load *protocol.PatternLoad) (requests int) {
	c.t.Helper()
	c.must(load, &protocol.Acknowledged{Request: protocol.TypePattern})
	for requests = 1; ; requests++ {
		var reply protocol.PatternReply
		c.must(&protocol.PatternRun{Log: true, BudgetMS: 500}, &reply)
		if reply.Errors != 0 {
			c.t.Fatalf("%d errors, registers %v", reply.Errors, reply.Registers)
		}
		if reply.Ended {
			return requests
		}
	}
}

// BenchmarkMarch is March C- on a part of a memory, and what that comes to for the
// whole: every turn of its outer loop takes as long as the others.
func BenchmarkMarch(b *testing.B) {
	for _, c := range []struct {
		name         string
		memory       memory
		whole        int // turns of the outer loop in the whole memory
		high, ground uint8
	}{
		{"64Kx1 dynamic", dynamic64K(8), 256, 8, 28},
		{"1Kx4 static", static1K(32), 32, 28, 9},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			line := powered(b, p.Conn, c.high, c.ground)
			for b.Loop() {
				busy := p.bench.busy()
				requests := line.run(c.memory.march())
				took := float64(p.bench.busy() - busy)
				b.ReportMetric(took/float64(operations*c.memory.outer*c.memory.inner), "cycles/operation")
				b.ReportMetric(took/Hertz*float64(c.whole)/float64(c.memory.outer), "MCU-s-for-the-whole")
				b.ReportMetric(float64(requests), "requests")
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
	line.run(memory.march())
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
		"refresh": dynamic64K(256).march(), "no settling": long(0), "settling 100 µs": long(1600), "settling 4 ms": long(64000), "waiting": wait,
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

// BenchmarkInstruction is what one instruction takes more in a loop: of near
// positions (L1-8, R1-8), and of others.
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
		{"FLIP near", flip(1, 25)},
		{"FLIP", flip(1, 10)},
		{"SHOW near", assembly{protocol.OpShow, 0}},
		{"SHOW", assembly{protocol.OpShow, 1}},
		{"SHOW FLIP near", append(assembly{protocol.OpShow, 0}, flip(1, 25)...)},
		{"CHECK near", assembly{protocol.OpCheck, 3}},
		{"CHECK", assembly{protocol.OpCheck, 4}},
		{"CHECK FLIP near", append(assembly{protocol.OpCheck, 3}, flip(1, 25)...)},
		{"LATCH near, 8 bits", assembly{protocol.OpLatch, 0, 0}},
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
