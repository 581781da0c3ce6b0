package timing_test
import ("testing";"fmt"
"chipassay/host/adapter";"chipassay/host/link";"chipassay/host/virtual";"chipassay/protocol";"chipassay/vectors/library";"chipassay/host/assay/timing")
func TestDebug(t *testing.T) {
 for _, name := range []string{"74123","74HC123","4538B","74LS123"} { for _, c := range []float64{47e-9,100e-9,1e-6,4.7e-6} {
 typ,_ := library.Open(name)
 chip,_ := virtual.NewChip(typ)
 s := virtual.NewSocket(chip,1)
 x := &typ.Variant.Timings[0]
 s.Clip(virtual.Capacitor{Farads:c,P:adapter.PositionOf(x.Positive,16),Q:adapter.PositionOf(x.Negative,16)})
 conn,_ := virtual.Open(t.Context(), s)
 a,_ := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
 seat,_ := a.SeatOf(typ.Variant)
 f,w,err := timing.MeasureCapacitor(t.Context(), seat, typ.Variant, x, c)
 fmt.Println(name,c,f,w,err)
 }}
}
