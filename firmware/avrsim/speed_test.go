//go:build simavr

package avrsim

import (
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// These benchmarks give the figures of firmware/README.md, section Speed, from
// the cycle counter of the simulated MCU. Run each once:
//
//	go test -tags simavr -run '^$' -bench . -benchtime 1x ./firmware/avrsim

// A counted connection counts the bytes both ways, and the requests: what is
// written after an answer.
type counted struct {
	link.Conn
	out, in, requests int
	answered          bool
}

func (c *counted) Write(p []byte) (int, error) {
	if c.answered || c.requests == 0 {
		c.requests++
		c.answered = false
	}
	n, err := c.Conn.Write(p)
	c.out += n
	return n, err
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	c.in += n
	c.answered = c.answered || n > 0
	return n, err
}

// gray drives the inputs of a 7410 in a Gray code.
func gray(n int) []stimulus.Step {
	inputs := [...]int{1, 2, 13, 3, 4, 5, 9, 10, 11}
	steps := make([]stimulus.Step, n)
	for i := range steps {
		for bit, pin := range inputs {
			steps[i].Driven = steps[i].Driven.With(pin, true)
			steps[i].Drive = steps[i].Drive.With(pin, (i^i>>1)>>bit&1 != 0)
		}
	}
	return steps
}

// BenchmarkApply is the steps of full requests of APPLY: MCU cycles a step while
// the request is carried out, and in total with the line; bytes on the line a step.
func BenchmarkApply(b *testing.B) {
	turning := func(steps []stimulus.Step) []stimulus.Step {
		for i := range steps {
			if i%2 != 0 {
				steps[i].Driven &^= part.PinSet(1)
				steps[i].Drive &^= part.PinSet(1)
			}
		}
		return steps
	}
	for _, c := range []struct {
		name   string
		settle time.Duration
		steps  []stimulus.Step
	}{
		{"one direction, no settling", 0, gray(1024)},
		{"one direction, settling 5 µs", 5 * time.Microsecond, gray(1024)},
		{"a direction each, no settling", 0, turning(gray(1024))},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "7410")
			conn := &counted{Conn: p.Conn}
			seat := seat(b, conn, named(b, "7410").Variant)
			seat.Settle = c.settle
			if _, err := seat.PowerOn(b.Context(), 100); err != nil {
				b.Fatal(err)
			}
			if _, err := seat.Apply(b.Context(), c.steps[:1], adapter.High); err != nil { // the bias
				b.Fatal(err)
			}
			for b.Loop() {
				*conn = counted{Conn: p.Conn}
				busy, worked := p.bench.busy(), p.bench.worked()
				if _, err := seat.Apply(b.Context(), c.steps, adapter.High); err != nil {
					b.Fatal(err)
				}
				n := float64(len(c.steps))
				b.ReportMetric(float64(p.bench.busy()-busy)/n, "cycles-carried-out/step")
				b.ReportMetric(float64(p.bench.worked()-worked)/n, "cycles-in-all/step")
				b.ReportMetric(float64(conn.out+conn.in)/n, "bytes/step")
				b.ReportMetric(float64(conn.requests), "requests")
			}
		})
	}
}

// BenchmarkMeasure is the steps of MEASURE: MCU µs a step while the request is
// carried out, without the settling that is asked for, and in total.
func BenchmarkMeasure(b *testing.B) {
	for _, c := range []struct {
		name      string
		pins      part.Pins
		averaging int
	}{
		{"no voltage", 0, 0},
		{"one pin, one conversion", part.PinSet(1), 0},
		{"12 pins, one conversion", 0x1FBF, 0},
		{"12 pins, 8 conversions", 0x1FBF, 3},
		{"12 pins, 128 conversions", 0x1FBF, 7},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "7410")
			seat := seat(b, p.Conn, named(b, "7410").Variant)
			if _, err := seat.PowerOn(b.Context(), 100); err != nil {
				b.Fatal(err)
			}
			steps := make([]adapter.MeasureStep, 24)
			loads := []adapter.Pull{adapter.Off, adapter.Low, adapter.High}
			for i, g := range gray(len(steps)) {
				steps[i] = adapter.MeasureStep{Step: g, Bias: adapter.High, Load: loads[i%3], Pins: c.pins, Averaging: c.averaging}
			}
			for b.Loop() {
				busy, worked := p.bench.busy(), p.bench.worked()
				if _, err := seat.Measure(b.Context(), steps); err != nil {
					b.Fatal(err)
				}
				const perMicrosecond = Hertz / 1_000_000
				b.ReportMetric(float64(p.bench.busy()-busy)/float64(len(steps))/perMicrosecond, "µs-carried-out/step")
				b.ReportMetric(float64(p.bench.worked()-worked)/float64(len(steps))/perMicrosecond, "µs-in-all/step")
			}
		})
	}
}

// BenchmarkTest is a whole test of a good chip, from the greeting to the end.
func BenchmarkTest(b *testing.B) {
	for _, name := range []string{"7410", "7400", "74LS51"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p := open(b, name)
				conn := &counted{Conn: p.Conn}
				busy, worked := p.bench.busy(), p.bench.worked()
				r := assayed(b, conn, name)
				b.ReportMetric(float64(r.VectorsApplied), "vectors")
				b.ReportMetric(float64(p.bench.worked()-worked)/Hertz*1000, "MCU-ms")
				b.ReportMetric(float64(p.bench.busy()-busy)/Hertz*1000, "MCU-ms-carried-out")
				b.ReportMetric(float64(conn.out+conn.in), "bytes")
				b.ReportMetric(float64(conn.requests), "requests")
			}
		})
	}
}

// BenchmarkInsertion is all that is done with a chip from its insertion to the
// verdict, and its stages alone: each but contact switches the supply on and off.
func BenchmarkInsertion(b *testing.B) {
	for _, name := range []string{"7400", "74LS00", "74HC00"} {
		b.Run(name, func(b *testing.B) {
			typ := named(b, name)
			plan, err := assay.NewPlan(typ, nil)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				p := open(b, name)
				conn := &counted{Conn: p.Conn}
				s := seat(b, conn, typ.Variant)
				for _, part := range []struct {
					name string
					only []assay.Stage
				}{
					{"-contact", []assay.Stage{assay.ContactStage}},
					{"-function", []assay.Stage{assay.FunctionStage}},
					{"-levels", []assay.Stage{assay.LevelStage}},
					{"", nil},
				} {
					begin := p.bench.worked()
					conn.requests = 0
					plan.Only = part.only
					r := assay.Run(b.Context(), s, plan)
					if part.only == nil && r.Verdict != assay.Pass {
						b.Fatal(r.Reason)
					}
					b.ReportMetric(float64(p.bench.worked()-begin)/Hertz*1000, "MCU-ms"+part.name)
					b.ReportMetric(float64(conn.requests), "requests"+part.name)
				}
			}
		})
	}
}

// BenchmarkRoundTrip is a request of the host and its answer, on the wall's clock.
func BenchmarkRoundTrip(b *testing.B) {
	a, err := adapter.Open(b.Context(), link.New(open(b, ""), 0))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := a.Status(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}
