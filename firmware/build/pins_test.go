package main

import (
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/firmware/carrier"
)

// terminals gives the ends of the parts at a net, as "U11 RCLK", without those of the
// microcontroller and of parts with two pins, by which it goes on to their other net.
func terminals(n *carrier.Netlist, net string, seen map[string]bool) (ends []string) {
	if seen[net] || net == "+5V" || net == "GND" || net == "SUPPLY" {
		return nil
	}
	seen[net] = true
	for _, end := range n.Terminals(net) {
		switch end.Part.Kind {
		case carrier.MCU:
		case carrier.Resistor, carrier.Link:
			for _, pin := range end.Part.Pins {
				ends = append(ends, terminals(n, pin.Net, seen)...)
			}
		default:
			ends = append(ends, end.Part.Ref+" "+end.Pin.Name)
		}
	}
	return ends
}

// The lines that pins.h gives a name lead, in the netlist, to what the name says.
func TestPinsAreThoseOfTheNetlist(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(firmware, "board", "atmega2560", "pins.h"))
	require.NoError(t, err)
	line := map[string]string{}
	for _, m := range regexp.MustCompile(`(\w+) = _BV\((P[A-L][0-7])\)`).FindAllStringSubmatch(string(text), -1) {
		line[m[1]] = m[2]
	}
	n := carrier.New()
	for name, wants := range map[string]string{
		"SHIFT_DATA":     "U11 SER, U21 SER, U31 SER, U41 DIN, U42 DIN",
		"SHIFT_CLOCK":    "U11 SRCLK, U12 SRCLK, U21 SRCLK, U22 SRCLK, U23 SRCLK, U24 SRCLK, U31 SRCLK, U32 SRCLK, U33 SRCLK, U34 SRCLK, U41 CLK, U42 CLK",
		"LOW_STORE":      "U11 RCLK, U12 RCLK",
		"BIAS_STORE":     "U21 RCLK, U22 RCLK, U23 RCLK, U24 RCLK",
		"LOAD_STORE":     "U31 RCLK, U32 RCLK, U33 RCLK, U34 RCLK",
		"LOW_OFF":        "U11 /OE, U12 /OE",
		"BIAS_OFF":       "U21 /OE, U22 /OE, U23 /OE, U24 /OE",
		"LOAD_OFF":       "U31 /OE, U32 /OE, U33 /OE, U34 /OE",
		"LOW_BACK":       "U12 QH'",
		"BIAS_BACK":      "U24 QH', U41 DOUT",
		"LOAD_BACK":      "U34 QH', U42 DOUT",
		"CONVERTERS_OFF": "U41 /CS, U42 /CS",
		"HIGH_1":         "Q201 B",
		"HIGH_4":         "Q204 B",
		"HIGH_5":         "Q205 B",
		"HIGH_8":         "Q208 B",
		"HIGH_22":        "Q222 B",
		"HIGH_28":        "Q228 B",
		"MONITOR_CLOCK":  "U51 SCL",
		"READY_LAMP":     "D1 A",
		"BUSY_LAMP":      "D2 A",
		"POWER_LAMP":     "D3 A",
		"BUTTON":         "S1 1",
	} {
		require.Contains(t, line, name)
		ends := terminals(n, line[name], map[string]bool{})
		for want := range strings.SplitSeq(wants, ", ") {
			assert.Contains(t, ends, want, "%s at %s", name, line[name])
		}
		delete(line, name)
	}
	assert.Empty(t, slices.Collect(maps.Keys(line)), "lines without a test")
}
