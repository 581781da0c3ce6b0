package bench

import (
	"time"

	"chipassay/host/drawer"
	"chipassay/host/report"
)

// A State is how the bench stands. What it points to is never changed.
type State struct {
	Serial   uint64 // of changes
	Adapter  Adapter
	Work     Work
	Since    time.Time // when the work began
	Progress float64   // of what the work does now, 0 to 1; 0 where that is not known
	Stopping bool
	Message  Message // the last that was said

	Drawer   *Drawer   // the last run
	Explore  *Explore  // the last exploration
	Identify *Identify // the last identification

	Check       *Check       // the last of the adapter
	Calibration *Calibration // likewise
	Reading     *Reading     // the last that the adapter gave
}

// An Adapter is which adapter a bench has.
type Adapter struct {
	Board, Firmware string
	Groups          []string // that are fitted
	Virtual         bool
	Lost            bool // it does not answer
}

// A Message is what was said, numbered from 1.
type Message struct {
	Number int
	Text   string
}

// A Drawer is a drawer run.
type Drawer struct {
	Order    Order
	Part     string // that is tested now, as typed
	Standing drawer.Standing
	Verdicts int     // that were shown
	Summary  string  // of a run that ended
	Asking   *Asking // what the person is asked to do; nil for nothing
	Tray     report.Tray
}
