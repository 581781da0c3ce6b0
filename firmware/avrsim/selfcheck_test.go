//go:build simavr

package avrsim

import (
	"math"
	"slices"
	"testing"

	"chipassay/firmware/carrier"
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

// damaged is a board with some groups fitted, all for none, and something wrong with it.
func damaged(t *testing.T, defect string, groups ...carrier.Group) *virtual.Board {
	t.Helper()
	b := virtual.NewBoard()
	if len(groups) > 0 {
		b.Groups(groups...)
	}
	if defect != "" {
		if err := b.Damage(defect); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// The check of the real image on a good carrier, whole and as a starter, and on one with
// each kind of defect: it names the part. References are those of firmware/carrier.
func TestCheckOfTheImage(t *testing.T) {
	starter := []carrier.Group{carrier.Starter}
	for _, c := range []struct {
		defect string
		groups []carrier.Group
		part   string // "" for no fault
	}{
		{"", nil, ""},
		{"", starter, ""},
		{"R103 open", nil, "R103"},
		{"R224 open", nil, "R224"},
		{"R305 open", nil, "R305"},
		{"R305 open", starter, "R305"},
		{"R403 open", nil, "R403"},
		{"Q208 missing", nil, "Q208"},
		{"Q112 missing", nil, "Q112"},
		{"Q107 missing", starter, "Q107"},
		{"monitor dead", nil, "U51"},
		{"U41 dead", nil, "U41"},
		{"button stuck", nil, "PE4"},
		{"U31 dead", carrier.AllGroups(), "U31"}, // stated to be fitted, or it would count as not fitted
	} {
		a := openSocket(t, damaged(t, c.defect, c.groups...).Socket(nil, 1))
		r, err := selfcheck.Check(t.Context(), a, selfcheck.Options{Building: len(c.groups) > 1, Group: carrier.Converters})
		if err != nil {
			t.Errorf("%s on %v: %v", c.defect, c.groups, err)
			continue
		}
		faults := r.Faults()
		if good := len(faults) == 0; good != (c.part == "") || !good && !slices.Contains(faults[0].Parts, c.part) {
			t.Errorf("%q on %v: %v", c.defect, c.groups, faults)
		}
	}
}

// The image finds what the board was given, and what is behind the resistors: the
// MCU's output of 25 Ω at the drive, a register's of 32.5 Ω at bias and load (from memory
// of the data sheets). It needs no voltmeter, for it has the reference. The monitor's
// half step of 50 µA is what the shunt is off by, and a share of the base's current.
func TestCalibrationOfTheImage(t *testing.T) {
	b := virtual.NewBoard()
	for _, d := range []string{"all bias 9700 ohms", "all load 1030 ohms", "all drive 130 ohms", "shunt 0.098 ohms"} {
		if err := b.Damage(d); err != nil {
			t.Fatal(err)
		}
	}
	in := virtual.Resistor{Ohms: 2200, P: 28, Q: 8}
	a := openSocket(t, b.SocketWith(in, 1))
	r, err := calibration.Find(t.Context(), a, calibration.Resistor(in), 0)
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
		{"bias", float64(kept.BiasOhms), 9700 + 32.5, 0.015 * 9700}, {"load", float64(kept.LoadOhms), 1030 + 32.5, 0.01 * 1030},
		{"drive", float64(kept.DriveOhms), 130 + 25, 0.035 * 155}, {"shunt gain", kept.ShuntGain, 1 / 0.98, 0.02},
		{"gain", kept.Channels[5].Gain, 1, 0.0035},
	} {
		t.Logf("%s: %g, given %g", k.name, k.got, k.want)
		if math.Abs(k.got-k.want) > k.within {
			t.Errorf("%s: %g, want %g within %g", k.name, k.got, k.want, k.within)
		}
	}
}
