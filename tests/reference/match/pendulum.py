"""rotor inertia by bifilar / trifilar pendulum. Python 3.11, numpy 2.4.6, scipy 1.17.1. Invented rotor.
Vertical parallel strings, equal length L, lower radius R, upper radius r; height h0 = sqrt(L^2-(R-r)^2).
Small angle: I = m g R r T^2/(4 pi^2 h0), any number of strings (bifilar with spacing D: R=r=D/2 -> I = m g D^2 T^2/(16 pi^2 L)).
Exact: h(th)=sqrt(L^2-R^2-r^2+2 R r cos th); V=-m g h; kinetic = (I + m h'^2) th'^2/2; T = 4*int_0^A sqrt((I+m h'(th)^2)/(2 m g (h(th)-h(A)))) dth."""
import numpy as np, csv
from scipy.integrate import quad, solve_ivp
gv=9.80665
def T_small(I,m,R,r,L): return 2*np.pi*np.sqrt(I*np.sqrt(L*L-(R-r)**2)/(m*gv*R*r))
def T_exact(I,m,R,r,L,A,rise=True):
    h=lambda t: np.sqrt(L*L-R*R-r*r+2*R*r*np.cos(t))
    hp=lambda t: -R*r*np.sin(t)/h(t)
    hA=h(A)
    def f(q):   # q = pi/2 - phi, th = A sin phi = A cos q; A - th = 2 A sin^2(q/2): no cancellation at the turning point
        t=A*np.cos(q); den=2*R*r*2*np.sin((A+t)/2)*np.sin(A*np.sin(q/2)**2)/(h(t)+hA)
        return np.sqrt((I+(m*hp(t)**2 if rise else 0))/(2*m*gv*den))*A*np.sin(q)
    return 4*quad(f,1e-12,np.pi/2,epsabs=0,epsrel=1e-12,limit=400)[0]
def series(I,m,R,r,L,A):   # T/T0-1 to A^2: pendulum term, string-length term, vertical-motion term (derived here)
    h2=L*L-(R-r)**2; return A*A*(1/16-3*R*r/(16*h2)+m*(R*r)**2/(4*I*h2))
I,m,R,L=2.8e-5,.45,.025,.60
print("bifilar R=r=25 mm (spacing 50), L .60 m, m .45 kg, I 2.8e-5: T small",T_small(I,m,R,R,L))
w=csv.writer(open('pendulum.csv','w')); w.writerow("setup,amplitude_deg,T_small_s,T_exact_s,ratio_minus_1,I_error_percent_if_uncorrected,A2_over_16,series_full".split(','))
for nm,(I_,m_,R_,r_,L_) in {'bifilar_25mm':(I,m,R,R,L),'trifilar_R60_r60':(1.528e-4,.85,.060,.060,.80),'trifilar_R60_r40':(1.528e-4,.85,.060,.040,.80)}.items():
    for A in (2,5,10,15,20,30,45):
        a=np.radians(A); ts=T_small(I_,m_,R_,r_,L_); te=T_exact(I_,m_,R_,r_,L_,a); w.writerow([nm,A,f"{ts:.9f}",f"{te:.9f}",f"{te/ts-1:.9f}",f"{100*((te/ts)**2-1):.6f}",f"{a*a/16:.9f}",f"{series(I_,m_,R_,r_,L_,a):.9f}"])
        print(nm,A,f"T0 {ts:.7f} T {te:.7f} ratio-1 {te/ts-1:.7f}  A^2/16 {a*a/16:.7f} full series {series(I_,m_,R_,r_,L_,a):.7f}  I error {100*((te/ts)**2-1):+.4f} %")
