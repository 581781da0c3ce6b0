package identify_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"chipassay/host/identify"
	"chipassay/host/virtual"
	"chipassay/vectors/match"
)

func TestDebug(t *testing.T) {
	for _, line := range strings.Split(os.Getenv("DBG"), ";") {
		name, defect, _ := strings.Cut(strings.TrimSpace(line), " ")
		var ds []virtual.Defect
		if defect != "" {
			d, err := virtual.ParseDefect(defect)
			if err != nil {
				t.Fatal(err)
			}
			ds = append(ds, d)
		}
		typ := typeOf(t, name)
		a := identified(t, identify.Plan{NoTable: true}, typ, ds...)
		fmt.Println("=====", name, defect, a.Candidates, a.Reason, "seat", a.Seat, "open", a.Open.Words(), "tech", a.Technology, "steps", a.Steps, a.Probing, "outs", a.Record.Outputs.Words())
		all, _ := candidates()
		fmt.Println("blind", a.Record.Blind())
		for i, f := range a.Record.RankBroken(all, match.Inputs{Open: a.Open, Bipolar: a.Technology == "bipolar"}) {
			if i < 6 || f.Variant.Part.Number == typ.Part().Number {
				fmt.Println("  ", i, f.Variant.Part.Number, f.Bits, f.Mismatches, f.Faults)
			}
		}
		for i, f := range a.Record.Rank(all) {
			if i < 4 || f.Variant.Part.Number == typ.Part().Number {
				fmt.Println("  good", i, f.Variant.Part.Number, f.Bits, f.Mismatches, f.Lost)
			}
		}
		if os.Getenv("STEPS") != "" {
			for i, s := range a.Record.Steps {
				line := ""
				for p := 1; p <= a.Seat.Pins; p++ {
					switch {
					case s.Low.Has(p) && s.Driven.Has(p):
						line += "d"
					case s.Low.Has(p):
						line += "l"
					case s.High.Has(p):
						line += "h"
					case s.PulledUp.Has(p) && s.PulledDown.Has(p):
						line += "1"
					case s.PulledUp.Has(p):
						line += "-"
					case s.PulledDown.Has(p):
						line += "?"
					default:
						line += "0"
					}
				}
				fmt.Println(i, line, s.Between)
			}
		}
	}
}

func TestDebug2(t *testing.T) {
	typ := typeOf(t, "74AS286")
	d, _ := virtual.ParseDefect("6 dead pull-up")
	a := identified(t, identify.Plan{NoTable: true}, typ, d)
	for i, s := range a.Record.Steps[:12] {
		fmt.Println(i, s.High.Words(), "up", s.PulledUp.Words(), "down", s.PulledDown.Words())
	}
	fmt.Println(a.Record.Standing)
}
