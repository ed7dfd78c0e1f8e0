"""Check B6: filling and emptying a volume through an orifice; heat-exchanger effectiveness."""
import csv, math, numpy as np
from scipy.integrate import solve_ivp
R,g=287.,1.4; V,A=6e-3,50e-6; T0=320.; pa=101325.
psi_c=math.sqrt(g)*(2/(g+1))**((g+1)/(2*(g-1))); rc=(2/(g+1))**(g/(g-1))
def psi(r): r=max(r,rc); return math.sqrt(2*g/(g-1)*max(0.,r**(2/g)-r**((g+1)/g)))
tau=lambda T: V/(A*psi_c*math.sqrt(R*T))
if __name__=='__main__':
    p0=250e3; t0=tau(T0); print("psi_choked",psi_c,"critical ratio",rc,"tau=V/(A psi sqrt(R T0)) s",t0)
    iso=lambda t: p0*math.exp(-t/t0); adi=lambda t: p0*(1+(g-1)/2*t/t0)**(-2*g/(g-1)); adT=lambda t: T0*(1+(g-1)/2*t/t0)**-2
    pc=pa/rc; print("choked until p =",pc,"isothermal t",t0*math.log(p0/pc),"adiabatic t",t0*2/(g-1)*((p0/pc)**((g-1)/(2*g))-1))
    # SciPy: state (m, U) adiabatic ; (p) isothermal, down to near ambient
    f=lambda t,x: (lambda p,T:(lambda w:[-w,-w*g*R/(g-1)*T])(A*p*psi(pa/p)/math.sqrt(R*T) if p>pa else 0.))(x[1]*(g-1)/V,x[1]*(g-1)/(x[0]*R))
    m0=p0*V/(R*T0); U0=p0*V/(g-1); ts=[0,.02,.04,.05,.08,.1,.12,.16,.2]
    s=solve_ivp(f,(0,.2),[m0,U0],method='Radau',rtol=1e-11,atol=1e-14,t_eval=ts); si=solve_ivp(lambda t,x:[-x[0]*A*psi(pa/x[0])*math.sqrt(R*T0)/V if x[0]>pa else 0.],(0,.2),[p0],method='Radau',rtol=1e-11,atol=1e-6,t_eval=ts)
    for i,t in enumerate(ts): p=s.y[1,i]*(g-1)/V; print(f"empty t={t}: adiabatic SciPy p {p:.4f} T {p*V/(s.y[0,i]*R):.6f} | closed (choked only) {adi(t):.4f} {adT(t):.6f} | isothermal SciPy {si.y[0,i]:.4f} closed {iso(t):.4f} | p/p0^ (T/T0)^(g/(g-1)) residual {p/p0-(p*V/(s.y[0,i]*R)/T0)**(g/(g-1)):.1e}")
    # filling from a steady source ps,Ts, choked while p < rc ps
    ps,Ts=400e3,380.; w=A*ps*psi_c/math.sqrt(R*Ts); print("filling source 400 kPa 380 K: choked flow",w,"kg/s until p =",rc*ps)
    mi=pa*V/(R*300.); ad=lambda t: pa+g*R*Ts*w*t/V; it=lambda t: pa+R*300.*w*t/V
    h=lambda t,x:(lambda p:(lambda q:[q,q*g*R/(g-1)*Ts])(A*ps*psi(p/ps)/math.sqrt(R*Ts) if p<ps else 0.))(x[1]*(g-1)/V)
    tf=[0,.01,.02,.03,.05,.08,.1]; q=solve_ivp(h,(0,.1),[mi,pa*V/(g-1)],method='Radau',rtol=1e-11,atol=1e-14,t_eval=tf)
    for i,t in enumerate(tf): p=q.y[1,i]*(g-1)/V; print(f"fill t={t}: adiabatic SciPy p {p:.4f} T {p*V/(q.y[0,i]*R):.6f} | closed p {ad(t):.4f} T {ad(t)*V/((mi+w*t)*R):.6f} | isothermal 300 K closed {it(t):.4f}")
    print("choked filling ends: adiabatic t",(rc*ps-pa)*V/(g*R*Ts*w),"isothermal t",(rc*ps-pa)*V/(R*300*w),"; from vacuum the adiabatic T is g Ts =",g*Ts)
    print("adiabatic/isothermal pressure rate ratio, same flow: g Ts/T =",g*Ts/300.)
    # capacity of the 4b intake volume: dp/dt per kg/s
    print("V=6e-3, 320 K isothermal: dp/dt per .01 kg/s",.01*R*320/V,"Pa/s; adiabatic with inflow at 320 K",g*.01*R*320/V)
    with open('ref_volume.csv','w') as fo:
        o=csv.writer(fo); o.writerow(['case','t_s','p_Pa','T_K']); d=solve_ivp(f,(0,.2),[m0,U0],method='Radau',rtol=1e-11,atol=1e-14,t_eval=np.linspace(0,.2,101)); e=solve_ivp(h,(0,.1),[mi,pa*V/(g-1)],method='Radau',rtol=1e-11,atol=1e-14,t_eval=np.linspace(0,.1,101))
        for c,z in (('empty_adiabatic',d),('fill_adiabatic',e)):
            for t,m,U in zip(z.t,*z.y): p=U*(g-1)/V; o.writerow([c,f"{t:.4f}",f"{p:.6f}",f"{p*V/(m*R):.8f}"])
    print("--- effectiveness eps=(T_in-T_out)/(T_in-T_cool), cold stream large: T_out=T_in-eps(T_in-T_cool)")
    for Ti,Tc,e in ((405.767376,298.15,.7),(405.767376,298.15,.85),(450.,315.,.6)): To=Ti-e*(Ti-Tc); print(Ti,Tc,e,f"T_out {To:.9f}  density gain at equal p {Ti/To:.9f}  heat at .05 kg/s {(Ti-To)*.05*1005:.6f} W")
    for N,C in ((1.,0.),(1.,.5),(2.,.5),(2.,.25)):
        ct=(1-math.exp(-N*(1-C)))/(1-C*math.exp(-N*(1-C))); uu=1-math.exp(N**.22/C*(math.exp(-C*N**.78)-1)) if C else 1-math.exp(-N); mx=(1-math.exp(-C*(1-math.exp(-N))))/C if C else 1-math.exp(-N)
        print(f"NTU {N} C_r {C}: counterflow {ct:.9f} crossflow both unmixed (approx.) {uu:.9f} C_max mixed {mx:.9f}")
