package virtual

import (
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
)

func TestAccuracy(t *testing.T) {
	for _, tol := range []float64{2e-4, 1e-4, 5e-5, 2e-5} {
		for _, farads := range []float64{1e-6, 1e-9, 100e-12} {
			s := NewSocket(nil, 1)
			now := time.Duration(0)
			s.KeepTime(func() time.Duration { return now })
			s.Clip(Capacitor{Farads: farads, P: 3})
			s.Pull(BiasPull, true, adapter.At(3))
			s.clips.way.within = tol
			tau := (10_000 + registerHighOhms) * farads
			rail := s.RailVolts()
			worst := 0.0
			steps := 0
			var was time.Duration
			for i := 0; i < 5000; i++ {
				now = time.Duration(math.Round(5 * tau * float64(i) / 5000 * 1e9))
				v := s.CapacitorVolts(0)
				if s.clips.way.to != was {
					steps++
					was = s.clips.way.to
				}
				worst = max(worst, math.Abs(v-rail*(1-math.Exp(-now.Seconds()/tau))))
			}
			t.Logf("tol %g F %g: %.1f µV, %d steps", tol, farads, worst*1e6, steps)
		}
	}
}
