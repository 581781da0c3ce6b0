package substitute

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"chipassay/vectors/part"
)

// A Load is what an output drives.
type Load struct {
	Inputs []Inputs
	LEDs   int // from the supply, lit when the output is low
}

// Inputs are unit loads of a family.
type Inputs struct {
	N      int
	Family *part.Family
}

var loadForm = regexp.MustCompile(`^(?:(\d{1,3})\s*[xX×*]?\s+|(\d{1,3})\s*[xX×*]\s*)?(\S+)$`)

// ParseLoad reads a load such as "5 x 74LS, 1 LED".
func ParseLoad(text string) (l Load, err error) {
	for _, word := range strings.Split(text, ",") {
		word = strings.TrimSpace(word)
		if word == "" {
			continue
		}
		m := loadForm.FindStringSubmatch(word)
		if m == nil {
			return l, fmt.Errorf("load %q: write it as \"5 x 74LS, 1 LED\"", word)
		}
		n := 1
		if digits := m[1] + m[2]; digits != "" {
			n, _ = strconv.Atoi(digits)
		}
		if strings.EqualFold(strings.TrimSuffix(strings.ToUpper(m[3]), "S"), "LED") {
			l.LEDs += n
			continue
		}
		f := part.FamilyByName(m[3])
		if f == nil {
			return l, fmt.Errorf("load %q: %s is no family; write it as \"5 x 74LS, 1 LED\"", word, m[3])
		}
		l.Inputs = append(l.Inputs, Inputs{n, f})
	}
	return l, nil
}

const (
	ledVolts = 1.8 // V, forward voltage of a red LED (common practice)
	ledMost  = 10  // mA, what an LED is given
	ledLeast = 2   // mA, what it is still seen with (common practice)
)

// On says what a load is to an output of a type, by its weakest output; nothing where
// there is no load.
func (l Load) On(t part.Type) (all []Difference) {
	if len(l.Inputs) == 0 && l.LEDs == 0 {
		return nil
	}
	e := electricalOf(t)
	low, high := 0.0, 0.0
	for _, in := range l.Inputs {
		low += float64(in.N) * in.Family.IIL
		high += float64(in.N) * in.Family.IIH
		if e.stage != part.OpenCollector && e.out.VOH < in.Family.VIH {
			all = append(all, Difference{Words: fmt.Sprintf("pull-up of 4.7 kΩ for the %s inputs", in.Family.Name), Change: true})
		}
	}
	switch {
	case low > e.out.IOL:
		return append(all, Difference{Words: fmt.Sprintf("too weak for the load: %.3g of %.3g mA low", low, e.out.IOL), Change: true})
	case e.stage != part.OpenCollector && high > e.out.IOH:
		return append(all, Difference{Words: fmt.Sprintf("too weak for the load: %.3g of %.3g mA high", high, e.out.IOH), Change: true})
	case l.LEDs == 0:
		return append(all, Difference{Words: "carries the load", Change: false})
	}
	each := min(ledMost, (e.out.IOL-low)/float64(l.LEDs))
	if each < ledLeast {
		return append(all, Difference{Words: fmt.Sprintf("too weak for the load: leaves %.2g mA for an LED", each), Change: true})
	}
	ohms := part.E12Above((5 - ledVolts - e.out.VOL) / each * 1000)
	return append(all, Difference{Words: fmt.Sprintf("carries the load; LED through %.4g Ω, %.1f mA", ohms, (5-ledVolts-e.out.VOL)/ohms*1000), Change: false})
}
