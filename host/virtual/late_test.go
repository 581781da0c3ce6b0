package virtual

import (
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// lateSocket is a powered quad NAND in a socket whose clock the test sets.
func lateSocket(t *testing.T, defects ...string) (s *Socket, clock func(microseconds float64)) {
	s = NewSocket(quadNAND(t, "74HC", part.TotemPole, defects...), 1)
	now := time.Duration(0)
	s.KeepTime(func() time.Duration { return now })
	s.Supply(adapter.At(28), adapter.At(7))
	return s, func(us float64) { now = time.Duration(us * float64(time.Microsecond)) }
}

// An output that is 20 µs late shows what its inputs made it 20 µs before, pulses
// shorter than that included; the other outputs are in time. The times are sums.
func TestLateOutput(t *testing.T) {
	s, clock := lateSocket(t, "3 late 20 us")
	s.Drive(pins(1, 2, 4, 5), 0)
	clock(1000)
	if r := reads(s, at(3)); r != '1' {
		t.Fatalf("pin 3 reads %c after 1 ms, want 1", r)
	}
	s.Drive(pins(1, 2, 4, 5), pins(1, 2, 4, 5)) // at 1000 µs both fall
	clock(1003)
	s.Drive(pins(1, 2, 4, 5), pins(2, 5)) // at 1003 µs both rise: a pulse of 3 µs
	for _, c := range []struct {
		us         float64
		three, six byte
	}{
		{1003, '1', '1'}, {1019.9, '1', '1'}, {1020, '0', '1'}, {1022.9, '0', '1'}, {1023, '1', '1'}, {2000, '1', '1'},
	} {
		clock(c.us)
		if three, six := reads(s, at(3)), reads(s, at(6)); three != c.three || six != c.six {
			t.Errorf("at %v µs pins 3 and 6 read %c %c, want %c %c", c.us, three, six, c.three, c.six)
		}
	}
}

// One that is late one way alone: pin 3 rises 20 µs late and pin 6 falls 30 µs late, each in time the other way. A
// pulse that is shorter does not show.
func TestLateOneWay(t *testing.T) {
	s, clock := lateSocket(t, "3 rises 20 us late", "6 falls 30 us late")
	all := pins(1, 2, 4, 5)
	s.Drive(all, all) // both low
	clock(1000)
	s.Drive(all, 0) // both rise
	check := func(us float64, three, six byte) {
		t.Helper()
		clock(us)
		if a, b := reads(s, at(3)), reads(s, at(6)); a != three || b != six {
			t.Errorf("at %v µs pins 3 and 6 read %c %c, want %c %c", us, a, b, three, six)
		}
	}
	check(1000, '0', '1')
	check(1019.9, '0', '1')
	check(1020, '1', '1')
	s.Drive(all, all) // both fall, at 1020 µs
	check(1020, '0', '1')
	check(1049.9, '0', '1')
	check(1050, '0', '0')
	s.Drive(all, 0) // a pulse of 5 µs
	clock(1055)
	s.Drive(all, all)
	check(1055, '0', '1')
	check(1084.9, '0', '1')
	check(1085, '0', '0')
	check(2000, '0', '0')
}

// What a late output drives over a short follows it: pin 3 touches input 4, whose
// gate answers at pin 6 at once. With 3 from low to high and 5 high, 6 falls.
func TestWhatFollowsALateOutput(t *testing.T) {
	s, clock := lateSocket(t, "3 late 50 us", "3 shorted to 4")
	s.Drive(pins(1, 2, 5), pins(1, 2, 5))
	clock(100)
	if r := reads(s, at(6)); r != '1' {
		t.Fatalf("pin 6 reads %c, want 1", r)
	}
	s.Drive(pins(1, 2, 5), pins(1, 5))
	for _, c := range []struct {
		us  float64
		six byte
	}{{149, '1'}, {150, '0'}} {
		clock(c.us)
		if r := reads(s, at(6)); r != c.six {
			t.Errorf("at %v µs pin 6 reads %c, want %c", c.us, r, c.six)
		}
	}
}

// A late inverter that is fed back has a period of twice its delay: a delay of
// 10 µs gives 50 changes in 500 µs. One that was left alone for long is no endless work.
func TestLateOutputFedBackOscillates(t *testing.T) {
	s, clock := lateSocket(t, "3 late 10 us", "2 shorted to 3")
	s.Drive(pins(1), pins(1))
	clock(1000) // it has come up
	changes, last := 0, reads(s, at(3))
	for us := 1001.0; us <= 1500; us++ {
		clock(us)
		if r := reads(s, at(3)); r != last {
			changes, last = changes+1, r
		}
	}
	if changes != 50 {
		t.Errorf("%d changes in 500 µs, want 50", changes)
	}
	clock(1e12)
	s.Sample()
}

// An output whose supply was away has forgotten what was coming: the low that was to
// come at 300 µs does not. What the die answers as it wakes comes 100 µs later; until
// then the pin is released, which one bias rail shows and then the other.
func TestLateOutputStartsAnew(t *testing.T) {
	s, clock := lateSocket(t, "3 late 100 us")
	s.Drive(pins(1, 2), 0)
	clock(200)
	s.Drive(pins(1, 2), pins(1, 2))
	s.Supply(0, 0)
	s.Drive(pins(1, 2), 0)
	clock(250)
	s.Supply(adapter.At(28), adapter.At(7))
	for _, c := range []struct {
		us        float64
		low, high byte
	}{{299, '0', '1'}, {310, '0', '1'}, {349, '0', '1'}, {350, '1', '1'}} {
		clock(c.us)
		pull(s, allLow, allOff)
		low := reads(s, at(3))
		pull(s, allHigh, allOff)
		if high := reads(s, at(3)); low != c.low || high != c.high {
			t.Errorf("at %v µs pin 3 reads %c and %c, want %c and %c", c.us, low, high, c.low, c.high)
		}
	}
}
