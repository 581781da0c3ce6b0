package virtual

import (
	"errors"
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

// Damage does to the board what a text says, such as "R305 open". Its error, an
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

// match reads a text by a form. ok tells that its words are those of the form; the error
// that one names what there is not.
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

// partOf gives a part by its reference, as it is fitted; nil where there is none.
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

// references are how references of parts are spelt; R1 to R14 are columns.
var references = regexp.MustCompile(`(?i)^([acdfqsux]|jp)\d+$|^r\d{3}$`)

// BoardDefectForms lists what Damage reads, a line a form.
func BoardDefectForms() string {
	var b strings.Builder
	for _, f := range boardForms {
		fmt.Fprintf(&b, "  %-34s %s\n", f.text, f.meaning)
	}
	return strings.TrimRight(b.String(), "\n")
}

// fitted gives a part of the netlist that may be changed.
func (b *Board) fitted(p *carrier.Part) *carrier.Part { return b.change().Part(p.Ref) }

func (b *Board) open(d boardDefect) error {
	if len(d.part.Pins) != 2 {
		return fmt.Errorf("%s has %d pins: say which is open, or that it is missing", d.part.Ref, len(d.part.Pins))
	}
	b.fitted(d.part).Pins[0].Net = ""
	return nil
}

func (b *Board) short(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(buttonRef); p == nil {
			return errors.New("the board has no button")
		}
	}
	if len(p.Pins) != 2 {
		return fmt.Errorf("%s has %d pins: say which are shorted", p.Ref, len(p.Pins))
	}
	return b.solder(p.Pins[0].Net, p.Pins[1].Net)
}

func (b *Board) remove(d boardDefect) error {
	if d.part.Ref == mcuRef || d.part.Ref == socketRef {
		return fmt.Errorf("without %s there is no adapter", d.part.Ref)
	}
	ref := d.part.Ref
	n := b.change()
	n.Parts = slices.DeleteFunc(n.Parts, func(p carrier.Part) bool { return p.Ref == ref })
	return nil
}

func (b *Board) turn(d boardDefect) error {
	switch d.part.Kind {
	case carrier.NMOS, carrier.PNP, carrier.Reference, carrier.LED:
	case carrier.Capacitor:
		if d.part.Farads < 1e-6 {
			return fmt.Errorf("%s has no right way round", d.part.Ref)
		}
	case carrier.Resistor, carrier.Button, carrier.Fuse, carrier.Link:
		return fmt.Errorf("%s has no right way round", d.part.Ref)
	default:
		return fmt.Errorf("%s the wrong way round would burn", d.part.Ref)
	}
	pins := b.fitted(d.part).Pins
	last := len(pins) - 1
	pins[0].Net, pins[last].Net = pins[last].Net, pins[0].Net
	return nil
}

func (b *Board) kill(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(monitorRef); p == nil {
			return errors.New("the board has no monitor")
		}
	}
	if !slices.Contains([]carrier.Kind{carrier.Register, carrier.Converter, carrier.Reference, carrier.Monitor}, p.Kind) {
		return fmt.Errorf("%s is no integrated circuit", p.Ref)
	}
	b.dead = with(b.dead, p.Ref, true)
	b.change()
	return nil
}

func with(m map[string]bool, key string, value bool) map[string]bool {
	if m == nil {
		m = map[string]bool{}
	}
	m[key] = value
	return m
}

// leastOhms is what a blob of solder has, Ω.
const leastOhms = 0.01

func (d boardDefect) checkOhms() error {
	if !(d.amount >= leastOhms && d.amount <= mostAmount) {
		return fmt.Errorf("the resistance must be from %g to %d Ω", leastOhms, mostAmount)
	}
	return nil
}

func (b *Board) setOhms(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(monitorRef); p == nil {
			return errors.New("the board has no monitor")
		}
	}
	if p.Ohms == 0 {
		return fmt.Errorf("%s has no resistance", p.Ref)
	}
	if err := d.checkOhms(); err != nil {
		return err
	}
	b.fitted(p).Ohms = d.amount
	return nil
}

func (b *Board) setAll(d boardDefect) error {
	if err := d.checkOhms(); err != nil {
		return err
	}
	prefix := map[string]string{"drive": "R1", "bias": "R3", "load": "R4"}[d.words[1]]
	n := b.change()
	for i := range n.Parts {
		if p := &n.Parts[i]; p.Kind == carrier.Resistor && p.Position != 0 && strings.HasPrefix(p.Ref, prefix) {
			p.Ohms = d.amount
		}
	}
	return nil
}

