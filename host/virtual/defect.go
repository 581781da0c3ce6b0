package virtual

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// A Defect is something physically wrong with the chip or with how it was put
// in. Pin and Other are chip pin numbers, 0 where the kind has none.
type Defect struct {
	Kind       DefectKind
	Pin, Other int
	Amount     float64 // mA, Ω, V, µs, ms, positions or changes, as the form says; 0 where the kind has none
	Family     string  // of WrongFamily: "74LS"
	// Name is a register or an output of the definition, Number that of a bit of it,
	// from 0, or of a product term, from 1, Rule the number of a rule or a pin's name.
	Name, Rule string
	Number     int
	// Cell and Victim are cells of a memory, Cell.Address a row or a column too.
	Cell, Victim Cell
}

// A Cell is one bit of a memory's word.
type Cell struct{ Address, Bit int }

func (c Cell) String() string {
	if c.Bit == 0 {
		return strconv.Itoa(c.Address)
	}
	return fmt.Sprintf("%d.%d", c.Address, c.Bit)
}

// parseCell reads "77", or "77.2" for bit 2.
func parseCell(text string) (c Cell, err error) {
	address, bit, divided := strings.Cut(text, ".")
	if c.Address, err = strconv.Atoi(address); err == nil && divided {
		c.Bit, err = strconv.Atoi(bit)
	}
	return c, err
}

// A DefectKind says what is wrong.
type DefectKind uint8

// The kinds of defects.
const (
	StuckLow DefectKind = iota
	StuckHigh
	OpenBond
	Intermittent
	RarelyIntermittent
	Bent
	Shorted
	ResistiveShort
	ShortedToSupply
	ShortedToGround
	Leaky
	Weak
	DeadPullUp
	DeadPullDown
	Late
	LateRise
	LateFall
	Threshold
	NoHysteresis
	ExtraCurrent
	WrongFamily
	CellStuckLow
	CellStuckHigh
	CellCouples
	CellForgets
	DeadRow
	DeadColumn
	SlowWrite
	WriteProtected
	BitIgnores
	BitHolds
	BitInverts
	BitObeysAlways
	BitObeysOtherEdge
	DeadTerm
	CatchesOnes
	EdgeTriggered
	PulseLong
	PulseShort
	NoPulse
	NoRetrigger
	NoClear
	DeadTrigger
	Reversed
	Shifted
	Empty
)

