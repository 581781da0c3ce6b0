package selfcheck

import (
	"fmt"
	"strings"
)

// A Fault is something wrong with the board.
type Fault struct {
	Parts    []string `json:"parts"`              // references, and nets that touch: any one of them
	What     string   `json:"what"`               // "R305, 10 kΩ at L5, is open or its register output does not move"
	Position int      `json:"position,omitempty"` // socket position, 0 where it is about none
	Found    string   `json:"found"`              // what was seen
	Look     string   `json:"look"`               // what to look at on the board

	defects []Defect // of which each would give that
}

func (f Fault) String() string {
	return fmt.Sprintf("%s (%s); look at %s", f.What, f.Found, f.Look)
}

// A Group is one kind of the board's parts.
type Group struct {
	Name      string  `json:"name"`
	Good      string  `json:"good,omitempty"`      // what was seen to work; empty where there are faults
	Faults    []Fault `json:"faults,omitempty"`    // by position
	Unchecked string  `json:"unchecked,omitempty"` // what could not be checked, and why
}

// Words say in a line how the group is.
func (g Group) Words() string {
	switch {
	case len(g.Faults) > 0:
		return "FAULT"
	case g.Good == "" && g.Unchecked == "":
		return "not checked"
	case g.Good == "":
		return "not checked: " + g.Unchecked
	case g.Unchecked != "":
		return g.Good + "; " + g.Unchecked
	}
	return g.Good
}

// A Report is what a check found.
type Report struct {
	Fitted []string `json:"fitted"` // groups of the carrier that were found or stated
	Groups []Group  `json:"groups"`
	Next   []string `json:"next,omitempty"` // while one builds: what to do next
}

// Faults are those of all groups.
func (r *Report) Faults() []Fault {
	var faults []Fault
	for _, g := range r.Groups {
		faults = append(faults, g.Faults...)
	}
	return faults
}

// Conclusion says in a line what was found.
func (r *Report) Conclusion() string {
	switch faults := len(r.Faults()); faults {
	case 0:
		return "No fault found."
	case 1:
		return "1 fault. Unplug the adapter before you repair it, then check again."
	default:
		return fmt.Sprintf("%d faults. Unplug the adapter before you repair it, then check again.", faults)
	}
}

// FittedWords names the groups that were found or stated.
func (r *Report) FittedWords() string {
	if len(r.Fitted) == 0 {
		return "not known without the bias registers"
	}
	return strings.Join(r.Fitted, ", ")
}

// Has reports whether a fault names a part or a net.
func (f *Fault) Has(name string) bool {
	for _, p := range f.Parts {
		if strings.EqualFold(p, name) {
			return true
		}
	}
	return false
}

// A kind is a group of a report, by its place there.
type kind int

const (
	registers kind = iota
	senses
	drives
	biases
	loads
	lowSwitches
	highSwitches
	monitor
	converters
	operator
	kinds
)

var names = [kinds]string{"registers", "sense", "drive", "bias", "load", "low side", "high side", "supply", "converters", "button and lamps"}
