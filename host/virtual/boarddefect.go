package virtual

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/adapter"
)

// boardDefect is what a text of a board's defect names.
type boardDefect struct {
	position, other int
	amount          float64
}

// boardForms are the texts of what can be wrong with a board, and what each does.
// C and D stand for columns such as L3, P for a socket position, X for an amount.
var boardForms = []struct {
	text, meaning string
	apply         func(b *Board, d boardDefect)
}{
	{"C drive open", "the drive resistor of column C is open", func(b *Board, d boardDefect) {
		b.driveOpen |= adapter.At(d.position)
		b.drive[bitOf(d.position)] = 0
	}},
	{"C drive stuck low", "the line that drives C never lets go of ground", func(b *Board, d boardDefect) {
		b.stuck |= adapter.At(d.position)
	}},
	{"C drive stuck high", "the line that drives C never lets go of 5 V", func(b *Board, d boardDefect) {
		b.stuck |= adapter.At(d.position)
		b.stuckHigh |= adapter.At(d.position)
	}},
	{"C sense open", "the sense resistor of C is open", func(b *Board, d boardDefect) {
		b.senseOpen |= adapter.At(d.position)
	}},
	{"C bias open", "the 10 kΩ resistor of C is open", func(b *Board, d boardDefect) { b.pull[BiasPull][bitOf(d.position)] = 0 }},
	{"C load open", "the 1 kΩ resistor of C is open", func(b *Board, d boardDefect) { b.pull[LoadPull][bitOf(d.position)] = 0 }},
	{"C drive X ohms", "drive resistor and output of C have X Ω, not 205", func(b *Board, d boardDefect) {
		b.drive[bitOf(d.position)] = 1 / d.amount
	}},
	{"C bias X ohms", "the bias resistor of C has X Ω, not 10,000", func(b *Board, d boardDefect) {
		b.pull[BiasPull][bitOf(d.position)] = 1 / d.amount
	}},
	{"C load X ohms", "the load resistor of C has X Ω, not 1,000", func(b *Board, d boardDefect) {
		b.pull[LoadPull][bitOf(d.position)] = 1 / d.amount
	}},
	{"all drive X ohms", "likewise, of every position", func(b *Board, d boardDefect) { fill(&b.drive, 1/d.amount) }},
	{"all bias X ohms", "likewise, of every position", func(b *Board, d boardDefect) { fill(&b.pull[BiasPull], 1/d.amount) }},
	{"all load X ohms", "likewise, of every position", func(b *Board, d boardDefect) { fill(&b.pull[LoadPull], 1/d.amount) }},
	{"C bridged to D", "solder joins the lines of C and D", func(b *Board, d boardDefect) {
		b.bridges = append(b.bridges, [2]int{d.position, d.other})
	}},
	{"high switch P stuck off", "the high-side supply switch of position P never closes", func(b *Board, d boardDefect) {
		b.highOff |= adapter.At(d.position)
	}},
	{"high switch P stuck on", "nor opens", func(b *Board, d boardDefect) { b.highStuck |= adapter.At(d.position) }},
	{"low switch P stuck off", "the low-side supply switch of position P never closes", func(b *Board, d boardDefect) {
		b.lowOff |= adapter.At(d.position)
	}},
	{"low switch P stuck on", "nor opens", func(b *Board, d boardDefect) { b.lowStuck |= adapter.At(d.position) }},
	{"monitor dead", "the current monitor reads nothing", func(b *Board, _ boardDefect) { b.monitorDead = true }},
	{"shunt X ohms", "the shunt of the current monitor has X Ω, not 1", func(b *Board, d boardDefect) { b.shunt = d.amount }},
	{"converter gain X", "the converter sees X times the voltage", func(b *Board, d boardDefect) { b.gain = d.amount }},
	{"converter offset X mV", "the converter sees X mV more than there is", func(b *Board, d boardDefect) { b.offsetMV = d.amount }},
	{"button stuck", "the button's line is at ground", func(b *Board, _ boardDefect) { b.buttonStuck = true }},
}

func fill(of *[32]float64, siemens float64) {
	for i := range of {
		of[i] = siemens
	}
}

// Damage does to the board what a text says, such as "L3 drive open". Its error,
// an ErrDefect, lists the forms.
func (b *Board) Damage(text string) error {
	words := strings.Fields(strings.ToLower(text))
	for _, form := range boardForms {
		d, ok := matchBoard(strings.Fields(form.text), words)
		if !ok {
			continue
		}
		if err := d.check(form.text); err != nil {
			return fmt.Errorf("%w: %q: %w", ErrDefect, text, err)
		}
		form.apply(b, d)
		return nil
	}
	return fmt.Errorf("%w of a board: %q; the forms are\n%s", ErrDefect, text, BoardDefectForms())
}

func matchBoard(form, words []string) (d boardDefect, ok bool) {
	if len(form) != len(words) {
		return d, false
	}
	for i, word := range words {
		var err error
		found := true
		switch form[i] {
		case "C":
			d.position, found = adapter.AtColumn(word)
		case "D":
			d.other, found = adapter.AtColumn(word)
		case "P":
			d.position, err = strconv.Atoi(word)
		case "X":
			d.amount, err = strconv.ParseFloat(word, 64)
		default:
			found = word == strings.ToLower(form[i])
		}
		if err != nil || !found {
			return d, false
		}
	}
	return d, true
}

// leastOhms is what a blob of solder has, Ω.
const leastOhms = 0.01

// check refuses what no board can have.
func (d boardDefect) check(form string) error {
	switch {
	case strings.HasPrefix(form, "high switch") && !slices.Contains(SupplyHigh, d.position):
		return fmt.Errorf("the high-side switches are at positions %v", SupplyHigh)
	case strings.HasPrefix(form, "low switch") && !slices.Contains(SupplyLow, d.position):
		return fmt.Errorf("the low-side switches are at positions %v", SupplyLow)
	case strings.HasSuffix(form, "ohms") && !(d.amount >= leastOhms && d.amount <= mostAmount):
		return fmt.Errorf("the resistance must be from %g to %d Ω", leastOhms, mostAmount)
	case strings.HasSuffix(form, "gain X") && !(d.amount > 0.5 && d.amount < 2):
		return errors.New("the gain must be from 0.5 to 2")
	case strings.HasSuffix(form, "X mV") && !(d.amount > -1000 && d.amount < 1000):
		return errors.New("the offset must be within 1000 mV")
	case strings.HasPrefix(form, "C bridged") && d.position == d.other:
		return errors.New("a line cannot be bridged to itself")
	}
	return nil
}

// BoardDefectForms lists what Damage reads, a line a form.
func BoardDefectForms() string {
	var b strings.Builder
	for _, f := range boardForms {
		fmt.Fprintf(&b, "  %-24s %s\n", f.text, f.meaning)
	}
	return strings.TrimRight(b.String(), "\n")
}
