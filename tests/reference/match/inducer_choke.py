"""choked inducer bound. Python 3.11, numpy 2.4.6, scipy 1.17.1. Dimensions invented. g=1.4, R=287.
Closed form (rothalpy, no inlet swirl, isentropic to the throat; the book formula is from memory, derived and maximised here):
 m = (1-B) A_th rho01 a01 [ (2+(g-1)(U/a01)^2)/(g+1) ]^((g+1)/(2(g-1))),  A_th = throat area normal to the RELATIVE flow.
Table: A_th = A_annulus*cos(beta) at the rms radius, beta from tan(beta)=tan(beta_tip)*r/r_tip (radial-element blades), U at the rms radius.
Annulus bound (axial Mach 1, no blades): U=0, beta=0. B = blade and boundary-layer blockage."""
import numpy as np, csv
from scipy.optimize import minimize_scalar, brentq
from scipy.integrate import quad
g,R=1.4,287.0
def flux_cf(U,p01,T01):
    a=np.sqrt(g*R*T01); return p01/(R*T01)*a*((2+(g-1)*(U/a)**2)/(g+1))**((g+1)/(2*(g-1)))
def flux_num(U,p01,T01):
    cp=g*R/(g-1); f=lambda w: -p01/(R*T01)*(max(1e-9,(T01+(U*U-w*w)/(2*cp))/T01))**(1/(g-1))*w
    r=minimize_scalar(f,bounds=(50,600),method='bounded',options={'xatol':1e-8}); return -r.fun,r.x
def m_rms(D,hr,Ut,bt,B,p01,T01):
    rt=D/2; rm=rt*np.sqrt((1+hr*hr)/2); be=np.arctan(np.tan(np.radians(bt))*rm/rt)
    return (1-B)*np.pi*rt*rt*(1-hr*hr)*np.cos(be)*flux_cf(Ut*rm/rt,p01,T01)
def m_int(D,hr,Ut,bt,B,p01,T01):
    rt=D/2; f=lambda r: 2*np.pi*r*np.cos(np.arctan(np.tan(np.radians(bt))*r/rt))*flux_cf(Ut*r/rt,p01,T01)
    return (1-B)*quad(f,hr*rt,rt,epsabs=1e-14)[0]
p01,T01=100e3,298.0
print("flux rho*w max, closed form vs numeric (kg/s/m2) at U = 0,200,300,400,500:")
for U in (0,200,300,400,500):
    n,w=flux_num(U,p01,T01); print(U,f"{flux_cf(U,p01,T01):.6f} {n:.6f} rel {n/flux_cf(U,p01,T01)-1:.1e}  w*={w:.4f}")
print("ratio to U=0:",[f"{flux_cf(U,p01,T01)/flux_cf(0,p01,T01):.6f}" for U in (200,300,400,500)])
w=csv.writer(open('inducer_choke.csv','w')); w.writerow("D1_mm,hub_ratio,U_tip_m_s,beta_tip_deg,B,m_annulus_axial_choke_kg_s,m_throat_rms_kg_s,m_throat_integrated_kg_s,rpm,binding".split(','))
for D in (30,36,44,52,60):
    for hr in (.25,.35):
        for Ut in (250,350,450):
            B,bt=.08,60.
            ann=(1-B)*np.pi*(D*5e-4)**2*(1-hr*hr)*flux_cf(0,p01,T01)
            a,b=m_rms(D*1e-3,hr,Ut,bt,B,p01,T01),m_int(D*1e-3,hr,Ut,bt,B,p01,T01)
            w.writerow([D,hr,Ut,bt,B,f"{ann:.9f}",f"{a:.9f}",f"{b:.9f}",f"{Ut/(D*5e-4)*30/np.pi:.2f}",'annulus' if ann<b else 'throat'])
            if hr==.35 and D in (36,44,60): print(D,hr,Ut,f"annulus {ann:.6f}  rms throat {a:.6f}  integrated {b:.6f} ({100*(a/b-1):+.2f} %)  rpm {Ut/(D*5e-4)*30/np.pi:.1f}")
# incidence consistency: axial inlet flow that passes the choked throat: relative angle at rms
D,hr,Ut,bt=.044,.35,350,60.; m=m_rms(D,hr,Ut,bt,.08,p01,T01); A=np.pi*D*D/4*(1-hr*hr)
f=lambda M: A*p01/np.sqrt(R*T01)*np.sqrt(g)*M*(1+.2*M*M)**-3-m
M=brentq(f,1e-3,1.0); c=M*np.sqrt(g*R*T01/(1+.2*M*M)); rm=D/2*np.sqrt((1+hr*hr)/2)
print(f"44 mm case: inlet axial Mach {M:.6f}, c {c:.4f} m/s, relative flow angle at rms {np.degrees(np.arctan(Ut*rm/(D/2)/c)):.4f} deg, blade {np.degrees(np.arctan(np.tan(np.radians(bt))*rm/(D/2))):.4f} deg, tip relative Mach {np.hypot(Ut,c)/np.sqrt(g*R*T01/(1+.2*M*M)):.6f}")
print("optimum inducer (largest flow for a given tip relative Mach): f=M^3 sin^2 b cos b/(1+(g-1)/2 M^2 cos^2 b)^(1/(g-1)+3/2); cos^2 b = A-sqrt(A^2-1/M^2), A=g/2+1.5/M^2 (=0.7+1.5/M^2 at g=1.4)")
for Mr in (.6,.7,.8,.9,1.0,1.1,1.2,1.3):
    F=lambda b: Mr**3*np.sin(b)**2*np.cos(b)/(1+(g-1)/2*Mr**2*np.cos(b)**2)**(1/(g-1)+1.5)
    r=minimize_scalar(lambda b:-F(b),bounds=(.5,1.5),method='bounded',options={'xatol':1e-11}); A_=g/2+1.5/Mr**2; b=np.arccos(np.sqrt(A_-np.sqrt(A_*A_-1/Mr**2)))
    print(Mr,f"beta* {np.degrees(b):.6f} (numeric {np.degrees(r.x):.5f})  f {F(b):.8f}  numeric {-r.fun:.8f}")
print("general-g derivation check g=1.33:",end=' ')
g=1.33; Mr=.9; F=lambda b: Mr**3*np.sin(b)**2*np.cos(b)/(1+(g-1)/2*Mr**2*np.cos(b)**2)**(1/(g-1)+1.5)
r=minimize_scalar(lambda b:-F(b),bounds=(.5,1.5),method='bounded',options={'xatol':1e-11}); A_=g/2+1.5/Mr**2; print(np.degrees(np.arccos(np.sqrt(A_-np.sqrt(A_*A_-1/Mr**2)))),np.degrees(r.x))
