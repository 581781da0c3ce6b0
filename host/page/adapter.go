package page

// adapterActions are those of the adapter's check and calibration.
var adapterActions = map[string]action{}
