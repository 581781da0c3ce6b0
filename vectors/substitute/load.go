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

var (
	loadParts = regexp.MustCompile(`(?i)[,;+&]|\band\b`)
	loadForm  = regexp.MustCompile(`(?i)^(?:(\d{1,3})\s*[x×*]\s*|(\d{1,3})\s+|(\d{1,3}))?([a-z0-9]+?)(?:\s*[x×*]\s*(\d{1,3})|\s+(?:inputs?|loads?|gates?))?$`)
)

// ParseLoad reads a load such as "5 x 74LS, 1 LED".
func ParseLoad(text string) (l Load, err error) {
	if text == "" {
		return l, nil
	}
	for _, word := range loadParts.Split(text, -1) {
		word = strings.TrimSpace(word)
		if word == "" {
			continue
		}
		n, what := countOf(word)
		led := strings.EqualFold(strings.TrimSuffix(strings.ToUpper(what), "S"), "LED")
		switch f := inputFamily(what); {
		case strings.EqualFold(what, "CMOS"):
			return l, fmt.Errorf("load %q: CMOS inputs differ: name their family, 4000B, 74HC or 74HCT", word)
		case n < 1:
			return l, fmt.Errorf("load %q: write it as \"5 x 74LS, 1 LED\"", word)
		case led:
			l.LEDs += n
		case f != nil:
			l.Inputs = append(l.Inputs, Inputs{n, f})
		default:
			return l, fmt.Errorf("load %q: %s is no family; write it as \"5 x 74LS, 1 LED\"", word, what)
		}
	}
	if len(l.Inputs) == 0 && l.LEDs == 0 {
		return l, fmt.Errorf("load %q: write it as \"5 x 74LS, 1 LED\"", text)
	}
	return l, nil
}

// inputFamily is the family whose inputs a person means: TTL is the plain one, not that of
// bipolar memories, which have a quarter of its load.
func inputFamily(name string) *part.Family {
	if strings.EqualFold(name, "TTL") {
		name = "74"
	}
	return part.FamilyByName(name)
}

// countOf takes a count off what is counted: "5 x 74LS", "74LS x 5", "5 LS", "LED"; 0 for
// none, and for what is neither.
func countOf(word string) (n int, what string) {
	if part.FamilyByName(word) != nil {
		return 1, word // 74 is a family
	}
	m := loadForm.FindStringSubmatch(word)
	if m == nil {
		return 0, word
	}
	before, after := m[1]+m[2]+m[3], m[5]
	if what = m[4]; m[3] != "" && !strings.HasPrefix(strings.ToUpper(what), "LED") {
		before, what = "", m[3]+what // 74LS: digits that are joined belong to the name
	}
	switch {
	case before != "" && after != "":
		return 0, word
	case before+after == "":
		return 1, what
	}
	n, _ = strconv.Atoi(before + after)
	return n, what
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
		if e.out.VOL > in.Family.VIL {
			return []Difference{{Words: fmt.Sprintf("no low for the %s inputs: up to %.2g V", in.Family.Name, e.out.VOL), Change: true}}
		}
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
