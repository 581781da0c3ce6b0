package selfcheck

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// judgeFitted compares what the adapter found of itself with what a good board of the
// same groups finds: registers that shift, converters and monitor that answer.
func (c *check) judgeFitted() {
	good := c.model.good
	want := fittedOf(good, good)
	c.found.low = c.found.lowFound != 0
	of := func(f fitted) [6]int {
		b := func(v bool) int {
			if v {
				return 1
			}
			return 0
		}
		return [6]int{f.bias, f.load, b(f.low), b(f.converter[0]), b(f.converter[1]), b(f.monitor)}
	}
	seen, wanted := of(c.found), of(want)
	if seen[0] == 0 { // then the adapter finds nothing else
		for i := 1; i < 5; i++ {
			wanted[i] = 0
		}
		seen[1], seen[2], seen[3], seen[4] = 0, 0, 0, 0
	}
	if !c.found.low && c.chainOfLowMayWork() {
		wanted[2] = 0
	}
	if seen == wanted {
		return
	}
	predicted := map[int][6]int{}
	for i, d := range c.model.defects {
		if !d.controls(good) {
			continue
		}
		n := good.Clone()
		d.apply(n)
		p := of(fittedOf(n, good))
		if p[0] == 0 {
			p[1], p[2], p[3], p[4] = 0, 0, 0, 0
		}
		if p != wanted {
			predicted[i] = p
		}
	}
	for field := range seen {
		if seen[field] == wanted[field] {
			continue
		}
		// the defects that explain this, and nothing that was not seen; most first
		var best []int
		most := 0
		for i := range c.model.defects {
			p, ok := predicted[i]
			if !ok || p[field] != seen[field] {
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
			for j := range seen {
				if predicted[best[0]][j] != wanted[j] {
					wanted[j] = seen[j]
				}
			}
		}
		c.addFitted(field, best, seen[field])
	}
}

// chainOfLowMayWork tells whether all that the adapter says of the low side is that no
// switch works, which is not the chain's fault if there are but few.
func (c *check) chainOfLowMayWork() bool { return false }

// controls tells whether a defect may change what the adapter finds of itself.
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
func (c *check) addFitted(field int, of []int, seen int) {
	type said struct {
		kind              kind
		what, found, look string
	}
	chain := func(i int) said {
		for _, ch := range chains(c.model.good) {
			if [3]string{"bias", "load", "low-side"}[i] != ch.name {
				continue
			}
			var registers, others []string
			for _, ref := range ch.parts {
				if c.model.good.Part(ref).Kind == carrier.Register {
					registers = append(registers, ref)
				} else {
					others = append(others, ref)
				}
			}
			look := fmt.Sprintf("seat and joints of %s: pins 16 (5 V), 8 (ground), 14 (SER, from the pin before), 11 (SRCLK, %s), 10 (/SRCLR, 5 V), 9 (QH', to the next); then %s and the microcontroller's %s",
				strings.Join(registers, ", "), "PC7", strings.Join(others, ", "), ch.back)
			if len(registers) > 1 && len(others) > 0 {
				look += fmt.Sprintf("; with the jumper of %s at 1-2 the chain ends earlier, which tells which half is at fault", others[slices.IndexFunc(others, func(r string) bool { return c.model.good.Part(r).Kind == carrier.Link })])
			}
			return said{registers0, fmt.Sprintf("the %s registers %s: what is shifted in does not come out", ch.name, strings.Join(registers, ", ")),
				fmt.Sprintf("a 1 shifted through them did not come back at %s", ch.back), look}
		}
		return said{registers0, "registers", "", ""}
	}
	var s said
	switch field {
	case 0, 1, 2:
		s = chain(field)
	case 3, 4:
		ref := []string{"U41", "U42"}[field-3]
		s = said{converters, ref + " does not answer", "no null bit came from it", ref + ": its seat and notch, 5 V at pins 15 and 16, ground at 9 and 14, PJ0 at 10, PC6 at 11, PC7 at 13, and its pin 12"}
	default:
		s = said{monitor, "the current monitor U51 does not answer: no current limit is kept", "nothing at its address 0x40",
			"U51: 5 V and ground, and its lines PD0 (SCL) and PD1 (SDA)"}
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
		f = c.model.faultOf(of, s.found)
		f.Look = s.look
	}
	_ = seen
	c.add(s.kind, f)
}

const registers0 = registers

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
	case badFirst && (badSecond || !second):
		v := r.First
		switch {
		case v < 0.3:
			c.named(converters, found, "R831 missing", "R831 22000 ohms", "C43 shorted", "GND shorted to REF2V5", "U43 pin 3 open")
		case v > 4.5:
			c.named(converters, found, "U43 missing", "U43 pin 2 open", "U43 pin 3 open", "+5V shorted to REF2V5", "R831 shorted")
		default:
			c.named(converters, found, "U43 turned", "R831 22000 ohms", "U43 missing")
		}
	case badFirst:
		c.named(converters, found, "U41 pin 7 open")
	case badSecond:
		c.named(converters, found, "U42 pin 7 open")
	}
	if badSupply && c.found.highFound != 0 {
		c.named(converters, fmt.Sprintf("U41 reads the supply behind the shunt as %.2f V, and the switches have it", r.Supply), "U41 pin 8 open")
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
	c.add(k, c.model.faultOf(of, found))
}

// judgeMonitor: where what flows is wrong at every position, it is the monitor.
func (c *check) judgeMonitor(deviates *[adapter.Positions + 1][]deviation) {
	total, wrong := 0, 0
	var shares []float64
	for i := range c.model.plan {
		k, s := &c.model.plan[i], &c.result.seen[i]
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
	case total == 0:
		if c.left[monitor] == "" {
			c.left[monitor] = "no position could be supplied"
		}
	case wrong == total:
		slices.Sort(shares)
		share := shares[len(shares)/2]
		for p := range deviates {
			deviates[p] = slices.DeleteFunc(deviates[p], func(d deviation) bool { return d.current })
		}
		c.result.unmetered = true
		found := fmt.Sprintf("it reads %.0f %% of the current that flows", 100*share)
		if share < 0.05 {
			c.named(monitor, found, "FUSED shorted to SUPPLY")
			return
		}
		c.add(monitor, Fault{Parts: []string{"U51"}, What: "the shunt of U51 is not 0.1 Ω, or the monitor is wrong", Found: found,
			Look: "the shunt on the module: it must be marked R100"})
	default:
		slices.Sort(shares)
		c.good[monitor] = fmt.Sprintf("reads %.0f %% of the current that is meant", 100*shares[len(shares)/2])
	}
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
		if c.model.nominal[p] != nil && len(deviates[p]) == 0 {
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
		c.good[loads] = fmt.Sprintf("%d positions are loaded low and high, each alone, and hold against the bias as they should", good)
	} else {
		c.left[loads] = "no load registers were found: the group is not fitted, or nothing comes through U31 to U34"
	}
	c.good[lowSwitches] = fmt.Sprintf("%d bring ground to their positions and let go", switches[0])
	c.good[highSwitches] = fmt.Sprintf("%d bring the supply to their positions and let go", switches[1])
	if slices.Contains(c.groups, carrier.Converters) {
		c.good[converters] = "they answer; the reference and the supply read as they should"
		if v := c.adapter.RailVolts(); v != 0 {
			c.good[converters] += fmt.Sprintf("; the 5 V of the board are %.2f V", v)
		}
	} else {
		c.left[converters] = "none were found: the group is not fitted, or U41 and U42 do not answer"
	}
}
