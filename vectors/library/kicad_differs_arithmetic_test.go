package library_test

import "maps"

func init() {
	maps.Copy(kicadDiffers, map[string]string{
		"74xx:74LS181": "the symbol draws the open-collector output A=B as totem-pole",
	})
}
