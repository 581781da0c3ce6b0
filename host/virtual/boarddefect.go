package virtual

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"chipassay/firmware/carrier"
)

// boardForms are the texts of what can be wrong with a board, and what each does.
// PART stands for a reference of the netlist such as R305, PIN for the number of a pin, NET for
// a line of the MCU, a column of the socket or a net of the netlist, X for an amount.
var boardForms = []struct {
	text, meaning string
	apply         func(b *Board, d boardDefect) error
}{
	{"PART open", "R305 open: it leads nothing, or is a part of two pins that is not there", (*Board).open},
	{"PART short", "C128 short: its two pins are joined", (*Board).short},
	{"PART missing", "Q107 missing: its place is empty", (*Board).remove},
	{"PART turned", "Q107 turned: a transistor, lamp, capacitor or reference the wrong way round", (*Board).turn},
	{"PART dead", "U21 dead: an integrated circuit that has its supply and does nothing", (*Board).kill},
	{"PART X ohms", "R305 680 ohms: its resistance, of switches that at 5 V on the gate", (*Board).setOhms},
	{"PART pin PIN open", "U21 pin 5 open: a joint that does not lead", (*Board).openPin},
	{"PART pin PIN shorted to pin OTHER", "U21 pin 5 shorted to pin 6: solder between two pins of a part", (*Board).shortPins},
	{"NET open", "PA0 open: the joint of a line at the MCU's board, or of a column at the socket, does not lead", (*Board).openNet},
	{"NET shorted to NET2", "L5 shorted to L6, PA0 shorted to GND: solder between two nets", (*Board).shortNets},
	{"NET stuck low", "PA0 stuck low, bias_L5 stuck low: a line of the MCU or an output of a register that never lets go of ground", (*Board).stickLow},
	{"NET stuck high", "nor of 5 V", (*Board).stickHigh},
	{"all drive X ohms", "the drive resistors of every position", (*Board).setAll},
	{"all bias X ohms", "likewise", (*Board).setAll},
	{"all load X ohms", "likewise", (*Board).setAll},
	{"shunt X ohms", "the shunt of the current monitor", (*Board).setOhms},
	{"monitor dead", "the current monitor does not answer", (*Board).kill},
	{"reference X V", "the 2.500 V reference", (*Board).setReference},
	{"converter gain X", "what the MCU's own converter sees of a voltage", (*Board).setGain},
	{"converter offset X mV", "and what it adds", (*Board).setOffset},
	{"converter N gain X", "the same of far converter 1 or 2", (*Board).setGain},
	{"converter N offset X mV", "", (*Board).setOffset},
	{"button stuck", "the button's line is at ground", (*Board).short},
}

// boardDefect is what a text of a board's defect names.
type boardDefect struct {
	words      []string // as the form has them, in lower case
	part       *carrier.Part
	pin, other int // places of pins in the part
	net, net2  string
	number     int // of a converter; 0 for the MCU's own
	amount     float64
}

// Damage applies a defect to the board by its text, such as "R305 open". Its error, an
// ErrDefect, lists the forms.
func (b *Board) Damage(text string) error {
	words := strings.Fields(text)
	var refused error
	for _, form := range boardForms {
		d, ok, err := b.match(strings.Fields(form.text), words)
		if !ok {
			continue
		}
		if err == nil {
			err = form.apply(b, d)
		}
		if err == nil {
			return nil
		}
		refused = err
	}
	if refused != nil {
		return fmt.Errorf("%w of a board: %q: %w", ErrDefect, text, refused)
	}
	return fmt.Errorf("%w of a board: %q; the forms are\n%s", ErrDefect, text, BoardDefectForms())
}

// match reads a text by a form. ok is set if its words are those of the form; the error is
// for a name that does not exist.
func (b *Board) match(form, words []string) (d boardDefect, ok bool, err error) {
	if len(form) != len(words) {
		return d, false, nil
	}
	for i, word := range words {
		lower := strings.ToLower(word)
		d.words = append(d.words, lower)
		var bad error
		switch form[i] {
		case "PART":
			if d.part = b.partOf(word); d.part == nil {
				if b.netOf(word) != "" {
					return d, false, nil
				}
				bad = fmt.Errorf("the board has no part %s", word)
			}
		case "PIN", "OTHER":
			at := -1
			if d.part != nil {
				at = slices.IndexFunc(d.part.Pins, func(p carrier.Pin) bool { return strings.EqualFold(p.Number, word) })
			}
			if at < 0 && d.part != nil {
				bad = fmt.Errorf("%s has no pin %s", d.part.Ref, word)
			}
			if form[i] == "PIN" {
				d.pin = at
			} else {
				d.other = at
			}
		case "NET", "NET2":
			name := b.netOf(word)
			if name == "" {
				if b.partOf(word) != nil || references.MatchString(word) {
					return d, false, nil
				}
				bad = fmt.Errorf("the board has no line, column or net %s", word)
			}
			if form[i] == "NET" {
				d.net = name
			} else {
				d.net2 = name
			}
		case "N":
			if d.number, bad = strconv.Atoi(word); bad != nil || d.number < 1 || d.number > 2 {
				return d, false, nil
			}
		case "X":
			if d.amount, bad = strconv.ParseFloat(word, 64); bad != nil {
				bad = fmt.Errorf("%s is no number", word)
			}
		default:
			if lower != strings.ToLower(form[i]) {
				return d, false, nil
			}
		}
		if err == nil {
			err = bad
		}
	}
	return d, true, err
}

// partOf gives a fitted part by its reference; nil if there is none.
func (b *Board) partOf(ref string) *carrier.Part {
	for i := range b.netlist.Parts {
		if p := &b.netlist.Parts[i]; strings.EqualFold(p.Ref, ref) {
			return p
		}
	}
	return nil
}

// netOf gives the name of a line of the MCU, of a column or of another net as the
// netlist spells it; empty where there is none.
func (b *Board) netOf(name string) string {
	for _, net := range b.netlist.Nets() {
		if strings.EqualFold(net, name) {
			return net
		}
	}
	for _, pin := range b.netlist.Part(mcuRef).Pins {
		if strings.EqualFold(pin.Name, name) && isLine(pin.Name) {
			return pin.Name
		}
	}
	for from := range b.joined {
		if strings.EqualFold(from, name) {
			return from
		}
	}
	return ""
}

// references is the form of part references; R1 to R14 are columns.
var references = regexp.MustCompile(`(?i)^([acdfqsux]|jp)\d+$|^r\d{3}$`)

// BoardDefectForms lists what Damage reads, a line a form.
func BoardDefectForms() string {
	var b strings.Builder
	for _, f := range boardForms {
		fmt.Fprintf(&b, "  %-34s %s\n", f.text, f.meaning)
	}
	return strings.TrimRight(b.String(), "\n")
}
