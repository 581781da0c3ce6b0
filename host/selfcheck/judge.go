package selfcheck

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// The fields of what an adapter finds of itself, as they are compared.
const (
	biasField = iota
	loadField
	lowField
	converter1Field
	converter2Field
	monitorField
	fields
)

// fields gives them as numbers; without bias an adapter finds nothing else.
func (f fitted) fields() [fields]int {
	b := func(v bool) int {
		if v {
			return 1
		}
		return 0
	}
	if f.bias == 0 {
		return [fields]int{monitorField: b(f.monitor)}
	}
	return [fields]int{f.bias, f.load, b(f.low), b(f.converter[0]), b(f.converter[1]), b(f.monitor)}
}

// judgeFitted compares some of what the adapter found of itself with what a good board
// of the same groups finds: registers that shift, converters and a monitor that answer.
func (c *check) judgeFitted(which ...int) {
	m := c.model
	seen, wanted := c.found.fields(), fittedOf(m.good, m.good).fields()
	if c.found.bias == 0 {
		wanted = fitted{bias: 1, monitor: wanted[monitorField] != 0}.fields()
	}
	if !slices.Contains(which, lowField) {
		seen[lowField] = wanted[lowField] // not judged yet
	}
	c.blamed = wanted
	for _, field := range which {
		if seen[field] == c.blamed[field] {
			continue
		}
		// the defects that explain this and nothing that was not seen, most first
		var best []int
		most := 0
		for i, d := range m.defects {
			if !d.controls(m.good) {
				continue
			}
			p := m.fittedWith(i).fields()
			if !slices.Contains(which, lowField) {
				p[lowField] = wanted[lowField]
			}
			if p[field] != seen[field] {
				continue
			}
			explained, contradicts := 0, false
			for j := range p {
				if p[j] != wanted[j] {
					explained++
					contradicts = contradicts || p[j] != seen[j]
				}
			}
			switch {
			case contradicts || explained < most:
				continue
			case explained > most:
				best, most = nil, explained
			}
			best = append(best, i)
		}
		if len(best) > 0 {
			p := m.fittedWith(best[0]).fields()
			for j := range seen {
				if p[j] != wanted[j] {
					c.blamed[j] = seen[j]
				}
			}
		}
		c.addFitted(field, best)
	}
}

// judgeLowChain: where no low-side switch was found although the bias works at their
// positions, it is the chain; a bias that does not work hides them too.
func (c *check) judgeLowChain() {
	c.result.chainOfLow = true
	if c.result.low != 0 {
		return
	}
	deviates := c.model.deviations(&result{seen: c.result.seen, looked: c.result.looked, high: math.MaxUint32, low: math.MaxUint32})
	good := 0
	for _, l := range lanes {
		if l.Low != "" && c.result.looked&bit(l.Position) != 0 && len(deviates[l.Position]) == 0 && c.model.good.Part(fmt.Sprintf("Q1%02d", l.Position)) != nil {
			good++
		}
	}
	if c.result.chainOfLow = false; good >= 2 {
		c.found.low = false
		c.judgeFitted(lowField)
	}
}

// controls reports whether a defect may change what the adapter finds of itself.
func (d Defect) controls(n *carrier.Netlist) bool {
	for _, net := range d.nets(n) {
		if isControl(net) || strings.HasPrefix(net, "+5V") && d.kind == shorted {
			return true
		}
	}
	p := n.Part(d.Ref)
	return p != nil && (p.Kind == carrier.Register || p.Kind == carrier.Converter || p.Kind == carrier.Monitor || p.Kind == carrier.Link)
}

