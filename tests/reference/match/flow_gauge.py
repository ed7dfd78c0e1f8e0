"""vane-throat flow gauge with air. Python 3.11, numpy 2.4.6. Air g 1.4 R 287.05; suction gauge: upstream is the room (293.15 K, 101325 Pa), downstream lower by dp.
m = Cd*A*p1/sqrt(R T1)*psi(p2/p1) (isentropic);  eps form: m = Cd*eps*A*sqrt(2 rho1 dp).
eps_orifice = 1-(0.351+0.256 b^4+0.93 b^8)[1-(p2/p1)^(1/k)] at b=0;  eps_nozzle(b=0) = sqrt(k t^(2/k)/(k-1) * (1-t^((k-1)/k))/(1-t)) = isentropic."""
import numpy as np, csv
k,R,T1,p1=1.4,287.05,293.15,101325.0; rho=p1/(R*T1)
psi=lambda t: np.sqrt(2*k/(k-1)*(t**(2/k)-t**((k+1)/k)))
eo=lambda t: 1-.351*(1-t**(1/k)); en=lambda t: np.sqrt(k*t**(2/k)/(k-1)*(1-t**((k-1)/k))/(1-t))
N,h,Cd=12,7e-3,.95
m=lambda w,dp: Cd*N*w*h*p1/np.sqrt(R*T1)*psi(1-dp/p1)
cm=98.0665
wr=csv.writer(open('flow_gauge.csv','w')); wr.writerow("w_mm,head_cmH2O,dp_Pa,m_isentropic_kg_s,m_incompressible_kg_s,eps_isentropic,eps_orifice_beta0,Q_inlet_m3_h,v_throat_m_s,Re_h_width".split(','))
for w in (1.5,2.5,3.5,5.0):
    for H in (10,20,30,40,50,60,70):
        dp=H*cm; t=1-dp/p1; mi=Cd*N*w*1e-3*h*np.sqrt(2*rho*dp); a=m(w*1e-3,dp); v=np.sqrt(2*k/(k-1)*R*T1*(1-t**((k-1)/k)))
        wr.writerow([w,H,f"{dp:.4f}",f"{a:.9f}",f"{mi:.9f}",f"{en(t):.9f}",f"{eo(t):.9f}",f"{a/rho*3600:.6f}",f"{v:.4f}",f"{rho*v*2*w*1e-3*h/(w*1e-3+h)/1.813e-5:.0f}"])
        if w==2.5: print(w,H,f"dp {dp:.3f} Pa  m {a:.9f} kg/s  incompressible {mi:.9f}  eps_is {en(t):.7f} eps_orif {eo(t):.7f}  Q {a/rho*3600:.4f} m3/h  v {v:.2f} m/s")
print("eps check: m/m_incompressible == eps_is:",m(2.5e-3,40*cm)/(Cd*N*2.5e-3*h*np.sqrt(2*rho*40*cm)),en(1-40*cm/p1))
print("water density: 1 cmH2O conventional 98.0665 Pa; 998.207 kg/m3 (20 C, from memory) and g 9.80665:",998.207*9.80665*.01,"Pa, effect on flow",.5*(998.207/1000-1)*100,"%")
print("room effect at fixed head: m ~ sqrt(p1/T1): 97 kPa ->",(np.sqrt(97/101.325)-1)*100,"%; 303.15 K ->",(np.sqrt(293.15/303.15)-1)*100,"% (small-dp law; exact at 40 cm:",[f"{100*((p*psi(1-40*cm/p)/np.sqrt(T))/(p1*psi(1-40*cm/p1)/np.sqrt(T1))-1):.4f}" for p,T in ((97e3,293.15),(101325.,303.15))],"%)")
# inverse with uncertainty
m0=m(2.5e-3,40*cm); inv=lambda mm,dp,p,T,C: mm/(C*N*h*p/np.sqrt(R*T)*psi(1-dp/p))
print("inverse:",inv(m0,40*cm,p1,T1,Cd)*1e3,"mm from",m0)
u={'m 2 %':.02,'Cd 2 %':.02,'h .02/7 mm':.02/7,'dp 1 % (x1/2)':.005,'T .5 K (x1/2)':.5*.5/293.15,'p .1 kPa (x1/2)':.5*.1/101.325}
ui=np.sqrt(sum(v*v for v in u.values())); print("u(w)/w:",{a:f"{100*b:.3f} %" for a,b in u.items()},f"combined {100*ui:.3f} % = {2.5*ui*1e3:.1f} um; comparison of two positions on one rig (m scale, Cd, h common cancel): repeat m .5 %, dp .3 %:",f"{100*np.hypot(.005,.0015)*np.sqrt(2):.3f} %")
rng=np.random.Generator(np.random.PCG64(11)); n=300000; z=rng.standard_normal((6,n))
ws=inv(m0*(1+.02*z[0]),40*cm*(1+.01*z[1]),p1+100*z[2],T1+.5*z[3],Cd*(1+.02*z[4]))/(1+.02/7*z[5]); print("Monte Carlo u(w)/w %.4f %%"%(100*ws.std()/ws.mean()))
# pin gauge
g=np.array([2.50,2.53,2.47,2.52,2.49,2.51,2.55,2.46,2.50,2.48,2.52,2.50]); s=g.std(ddof=1); res=.01/np.sqrt(12); com=.003
print("pin-gauge widths mm",g.tolist(),f"mean {g.mean():.6f} s {s:.6f} min {g.min()} max {g.max()} area {g.sum()*7:.4f} mm2")
up=np.sqrt(res**2+com**2*0); um=np.sqrt(res**2/12+com**2); print(f"all 12 measured: spread is a fact, not an error: u(mean)=sqrt(res^2/12+common^2)={um:.6f} mm (res {res:.6f} from .01 step, common {com}); u(A)={um*12*7:.4f} mm2 = {100*um/g.mean():.4f} %")
for kk in (3,4,6): print(f"only {kk} of 12 measured: sampling u = s*sqrt((1-{kk}/12)/{kk}) = {s*np.sqrt((1-kk/12)/kk):.6f} mm; with gauge {np.sqrt((s*np.sqrt((1-kk/12)/kk))**2+res**2/kk+com**2):.6f}")
print("vane angle sensitivity: 12 throats spread +-0.045 mm of 2.50 =",.045/2.5*100,"% per throat; area moves by 1 % for",.025,"mm mean")
