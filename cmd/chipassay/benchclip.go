package main

import (
	"context"
	"errors"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/thresholds"
	"chipassay/host/bench"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// A benchHelper is a person before the bench page.
type benchHelper struct {
	do       bench.Helper
	cautions []string
}

func (h benchHelper) ask(ctx context.Context, what string) error { return h.do(ctx, what, h.cautions) }

// say says nothing: the bench says what to take off.
func (benchHelper) say(string) {}

// named makes what names flags name what the page has.
var named = strings.NewReplacer("--capacitor: ", "", "--capacitor ", "capacitor ", ": add --resistor 10k, and", ": name one, such as 10k, and",
	"--resistor: ", "", "--resistor and --section are", "a resistor is")

// withCapacitor has a plan measure with a capacitor, as the test command does with --capacitor.
func withCapacitor(c bench.Capacitor, typ part.Type, socket *virtual.Socket, h bench.Helper) (func(*assay.Plan), error) {
	f := testFlags{timing: timingFlags{capacitor: c.Marked, resistor: c.Resistor}}
	timed, err := f.withCapacitor(typ)
	if err != nil {
		words, _, _ := strings.Cut(err.Error(), ", or time without one") // by a flag
		return nil, errors.New(named.Replace(words))
	}
	f.socket = socket
	f.clipToTime(benchHelper{h, timingCautions}, timed, typ)
	request := f.clipping.request(benchHelper{h, thresholds.Cautions}, socket, typ)
	return func(p *assay.Plan) { p.Timing, p.Thresholds = timed, request }, nil
}
