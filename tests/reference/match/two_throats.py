"""vane-nozzle throat and wheel throat in series. Python 3.11, numpy 2.4.6, scipy 1.17.1. All dimensions invented.
Model: perfect gas; each throat an isentropic convergent nozzle, area effective (discharge factor 1).
 nozzle: from (p01,T01) to interspace static pressure pm.  Its exit swirl equals the wheel tip speed U (zero incidence, radial blades);
 wheel : T0rel = T01 - U^2/cp + U3^2/(2cp)  (rothalpy; U3 = blade speed at the wheel throat radius, no exit condition needed)
         p0rel = k*pm, k = (T0rel/T0rel2)^(g/(g-1)), T0rel2 = T01 - U^2/(2cp)   (variant C, centrifugal field kept)
         k = 1                                                                  (variant D, the plain 'two orifices' form)
 The radial kinetic energy left at the interspace is dropped (pm is used as the relative total at radius 2): conservative.
 p3 = static pressure at the wheel throat exit; ratio = p01/p3 (total to static)."""
import numpy as np, csv
from scipy.optimize import brentq
g,R=1.33,286.0; cp=g*R/(g-1); ex=g/(g-1); rs=(2/(g+1))**ex
def psi(x):
    x=max(min(x,1.0),rs); return np.sqrt(2*g/(g-1)*(x**(2/g)-x**((g+1)/g)))
PS=psi(rs)
def state(T01,U,U3,var):
    T0r=T01-U*U/cp+U3*U3/(2*cp); T2r=T01-U*U/(2*cp); return T0r,(T0r/T2r)**ex if var=='C' else 1.0
def flow(An,Aw,p01,T01,U,U3,p3,var='C'):
    T0r,k=state(T01,U,U3,var)
    mn=lambda pm: An*p01/np.sqrt(R*T01)*psi(pm/p01)
    mw=lambda pm: Aw*k*pm/np.sqrt(R*T0r)*psi(p3/(k*pm))
    lo=p3/k; hi=p01
    if lo>=hi: return 0.0,hi,False,False,T0r,k
    pm=brentq(lambda p:mw(p)-mn(p),lo,hi,xtol=1e-9,rtol=1e-14)
    return mn(pm),pm,pm/p01<=rs*(1+1e-12),p3/(k*pm)<=rs*(1+1e-12),T0r,k
def crit(T01,U,U3,var): 
    T0r,k=state(T01,U,U3,var); return np.sqrt(T0r/T01)/(k*rs)