// addFitted names defects that explain a field of what the adapter finds of itself.
func (c *check) addFitted(field int, of []int) {
	var s remark
	switch field {
	case biasField, loadField, lowField:
		s = c.remarkOnChain([]string{"bias", "load", "low-side"}[field])
	case converter1Field, converter2Field:
		ref := []string{"U41", "U42"}[field-converter1Field]
		s = remark{converters, ref + " does not answer", "no null bit came from it", ref + ": its seat and notch, 5 V at pins 15 and 16, ground at 9 and 14, PJ0 at 10, PC6 at 11, PC7 at 13, and its pin 12"}
	default:
		s = remark{monitor, "the current monitor U51 does not answer: no current limit is in force", "nothing at its address 0x40",
			"U51: 5 V and ground, and its lines PD0 (SCL) and PD1 (SDA)"}
	}
	if field == lowField { // nothing but the switches shows these registers: they may shift, and not store or show it
		for i, d := range c.model.defects {
			if !slices.Contains(of, i) && slices.ContainsFunc(d.nets(c.model.good), func(net string) bool { return net == lowStore || net == lowEnable }) {
				of = append(of, i)
			}
		}
		s.what = strings.Replace(s.what, "does not come out", "does not come out, or does not reach their outputs", 1)
		s.found = "no low-side switch was found to work"
		s.look += fmt.Sprintf("; pins 12 (RCLK, %s) and 13 (/OE, %s)", lowStore, lowEnable)
	}
	f := Fault{What: s.what, Found: s.found, Look: s.look}
	for _, i := range of {
		d := c.model.defects[i]
		f.defects = append(f.defects, d)
		for _, name := range d.names() {
			if !slices.Contains(f.Parts, name) {
				f.Parts = append(f.Parts, name)
			}
		}
	}
	if len(of) > 0 && len(of) <= 3 {
		f = c.model.faultOf(c.model.those(of), nil, s.found)
		f.Look = s.look
	}
	c.add(s.kind, f)
}

// A remark is the words for a fault, and the group of the report that they belong to.
type remark struct {
	kind              kind
	what, found, look string
}

// remarkOnChain says that what is shifted into a chain does not come out.
func (c *check) remarkOnChain(name string) remark {
	for _, ch := range chains(c.model.good) {
		if ch.name != name {
			continue
		}
		var shifting, others []string
		link := ""
		for _, ref := range ch.parts {
			switch c.model.good.Part(ref).Kind {
			case carrier.Register:
				shifting = append(shifting, ref)
				continue
			case carrier.Link:
				link = ref
			}
			others = append(others, ref)
		}
		all := strings.Join(shifting, ", ")
		look := fmt.Sprintf("seat and joints of %s: pins 16 (5 V), 8 (ground), 14 (SER, from the pin before), 11 (SRCLK, PC7), 10 (/SRCLR, 5 V), 9 (QH', to the next); then %s and the microcontroller's %s",
			all, strings.Join(others, ", "), ch.back)
		if len(shifting) > 1 && link != "" {
			look += fmt.Sprintf("; with the jumper of %s at 1-2 the chain ends earlier, which shows which half is at fault", link)
		}
		if c.found.bias == 0 && !c.options.Building {
			all += " (those that are fitted)"
		}
		return remark{registers, fmt.Sprintf("the %s registers %s: what is shifted in does not come out", name, all),
			fmt.Sprintf("a 1 shifted through them did not come back at %s", ch.back), look}
	}
	return remark{kind: registers}
}

// The strobe and the enable of the low-side registers.
const (
	lowStore  = "PD7"
	lowEnable = "PB6"
)

