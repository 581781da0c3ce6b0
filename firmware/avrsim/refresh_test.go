//go:build simavr

package avrsim

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

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

// A memory of which every read is wrong takes many times as long a cell: its rows are
// strobed in time all the same, since the refresh comes between accesses.
func TestRefreshIsKeptInCellsOfErrors(t *testing.T) {
	p := open(t, "")
	memory := dynamic64K(2)
	seen := &rows{strobe: adapter.At(4), address: memory.load.Groups[0][:7], last: map[uint32]uint64{}}
	p.bench.Carrier.Watch = seen.watch
	line := powered(t, p.Conn, 8, 28)
	memory.load.Groups = append(memory.load.Groups[:3:3], []uint8{26, 1, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19}) // many to report
	for range protocol.CellAccesses {
		memory.cell.Accesses = append(memory.cell.Accesses, memory.read(0xFFFF)) // bit 0 is driven low
	}
	var a assembly
	a.loop(0, 0, 1)
	a.put(protocol.OpLatch, 0, 0)
	a.loop(1, 0, 255)
	a = memory.cell.Append(memory.cell.Append(a)) // MostAccesses
	a.put(protocol.OpNext, 1)
	a.put(protocol.OpNext, 0)
	a.put(protocol.OpEnd)
	memory.load.Code = a
	line.must(&memory.load, &protocol.Acknowledged{Request: protocol.TypePattern})
	errors := uint32(0)
	for ended := false; !ended; {
		var reply protocol.PatternReply
		line.must(&protocol.PatternRun{Log: true, BudgetMS: 500}, &reply)
		ended, errors = reply.Ended, reply.Errors
	}
	t.Logf("at most %v between two strobes of a row", duration(seen.longest))
	if errors != 2*256*protocol.MostAccesses || seen.longest > cyclesIn(2*time.Millisecond) {
		t.Errorf("%d errors, %v between two strobes of a row", errors, duration(seen.longest))
	}
}
