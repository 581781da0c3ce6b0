package page

// identifyActions are those of an identification.
var identifyActions = map[string]action{}
