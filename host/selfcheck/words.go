package selfcheck

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// at names a position by its column and number.
func at(position int) string {
	return fmt.Sprintf("%s (socket position %d)", adapter.Column(position), position)
}

// role says what a part is and where: "R305, 10 kΩ bias resistor at L5".
func role(p *carrier.Part) string {
	what := p.Kind.String()
	if p.Kind == carrier.Resistor {
		what = resistorRole(p) + "resistor"
	}
	words := p.Ref + ", " + p.Value + " " + what
	if p.Kind != carrier.Resistor {
		words = p.Ref + ", " + article(what) + what
	}
	if p.Position != 0 {
		words += " at " + adapter.Column(p.Position)
	}
	return words
}

func article(word string) string {
	if strings.ContainsRune("aeio", rune(word[0])) || strings.HasPrefix(word, "n-") || word == "LED" {
		return "an "
	}
	return "a "
}

// resistorRole names what a resistor does, from what it connects.
func resistorRole(p *carrier.Part) string {
	a, b := p.Pins[0].Net, p.Pins[1].Net
	either := func(prefix string) bool { return strings.HasPrefix(a, prefix) || strings.HasPrefix(b, prefix) }
	switch {
	case either("bias_chain"), either("load_chain"):
		return "read-back "
	case either("bias_"):
		return "bias "
	case either("load_"):
		return "load "
	case either("gate_"):
		return "gate "
	case either("base_"):
		return "base "
	case either("lamp_"):
		return "lamp "
	case p.Position == 0:
		return ""
	}
	l := laneAt[p.Position]
	if a == l.SenseNet() || b == l.SenseNet() {
		return "sense "
	}
	return "drive "
}

// says puts a defect into words.
func (m *model) says(d Defect) string {
	p := m.good.Part(d.Ref)
	switch d.kind {
	case shorted:
		return fmt.Sprintf("%s and %s touch", m.net(d.NetA), m.net(d.NetB))
	case pinOpen:
		for _, pin := range p.Pins {
			if pin.Number == d.Pin {
				if p.Kind == carrier.MCU {
					return fmt.Sprintf("the contact of the microcontroller's %s (label %s) is open", pin.Name, pin.Number)
				}
				return fmt.Sprintf("%s pin %s (%s) is open", p.Ref, pin.Number, pin.Name)
			}
		}
	case missing:
		if p.Kind == carrier.Resistor {
			return role(p) + ", is open"
		}
		return role(p) + ", is missing or does nothing"
	case turned:
		return role(p) + ", is turned round"
	case wrongValue:
		return fmt.Sprintf("%s, is of the wrong value, about %s", role(p), ohms(d.Ohms))
	}
	return d.String()
}

// ohms writes a resistance with two digits: more is not known.
func ohms(v float64) string {
	scale := math.Pow(10, math.Floor(math.Log10(v))-1)
	v = math.Round(v/scale) * scale
	switch {
	case v >= 1e6:
		return fmt.Sprintf("%.3g MΩ", v/1e6)
	case v >= 1000:
		return fmt.Sprintf("%.3g kΩ", v/1000)
	}
	return fmt.Sprintf("%.3g Ω", v)
}

// net says where a net is found: "bias_L5 (U21 pin 4)".
func (m *model) net(name string) string {
	if isSupply(name) {
		return name
	}
	for _, t := range m.good.Terminals(name) {
		switch t.Part.Kind {
		case carrier.Register, carrier.Converter:
			return fmt.Sprintf("%s (%s pin %s)", name, t.Part.Ref, t.Pin.Number)
		case carrier.MCU:
			return fmt.Sprintf("%s (label %s)", name, t.Pin.Number)
		case carrier.Socket:
			return fmt.Sprintf("%s (socket position %s)", name, t.Pin.Number)
		}
	}
	for _, t := range m.good.Terminals(name) {
		if len(t.Part.Pins) == 3 {
			return fmt.Sprintf("%s (%s pin %s)", name, t.Part.Ref, t.Pin.Number)
		}
	}
	return name
}

// names gives the parts or nets that a defect is about.
func (d Defect) names() []string {
	if d.kind == shorted {
		return []string{d.NetA, d.NetB}
	}
	return []string{d.Ref}
}

// those are some of the model's defects.
func (m *model) those(of []int) (defects []Defect) {
	for _, i := range of {
		defects = append(defects, m.defects[i])
	}
	return defects
}

// faultOf puts defects that cannot be told apart, and that change some positions, into one fault.
func (m *model) faultOf(of []Defect, at []int, found string) Fault {
	f := Fault{Found: found}
	var words []string
	kinds := map[string]bool{}
	for _, d := range of {
		f.defects = append(f.defects, d)
		for _, name := range d.names() {
			if !slices.Contains(f.Parts, name) {
				f.Parts = append(f.Parts, name)
			}
		}
		if d.kind != shorted && kinds[d.Ref] { // one reason a part is enough
			continue
		}
		kinds[d.Ref] = d.kind != shorted
		words = append(words, m.says(d))
	}
	if len(at) == 1 {
		f.Position = at[0]
	}
	f.What = strings.Join(words, ", or ")
	f.Look = m.look(of)
	return f
}