// judgeReference looks whether the 2.500 V reference can be gone by; if not, voltages
// are shares of what the adapter takes its rail for.
func (c *check) judgeReference() error {
	if !slices.Contains(c.groups, carrier.Converters) {
		return nil
	}
	r, err := c.adapter.References(c.ctx)
	if err != nil {
		return err
	}
	sound := func(v float64) bool { return v > 2.3 && v < 2.85 } // 2.500 V of rails from 4.4 to 5.4 V
	there := func(v float64) bool { return !math.IsNaN(v) }
	first, second := there(r.First), there(r.Second)
	found := fmt.Sprintf("read as %.2f V by U41", r.First)
	if !first {
		found = fmt.Sprintf("read as %.2f V by U42", r.Second)
	} else if second {
		found += fmt.Sprintf(" and %.2f V by U42", r.Second)
	}
	badFirst, badSecond := first && !sound(r.First), second && !sound(r.Second)
	if badFirst {
		c.adapter.Capabilities.Reference = false
	}
	// the supply of a good board, measured or not, stands where the rail does
	badSupply := there(r.Supply) && r.Supply < 4.5
	switch {
	case badFirst && badSecond && math.Abs(r.First-r.Second) > 0.3: // each holds what it measured before
		c.named(converters, found+": it floats", "R831 missing")
	case badFirst && (badSecond || !second):
		of := []string{"R831 missing", "R831 22000 ohms", "R831 220 ohms", "U43 turned", "U43 missing"}
		switch v := r.First; {
		case v < 0.3:
			of = []string{"R831 missing", "C43 shorted", "GND shorted to REF2V5"}
		case v > 4.5:
			of = []string{"R831 missing", "R831 220 ohms", "U43 missing", "U43 pin 2 open", "U43 pin 3 open", "+5V shorted to REF2V5"}
		}
		c.named(converters, found, of...)
	case badFirst:
		c.pending = func() { c.named(converters, found, "U41 pin 7 open") }
	case badSecond:
		c.pending = func() { c.named(converters, found, "U42 pin 7 open") }
	}
	if badSupply && c.found.highFound != 0 {
		c.named(converters, fmt.Sprintf("U41 reads the supply behind the shunt as %.2f V, but it reaches the switches", r.Supply), "U41 pin 8 open")
	}
	return nil
}

// named adds a fault of defects, given as text, that are among the model's.
func (c *check) named(k kind, found string, defects ...string) {
	var of []int
	for i, d := range c.model.defects {
		if slices.Contains(defects, d.String()) {
			of = append(of, i)
		}
	}
	if len(of) == 0 {
		c.add(k, Fault{What: strings.Join(defects, ", or "), Found: found, Look: strings.Join(defects, ", ")})
		return
	}
	c.add(k, c.model.faultOf(c.model.those(of), nil, found))
}

// judgeMonitor: where what flows is wrong at every position, it is the monitor.
func (c *check) judgeMonitor(deviates *[adapter.Positions + 1][]deviation) {
	total, wrong, tripped := 0, 0, 0
	var shares []float64
	for i := range c.model.plan {
		k, s := &c.model.plan[i], &c.result.seen[i]
		if k.high != 0 && s.tripped {
			tripped++
		}
		if k.high == 0 || !s.looked || s.current < 0 {
			continue
		}
		total++
		want := c.model.nominal[k.high][i].current.low
		shares = append(shares, s.current/want)
		if slices.ContainsFunc(deviates[k.high], func(d deviation) bool { return d.current }) {
			wrong++
		}
	}
	switch {
	case total == 0 && tripped > 0 && !elsewhere(deviates):
		for p := range deviates {
			deviates[p] = slices.DeleteFunc(deviates[p], func(d deviation) bool { return d.tripped })
		}
		c.add(monitor, Fault{Parts: []string{"U51"}, What: "the shunt of U51 is not 0.1 Ω, or the supply is shorted behind it",
			Found: fmt.Sprintf("it reads more than %d mA wherever the supply is switched on", limitMA), Look: "the shunt on the module: it must be marked R100; solder between SUPPLY and ground"})
	case total == 0:
		if c.left[monitor] == "" {
			c.left[monitor] = "no position could be supplied"
		}
	case wrong == total && elsewhere(deviates):
		c.unmeter(deviates)
		c.left[monitor] = "something at a position draws current by itself"
	case wrong == total:
		slices.Sort(shares)
		share := shares[len(shares)/2]
		c.unmeter(deviates)
		found := fmt.Sprintf("it reads %.0f %% of the current that flows", 100*share)
		if share < 0.2 {
			c.named(monitor, found+": it does not answer, or nothing flows through its shunt", "U51 pin 1 open", "U51 pin 2 open", "U51 pin 3 open", "U51 pin 4 open",
				"A1 pin 20 open", "A1 pin 21 open", "PD0 shorted to PD1", "FUSED shorted to SUPPLY", "GND shorted to PD0", "GND shorted to PD1", "+5V shorted to PD0", "+5V shorted to PD1")
			return
		}
		c.add(monitor, Fault{Parts: []string{"U51"}, What: "the shunt of U51 is not 0.1 Ω, or the monitor is wrong", Found: found,
			Look: "the shunt on the module: it must be marked R100"})
	default:
		slices.Sort(shares)
		c.good[monitor] = fmt.Sprintf("reads %.0f %% of the intended current", 100*shares[len(shares)/2])
	}
}

