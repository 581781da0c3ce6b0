package assay_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A measuringBench is a whole socket of an adapter that measures, by hand.
type measuringBench struct {
	bench
	meterBench
	typ part.Type
}

func (b measuringBench) PowerOn(context.Context, int) (float64, error) {
	v := b.typ.Variant
	s := b.bench.Socket
	powerOn(s, v)
	return b.milliamps(), nil
}

func (b measuringBench) PowerOff(context.Context) error {
	s := b.bench.Socket
	s.Drive(0, 0)
	s.Pull(virtual.BiasPull, false, 0)
	s.Pull(virtual.LoadPull, false, 0)
	s.Supply(0, 0)
	return nil
}

// powerOn powers a chip, all pins biased low: no MOS input floats when the supply comes.
func powerOn(s *virtual.Socket, v *part.Variant) {
	vcc, gnd := adapter.At(adapter.PositionOf(v.VCC(), len(v.Pins))), adapter.At(adapter.PositionOf(v.GND(), len(v.Pins)))
	s.Drive(0, 0)
	s.Pull(virtual.LoadPull, false, 0)
	s.Pull(virtual.BiasPull, true, vcc)
	s.Supply(vcc, gnd)
}

func (b measuringBench) Constants(ctx context.Context) (adapter.Constants, error) {
	return b.bench.Constants(ctx)
}

func (b measuringBench) Spent() time.Duration { return 0 }

func (b measuringBench) Sensed() (pins part.Pins) {
	for pin := 1; pin <= b.n; pin++ {
		pins = pins.With(pin, virtual.Sensed.Has(adapter.PositionOf(pin, b.n)))
	}
	return pins
}

func (b measuringBench) Apply(_ context.Context, steps []stimulus.Step, bias adapter.Pull) (read []part.Pins, err error) {
	s := b.bench.Socket
	pull(s, virtual.BiasPull, bias, b.word)
	s.Pull(virtual.LoadPull, false, 0)
	for _, st := range steps {
		s.Drive(b.word(st.Driven), b.word(st.Drive))
		w := s.Sample()
		var pins part.Pins
		for pin := 1; pin <= b.n; pin++ {
			pins = pins.With(pin, w.Has(adapter.PositionOf(pin, b.n)))
		}
		read = append(read, pins)
	}
	return read, nil
}

// The whole procedure: lies right, function, levels, grade; wrong levels and
// families lower the grade of a chip whose function is right.
func TestTheWholeProcedure(t *testing.T) {
	for _, c := range []struct {
		typ, defect string
		verdict     assay.Verdict
		grade       verdict.Grade
		says        string
	}{
		{"74LS00", "", assay.Pass, verdict.Strong, ""},
		{"4011", "", assay.Pass, verdict.Strong, ""},
		{"74LS00", "3 weak 100 ohms", assay.PassBut, verdict.Doubtful, "pin 3: VOL"},
		{"7400", "family 74LS", assay.PassBut, verdict.Doubtful, "another family than marked"},
		{"74LS00", "1 leaks 0.2 mA", assay.PassBut, verdict.Doubtful, "pin 1: IIH"},
		{"74LS00", "3 stuck low", assay.Fail, verdict.Reject, "a vector is wrong"},
		{"74LS00", "reversed", assay.NotTested, verdict.None, ""},
		{"74S197", "", assay.Pass, verdict.Strong, ""},    // CKA draws four unit loads: 8 mA at most, 5 mA in a typical chip (from memory)
		{"74S114", "", assay.NotTested, verdict.None, ""}, // /CLR draws 14 mA at most: a typical chip's stands at 1 V, which is no low
	} {
		typ := open(t, c.typ)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		var defects []string
		if c.defect != "" {
			defects = []string{c.defect}
		}
		socket := socketOf(t, typ, defects...)
		b := measuringBench{bench{socket, everywhere}, meterBench{socket, len(typ.Variant.Pins)}, typ}
		r := assay.Run(t.Context(), b, plan)
		require.Equal(t, c.verdict, r.Verdict, "%s %s: %s", c.typ, c.defect, r.Reason)
		require.Equal(t, c.grade, r.Grade, "%s %s: %v", c.typ, c.defect, r.GradeReasons)
		if c.says != "" {
			require.Contains(t, strings.Join(r.GradeReasons, "; "), c.says)
		}
		require.False(t, socket.Live())
	}
}
