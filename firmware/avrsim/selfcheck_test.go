//go:build simavr

package avrsim

import (
	"math"
	"strings"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/calibration"
	"chipassay/host/link"
	"chipassay/host/selfcheck"
	"chipassay/host/virtual"
	"chipassay/protocol"
)

func openSocket(t *testing.T, socket *virtual.Socket) *adapter.Adapter {
	t.Helper()
	bench, err := NewBench(socket)
	if err != nil {
		t.Fatal(err)
	}
	a, err := adapter.Open(t.Context(), link.New(serve(t, bench), protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The check of the real image on a good carrier, and on one with each kind of
// defect. Lines are those of firmware/README.md's pin map.
func TestCheckOfTheImage(t *testing.T) {
	for _, c := range []struct{ defect, look string }{
		{"", ""},
		{"L3 drive open", "PA2"},
		{"R10 drive open", "PB1"},
		{"R5 drive stuck high", "PL4"},
		{"R5 sense open", "PK4 (ADC 12)"},
		{"L3 load 1200 ohms", "load rail and position 3"},
		{"bias rail dead high", "PG0"},
		{"load rail dead low", "PG5"},
		{"high switch 8 stuck off", "PH4"},
		{"high switch 4 stuck on", "PH1"},
		{"low switch 12 stuck off", "output 7 of the latch"},
		{"low switch 21 stuck on", "output 9 of the latch"},
		{"monitor dead", "0x40"},
	} {
		b := virtual.NewBoard()
		b.Spread(1, 5)
		if c.defect != "" {
			if err := b.Damage(c.defect); err != nil {
				t.Fatal(err)
			}
		}
		r, err := selfcheck.Check(t.Context(), openSocket(t, b.Socket(nil, 1)))
		if err != nil {
			t.Fatalf("%s: %v", c.defect, err)
		}
		faults := r.Faults()
		if good := len(faults) == 0; good != (c.defect == "") || !good && (len(faults) != 1 || !strings.Contains(faults[0].Look, c.look)) {
			t.Errorf("%q: %v", c.defect, faults)
		}
	}
}

// The image's converter rounds down, half a count less on average: 2.4 mV. The rest
// is what the board was given.
func TestCalibrationOfTheImage(t *testing.T) {
	b := virtual.NewBoard()
	for _, d := range []string{"all bias 9700 ohms", "all load 1030 ohms", "all drive 215 ohms", "shunt 0.98 ohms"} {
		if err := b.Damage(d); err != nil {
			t.Fatal(err)
		}
	}
	in := virtual.Resistor{Ohms: 2200, P: 28, Q: 8}
	a := openSocket(t, b.SocketWith(in, 1))
	r, err := calibration.Find(t.Context(), a, calibration.Resistor(in), 5)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.SetCalibration(t.Context(), r.New); err != nil {
		t.Fatal(err)
	}
	kept, err := a.Calibration(t.Context())
	if err != nil || kept.State != protocol.CalibrationStored {
		t.Fatalf("%+v, %v", kept, err)
	}
	for _, k := range []struct {
		name              string
		got, want, within float64
	}{
		{"bias", float64(kept.BiasOhms), 9700, 0.015 * 9700}, {"load", float64(kept.LoadOhms), 1030, 0.008 * 1030},
		{"drive", float64(kept.DriveOhms), 215, 0.03 * 215}, {"shunt gain", kept.ShuntGain, 1 / 0.98, 0.005},
		{"gain", kept.Channels[5].Gain, 1, 0.0035},
	} {
		t.Logf("%s: %g, given %g", k.name, k.got, k.want)
		if math.Abs(k.got-k.want) > k.within {
			t.Errorf("%s: %g, want %g within %g", k.name, k.got, k.want, k.within)
		}
	}
}
