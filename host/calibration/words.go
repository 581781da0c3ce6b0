package calibration

import (
	"fmt"

	"chipassay/host/adapter"
	"chipassay/protocol"
)

// A Row is a constant before and after, as a person reads it.
type Row struct{ Name, Old, New, From string }

// Rows are the constants of a result, those of each measured position last.
func (r Result) Rows() []Row {
	load := r.Load
	if load == "" {
		load = "resistor and the register's output"
	}
	ohms := func(v int) string { return fmt.Sprint(v) }
	rows := []Row{
		{"supply, V", fmt.Sprintf("%.3f", r.Old.SupplyVolts), fmt.Sprintf("%.3f", r.New.SupplyVolts), r.Supply},
		{"bias, Ω", ohms(r.Old.BiasOhms), ohms(r.New.BiasOhms), "resistor and the register's output"},
		{"load, Ω", ohms(r.Old.LoadOhms), ohms(r.New.LoadOhms), load},
		{"drive, Ω", ohms(r.Old.DriveOhms), ohms(r.New.DriveOhms), "resistor and the microcontroller's output"},
		{"shunt gain", fmt.Sprintf("%.4f", r.Old.ShuntGain), fmt.Sprintf("%.4f", r.New.ShuntGain), r.Shunt},
	}
	for p := 1; p <= adapter.Positions; p++ {
		if now, ok := r.New.Channels[p]; ok {
			rows = append(rows, Row{"channel " + adapter.Column(p), channelWords(r.Old.Channels[p]), channelWords(now), ""})
		}
	}
	return rows
}

func channelWords(c adapter.Channel) string { return fmt.Sprintf("×%.4f %+d mV", c.Gain, c.OffsetMV) }

// StateWords say where an adapter's constants come from.
func StateWords(s protocol.CalibrationState) string {
	switch s {
	case protocol.CalibrationStored:
		return "kept"
	case protocol.CalibrationDamaged:
		return "damaged: it uses the values of its design; calibrate it again"
	}
	return "none stored: it uses the values of its design"
}