if __name__=='__main__':
    p3=101325.0; T01=900.0
    cases=[(150,400,1.5,0,0,'D'),(150,400,2.5,0,0,'D'),(350,400,1.5,0,0,'D'),(350,400,2.5,0,0,'D'),
           (100,400,2.0,300,210,'C'),(150,400,2.0,300,210,'C'),(250,400,2.0,300,210,'C'),(150,400,6.0,400,280,'C'),
           (150,400,3.0,400,280,'C'),(250,400,3.0,400,280,'C'),(150,400,3.0,400,280,'D'),(250,400,5.0,400,280,'C')]
    w=csv.writer(open('two_throats.csv','w'))
    w.writerow("case,An_mm2,Aw_mm2,ratio_p01_p3,U_m_s,U3_m_s,variant,T0rel_K,k,critical_Aw_over_An,m_kg_s,pm_Pa,nozzle_choked,wheel_choked".split(','))
    print(f"g={g} R={R} cp={cp:.6f} r*={rs:.9f} psi*={PS:.9f} T01={T01} p3={p3}")
    for i,(an,aw,pr,U,U3,v) in enumerate(cases,1):
        m,pm,cn,cw,T0r,k=flow(an*1e-6,aw*1e-6,pr*p3,T01,U,U3,p3,v); c=crit(T01,U,U3,v)
        w.writerow([i,an,aw,pr,U,U3,v,f"{T0r:.6f}",f"{k:.9f}",f"{c:.6f}",f"{m:.9f}",f"{pm:.3f}",int(cn),int(cw)])
        print(i,an,aw,pr,U,U3,v,f"T0rel={T0r:.4f} k={k:.7f} critAw/An={c:.6f} Aw/An={aw/an:.4f} m={m:.9f} pm={pm:.2f} noz={'CH' if cn else '--'} wheel={'CH' if cw else '--'}")
    print("second choke (both throats) ratio, closed form p01/p3 = (Aw/An) sqrt(T01/T0rel)/rs, An 150 Aw 400 U 400/280:",end=' ')
    T0r,k=state(T01,400,280,'C'); print(f"{(400/150)*np.sqrt(T01/T0r)/rs:.6f}  (k cancels); pm/p01 = {(150/400)*np.sqrt(T0r/T01)/k:.6f}")
    print("limit 1: Aw 1e6 mm2, An 250, U=0: m, nozzle alone, rel diff")
    for pr in (1.2,1.5,2.0,3.0):
        m=flow(250e-6,1.0,pr*p3,T01,0,0,p3,'D')[0]; a=250e-6*pr*p3/np.sqrt(R*T01)*psi(1/pr); print(pr,f"{m:.9f} {a:.9f} {m/a-1:.2e}")
    print("limit 2: Aw 10 mm2, An 1e6 mm2, U=400/280 C: m, wheel alone")
    T0r,k=state(T01,400,280,'C')
    for pr in (1.5,2.0,3.0):
        m=flow(1.0,10e-6,pr*p3,T01,400,280,p3,'C')[0]; a=10e-6*k*pr*p3/np.sqrt(R*T0r)*psi(1/(k*pr)); print(pr,f"{m:.12f} {a:.12f} {m/a-1:.2e}")
    print("limit 3: NACA 1135 (g=1.4): 1/(A/A*) = psi/psi* at p/p0 of M=0.5 and 0.8")
    gg=1.4; f=lambda x: np.sqrt(x**(2/gg)-x**((gg+1)/gg)); r4=(2/(gg+1))**(gg/(gg-1))
    for M in (.5,.8): x=(1+.2*M*M)**-3.5; print(M,f"p/p0={x:.6f} A/A*={f(r4)/f(x):.6f}")
    T0r,k=state(T01,400,280,'C'); print(f"limit 4: variant C, U 400/280: no flow below p01/p3 = 1/k = {1/k:.9f}; ratio 1.15 -> {flow(250e-6,400e-6,1.15*p3,T01,400,280,p3,'C')[0]}, ratio 1.20 -> {flow(250e-6,400e-6,1.20*p3,T01,400,280,p3,'C')[0]:.9f}")
    print("overall choked flow limit, both large ratio: nozzle-choked m = An p01 psi*/sqrt(R T01); wheel first: pm/p01 solves psi(pm/p01)=(Aw/An) k pm/p01 psi* sqrt(T01/T0rel)")
    for U,U3,v in ((0,0,'D'),(200,140,'C'),(300,210,'C'),(400,280,'C'),(400,280,'D'),(500,350,'C')):
        print("critical Aw/An",U,U3,v,f"{crit(T01,U,U3,v):.6f}")
    print("check by scan: U=300/210 C, An 200, Aw = crit*An*(1-/+0.5%), ratio 6 -> (nozzle, wheel) choked:")
    c=crit(T01,300,210,'C')
    for f_ in (.995,1.005):
        print(f_,flow(200e-6,200e-6*c*f_,6*p3,T01,300,210,p3,'C')[2:4])
    print("choke onset ratio when wheel chokes first (An 250, Aw 400, U 300): bisection on ratio")
    lo,hi=1.01,10.
    for _ in range(80):
        mid=.5*(lo+hi); lo,hi=(lo,mid) if flow(250e-6,400e-6,mid*p3,T01,300,210,p3,'C')[3] else (mid,hi)
    print(f"{hi:.6f}")
