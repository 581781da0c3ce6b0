package page

import (
	"fmt"
	"slices"

	"chipassay/host/assay/contact"
	"chipassay/host/report"
)

// A contactTable is the raw voltages of the contact test, a line for each socket position.
type contactTable struct {
	Looks []string // steps of the test, with the look where there are several
	Lines []contactLine
}

// A contactLine is the voltages at one position.
type contactLine struct {
	Position, Pin int // pin 0: the package has none there
	Name          string
	Volts         []string // V, for each look; empty where it did not look there
}

// positions are those of the socket; a package stands at the lever end, so that its pins on
// the right have the highest numbers.
const positions = 28

// contactOf lays the voltages of a document out in a table.
func contactOf(d report.Document) (t contactTable) {
	most := map[contact.Step]int{}
	for _, c := range d.Contact {
		most[c.Step] = max(most[c.Step], c.Look)
	}
	column := func(c contact.Volts) string {
		if most[c.Step] > 1 {
			return fmt.Sprintf("%s, %d", c.Step, c.Look)
		}
		return string(c.Step)
	}
	for _, c := range d.Contact {
		if name := column(c); !slices.Contains(t.Looks, name) {
			t.Looks = append(t.Looks, name)
		}
	}
	lines := map[int]*contactLine{}
	for _, c := range d.Contact {
		line := lines[c.Position]
		if line == nil {
			line = &contactLine{Position: c.Position, Volts: make([]string, len(t.Looks))}
			line.Pin, line.Name = pinAt(d, c.Position)
			lines[c.Position] = line
		}
		line.Volts[slices.Index(t.Looks, column(c))] = fmt.Sprintf("%.2f", c.Volts)
	}
	for position := range positions + 1 {
		if line := lines[position]; line != nil {
			t.Lines = append(t.Lines, *line)
		}
	}
	return t
}

// pinAt is the pin of the chip at a position, and its name.
func pinAt(d report.Document, position int) (int, string) {
	pins := len(d.Pins)
	number := position
	if position > pins/2 {
		number = position - positions + pins
	}
	if number < 1 || number > pins || position > pins/2 && number <= pins/2 {
		return 0, ""
	}
	return number, d.Pins[number-1].Name
}
