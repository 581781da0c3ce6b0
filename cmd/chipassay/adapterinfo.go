package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/calibration"
	"chipassay/host/report"
	"chipassay/protocol"
)

func adapterInfoCommand(d *definitions) *cobra.Command {
	f := adapterFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "info",
		Short: "Show what the adapter can do, and its calibration",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return f.info(cmd) },
	}
	f.add(cmd)
	f.supplyFlag(cmd)
	return cmd
}

// adapterInfo is what the info command prints.
type adapterInfo struct {
	Board         string                `json:"board"`
	Firmware      string                `json:"firmware"`
	Protocol      int                   `json:"protocol"`
	Groups        []string              `json:"groups"`
	Positions     []int                 `json:"positions"`
	Sensed        []int                 `json:"sensed"`
	Measured      []int                 `json:"measured"`
	ErrorMV       int                   `json:"error_mv"`
	SupplyHigh    []int                 `json:"supply_high"`
	SupplyLow     []int                 `json:"supply_low"`
	Bias          []int                 `json:"bias"`
	Load          []int                 `json:"load"`
	RailVolts     float64               `json:"rail_volts,omitempty"`
	Monitor       bool                  `json:"monitor"`
	MaxCurrentMA  int                   `json:"max_current_ma"`
	Button        bool                  `json:"button"`
	Pressed       bool                  `json:"pressed"`
	MaxPayload    int                   `json:"max_payload"`
	MaxSteps      int                   `json:"max_steps"`
	MaxBusyMS     int64                 `json:"max_busy_ms"`
	SilenceMS     int                   `json:"silence_ms"`
	Rates         []int                 `json:"baud"`
	LastReset     string                `json:"last_reset"`
	Frames        int                   `json:"frames"`
	DamagedFrames int                   `json:"damaged_frames"`
	Calibration   *calibrationConstants `json:"calibration,omitempty"`
}

// calibrationConstants are those of an adapter, as they are printed.
type calibrationConstants struct {
	State       string         `json:"state"`
	SupplyVolts float64        `json:"supply_volts"`
	ShuntGain   float64        `json:"shunt_gain"`
	BiasOhms    int            `json:"bias_ohms"`
	LoadOhms    int            `json:"load_ohms"`
	DriveOhms   int            `json:"drive_ohms"`
	Channels    []channelFound `json:"channels"`
}

type channelFound struct {
	Position int     `json:"position"`
	Gain     float64 `json:"gain"`
	OffsetMV int     `json:"offset_mv"`
}

func constantsOf(c adapter.Calibration) *calibrationConstants {
	k := &calibrationConstants{State: calibration.StateWords(c.State), SupplyVolts: c.SupplyVolts, ShuntGain: c.ShuntGain,
		BiasOhms: c.BiasOhms, LoadOhms: c.LoadOhms, DriveOhms: c.DriveOhms}
	for p := 1; p <= adapter.Positions; p++ {
		if channel, ok := c.Channels[p]; ok {
			k.Channels = append(k.Channels, channelFound{p, channel.Gain, channel.OffsetMV})
		}
	}
	return k
}

func (f *adapterFlags) info(cmd *cobra.Command) error {
	a, err := f.open(cmd, f.chipIn)
	if err != nil {
		return err
	}
	defer a.Close()
	status, err := a.Status(cmd.Context())
	if err != nil {
		return couldNotTest(err)
	}
	c := a.Capabilities
	sorted := func(w adapter.Word) []int { return slices.Sorted(w.Positions()) }
	info := adapterInfo{
		Board: c.Board, Firmware: c.Firmware, Protocol: protocol.Version,
		Groups: c.Groups(), Positions: sorted(c.Positions), Sensed: sorted(c.Sense), Measured: sorted(c.Measured), ErrorMV: c.ErrorMV,
		SupplyHigh: sorted(c.SupplyHigh), SupplyLow: sorted(c.SupplyLow), Bias: sorted(c.Bias), Load: sorted(c.Load),
		Monitor: c.Monitor, MaxCurrentMA: c.MaxCurrentMA, Button: c.Button, Pressed: status.Button,
		MaxPayload: c.MaxPayload, MaxSteps: c.MaxSteps, MaxBusyMS: c.MaxBusy.Milliseconds(), SilenceMS: c.SilenceMillis, Rates: c.Rates,
		LastReset: status.ResetCause.String(), Frames: int(status.Frames), DamagedFrames: int(status.Damaged) + int(status.Oversize),
	}
	if c.Measured != 0 {
		k, err := a.Calibration(cmd.Context())
		if err != nil {
			return couldNotTest(err)
		}
		info.Calibration = constantsOf(k)
	}
	if f.asJSON {
		return report.WriteJSON(cmd.OutOrStdout(), info)
	}
	return info.write(cmd.OutOrStdout())
}

