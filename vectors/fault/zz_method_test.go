package fault_test
import ("testing";"fmt";"os";"strings";"chipassay/vectors/library";"chipassay/vectors/logic";"chipassay/vectors/stimulus")
func TestMethod(t *testing.T){ for _,n:=range strings.Split(os.Getenv("ONLY"),","){ p,_:=library.Builtin().Find(n); for _,v:=range p.Variants{c,_:=logic.Compile(v); s,err:=stimulus.For(c); if err!=nil{t.Fatal(err)}; fmt.Println(n,len(s.Steps),s.Fixed,s.Method)}}}
