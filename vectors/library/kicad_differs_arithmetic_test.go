package library_test

import "maps"

const oneWay = "the symbol draws the A pins as inputs; both buses are two-way"

func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"74xx:74LS181":      "the symbol draws the open-collector output A=B as totem-pole",
		"74xx:74LS242":      oneWay,
		"74xx:74LS243":      oneWay,
		"74xx_IEEE:74LS242": oneWay,
		"74xx_IEEE:74LS243": oneWay,
		"74xx_IEEE:74LS683": "the symbol draws the open-collector outputs as totem-pole",
		"74xx_IEEE:74LS685": "the symbol draws the open-collector outputs as totem-pole",
		"74xx_IEEE:74LS688": "the symbol draws the enable at pin 1 as an output, as the 74LS682 has one there",
		"74xx_IEEE:74LS689": "the symbol draws the enable at pin 1 as an output and the open-collector output as totem-pole",
	})
}
