package solve
import ("testing";"fmt";"math";"time";"phasebench/model")
func TestTry(t *testing.T){
 d:=180/math.Pi
 for _,name:=range model.Names(){
 e,err:=model.Load(name); if err!=nil{t.Fatal(err)}
 s,err:=New(e,nil); if err!=nil{fmt.Println(name,err);continue}
 for _,k:=range []float64{30,80,100}{ for _,rpm:=range []float64{900,2200,4000}{
 op:=e.Point; op.MAP=k*1e3; op.Speed=rpm/60*2*math.Pi
 var c Cycle
 t0:=time.Now()
 if err:=s.Run(&op,&c);err!=nil{fmt.Println(name,k,rpm,err);continue}
 fmt.Printf("%s %g %g %v cycles %d lit %v%s: LPP %.2f Pmax %.2f CA50 %.1f dev %.1f rap %.1f imepg %.3f pmep %.3f fmep %.2f T %.2f eff %.4f heat %.3f res %.3f ve %.3f Tu %.0f Tb %.0f K %.2f E %.1e M %.1e P %.1e blow %.4f\n",name,k,rpm,time.Since(t0),s.cycles,c.Lit,c.Unlit,c.LPP*d,c.Peak/1e5,c.CA50*d,c.Development*d,c.Rapid*d,c.IMEPGross/1e5,c.PMEP/1e5,c.FMEP/1e5,c.Torque,c.Efficiency,c.HeatLoss,c.Residuals,c.Volumetric,c.PeakUnburned,c.PeakBurned,c.KnockIntegral,c.EnergyResidual,c.MassResidual,c.PeriodicChange,c.Blowby)
 }}}
}
func BenchmarkX(b *testing.B){
 e,_:=model.Load("pump-set"); s,_:=New(e,nil); var c Cycle
 b.ReportAllocs()
 for b.Loop(){ if err:=s.Run(&e.Point,&c);err!=nil{b.Fatal(err)} }
}
