package selfcheck

import (
	"fmt"
	"slices"
)

// A Fault is something wrong with the board.
type Fault struct {
	Line     string `json:"line"`               // "drive line L3 (socket position 3)"
	Position int    `json:"position,omitempty"` // 0 where it is about none
	Found    string `json:"found"`              // what was seen there
	Look     string `json:"look"`               // what to look for on the board
}

func (f Fault) String() string {
	return fmt.Sprintf("%s: %s; look at %s", f.Line, f.Found, f.Look)
}

// A Group is one kind of the board's lines.
type Group struct {
	Name      string  `json:"name"`
	Good      string  `json:"good,omitempty"`      // what was seen to work; empty where there are faults
	Faults    []Fault `json:"faults,omitempty"`    // by position
	Unchecked string  `json:"unchecked,omitempty"` // what could not be checked, and why
}

// A Report is what a check found.
type Report struct {
	Groups []Group `json:"groups"`
}

// Faults are those of all groups.
func (r *Report) Faults() []Fault {
	var faults []Fault
	for _, g := range r.Groups {
		faults = append(faults, g.Faults...)
	}
	return faults
}

// A kind is a group of a report, by its place there.
type kind int

const (
	rails kind = iota
	senses
	drives
	resistors
	highSwitches
	lowSwitches
	monitor
	button
	indicators
	kinds
)

// An outcome is a group being made.
type outcome struct {
	faults    []Fault
	good      string // said where there are no faults
	unchecked string
}

var names = [kinds]string{"rails", "sense lines", "drive lines", "resistors", "high-side switches", "low-side switches",
	"current monitor", "button", "indicators"}

// reportOf orders what was found.
func reportOf(outcomes [kinds]outcome) *Report {
	r := &Report{}
	for k, o := range outcomes {
		g := Group{Name: names[k], Faults: o.faults, Unchecked: o.unchecked}
		slices.SortStableFunc(g.Faults, func(x, y Fault) int { return x.Position - y.Position })
		if len(o.faults) == 0 {
			g.Good = o.good
		}
		r.Groups = append(r.Groups, g)
	}
	return r
}
