//go:build simavr

package avrsim

import (
	"math"
	"testing"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
)

// What the image finds at reset is what is fitted, whatever chip is in the socket: the
// netlist's lanes say which positions a group brings.
func TestFindsWhatIsFitted(t *testing.T) {
	all := []carrier.Group{carrier.Starter, carrier.Load, carrier.FarHalf, carrier.Switches, carrier.Converters}
	for _, groups := range [][]carrier.Group{all, all[:1], all[:2], all[:3], all[:4], {carrier.Starter, carrier.Switches}, {carrier.Starter, carrier.Converters}} {
		for _, chip := range []string{"", "7400", "74LS74", "4011", "74HC00", "2114"} {
			b := virtual.NewBoard()
			b.Groups(groups...)
			a := openSocket(t, b.Socket(chipOf(t, chip), 1))
			has := func(g carrier.Group) bool {
				for _, h := range groups {
					if h == g {
						return true
					}
				}
				return false
			}
			want := adapter.Capabilities{}
			for _, l := range carrier.Lanes() {
				if !l.Near() && !has(carrier.FarHalf) {
					continue
				}
				at := adapter.At(l.Position)
				corner := l.Position == 7 || l.Position == 8
				want.Positions |= at
				if has(carrier.Load) {
					want.Load |= at
				}
				if !l.Near() && has(carrier.Converters) {
					want.Far |= at
				}
				if l.Low != "" && (corner || has(carrier.Switches)) {
					want.SupplyLow |= at
				}
				if l.High != "" && (l.Position == 28 || has(carrier.Switches)) {
					want.SupplyHigh |= at
				}
			}
			got := a.Capabilities
			if got.Positions != want.Positions || got.Bias != want.Positions || got.Load != want.Load || got.Far&adapter.All != want.Far ||
				got.SupplyLow != want.SupplyLow || got.SupplyHigh != want.SupplyHigh || !got.Monitor {
				t.Errorf("%v with %q: found positions %v, load %v, far %v, low side %v, high side %v; fitted are %v, %v, %v, %v, %v", groups, chip,
					got.Positions, got.Load, got.Far, got.SupplyLow, got.SupplyHigh,
					want.Positions, want.Load, want.Far, want.SupplyLow, want.SupplyHigh)
			}
		}
	}
}

func chipOf(t *testing.T, name string) *virtual.Chip {
	t.Helper()
	if name == "" {
		return nil
	}
	chip, err := virtual.NewChip(named(t, name))
	if err != nil {
		t.Fatal(err)
	}
	return chip
}

// A starter does the whole job on what it seats, at the image as at the virtual adapter.
func TestStarter(t *testing.T) {
	for _, c := range []struct {
		part, defect string
		verdict      assay.Verdict
	}{{"7400", "", assay.Pass}, {"74LS74", "", assay.Pass}, {"4011", "", assay.Pass}, {"7400", "3 stuck low", assay.Fail}} {
		b := virtual.NewBoard()
		b.Groups(carrier.Starter)
		var defects []virtual.Defect
		if c.defect != "" {
			d, err := virtual.ParseDefect(c.defect)
			if err != nil {
				t.Fatal(err)
			}
			defects = append(defects, d)
		}
		chip, err := virtual.NewChip(named(t, c.part), defects...)
		if err != nil {
			t.Fatal(err)
		}
		bench, err := NewBench(b.Socket(chip, 1))
		if err != nil {
			t.Fatal(err)
		}
		if r := assayed(t, serve(t, bench), c.part); r.Verdict != c.verdict {
			t.Errorf("%s %s: %s: %s", c.part, c.defect, r.Verdict, r.Reason)
		}
	}
}

// By the reference the host knows the rail, which a port of 4.6 V leaves lower still.
func TestReferenceGivesTheRail(t *testing.T) {
	for _, volts := range []float64{4.6, 5, 5.25} {
		b := virtual.NewBoard()
		b.USB(volts)
		socket := b.Socket(nil, 1)
		a, err := adapter.Open(t.Context(), link.New(serve(t, benchOf(t, socket)), protocol.UsualRate))
		if err != nil {
			t.Fatal(err)
		}
		seat, err := a.Seat(14, 14, 7)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := seat.ProbeMeasure(t.Context(), []adapter.MeasureStep{{}}); err != nil {
			t.Fatal(err)
		}
		if got := a.RailVolts(); math.Abs(got-socket.RailVolts()) > 0.005 {
			t.Errorf("a port of %g V: the rail is measured as %.3f V, it is %.3f V", volts, got, socket.RailVolts())
		}
	}
}

func benchOf(t *testing.T, socket *virtual.Socket) *Bench {
	t.Helper()
	bench, err := NewBench(socket)
	if err != nil {
		t.Fatal(err)
	}
	return bench
}

// Each position alone is pulled by the image to where PULLS says, by the bias and by the
// stronger load, and grounded by POWER where it has such a switch: what reads high is
// that position and no other, or all others.
func TestPullsByPosition(t *testing.T) {
	p := open(t, "")
	c := caller{t, link.New(p.Conn, protocol.UsualRate)}
	c.must(new(protocol.Hello), new(protocol.Capabilities))
	all := uint32(adapter.All)
	look := func(what string, position int, want uint32) {
		t.Helper()
		var reply protocol.ApplyReply
		c.must(&protocol.Apply{Unpowered: true, SettleUS: 50, Steps: []protocol.Drive{{}}}, &reply)
		if len(reply.Samples) != 1 || reply.Samples[0] != want {
			t.Errorf("%s at %d: read %#x, want %#x", what, position, reply.Samples, want)
		}
	}
	ok := func(of protocol.Type) *protocol.Acknowledged { return &protocol.Acknowledged{Request: of} }
	for _, l := range carrier.Lanes() {
		one := uint32(adapter.At(l.Position))
		c.must(&protocol.Pulls{Bias: protocol.Pull{On: true, Up: one}}, ok(protocol.TypePulls))
		look("bias", l.Position, one)
		c.must(&protocol.Pulls{Bias: protocol.Pull{On: true, Up: one}, Load: protocol.Pull{On: true, Up: all &^ one}}, ok(protocol.TypePulls))
		look("load against bias", l.Position, all&^one)
		c.must(&protocol.Pulls{Bias: protocol.Pull{On: true, Up: all}}, ok(protocol.TypePulls))
		look("bias, without load", l.Position, all)
		if l.Low != "" {
			c.must(&protocol.Power{Low: one}, new(protocol.PowerReply))
			look("ground", l.Position, all&^one)
			c.must(new(protocol.Power), new(protocol.PowerReply))
		}
	}
	c.must(new(protocol.Safe), ok(protocol.TypeSafe))
}