// forms are the texts of the defects, indexed by kind; N and M stand for pin
// numbers, X for an amount, F for a family, A and B for cells of a memory, R for a
// name that the definition gives a register, a bus or an output, I for the number of
// a bit or a term of it, K for a rule of it: its number from 1 in the order of the
// definition, or the name of a pin that it reads (see ruleWords).
var forms = [...]struct{ text, meaning string }{
	StuckLow:           {"N stuck low", "an output N is pulled to ground, or the die takes input N as low"},
	StuckHigh:          {"N stuck high", "an output N is pulled to the supply, or the die takes input N as high"},
	OpenBond:           {"N open", "the bond wire of pin N is broken"},
	Intermittent:       {"N intermittent", "the bond wire of pin N opens now and then once the chip is warm"},
	RarelyIntermittent: {"N intermittent X", "the bond wire of pin N opens at one in X changes, warm or cold"},
	Bent:               {"N bent", "pin N is bent under the package and touches nothing"},
	Shorted:            {"N shorted to M", "pins N and M touch"},
	ResistiveShort:     {"N shorted to M X ohms", "X ohms lie between pins N and M"},
	ShortedToSupply:    {"N shorted to supply", "pin N touches the positive supply inside"},
	ShortedToGround:    {"N shorted to ground", "pin N touches ground inside"},
	Leaky:              {"N leaks X mA", "pin N passes X mA to ground when it is at 5 V"},
	Weak:               {"N weak X ohms", "X ohms stand before output N"},
	DeadPullUp:         {"N dead pull-up", "output N cannot pull high"},
	DeadPullDown:       {"N dead pull-down", "output N cannot pull low"},
	Late:               {"N late X us", "output N follows X microseconds late"},
	LateRise:           {"N rises X us late", "output N rises X microseconds late, and falls in time"},
	LateFall:           {"N falls X us late", "output N falls X microseconds late, and rises in time"},
	Threshold:          {"N threshold X V", "input N switches at X volts, whatever its family's levels are"},
	NoHysteresis:       {"N no hysteresis", "Schmitt-trigger input N switches at one voltage, between the two that it should"},
	ExtraCurrent:       {"draws X mA more", "the chip takes X mA more from its supply than it should"},
	WrongFamily:        {"family F", "the chip is of family F inside, whatever is marked on it"},
	CellStuckLow:       {"cell A stuck low", "cell A of a memory always holds 0; A is an address, or address.bit"},
	CellStuckHigh:      {"cell A stuck high", "cell A of a memory always holds 1"},
	CellCouples:        {"cell A couples to B", "a change of cell A turns cell B over"},
	CellForgets:        {"cell A forgets X ms", "cell A loses its charge when it was not written or refreshed for X ms"},
	DeadRow:            {"row A dead", "no cell of row A of a memory can be read"},
	DeadColumn:         {"column A dead", "no cell of column A of a memory can be read"},
	SlowWrite:          {"writes in X ms", "an EEPROM takes X ms to write a word"},
	WriteProtected:     {"write-protected", "an EEPROM was set by software to take no writes"},
	BitIgnores:         {"bit I of R ignores K", "for bit I, from 0, of register R rule K is not there: a later one may apply"},
	BitHolds:           {"bit I of R holds at K", "where rule K applies, the bit keeps its level"},
	BitInverts:         {"bit I of R inverts K", "it takes the complement of what rule K gives"},
	BitObeysAlways:     {"bit I of R obeys K always", "it follows rule K though its condition is false"},
	BitObeysOtherEdge:  {"bit I of R obeys K at the other edge", "it follows rule K at the other edge of its clock"},
	DeadTerm:           {"term I of R dead", "product term I, from 1, of what makes output R never becomes true"},
	CatchesOnes:        {"R catches ones", "edge-triggered flip-flop R counts a J or K of any time of the pulse, as a pulse-triggered one does"},
	EdgeTriggered:      {"R is edge-triggered", "pulse-triggered flip-flop R counts only what J and K are as the pulse ends"},
	PulseLong:          {"pulse of R X times too long", "what a capacitor times at output R of a monostable or an oscillator lasts X times as long"},
	PulseShort:         {"pulse of R X times too short", "it lasts the X-th part"},
	NoPulse:            {"no pulse of R", "no trigger starts a pulse of output R, or it does not oscillate"},
	NoRetrigger:        {"R not retriggered", "a trigger during a pulse of output R does not prolong it"},
	NoClear:            {"pulse of R not cleared", "the clear input does not end a pulse of output R"},
	DeadTrigger:        {"trigger by R dead", "no edge of input R triggers"},
	Reversed:           {"reversed", "the chip is put in turned by 180 degrees"},
	Shifted:            {"shifted X", "the chip is put in X positions off the lever end; 1 if X is left out"},
	Empty:              {"empty", "there is no chip in the socket"},
}

// ErrDefect is the error of a text that describes no defect.
var ErrDefect = errors.New("not a defect")

// ParseDefect reads the text of a defect, such as "12 stuck low", "8 shorted to
// 9" or "3 leaks 1.5 mA". Its error, an ErrDefect, lists the forms.
func ParseDefect(text string) (Defect, error) {
	words := strings.Fields(text)
	if len(words) == 1 && strings.EqualFold(words[0], "shifted") {
		words = append(words, "1")
	}
	for kind, form := range forms {
		d := Defect{Kind: DefectKind(kind)}
		if !d.match(strings.Fields(form.text), words) {
			continue
		}
		if err := d.check(); err != nil {
			return Defect{}, fmt.Errorf("%w: %q: %w", ErrDefect, text, err)
		}
		return d, nil
	}
	return Defect{}, fmt.Errorf("%w: %q; the forms are\n%s", ErrDefect, text, DefectForms())
}

