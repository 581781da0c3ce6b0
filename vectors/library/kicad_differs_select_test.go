package library_test

import "maps"

// Why display decoders' symbols differ.
const (
	bothWays = "BI/RBO is an input and an open-collector output at once"
	resistor = "the outputs have resistors to VCC inside and drive both ways without one outside; the symbol draws plain open collectors"
)

// Decoders, multiplexers, encoders and display drivers of the 7400 series.
func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"74xx:74LS156":      "the symbol draws the open-collector outputs as totem-pole, which are those of the 155",
		"74xx:74LS246":      bothWays,
		"74xx:74LS247":      bothWays,
		"74xx:74LS248":      bothWays + "; " + resistor,
		"74xx:74LS249":      bothWays,
		"74xx:74LS46":       bothWays,
		"74xx:74LS47":       bothWays,
		"74xx:74LS48":       bothWays + "; " + resistor,
		"74xx_IEEE:74246":   bothWays,
		"74xx_IEEE:74247":   bothWays,
		"74xx_IEEE:74248":   bothWays + "; " + resistor,
		"74xx_IEEE:74249":   bothWays,
		"74xx_IEEE:7446":    bothWays,
		"74xx_IEEE:7447":    bothWays,
		"74xx_IEEE:7448":    bothWays + "; " + resistor,
		"74xx_IEEE:74LS347": bothWays,
		"74xx_IEEE:74LS447": bothWays,
		"74xx_IEEE:74LS687": "the symbol draws the open-collector outputs as totem-pole, which are those of the 686",
		"74xx_IEEE:74LS348": "the symbol draws the three-state address outputs as totem-pole, which are those of the 148",
		"74xx_IEEE:74LS49":  "the symbol leaves out the blanking input",
		"74xx_IEEE:74154":   "the symbol draws output 13 as an input",
	})
}