# independent ODE check of the quadrature
def ode(I,m,R,r,L,A):
    h=lambda t: np.sqrt(L*L-R*R-r*r+2*R*r*np.cos(t)); hp=lambda t: -R*r*np.sin(t)/h(t); hpp=lambda t: (-R*r*np.cos(t)-hp(t)**2)/h(t)
    f=lambda s,y:[y[1],(m*gv*hp(y[0])-m*hp(y[0])*hpp(y[0])*y[1]**2)/(I+m*hp(y[0])**2)]
    ev=lambda s,y:y[0]; ev.terminal=True; ev.direction=-1
    return 4*solve_ivp(f,(0,20),[A,0.],events=ev,rtol=1e-11,atol=1e-13,method='DOP853').t_events[0][0]
print("ODE check 30 deg bifilar:",ode(I,m,R,R,L,np.radians(30)),"quadrature",T_exact(I,m,R,R,L,np.radians(30)))
print("--- worked bifilar GUM: m .4500(2) kg, D 50.00(10) mm, L 600.0(5) mm, T from 50 swings 4 repeats; g 9.80665 (local value replaces it, u 0.03 %)")
T=T_small(I,m,R,R,L); uT=.002
rel={'m':.0002/.45,'g':.0003,'D (2x)':2*.10/50,'T (2x)':2*uT/T,'L (1x)':.5/600}; u=np.sqrt(sum(v*v for v in rel.values()))
print(f"T={T:.6f} s u(T)=2 ms;",{k:f"{100*v:.4f} %" for k,v in rel.items()},f"u(I)/I={100*u:.4f} %  I=2.8000e-5 U(k=2)={2*u*2.8e-5:.3e} kg m2")
rng=np.random.Generator(np.random.PCG64(7)); n=400000
Is=(.45+.0002*rng.standard_normal(n))*gv*(1+.0003*rng.standard_normal(n))*(.05+1e-4*rng.standard_normal(n))**2*(T+uT*rng.standard_normal(n))**2/(16*np.pi**2*(.6+5e-4*rng.standard_normal(n)))
print("Monte Carlo u(I)/I = %.4f %%, mean %.6e"%(100*Is.std()/Is.mean(),Is.mean()))
print("--- worked trifilar with platform: platform m0 .400 kg I0 from empty period; rotor .450 kg; R=r=60 mm, L .80 m")
m0,I0,mr,Ir,Rt,Lt=.400,1.248e-4,.450,2.8e-5,.060,.80
T0=T_small(I0,m0,Rt,Rt,Lt); T1=T_small(I0+Ir,m0+mr,Rt,Rt,Lt); c=gv*Rt*Rt/(4*np.pi**2*Lt)
Irec=c*((m0+mr)*T1**2-m0*T0**2); print(f"T0 {T0:.6f} T1 {T1:.6f} recovered {Irec:.9e}")
uT=.002; uR=.1e-3; s={'T1':2*c*(m0+mr)*T1*uT,'T0':2*c*m0*T0*uT,'R (common)':2*Irec*uR/Rt,'L (common)':Irec*5e-4/Lt,'m':c*2e-4*max(T1**2,T0**2)}
uI=np.sqrt(sum(v*v for v in s.values())); print({k:f"{v:.3e}" for k,v in s.items()},f"u(I)={uI:.3e} = {100*uI/Ir:.2f} % (platform is {I0/Ir:.2f} x the rotor: keep the platform light)")
for u2 in (.0005,.0002): print("   period u",u2,"s: u(I)/I = %.2f %%"%(100*np.sqrt((s['T1']*u2/.002)**2+(s['T0']*u2/.002)**2+s['R (common)']**2+s['L (common)']**2+s['m']**2)/Ir))
print("--- offset of the rotor axis by e adds m e^2: e 0.5, 1, 2 mm ->",[f"{.45*(e*1e-3)**2/2.8e-5*100:.3f} %" for e in (.5,1,2)])
print("--- air/bearing damping ratio z raises T by 1/sqrt(1-z^2): z .01,.03,.05 ->",[f"{100*(1/np.sqrt(1-z*z)-1):.4f} %" for z in (.01,.03,.05)])