// look says where to look for defects.
func (m *model) look(of []Defect) string {
	var places []string
	add := func(s string) {
		if !slices.Contains(places, s) {
			places = append(places, s)
		}
	}
	for _, d := range of {
		p := m.good.Part(d.Ref)
		switch {
		case d.kind == shorted:
			add(fmt.Sprintf("solder between %s and %s", m.net(d.NetA), m.net(d.NetB)))
		case p.Kind == carrier.Resistor:
			add(fmt.Sprintf("both joints and the value of %s, between %s and %s", p.Ref, m.net(p.Pins[0].Net), m.net(p.Pins[1].Net)))
		case p.Kind == carrier.MCU:
			for _, pin := range p.Pins {
				if pin.Number == d.Pin {
					add(fmt.Sprintf("the pin labelled %s of the microcontroller's board and its joint", pin.Number))
				}
			}
		case d.kind == pinOpen:
			add(fmt.Sprintf("%s pin %s and its joint", d.Ref, d.Pin))
		case p.Kind == carrier.NMOS || p.Kind == carrier.PNP:
			add(fmt.Sprintf("%s: its type, its flat side and its three joints", d.Ref))
		default:
			add(fmt.Sprintf("%s: its seat, its notch, %s", d.Ref, "and its joints"))
		}
	}
	return strings.Join(places, "; ")
}

// kindOf is the group of the report that a fault belongs to.
func (m *model) kindOf(f *Fault) kind {
	for _, d := range f.defects {
		p := m.good.Part(d.Ref)
		if p == nil {
			continue
		}
		switch p.Kind {
		case carrier.NMOS:
			return lowSwitches
		case carrier.PNP:
			return highSwitches
		case carrier.Monitor, carrier.Fuse:
			return monitor
		case carrier.Converter, carrier.Reference:
			return converters
		case carrier.Register, carrier.Link:
			if len(f.defects) > 1 && m.good.Part(f.defects[0].Ref) != nil && m.good.Part(f.defects[0].Ref).Kind == carrier.Resistor {
				continue
			}
			return registers
		case carrier.Resistor:
			switch resistorRole(p) {
			case "bias ":
				return biases
			case "load ":
				return loads
			case "gate ":
				return lowSwitches
			case "base ":
				return highSwitches
			case "sense ":
				return senses
			case "drive ":
				return drives
			}
			return registers
		}
	}
	if len(f.defects) > 0 && f.defects[0].kind == shorted {
		for _, net := range f.Parts {
			switch {
			case strings.HasPrefix(net, "bias_"):
				return biases
			case strings.HasPrefix(net, "load_"):
				return loads
			case strings.HasPrefix(net, "gate_"):
				return lowSwitches
			case strings.HasPrefix(net, "base_"):
				return highSwitches
			}
		}
	}
	return drives
}

// reads puts the most telling of some deviations into words.
func (m *model) reads(of []deviation) string {
	if len(of) == 0 {
		return ""
	}
	best := of[0]
	for _, d := range of {
		if d.volts && d.condition >= 0 && (!best.volts || abs(d.got-d.want) > abs(best.got-best.want)+0.5) {
			best = d
		}
	}
	if best.condition < 0 {
		return fmt.Sprintf("a switch of %s was not found to work when the adapter started", at(best.position))
	}
	k := &m.plan[best.condition]
	name := adapter.Column(best.position)
	switch {
	case best.tripped:
		return fmt.Sprintf("more than %d mA flowed with the switch of %s closed", limitMA, name)
	case best.refused:
		return fmt.Sprintf("the adapter found that its lines or switches did not respond, with the switch of %s closed", name)
	case best.current:
		return fmt.Sprintf("%.1f mA flow, expected %.1f, with the switch of %s closed", best.got, best.want, name)
	case best.volts:
		return fmt.Sprintf("%s is at %.2f V, expected %.2f, %s", name, best.got, best.want, k.words(best.position))
	}
	return fmt.Sprintf("%s reads %s, expected %s, %s", name, levelWord(best.got), levelWord(best.want), k.words(best.position))
}

func abs(v float64) float64 { return max(v, -v) }

func levelWord(v float64) string {
	if v > 0.5 {
		return "high"
	}
	return "low"
}

// words say what a condition does to a position.
func (c *condition) words(p int) string {
	b := bit(p)
	toward := func(up uint32) string { return levelWord(float64(up >> p & 1)) }
	var does []string
	if c.high == p {
		does = append(does, "its high-side switch closed")
	}
	if c.low&b != 0 {
		does = append(does, "its low-side switch closed")
	}
	if c.driven&b != 0 {
		does = append(does, "driven "+toward(c.level))
	}
	if c.bias {
		does = append(does, "bias "+toward(c.biasUp))
	}
	if c.load {
		does = append(does, "load "+toward(c.loadUp))
	}
	others := ""
	for q := 1; q <= adapter.Positions; q++ {
		if q != p && c.driven == bit(q) {
			others = ", while " + adapter.Column(q) + " is driven " + levelWord(float64(c.level>>q&1))
		}
	}
	if len(does) == 0 {
		return "with nothing on" + others
	}
	return "with " + strings.Join(does, " and ") + others
}
