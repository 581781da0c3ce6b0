package probe

import (
	"chipassay/host/adapter"
	"chipassay/vectors/match"
	"fmt"
	"os"
)

func dbg(w *Walker, s *match.Step, up, down adapter.Measured) {
	if os.Getenv("DBG") == "" {
		return
	}
	fmt.Printf("%d low %v high %v driven %v heavy %v tried %v | up %v down %v volts", len(w.record.Steps), s.Low, s.High, s.Driven, w.heavy, w.tried, up.High, down.High)
	for p, v := range down.Volts {
		if v == v {
			fmt.Printf(" %d:%.2f", p, v)
		}
	}
	fmt.Println()
}
