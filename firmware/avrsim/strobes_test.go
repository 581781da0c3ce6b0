//go:build simavr

package avrsim

import (
	"bytes"
	"errors"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay/memory"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A strobe is what is seen of a strobe of a memory, active low.
type strobe struct {
	at                  adapter.Word
	high, fresh         bool   // fresh: its last edge was not seen
	since               uint64 // cycle of its last edge
	pulses              int
	shortest, longest   uint64 // low, cycles
	shortestHigh, holds uint64 // high; from its fall to a change of the address
	held                bool   // that came
}

const never = 1 << 62

func newStrobe(position int) *strobe {
	return &strobe{at: adapter.At(position), high: true, fresh: true, shortest: never, shortestHigh: never, holds: never}
}

// watch takes a change of levels, among them of the address.
func (s *strobe) watch(cycle uint64, level, changed, address adapter.Word) {
	width := cycle - s.since
	if !s.fresh && !s.high && !s.held && changed&address != 0 {
		s.held, s.holds = true, min(s.holds, width)
	}
	if changed&s.at == 0 {
		return
	}
	s.high = level&s.at != 0
	switch {
	case s.fresh:
	case s.high:
		s.shortest, s.longest = min(s.shortest, width), max(s.longest, width)
		s.pulses++
	default:
		s.shortestHigh = min(s.shortestHigh, width)
	}
	s.since, s.held, s.fresh = cycle, false, false
}

// again begins after what is not watched.
func (s *strobe) again() { s.high, s.fresh = true, true }

// together is how both strobes stand to each other: the shortest from the fall of /RAS to that of
// /CAS, and to /CAS's rise; from the fall of /CAS to the rise of /RAS.
type together struct {
	ras, cas                adapter.Word
	before                  adapter.Word
	rasFell, casFell        uint64
	fallen                  bool // /CAS, since /RAS fell
	fresh                   bool // they are not watched until both are high
	delay, casHold, rasHold uint64
}

func newTogether(ras, cas adapter.Word) *together {
	return &together{ras: ras, cas: cas, fresh: true, delay: never, casHold: never, rasHold: never}
}

func (b *together) watch(cycle uint64, level adapter.Word) {
	if b.fresh {
		b.fresh, b.before = level&b.ras == 0 || level&b.cas == 0, level
		return
	}
	fell, rose := b.before&^level, level&^b.before
	b.before = level
	if fell&b.ras != 0 {
		b.rasFell, b.fallen = cycle, false
	}
	if fell&b.cas != 0 {
		b.casFell, b.fallen = cycle, true
		b.delay = min(b.delay, cycle-b.rasFell)
	}
	if rose&b.ras != 0 && b.fallen && level&b.cas == 0 {
		b.rasHold = min(b.rasHold, cycle-b.casFell)
	}
	if rose&b.cas != 0 && b.fallen {
		b.casHold = min(b.casHold, cycle-b.rasFell)
		b.fallen = false
	}
}

// again begins after what is not watched, as soon as both are high.
func (b *together) again() { b.fresh, b.fallen = true, false }

// exchanged is a type of memory whose supply pins have changed places. Its signals stay where
// they are, so that their times can be measured where revision B has no switch for the supply.
func exchanged(t part.Type) part.Type {
	v := *t.Variant
	v.Pins = slices.Clone(v.Pins)
	vcc, gnd := &v.Pins[v.VCC()-1], &v.Pins[v.GND()-1]
	vcc.Role, gnd.Role = gnd.Role, vcc.Role
	vcc.Name, gnd.Name = gnd.Name, vcc.Name
	t.Variant = &v
	return t
}

// seated is a bench with a good chip of the type in it, and its place. Where the adapter has no switch
// for a supply pin it is one whose supply pins have changed places.
func seated(t *testing.T, typ part.Type) (port, *measuring, *adapter.Seat, part.Type) {
	t.Helper()
	for {
		chip, err := virtual.NewChip(typ)
		if err != nil {
			t.Fatal(err)
		}
		bench, err := NewBench(virtual.NewSocket(chip, 1))
		if err != nil {
			t.Fatal(err)
		}
		p := serve(t, bench)
		conn := &measuring{Conn: p}
		a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
		if err != nil {
			t.Fatal(err)
		}
		s, err := a.Seat(len(typ.Variant.Pins), typ.Variant.VCC(), typ.Variant.GND())
		if err == nil {
			return p, conn, s, typ
		}
		if !errors.Is(err, adapter.ErrCannot) || typ.Variant.VCC() > typ.Variant.GND() {
			t.Fatal(err)
		}
		typ = exchanged(typ)
	}
}

// measuring is a connection that knows whether the last request was one of a program.
type measuring struct {
	link.Conn
	program bool
}

func (m *measuring) Write(p []byte) (int, error) {
	if i := bytes.IndexByte(p, protocol.Version); i >= 0 && i+1 < len(p) {
		m.program = p[i+1] == byte(protocol.TypePattern)
	}
	return m.Conn.Write(p)
}

// few is a type of memory with few of its columns: those of the lowest bits.
func few(t part.Type, columnBits int) part.Type {
	v, m := *t.Variant, *t.Variant.Memory
	m.ColumnBits = columnBits
	m.Words = 1 << (m.RowBits + columnBits)
	m.Column = m.Column[:columnBits]
	v.Memory, t.Variant = &m, &v
	return t
}

// What data books promise of every grade up to 200 ns, which is the slowest that the
// library's refresh and access times stand for: /RAS low 200 ns to 10 µs, /CAS low 135 ns
// to 10 µs, /RAS high 120 ns, the row held for 25 ns and the column for 55 ns, /CAS 35 ns after /RAS or
// later, low until 200 ns after /RAS fell, and /RAS until 135 ns after /CAS did (4164-20,
// from memory; the 2118, 41256, 4416 and 4464 ask for no more). Of 256K × 4 and 1M × 1 the slowest
// grade asks for /RAS low 150 ns to 10 µs, /CAS low 40 ns to 10 µs and /RAS high 100 ns (SMJ44C256-15, data sheet
// SGMS034C, Texas Instruments, 1995; the SMJ4C1024 is its twin, from memory). All rows are refreshed within
// the definition's time.
const (
	leastDelay, leastRASHold, leastCASHold = 35 * time.Nanosecond, 135 * time.Nanosecond, 200 * time.Nanosecond

	leastRAS, leastCAS, mostStrobe = 200 * time.Nanosecond, 135 * time.Nanosecond, 10 * time.Microsecond
	leastPrecharge                 = 120 * time.Nanosecond
	leastRowHold, leastColumnHold  = 25 * time.Nanosecond, 55 * time.Nanosecond
)

// The strobes of every dynamic memory keep to the data books in all programs of its test, and while its outputs'
// levels are measured; in programs all its rows are refreshed in time. Those whose
// supply pin has no switch on the adapter, as the 4464's, cannot be tested, but the strobes that they would see are measured.
func TestStrobesKeepToTheDataBook(t *testing.T) {
	memories, err := library.Memories()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, p := range memories {
		if v := p.Variants[0]; v.Memory.Kind != part.DynamicRAM || v.Refusal != "" {
			continue
		}
		name := p.Number
		t.Run(name, func(t *testing.T) {
			p, conn, s, typ := seated(t, few(named(t, name), 1))
			m := typ.Variant.Memory
			if _, err := s.PowerOn(t.Context(), 150); err != nil {
				t.Fatal(err)
			}
			seen++
			at := func(pin int) int { return adapter.PositionOf(pin, len(typ.Variant.Pins)) }
			ras, cas := newStrobe(at(m.RAS.Pin)), newStrobe(at(m.CAS.Pin))
			both := newTogether(ras.at, cas.at)
			refreshed := &rows{strobe: ras.at, last: map[uint32]uint64{}}
			var address, before adapter.Word
			for i, pin := range m.Address {
				address |= adapter.At(at(pin))
				if 1<<i < m.RefreshRows {
					refreshed.address = append(refreshed.address, uint8(at(pin)))
				}
			}
			p.bench.Carrier.Watch = func(cycle uint64, driven, level adapter.Word) {
				changed := level ^ before
				before = level
				if driven&ras.at == 0 || driven&cas.at == 0 {
					ras.again()
					cas.again()
					both.again()
				} else {
					both.watch(cycle, level)
					ras.watch(cycle, level, changed, address)
					cas.watch(cycle, level, changed, address)
				}
				if !conn.program {
					if len(refreshed.last) > 0 { // which takes long
						clear(refreshed.last)
					}
					refreshed.before = level
					return
				}
				refreshed.watch(cycle, driven, level)
			}
			test, err := march.ByName("MATS+") // all accesses are alike, whatever the test
			if err != nil {
				t.Fatal(err)
			}
			run := memory.NewRun(t.Context(), s, memory.Plan{Type: typ, Test: test})
			if err := run.March(); err != nil {
				t.Fatal(err)
			}
			if err := run.Follow(); err != nil {
				t.Fatal(err)
			}
			if _, err := run.Levels(); err != nil {
				t.Fatal(err)
			}
			if run.Found.FailureCount != 0 || ras.pulses < 1000 || cas.pulses < 1000 {
				t.Errorf("%d failures, %d and %d pulses", run.Found.FailureCount, ras.pulses, cas.pulses)
			}
			t.Logf("/CAS %v after /RAS, low until %v; /RAS low until %v after /CAS", duration(both.delay), duration(both.casHold), duration(both.rasHold))
			t.Logf("/RAS low %v to %v, high %v, row held %v; /CAS low %v to %v, column held %v; rows %v", duration(ras.shortest), duration(ras.longest),
				duration(ras.shortestHigh), duration(ras.holds), duration(cas.shortest), duration(cas.longest), duration(cas.holds), duration(refreshed.longest))
			for _, c := range []struct {
				what        string
				seen        uint64
				least, most time.Duration
			}{
				{"/RAS low", ras.shortest, leastRAS, mostStrobe},
				{"/RAS low", ras.longest, leastRAS, mostStrobe},
				{"/RAS high", ras.shortestHigh, leastPrecharge, time.Hour},
				{"row held", ras.holds, leastRowHold, mostStrobe},
				{"/CAS low", cas.shortest, leastCAS, mostStrobe},
				{"/CAS low", cas.longest, leastCAS, mostStrobe},
				{"column held", cas.holds, leastColumnHold, mostStrobe},
				{"/CAS after /RAS", both.delay, leastDelay, mostStrobe},
				{"/CAS low after /RAS", both.casHold, leastCASHold, mostStrobe},
				{"/RAS low after /CAS", both.rasHold, leastRASHold, mostStrobe},
				{"a row not strobed", refreshed.longest, 0, m.RefreshWithin},
			} {
				if d := duration(c.seen); d < c.least || d > c.most {
					t.Errorf("%s %v, and not %v to %v", c.what, d, c.least, c.most)
				}
			}
		})
	}
	if seen < 14 {
		t.Errorf("%d dynamic memories", seen)
	}
}
