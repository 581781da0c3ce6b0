package fault_test

import (
	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestStat(t *testing.T) {
	parts, _ := library.All()
	only := os.Getenv("ONLY")
	var mu sync.Mutex
	slots := make(chan struct{}, 2)
	var wg sync.WaitGroup
	for _, p := range parts {
		for vi, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			if only != "" && !strings.Contains(","+only+",", ","+p.Number+",") {
				continue
			}
			wg.Add(1)
			go func() {
				defer wg.Done()
				slots <- struct{}{}
				defer func() { <-slots }()
				c, err := logic.Compile(v)
				if err != nil {
					t.Error(err)
					return
				}
				t0 := time.Now()
				s, err := stimulus.For(c)
				if err != nil {
					t.Error(err)
					return
				}
				t1 := time.Now()
				n := len(s.Steps)
				x := fault.Complete(c, v.Families[0], s)
				t2 := time.Now()
				hunt := 0.0
				r := x.Cover(); lacking := ""; for _, sc := range r.Sections { if !sc.Whole() { lacking += sc.Name + ": " + sc.Lacking[0] + "; " } }
				t3 := time.Now()
				mu.Lock()
				defer mu.Unlock()
				fmt.Printf("%-8s/%d steps %6d->%6d stuck %d/%d cells %d/%d (%d undet) pins %d/%d shorts %d/%d  gen %.2f exam %.2f cover %.2f inputs %d state %d hunt %.2f now %d lacking %s\n", p.Number, vi, n, len(s.Steps), r.StuckAt.Detected, r.StuckAt.Detectable, r.Cells.Detected, r.Cells.Detectable, len(r.Cells.Undetectable), r.Pins.Detected, r.Pins.Detectable, r.Shorts.Detected, r.Shorts.Detectable, t1.Sub(t0).Seconds(), t2.Sub(t1).Seconds(), t3.Sub(t2).Seconds(), len(c.InputPins), len(c.State), hunt, len(s.Steps), lacking)
				if only != "" {
					for _, l := range [][]string{r.StuckAt.Missed, r.Cells.Missed, r.Pins.Missed} {
						for _, m := range l {
							fmt.Println("    ", m)
						}
					}
				}
			}()
		}
	}
	wg.Wait()
}
