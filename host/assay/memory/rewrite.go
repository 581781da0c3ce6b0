package memory

import (
	"context"
	"fmt"
	"math/bits"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/protocol"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// An EEPROM is tested by writing all of it twice: a word that differs from address to
// address, then the complement, so that every cell takes both values and a wrong address
// shows by the word that stands there. A march test would write each word five times, at
// some 10 ms each. Before, its contents are read, to tell a memory that takes no writes.

// rewriteTest is what the runs are in the notation of march tests, for each cell by itself.
var rewriteTest = known("erase and test", march.Parse, "{⇕(w0);⇕(r0);⇕(w1);⇕(r1)}")

// RewriteMethod says what the runs are.
const RewriteMethod = "every word written with a word that differs by address and read back, then with its complement"

// The elements of rewriteTest in which a 0 and a 1 are read.
const (
	reads0 = 1
	reads1 = 3
)

// A Rewriting is the test of one powered EEPROM by writing all of it.
type Rewriting struct {
	bench
	Found *Result
	// Kept says that every word keeps what it held before: nothing was written.
	Kept bool
	// Begun says that a word was written or may have been.
	Begun bool

	ctx      context.Context
	plan     Plan
	before   []byte
	passes   [2][]byte // that were written
	read     [2][]byte // what was read back
	findings []string
	done     int // words read or written
}

// NewRewriting begins the test of an EEPROM.
func NewRewriting(ctx context.Context, socket Socket, p Plan) *Rewriting {
	m := p.Type.Variant.Memory
	w := &Rewriting{bench: bench{socket, p.Type, m}, ctx: ctx, plan: p,
		Found: &Result{Test: rewriteTest.Name, of: map[purpose][]march.Failure{}, Shape: NewRun(ctx, socket, p).Found.Shape}}
	for a := range m.Words {
		word := patternWord(a) & (1<<m.Bits - 1)
		w.passes[0] = append(w.passes[0], word)
		w.passes[1] = append(w.passes[1], ^word&(1<<m.Bits-1))
	}
	return w
}

// patternWord gives a word by its address, as if at random: addresses that differ in any
// few lines have different words nearly always. The constant is 2^32 divided by the golden
// ratio (D. Knuth, The Art of Computer Programming 3, 6.4).
func patternWord(address int) byte {
	h := uint32(address+1) * 0x9E3779B9
	h ^= h >> 15
	h *= 0x85EBCA6B
	return byte(h>>24) ^ byte(h>>13)
}

// RewriteOperations counts the writes and the reads that are compared.
func (p Plan) RewriteOperations() int { return 5 * p.Type.Variant.Memory.Words }

// rewriteOverhead is what WAIT, which ends with a tick of the adapter's clock, and the way from
// the host add to each write, to a first order: the AVR image takes 11.85 ms for 10.
const rewriteOverhead = 2 * time.Millisecond

// RewriteEstimate says how long the test of an EEPROM takes the adapter, to a first order.
func (p Plan) RewriteEstimate() time.Duration {
	m := p.Type.Variant.Memory
	return time.Duration(2*m.Words)*(wholeMS(m.Rewrite.Cycle)+rewriteOverhead) + time.Duration(4*m.Words)*takeTime
}

// wholeMS rounds up to the unit of WAIT.
func wholeMS(d time.Duration) time.Duration {
	return (d + time.Millisecond - 1).Truncate(time.Millisecond)
}

// Test makes all runs and compares.
func (w *Rewriting) Test() error {
	var err error
	if w.before, err = w.readBack(adapter.High); err != nil {
		return err
	}
	w.Found.Applied = 0 // what it held is not compared with anything that is known
	for i := range w.passes {
		w.Found.Passes = append(w.Found.Passes, []string{"every word written, up, with one that differs by address, and read back",
			"every word written, down, with the complement, and read back"}[i])
		if err := w.writeAll(i); err != nil {
			return err
		}
		if w.read[i], err = w.readBack(adapter.High); err != nil {
			return err
		}
		w.compare(i, w.read[i])
	}
	if w.Found.FailureCount > 0 {
		return w.diagnose()
	}
	if err := w.readAgainst(); err != nil {
		return err
	}
	return w.deselected()
}

// Findings are what is wrong, the most far-reaching first.
func (w *Rewriting) Findings() []string { return w.findings }

// readBack reads every word under a bias.
func (w *Rewriting) readBack(bias adapter.Pull) ([]byte, error) {
	c := Contents{}
	words, err := c.readAll(w.ctx, w.bench, bias, func(done float64) { w.progress(int(done * float64(w.m.Words) * readWeight)) })
	w.Found.Applied += c.Applied
	w.done += int(float64(w.m.Words) * readWeight)
	return words, err
}

// readWeight is what a read takes in writes.
const readWeight = 0.005

// progress calls Progress with what is done, and more words of the run at hand.
func (w *Rewriting) progress(more int) {
	if w.plan.Progress != nil {
		w.plan.Progress(min(1, float64(w.done+more)/(float64(w.m.Words)*(2+4*readWeight))))
	}
}

// writeAll writes every word of a pass and gives each its time; a program holds a few.
func (w *Rewriting) writeAll(pass int) error {
	if err := w.socket.Pulls(w.ctx, adapter.High, adapter.Off); err != nil {
		return err
	}
	for some := range slices.Chunk(w.order(pass), protocol.CellAccesses) {
		if err := w.write(pass, some, w.m.Rewrite.Cycle); err != nil {
			return err
		}
		w.Found.Applied += len(some)
		w.done += len(some)
		w.progress(0)
	}
	return nil
}

// order is in which order a pass writes the addresses: up, then down. So a word that another disturbs
// shows for certain where the other is the lower one, and else if it held the other value before.
func (w *Rewriting) order(pass int) []int {
	addresses := make([]int, w.m.Words)
	for i := range addresses {
		addresses[i] = i
	}
	if pass == 1 {
		slices.Reverse(addresses)
	}
	return addresses
}

// write writes some words of a pass. Nothing else happens in the time of a write: page mode,
// which takes words that follow at once, is not used.
func (w *Rewriting) write(pass int, addresses []int, cycle time.Duration) error {
	c := w.program(w.counting())
	for _, a := range addresses {
		c.at(a, c.rewrite(uint32(w.passes[pass][a])))
		c.Wait(wholeMS(cycle), true)
	}
	w.Begun = true
	return c.RunToEnd(w.ctx, runBudget, nil, func(adapter.Run) error { return nil })
}

// rewrite writes a word to an EEPROM: its outputs are disabled before the word is driven, and
// the write enable is pulsed while it is selected. The pulse ends before the word is released.
func (c cycle) rewrite(word uint32) adapter.Access {
	write := part.PinSet(c.m.Rewrite.Write.Pin)
	a := c.access(protocol.AccessTurned, pinOf(c.m.Enable), c.selects(), write, write)
	a.Group, a.Value, a.Pause = c.in, word, c.m.Rewrite.Pulse
	return a
}

// compare keeps the words that differ from those of a pass.
func (w *Rewriting) compare(pass int, seen []byte) {
	for a, want := range w.passes[pass] {
		if seen[a] == want {
			continue
		}
		w.Found.FailureCount++
		if len(w.Found.Failures) < mostFailures(w.m) {
			w.Found.Failures = append(w.Found.Failures, march.Failure{Address: a, Expected: uint32(want), Seen: uint32(seen[a]),
				Element: []int{reads0, reads1}[pass]})
		}
	}
}

// readAgainst reads the last words under the low bias, against which the outputs have to drive high.
func (w *Rewriting) readAgainst() error {
	var c Contents
	bias, err := c.readable(w.ctx, w.bench, w.read[1])
	w.Found.NotTested = append(w.Found.NotTested, c.NotTested...)
	w.findings, w.Found.Pins = append(w.findings, c.Findings...), w.Found.Pins|c.Pins
	w.Found.FailureCount += len(c.Findings)
	if err != nil || len(c.Findings) > 0 {
		return err
	}
	seen, err := w.readBack(bias)
	if err != nil {
		return err
	}
	if w.compare(1, seen); w.Found.FailureCount > 0 {
		w.findings = append(w.findings, "only the read with the low bias rail fails: an output may not drive high by itself")
		w.Found.Pins |= w.Found.WrongOutputs(w.t)
	}
	return nil
}

// deselected leaves each control inactive in turn: the outputs must release, and a write
// without a select must change nothing. What is written so is the complement of word 0.
func (w *Rewriting) deselected() error {
	if err := w.released(); err != nil {
		return err
	}
	if err := w.socket.Pulls(w.ctx, adapter.High, adapter.Off); err != nil {
		return err
	}
	for _, control := range w.m.Select {
		p := w.program(w.counting())
		p.at(0, p.without(control).rewrite(uint32(w.passes[0][0])))
		p.Wait(wholeMS(w.m.Rewrite.Cycle), true)
		p.at(0, p.expect(uint32(w.passes[1][0])))
		wrong := 0
		err := p.RunToEnd(w.ctx, runBudget, nil, func(now adapter.Run) error { wrong = int(now.Errors); return nil })
		if err != nil {
			return err
		}
		if wrong > 0 {
			w.Found.FailureCount++
			w.findings = append(w.findings, w.stuckActive("a write changes the memory", control))
			w.Found.Pins = w.Found.Pins.With(control.Pin, true)
		}
	}
	return nil
}

// released leaves each control inactive in turn, and notes where the outputs drive all the same.
func (w *Rewriting) released() error {
	var c Contents
	err := c.readWithout(w.ctx, w.bench, w.read[1])
	w.findings, w.Found.Pins = append(w.findings, c.Findings...), w.Found.Pins|c.Pins
	w.Found.FailureCount += len(c.Findings)
	return err
}

// diagnose says what the words that differ mean.
func (w *Rewriting) diagnose() error {
	w.Kept = string(w.read[0]) == string(w.before) && string(w.read[1]) == string(w.before)
	if w.Kept {
		return w.released()
	}
	if w.addressLines() || w.joined() {
		return nil
	}
	if found, err := w.alone(); err != nil || found {
		return err
	}
	for _, f := range march.Classify(w.Found.Shape, rewriteTest, w.byCell()) {
		pins, text := w.Found.pinsOf(w.m, f), f.String()
		if pins != 0 {
			text += " (" + pins.Words() + ")"
		}
		w.findings, w.Found.Pins = append(w.findings, text), w.Found.Pins|pins
	}
	if w.Found.Pins == 0 {
		w.Found.Pins = w.Found.WrongOutputs(w.t)
	}
	return nil
}

// byCell gives the failures as if each cell had been written 0 first, and by the array's lines.
func (w *Rewriting) byCell() (all []march.Failure) {
	m := uint32(1)<<w.m.Bits - 1
	for _, f := range w.Found.Failures {
		line := 0
		for i, pin := range w.Found.Shape.Pins {
			line |= f.Address >> pin & 1 << i
		}
		if high := f.Seen &^ f.Expected; high != 0 {
			all = append(all, march.Failure{Address: line, Seen: high, Element: reads0})
		}
		if low := f.Expected &^ f.Seen; low != 0 {
			all = append(all, march.Failure{Address: line, Expected: m, Seen: m &^ low, Element: reads1})
		}
	}
	return all
}

// addressLines finds that an address line is stuck, or two are shorted, from what then stands
// at each address: of those that reach one word, the word of the one written last.
func (w *Rewriting) addressLines() bool {
	n := w.m.AddressBits()
	find := func(words string, pins part.Pins) bool {
		w.findings = append(w.findings, words+" ("+pins.Words()+")")
		w.Found.Pins |= pins
		return true
	}
	for i := range n {
		if w.explains(func(a int) int { return a &^ (1 << i) }) {
			return find(fmt.Sprintf("address line A%d is stuck or open: both its levels reach the same cells", i), part.PinSet(w.m.Address[i]))
		}
		for j := range i {
			both := 1<<i | 1<<j
			low := func(a int) int {
				if a&both != both {
					a &^= both
				}
				return a
			}
			high := func(a int) int {
				if a&both != 0 {
					a |= both
				}
				return a
			}
			if w.explains(low) || w.explains(high) {
				return find(fmt.Sprintf("address lines A%d and A%d are shorted", j, i), part.PinSet(w.m.Address[j], w.m.Address[i]))
			}
		}
	}
	return false
}

// explains reports whether everything that was read is what it would be if an address
// reached another word.
func (w *Rewriting) explains(reached func(int) int) bool {
	holds := make([]byte, w.m.Words)
	for pass, words := range w.passes {
		for _, a := range w.order(pass) {
			holds[reached(a)] = words[a]
		}
		for a, seen := range w.read[pass] {
			if seen != holds[reached(a)] {
				return false
			}
		}
	}
	return true
}

// joined finds two data lines that always read alike, and fail only where they should differ.
func (w *Rewriting) joined() bool {
	for i := range w.m.Bits {
		for j := range i {
			both := byte(1<<i | 1<<j)
			alike, won := true, [2]int{}
			for pass, words := range w.passes {
				for a, seen := range w.read[pass] {
					wrong := seen ^ words[a]
					pair := seen & both
					alike = alike && wrong&^both == 0 && (pair == 0 || pair == both) && wrong != both
					if wrong != 0 {
						won[min(1, bits.OnesCount8(pair))]++
					}
				}
			}
			if alike && (won[0] == 0) != (won[1] == 0) {
				pins := part.PinSet(w.m.DataOut[j], w.m.DataOut[i])
				w.findings = append(w.findings, fmt.Sprintf("data bits %d and %d are shorted (%s)", j, i, pins.Words()))
				w.Found.Pins |= pins
				return true
			}
		}
	}
	return false
}

// patientTimes is how many times the write cycle a word is given that did not keep to it.
const patientTimes = 10

// alone writes a few failing words again, each alone, once with the time of the data sheet
// and once with much more, and finds that they only take too long, or are only
// wrong after other words were written.
func (w *Rewriting) alone() (found bool, err error) {
	words := (&Run{Found: w.Found}).failing()
	words = words[:min(len(words), fewCells)]
	patient := min(patientTimes*w.m.Rewrite.Cycle, time.Second)
	right := map[time.Duration]int{}
	for _, cycle := range []time.Duration{w.m.Rewrite.Cycle, patient} {
		c := w.program(w.counting()) // a write that is still being done comes to its end
		c.Wait(patient, true)
		if err := c.RunToEnd(w.ctx, runBudget, nil, func(adapter.Run) error { return nil }); err != nil {
			return false, err
		}
		for _, a := range words {
			takes, err := w.takes(a, cycle)
			if err != nil {
				return false, err
			}
			if takes {
				right[cycle]++
			}
		}
	}
	atOnce, later := right[w.m.Rewrite.Cycle], right[patient]
	switch {
	case atOnce == len(words):
		w.findings = append(w.findings, fmt.Sprintf("%s wrong, the first at address 0x%03X, and right when written and read alone: the memory forgets, or another word disturbs it",
			some(w.Found.FailureCount), words[0]))
	case atOnce == 0 && later == len(words):
		w.findings = append(w.findings, fmt.Sprintf("it writes too slowly: %s wrong %s after the write, and right when given %s",
			some(w.Found.FailureCount), inMS(w.m.Rewrite.Cycle), inMS(patient)))
	default:
		return false, nil
	}
	return true, nil
}

// takes reports whether a word reads as it was written, both ways, when it is given a time.
func (w *Rewriting) takes(address int, cycle time.Duration) (bool, error) {
	for pass, words := range w.passes {
		if err := w.write(pass, []int{address}, cycle); err != nil {
			return false, err
		}
		c := w.program(w.counting())
		c.at(address, c.expect(uint32(words[address])))
		wrong := 0
		err := c.RunToEnd(w.ctx, runBudget, nil, func(now adapter.Run) error { wrong = int(now.Errors); return nil })
		if err != nil || wrong > 0 {
			return false, err
		}
	}
	return true, nil
}

// some counts words read: 1 word was, 12 words were.
func some(words int) string {
	if words == 1 {
		return "1 word was"
	}
	return fmt.Sprintf("%d words were", words)
}

func inMS(d time.Duration) string { return fmt.Sprintf("%d ms", d.Milliseconds()) }

// Levels measures a memory that failed nothing, as that of a RAM is: word 0 is written low and high.
func (w *Rewriting) Levels() (*levels.Levels, error) {
	r, err := levels.NewReader(w.ctx, w.socket, w.t)
	if err != nil {
		return nil, err
	}
	for _, high := range []bool{false, true} {
		c := w.program(w.counting())
		word := uint32(0)
		if high {
			word = 1<<w.m.Bits - 1
		}
		c.at(0, c.rewrite(word))
		c.Wait(wholeMS(w.m.Rewrite.Cycle), true)
		if err := c.RunToEnd(w.ctx, runBudget, nil, func(adapter.Run) error { return nil }); err != nil {
			return nil, err
		}
		if err := w.outputLevels(w.ctx, r, high, word); err != nil {
			return nil, err
		}
	}
	return r.Levels, w.inputLevels(w.ctx, r)
}
