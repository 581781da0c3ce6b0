package virtual

// A strength is how well the carrier's parts conduct: those of a corner of the
// data sheets, as firmware/carrier has them for SPICE.
type strength struct {
	line                    float64 // Ω, an output of the MCU
	outputLow, outputHigh   float64 // Ω, an output of a 74HC595
	threshold, gain, series float64 // V, A/V², Ω: the MOSFET of a low-side switch conducts 1/(gain (VGS - threshold)) + series
	saturation, slope       float64 // V and Ω: the drop of a closed PNP switch
	most                    float64 // A, its limit
	joinedGate              *curve  // the MOSFET with its gate at its drain
}

// strengths are those of weak, typical and strong parts. The PNP's are drawn through
// its curve in ngspice from 10 to 300 mA, within 5 mV.
var strengths = [3]strength{
	{line: 40, outputLow: 55, outputHigh: 110, threshold: 2.5, gain: 1, series: 0.05, saturation: 0.006, slope: 0.5, most: 0.34, joinedGate: squareLaw(2.5, 1)},
	{line: 25, outputLow: 30, outputHigh: 35, threshold: 2, gain: 1.333, series: 0.05, saturation: 0.008, slope: 0.44, most: 0.455, joinedGate: squareLaw(2, 1.333)},
	{line: 18, outputLow: 18, outputHigh: 20, threshold: 1.3, gain: 1.8, series: 0.05, saturation: 0.01, slope: 0.39, most: 0.75, joinedGate: squareLaw(1.3, 1.8)},
}

// of gives the resistances of a driver, Ω, while it is low and while it is high.
func (s strength) of(d driver) (low, high float64) {
	if d.register {
		return s.outputLow, s.outputHigh
	}
	return s.line, s.line
}

// typicalSwitchOhms is the parts list's limit for a low-side switch, Ω: one of another
// value scales the corner's figures.
const typicalSwitchOhms = 0.45

// siemens is the conductance of a low-side switch whose gate is at a voltage over its source.
func (s strength) siemens(m mosfet, gate float64) float64 {
	over := gate - s.threshold
	if over <= 0 {
		return 0
	}
	return typicalSwitchOhms / m.ohms / (1/(s.gain*over) + s.series)
}

// A source is what feeds the high-side switches: the board's 5 V behind fuse and shunt.
type source struct {
	share    float64 // of the rail, open
	siemens  float64 // 0 if it is cut
	perLoad  float64 // of the current taken, the part that goes through the shunt
	standing float64 // S: what flows in the shunt at no load, for each volt of the rail
	draws    float64 // S: what is taken from the rail besides
	shunt    float64 // Ω
	fault    float64 // the monitor's reading over the true current: the actual shunt over the nominal one
}

// The fuse trips at trippedAmps and then passes next to nothing.
const (
	trippedAmps = 1.8
	trippedOhms = 100
)

// findSource solves the two nets between the rail and the high-side switches.
func (w *wiring) findSource(b *Board) {
	fuse, shunt := 0.0, 0.0
	if p := w.netlist.Part(fuseRef); p != nil && spans(p.Net("1"), p.Net("2"), "+5V", "FUSED") {
		fuse = 1 / p.Ohms
	}
	monitor := w.netlist.Part(monitorRef)
	if monitor != nil && spans(monitor.Net("VIN+"), monitor.Net("VIN-"), "FUSED", "SUPPLY") {
		shunt = 1 / monitor.Ohms
	}
	w.source = w.sourceOf(fuse, shunt)
	if fuse > 0 && w.source.draws*b.usb > trippedAmps {
		w.source = w.sourceOf(1/trippedOhms, shunt)
	}
	if monitor != nil {
		w.source.shunt = monitor.Ohms
		w.source.fault = monitor.Ohms / nominalShunt
	}
}

const nominalShunt = 0.1 // Ω

func spans(a, b, one, other string) bool { return a == one && b == other || a == other && b == one }

func (w *wiring) sourceOf(fuse, shunt float64) source {
	wires := []wire{{railNet, fusedNet, fuse}, {fusedNet, supplyNet, shunt}}
	for _, r := range w.wires {
		if max(r.a, r.b) < firstNet {
			wires = append(wires, r)
		}
	}
	const held = 1e-9 // S to ground, of a net that is cut off
	solve := func(load float64) (fused, supply, taken float64) {
		g, i := [][]float64{{held, 0}, {0, held}}, []float64{0, -load}
		at := func(n net) int { return int(n - fusedNet) }
		for _, r := range wires {
			a, b := min(r.a, r.b), max(r.a, r.b)
			if b < fusedNet {
				continue
			}
			g[at(b)][at(b)] += r.siemens
			switch a {
			case groundNet:
			case railNet:
				i[at(b)] += r.siemens
			default:
				g[at(a)][at(a)] += r.siemens
				g[at(a)][at(b)] -= r.siemens
				g[at(b)][at(a)] -= r.siemens
			}
		}
		v := eliminate(g, i)
		for _, r := range wires {
			if a, b := min(r.a, r.b), max(r.a, r.b); a == railNet && b >= fusedNet {
				taken += r.siemens * (1 - v[at(b)])
			}
		}
		return v[0], v[1], taken
	}
	fused, open, taken := solve(0)
	const probe = 0.001 // A
	fusedLoaded, loaded, _ := solve(probe)
	s := source{share: open, standing: shunt * (fused - open), draws: taken}
	if ohms := (open - loaded) / probe; ohms < 1e6 {
		s.siemens = 1 / ohms
		s.perLoad = shunt * ((fusedLoaded - loaded) - (fused - open)) / probe
	}
	return s
}