func (b *Board) openPin(d boardDefect) error {
	b.fitted(d.part).Pins[d.pin].Net = ""
	return nil
}

func (b *Board) shortPins(d boardDefect) error {
	pins := b.fitted(d.part).Pins
	if d.pin == d.other {
		return errors.New("a pin cannot be shorted to itself")
	}
	for _, at := range []int{d.pin, d.other} {
		if pins[at].Net == "" {
			pins[at].Net = d.part.Ref + "." + pins[at].Number
		}
	}
	return b.solder(pins[d.pin].Net, pins[d.other].Net)
}

// openNet opens the joint of a line at the MCU's board, or of a column at the socket.
func (b *Board) openNet(d boardDefect) error {
	if _, gone := b.joined[d.net]; gone {
		d.net = b.after(d.net)
	}
	for _, ref := range []string{mcuRef, socketRef} {
		for i, pin := range b.netlist.Part(ref).Pins {
			if strings.EqualFold(pin.Name, d.words[0]) && pin.Net != "+5V" && pin.Net != "GND" {
				b.fitted(b.netlist.Part(ref)).Pins[i].Net = ""
				return nil
			}
		}
	}
	return fmt.Errorf("%s is no line of the MCU and no column: name the pin that is open", d.net)
}

func (b *Board) shortNets(d boardDefect) error { return b.solder(b.after(d.net), b.after(d.net2)) }

// after is what a net is called since solder joined it to another.
func (b *Board) after(net string) string {
	for {
		to, gone := b.joined[net]
		if !gone {
			return net
		}
		net = to
	}
}

// supplies are the nets that stay what they are.
var supplies = []string{"+5V", "GND", "FUSED", "SUPPLY"}

// solder joins two nets: they become one, but for those of the supply, to which solder leads.
func (b *Board) solder(one, other string) error {
	switch {
	case one == "" || other == "":
		return errors.New("one of the pins leads nowhere")
	case one == other:
		return errors.New("they are one net already")
	case slices.Contains([]string{"+5V", "GND"}, one) && slices.Contains([]string{"+5V", "GND"}, other):
		return errors.New("the board would not start: its 5 V are shorted")
	}
	n := b.change()
	if slices.Contains(supplies, one) || slices.Contains(supplies, other) {
		n.Parts = append(n.Parts, carrier.Part{
			Ref: fmt.Sprintf("Rsolder%d", len(n.Parts)), Kind: carrier.Resistor, Ohms: leastOhms,
			Pins: []carrier.Pin{{Number: "1", Name: "1", Net: one}, {Number: "2", Name: "2", Net: other}},
		})
		return nil
	}
	for i := range n.Parts {
		for j := range n.Parts[i].Pins {
			if p := &n.Parts[i].Pins[j]; p.Net == other {
				p.Net = one
			}
		}
	}
	if b.joined == nil {
		b.joined = map[string]string{}
	}
	b.joined[other] = one
	return nil
}

func (b *Board) stickLow(d boardDefect) error  { return b.stick(d, false) }
func (b *Board) stickHigh(d boardDefect) error { return b.stick(d, true) }

// stick holds a line of the MCU, or the output of the register that drives a net.
func (b *Board) stick(d boardDefect, high bool) error {
	if isLine(d.net) {
		b.stuck = with(b.stuck, d.net, high)
		b.change()
		return nil
	}
	for _, end := range b.netlist.Terminals(b.after(d.net)) {
		if end.Part.Kind == carrier.Register && end.Pin.Type == carrier.TriState {
			b.stuck = with(b.stuck, end.Part.Ref+" "+end.Pin.Name, high)
			b.change()
			return nil
		}
	}
	return fmt.Errorf("%s is no line of the MCU, and no output of a register drives it", d.net)
}

func (b *Board) setReference(d boardDefect) error {
	if !(d.amount > 0 && d.amount <= supplyVolts) {
		return fmt.Errorf("the reference must be above 0 and up to %g V", supplyVolts)
	}
	b.reference = d.amount
	return nil
}

func (b *Board) setGain(d boardDefect) error {
	if !(d.amount > 0.5 && d.amount < 2) {
		return errors.New("the gain must be from 0.5 to 2")
	}
	b.converter[d.number].gain = d.amount
	return nil
}

func (b *Board) setOffset(d boardDefect) error {
	if !(d.amount > -1000 && d.amount < 1000) {
		return errors.New("the offset must be within 1000 mV")
	}
	b.converter[d.number].offset = d.amount / 1000
	return nil
}
