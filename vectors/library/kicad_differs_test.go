package library_test

// kicadDiffers lists the symbols that draw a pin otherwise than its definition
// has it, with the reason.
var kicadDiffers = map[string]string{}
