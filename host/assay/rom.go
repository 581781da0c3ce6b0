package assay

import (
	"context"
	"fmt"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// ReadROM reads a read-only memory, a byte a word, twice: with the bias rail high
// and, where its outputs drive both ways, low. The result says how the chip lies
// and whether both readings agree; its verdict is never a pass, for what is right
// only a file to compare with can tell. Without contents the result says why.
func ReadROM(ctx context.Context, socket MemorySocket, p MemoryPlan) ([]byte, *Result) {
	typ := p.Type
	m := typ.Variant.Memory
	plan := Plan{Type: typ, Only: p.Only}
	r := &Result{
		Type: typ, SupplyCurrentMA: -1, Started: time.Now(), Definition: typ.Part().File, DefinitionSHA256: typ.Part().SHA256,
		NotTested: untested(plan), Cautions: typ.Variant.Cautions, Margins: Margins(typ), Comparison: "two readings with each other",
		Method: fmt.Sprintf("every one of %d words of %d bits read", m.Words, m.Bits), VectorsPlanned: 2 * m.Words,
	}
	defer func() { r.Duration = time.Since(r.Started) }()
	if typ.Variant.Refusal != "" {
		return nil, r.notTested("this part must not be powered in the adapter: " + typ.Variant.Refusal)
	}
	if refused := r.contact(ctx, socket, plan); refused != nil {
		return nil, refused
	}
	var first, second []byte
	err := r.powered(ctx, socket, func() (err error) {
		first, second, err = r.readTwice(ctx, socket, p)
		return err
	})
	if err != nil {
		return nil, r.notTested(unfinished(err))
	}
	for address := range first {
		if first[address] != second[address] {
			r.FailureCount++
			if r.FailureCount == 1 {
				r.Findings = []string{fmt.Sprintf("address %d reads %02X with the bias rail high and %02X with it low: an output does not drive one way",
					address, first[address], second[address])}
			}
			for bit, pin := range m.DataOut {
				if (first[address]^second[address])>>bit&1 != 0 {
					r.fail(pin)
				}
			}
		}
	}
	if r.FailureCount > 0 {
		r.Verdict, r.Reason = Fail, r.Findings[0]
		return first, r
	}
	return first, r.notTested("its contents were read twice alike; only a file to compare them with tells whether they are right")
}

// readTwice reads the powered chip.
func (r *Result) readTwice(ctx context.Context, socket MemorySocket, p MemoryPlan) (first, second []byte, err error) {
	b := memoryBench{socket, r.Type, r.Type.Variant.Memory}
	again := adapter.Low
	if r.Type.Variant.Pins[b.m.DataOut[0]-1].Stage == part.OpenCollector {
		again = adapter.High // they drive low only
	}
	for i, bias := range []adapter.Rail{adapter.High, again} {
		contents, err := r.readAll(ctx, b, bias, func(done float64) {
			if p.Progress != nil {
				p.Progress((float64(i) + done) / 2)
			}
		})
		if err != nil {
			return nil, nil, err
		}
		first, second = second, contents
	}
	return first, second, nil
}

// readAll reads every word once.
func (r *Result) readAll(ctx context.Context, b memoryBench, bias adapter.Rail, progress func(float64)) ([]byte, error) {
	if err := b.socket.Rails(ctx, bias, adapter.Off); err != nil {
		return nil, err
	}
	order := march.Orders(len(b.m.Address), 0)[0] // the address itself counts
	c := b.program(b.counting())
	c.over(order, false, func() { c.read(func() { c.Take(c.out) }) })
	if err := c.Load(ctx); err != nil {
		return nil, err
	}
	var contents []byte
	for {
		now, err := c.Run(ctx, runBudget, false)
		if err != nil {
			return nil, err
		}
		contents = append(contents, now.Output...)
		r.VectorsApplied += len(now.Output)
		progress(float64(len(contents)) / float64(b.m.Words))
		if now.Ended {
			break
		}
	}
	if len(contents) != b.m.Words {
		return nil, fmt.Errorf("the adapter gave %d words of %d", len(contents), b.m.Words)
	}
	return contents, nil
}