// match compares words with a form, and takes the values for the form's letters.
func (d *Defect) match(form, words []string) bool {
	if len(form) != len(words) {
		return false
	}
	for i, word := range words {
		var err error
		switch form[i] {
		case "N":
			d.Pin, err = strconv.Atoi(word)
		case "M":
			d.Other, err = strconv.Atoi(word)
		case "X":
			d.Amount, err = strconv.ParseFloat(word, 64)
		case "F":
			d.Family = strings.ToUpper(word)
		case "A":
			d.Cell, err = parseCell(word)
		case "B":
			d.Victim, err = parseCell(word)
		case "I":
			d.Number, err = strconv.Atoi(word)
		case "R":
			d.Name = word
		case "K":
			d.Rule = word
		default:
			if !strings.EqualFold(word, form[i]) {
				return false
			}
		}
		if err != nil {
			return false
		}
	}
	return true
}

// mostAmount bounds amounts: 10 MΩ, and far more mA than any chip survives.
const mostAmount = 10_000_000

// check refuses defects that no socket can have.
func (d *Defect) check() error {
	text := forms[d.Kind].text
	for letter, n := range map[string]int{"N": d.Pin, "M": d.Other} {
		if slices.Contains(strings.Fields(text), letter) && (n < 1 || n > adapter.Positions) {
			return fmt.Errorf("pins count from 1 to %d", adapter.Positions)
		}
	}
	switch {
	case (d.Kind == Shorted || d.Kind == ResistiveShort) && d.Pin == d.Other:
		return errors.New("a pin cannot be shorted to itself")
	case d.Kind == Shifted && d.Amount != 1 && d.Amount != 2:
		return errors.New("a chip can be shifted by 1 or 2 positions")
	case strings.Contains(text, "X") && !(d.Amount > 0 && d.Amount <= mostAmount):
		return errors.New("the amount must be above 0, and within reason")
	case d.Kind == Threshold && d.Amount >= supplyVolts:
		return fmt.Errorf("an input switches between 0 and %g V, the supply", supplyVolts)
	case d.Kind == RarelyIntermittent && d.Amount < 1:
		return errors.New("one in how many changes must be 1 or more")
	case d.Number < 0:
		return errors.New("bits count from 0, and terms from 1")
	case d.Kind == DeadTerm && d.Number == 0:
		return errors.New("terms count from 1")
	case d.Kind == WrongFamily && part.FamilyByName(d.Family) == nil:
		return errors.New("there is no such family")
	case d.Kind == WrongFamily:
		d.Family = part.FamilyByName(d.Family).Name
	}
	return nil
}

// DefectForms lists the forms that ParseDefect reads, one a line, and explains their
// letters.
func DefectForms() string {
	var b strings.Builder
	for _, f := range forms {
		fmt.Fprintf(&b, "  %-36s %s\n", f.text, f.meaning)
	}
	b.WriteString("N and M are pins, X an amount, A and B cells, R a name of the definition, K the number of\n" +
		"a line of register R from 1, or what it reads: clear, load, set, clock or the name of a pin")
	return b.String()
}

func (d Defect) String() string {
	words := strings.Fields(forms[d.Kind].text)
	for i, word := range words {
		switch word {
		case "N":
			words[i] = strconv.Itoa(d.Pin)
		case "M":
			words[i] = strconv.Itoa(d.Other)
		case "X":
			words[i] = strconv.FormatFloat(d.Amount, 'f', -1, 64)
		case "F":
			words[i] = d.Family
		case "A":
			words[i] = d.Cell.String()
		case "B":
			words[i] = d.Victim.String()
		case "I":
			words[i] = strconv.Itoa(d.Number)
		case "R":
			words[i] = d.Name
		case "K":
			words[i] = d.Rule
		}
	}
	return strings.Join(words, " ")
}
