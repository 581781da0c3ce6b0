package library_test

import "maps"

// Why symbols of the 4000 series beyond plain gates differ.
const (
	conducts     = "an analog switch conducts both ways: the symbol draws its signal pins passive, the definition drives one side and sees the other"
	threeState   = "the data book releases these outputs, the symbol draws them as plain outputs"
	supplyDrawn  = "the symbol draws the supply pins VDD and VSS as signals"
	inputDrawn   = "the data book has clock, data or control inputs there, the symbol draws outputs"
	unnumbered   = "the symbol leaves out an output that the data book has"
	bothDrawn    = "the data book has two-way pins and two control inputs, the symbol draws outputs"
	oscillator   = "pin 4 is the oscillator's output, the symbol draws an input"
	secondOutput = "pins 12 and 13 are the outputs of the second flip-flop, the symbol draws inputs"
	halfClock    = "some makers have an output at pin 2 that others leave open, as the symbol does"
	selector     = "an analog selector conducts both ways: the symbol drives the channels and sees the common pins, the definition the other way, to see every channel that is off"
)

func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"4xxx:14529":      selector,
		"4xxx:4016":       conducts,
		"4xxx:4046":       oscillator,
		"4xxx:4051":       conducts,
		"4xxx:4052":       conducts,
		"4xxx:4053":       conducts,
		"4xxx:4066":       conducts,
		"74xx:74HC4051":   conducts,
		"74xx:74HCT4051":  conducts,
		"4xxx_IEEE:4006":  halfClock,
		"4xxx_IEEE:4008":  supplyDrawn,
		"4xxx_IEEE:40104": threeState,
		"4xxx_IEEE:40110": supplyDrawn,
		"4xxx_IEEE:4013":  secondOutput,
		"4xxx_IEEE:4014":  inputDrawn,
		"4xxx_IEEE:4016":  conducts,
		"4xxx_IEEE:4021":  inputDrawn,
		"4xxx_IEEE:4022":  inputDrawn,
		"4xxx_IEEE:40240": threeState,
		"4xxx_IEEE:40244": threeState,
		"4xxx_IEEE:40245": bothDrawn,
		"4xxx_IEEE:40373": threeState,
		"4xxx_IEEE:4043":  threeState + "; " + supplyDrawn,
		"4xxx_IEEE:4044":  threeState,
		"4xxx_IEEE:4046":  oscillator,
		"4xxx_IEEE:4051":  conducts,
		"4xxx_IEEE:4052":  conducts,
		"4xxx_IEEE:4053":  conducts,
		"4xxx_IEEE:4066":  conducts,
		"4xxx_IEEE:4067":  conducts + "; it draws them as plain outputs and leaves out channel 15",
		"4xxx_IEEE:4099":  unnumbered,
		"4xxx_IEEE:4104":  "the symbol draws the true outputs as inputs and the inverted ones, which are released too, as plain outputs",
		"4xxx_IEEE:4508":  threeState,
		"4xxx_IEEE:4512":  threeState,
		"4xxx_IEEE:4529":  selector,
	})
}
