package library_test

// kicadDiffers lists the symbols that draw a pin otherwise than its definition
// has it, with the reason.
var kicadDiffers = map[string]string{
	// gates
	"74xx:74LS22":       "the symbol draws the outputs of an open-collector gate as totem-pole",
	"74xx:74LS54":       "the symbol is the 2-2-2-2 gate of the plain 7454; the 74LS54 has 2-3-3-2 inputs with Y at pin 6",
	"74xx_IEEE:7401":    "the symbol is the 74H01; the plain 7401 has its outputs at pins 1, 4, 10 and 13, as 74xx:74LS01 draws it",
	"74xx_IEEE:7404":    "the symbol draws the outputs as inputs",
	"74xx_IEEE:7405":    "the symbol draws the supply pins as inputs",
	"74xx_IEEE:7408":    "the symbol draws the outputs of gates 2 to 4 as inputs",
	"74xx_IEEE:7439":    "the symbol has the pins of the 7438; the 7439 has those of the 7401",
	"74xx_IEEE:7451":    "the symbol leaves pin 1 out, which is 1A",
	"74xx_IEEE:74LS15":  "the symbol draws the outputs of an open-collector gate as totem-pole",
	"74xx_IEEE:74LS266": "the symbol draws the outputs of an open-collector gate as totem-pole",
	"74xx_IEEE:74LS465": "the symbol draws the data inputs as three-state",
	"74xx_IEEE:74LS466": "the symbol draws the data inputs as three-state",
	"74xx_IEEE:74LS468": "the symbol is the 74240 in its second half; the 74LS468 has the pins of 74xx_IEEE:74LS467",
	"74xx_IEEE:74LS540": "the symbol draws the data inputs as three-state; 74xx:74LS540 does not",
	"74xx_IEEE:74LS541": "the symbol draws the data inputs as three-state; 74xx:74LS541 does not",
	"4xxx_IEEE:4002":    "the symbol leaves pin 5 out and draws pin 12 as a supply; both are inputs, as 4xxx:4002 draws them",
	"4xxx_IEEE:4012":    "the symbol leaves pin 5 out and draws pin 12 as a supply; both are inputs, as 4xxx:4012 draws them",
	"4xxx_IEEE:4041":    "the symbol draws the inputs as outputs",
	"4xxx_IEEE:4048":    "the symbol draws the three-state output as totem-pole",
	"4xxx_IEEE:4072":    "the symbol leaves pin 5 out and draws pin 12 as a supply; both are inputs, as 4xxx:4072 draws them",
	"4xxx_IEEE:4078":    "the symbol draws four inputs as outputs and one as a supply, and leaves out the OR output, which not every maker has",
	"4xxx_IEEE:4502":    "the symbol draws the three-state outputs as totem-pole",
}
