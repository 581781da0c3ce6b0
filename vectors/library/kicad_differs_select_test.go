package library_test

import "maps"

// Decoders, multiplexers, encoders and display drivers of the 7400 series.
func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"74xx:74LS156":    "the symbol draws the open-collector outputs as totem-pole, which are those of the 155",
		"74xx_IEEE:74154": "the symbol draws output 13 as an input",
	})
}
