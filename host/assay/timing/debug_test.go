package timing_test
import ("testing";"fmt";"time"
"chipassay/host/adapter";"chipassay/host/link";"chipassay/host/virtual";"chipassay/protocol";"chipassay/vectors/library";"chipassay/host/assay/timing")
func TestDebug(t *testing.T) {
 typ,_ := library.Open("4060B")
 chip,_ := virtual.NewChip(typ)
 s := virtual.NewSocket(chip,1)
 x := &typ.Variant.Timings[0]
 c := 1e-9
 at := func(p int) int { return adapter.PositionOf(p,16) }
 s.Clip(virtual.Capacitor{Farads:c,P:at(x.Positive),Q:at(x.Negative)})
 s.ClipResistor(virtual.Resistor{Ohms:10000,P:at(x.Resistor[0]),Q:at(x.Resistor[1])})
 conn,_ := virtual.Open(t.Context(), s)
 a,_ := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
 seat,_ := a.SeatOf(typ.Variant)
 seat.PowerOn(t.Context(), 60)
 p := timing.Plan{Farads:c,Ohms:10000}
 r := timing.Begin(typ, x, p, 0, 0)
 from := time.Now()
 err := r.Test(t.Context(), seat, typ, x)
 fmt.Println(err, r.Pulse, r.Checks, time.Since(from))
}