// elsewhere reports whether anything but currents deviates.
func elsewhere(deviates *[adapter.Positions + 1][]deviation) bool {
	for p := range deviates {
		if slices.ContainsFunc(deviates[p], func(d deviation) bool { return !d.current && !d.tripped }) {
			return true
		}
	}
	return false
}

// unmeter takes the monitor's currents out of what is to be explained.
func (c *check) unmeter(deviates *[adapter.Positions + 1][]deviation) {
	for p := range deviates {
		deviates[p] = slices.DeleteFunc(deviates[p], func(d deviation) bool { return d.current })
	}
	c.result.unmetered = true
}

// judgeOperator looks at the button; the lamps are for the eye.
func (c *check) judgeOperator() error {
	s, err := c.adapter.Status(c.ctx)
	if err != nil {
		return err
	}
	if s.Button {
		c.named(operator, "the button reads as pressed", "GND shorted to PE4")
	}
	c.good[operator] = "the button is not pressed"
	c.left[operator] = "an open line looks the same: press it while chipassay adapter info runs; ready (D1) must be lit now, busy (D2) and power (D3) must have flickered"
	return nil
}

// sayGood says what was seen to work.
func (c *check) sayGood(deviates *[adapter.Positions + 1][]deviation) {
	good, switches := 0, [2]int{}
	for p := range c.model.nominal {
		if p > 0 && c.result.looked&bit(p) != 0 && len(deviates[p]) == 0 {
			good++
		}
		if p > 0 {
			switches[0] += int(c.result.low >> p & 1)
			switches[1] += int(c.result.high >> p & 1)
		}
	}
	c.good[registers] = fmt.Sprintf("%d outputs of bias and %d of load follow what is shifted in", c.found.bias, c.found.load)
	c.good[senses] = fmt.Sprintf("%d positions show both levels", good)
	c.good[drives] = fmt.Sprintf("%d positions are driven low and high, and no other follows", good)
	c.good[biases] = fmt.Sprintf("%d positions are pulled low and high, each alone", good)
	if c.found.load != 0 {
		c.good[loads] = fmt.Sprintf("%d positions are loaded low and high, each alone, and overcome the bias", good)
	} else {
		c.left[loads] = "no load registers were found: the group is not fitted, or nothing comes through U31 to U34"
	}
	c.good[lowSwitches] = fmt.Sprintf("%d bring ground to their positions and release it", switches[0])
	c.good[highSwitches] = fmt.Sprintf("%d bring the supply to their positions and release it", switches[1])
	if slices.Contains(c.groups, carrier.Converters) {
		c.good[converters] = "they answer; the reference and the supply read correctly"
		if v := c.adapter.RailVolts(); v != 0 {
			c.good[converters] += fmt.Sprintf("; the 5 V supply of the board is %.2f V", v)
		}
	} else {
		c.left[converters] = "none were found: the group is not fitted, or U41 and U42 do not answer"
	}
}
