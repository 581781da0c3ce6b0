package library_test

import "maps"

// differs74 are symbols of the 7400 series' parts beyond gates that draw a pin
// otherwise than the data books do (from memory).
var differs74 = map[string]string{
	"74xx:74LS293":      "pins 1 and 3 are not connected in the data book",
	"74xx:74LS295":      "three-state outputs drawn as plain ones",
	"74xx_IEEE:74LS295": "three-state outputs drawn as plain ones",
	"74xx_IEEE:74165":   "the serial output is no three-state output",
	"74xx_IEEE:74166":   "the serial output is no three-state output",
	"74xx_IEEE:74173":   "three-state outputs drawn as plain ones",
	"74xx_IEEE:74293":   "the ground pin is drawn as an input",
	"74xx_IEEE:7490":    "the ground pin is drawn as an input",
	"74xx_IEEE:7492":    "the ground pin is drawn as an input",
	"74xx_IEEE:7493":    "the ground pin is drawn as an input",
	"74xx_IEEE:74LS194": "the serial input is drawn as a supply pin",
	"74xx_IEEE:74LS195": "pin 7 is the parallel input D, pin 11 the output /QD",
	"74xx_IEEE:74LS290": "drawn with 16 pins; the data book has 14",
	"74xx_IEEE:74LS395": "three-state outputs drawn as plain ones, pin 11 as an input",
	"74xx_IEEE:74LS590": "three-state outputs drawn as plain ones",
	"74xx_IEEE:74LS594": "the outputs have no three-state enable: pin 13 clears the latches",
	"74xx_IEEE:74LS597": "the serial output is no three-state output",
	"74xx_IEEE:74LS298": "the outputs are no three-state outputs",
}

func init() { maps.Copy(kicadDiffers, differs74) }