func (i adapterInfo) write(w io.Writer) error {
	row := func(name, format string, args ...any) {
		fmt.Fprintf(w, "%-12s %s\n", name, fmt.Sprintf(format, args...))
	}
	row("board", "%s", i.Board)
	row("firmware", "%s, protocol version %d", i.Firmware, i.Protocol)
	row("fitted", "%s", strings.Join(i.Groups, ", "))
	row("socket", "%s", columns(i.Positions))
	row("sensed", "%s: the true level, even while driven", columns(i.Sensed))
	row("measured", "%s: voltages, to %d mV and the supply's own error without a calibration", columns(i.Measured), i.ErrorMV)
	row("supply", "5 V at %s", numbers(i.SupplyHigh))
	row("ground", "at %s", numbers(i.SupplyLow))
	row("pulls", "bias (10 kΩ) at %s; load (1 kΩ) at %s", columns(i.Bias), columns(i.Load))
	row("monitor", "of the supply current: %s; limits up to %d mA%s", there(i.Monitor), i.MaxCurrentMA,
		map[bool]string{false: ", NOT KEPT without it: only the fuse protects the chip"}[i.Monitor])
	row("button", "%s%s", there(i.Button), map[bool]string{true: ", pressed now", false: ", not pressed"}[i.Pressed])
	row("buffers", "%d bytes and %d steps a request, %d ms of work", i.MaxPayload, i.MaxSteps, i.MaxBusyMS)
	row("safety", "switches the socket off after %d ms without a message from this computer", i.SilenceMS)
	row("line", "%s baud; %d frames since the last reset (%s), %d damaged", numbers(i.Rates), i.Frames, i.LastReset, i.DamagedFrames)
	if i.Calibration == nil {
		row("calibration", "none: it measures no voltages")
		return nil
	}
	row("calibration", "%s", i.Calibration.State)
	return i.Calibration.write(w)
}

func (k *calibrationConstants) write(w io.Writer) error {
	fmt.Fprintf(w, "  supply %.3f V; bias %d Ω, load %d Ω, drive %d Ω; shunt gain %.4f\n", k.SupplyVolts, k.BiasOhms, k.LoadOhms, k.DriveOhms, k.ShuntGain)
	for i, c := range k.Channels {
		separator := ";"
		if i%4 == 0 {
			separator = "\n "
			if i == 0 {
				separator = " "
			}
		}
		fmt.Fprintf(w, "%s %s ×%.4f %+d mV", separator, adapter.Column(c.Position), c.Gain, c.OffsetMV)
	}
	_, err := fmt.Fprintln(w)
	return err
}

func there(is bool) string { return map[bool]string{true: "yes", false: "none"}[is] }

func numbers(of []int) string {
	var words []string
	for _, n := range of {
		words = append(words, fmt.Sprint(n))
	}
	return strings.Join(words, ", ")
}

// columns writes positions as runs of columns: L1-L8, R1-R8.
func columns(positions []int) string {
	set := map[int]bool{}
	for _, p := range positions {
		set[p] = true
	}
	var runs []string
	for _, side := range []string{"L", "R"} {
		for n := 1; n <= adapter.Positions/2; n++ {
			first := n
			for n <= adapter.Positions/2 && set[positionAt(side, n)] {
				n++
			}
			switch {
			case n == first+1:
				runs = append(runs, fmt.Sprint(side, first))
			case n > first:
				runs = append(runs, fmt.Sprint(side, first, "-", side, n-1))
			}
		}
	}
	if len(runs) == 0 {
		return "none"
	}
	return strings.Join(runs, ", ")
}

func positionAt(side string, n int) int {
	p, _ := adapter.AtColumn(fmt.Sprint(side, n))
	return p
}
