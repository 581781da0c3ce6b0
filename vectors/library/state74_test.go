package library_test

import "maps"

// states74 are the models of the 7400 series' parts that remember.
var states74 = map[string]modelOf{}

// addStates74 adds models; each file with models calls it for itself.
func addStates74(more map[string]modelOf) bool {
	for number := range more {
		if _, twice := states74[number]; twice {
			panic("two models for " + number)
		}
	}
	maps.Copy(states74, more)
	return true
}
