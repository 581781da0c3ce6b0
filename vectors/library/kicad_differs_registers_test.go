package library_test

import "maps"

// Why symbols of registers differ from the data books (from memory).
const (
	fileOpenCollector    = "the outputs of the 74170 are open-collector; those of the 74670 are three-state, as the symbol draws both"
	latchedOpenCollector = "the parallel outputs are open-collector, as 74xx:74LS596 draws those of its part"
	storedTotemPole      = "the outputs are no three-state outputs"
)

func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"74xx:74LS170":      fileOpenCollector,
		"74xx_IEEE:74LS170": fileOpenCollector,
		"74xx_IEEE:74LS398": storedTotemPole,
		"74xx_IEEE:74LS399": storedTotemPole,
		"74xx:74LS256":      "the symbol has the pins of a demultiplexer; the addressable latch has its addresses at pins 1 and 2, data at 3 and 13, enable and clear at 14 and 15",
		"74xx_IEEE:74278":   "the symbol leaves out the priority output at pin 5",
		"74xx_IEEE:74LS591": latchedOpenCollector,
		"74xx_IEEE:74LS596": latchedOpenCollector,
		"74xx_IEEE:74LS599": latchedOpenCollector,
	})
}
