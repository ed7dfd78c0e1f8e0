"""spouting velocity, U/C0, velocity triangle and incidence. Python 3.11, numpy 2.4.6. Invented dimensions. Angles from RADIAL (alpha) unless said."""
import numpy as np, csv
g,R=1.33,286.0; cp=g*R/(g-1); C0=lambda T,pr: np.sqrt(2*cp*T*(1-pr**(-(g-1)/g)))
w=csv.writer(open('u_c0.csv','w')); w.writerow("T01_K,ratio_ts,D_mm,rpm,C0_m_s,U_m_s,U_over_C0,rpm_for_0.70".split(','))
for T in (700,900,1050):
    for pr in (1.3,1.6,2.0,2.5,3.5):
        for D,n in ((38,140000),(45,120000),(56,90000)):
            c=C0(T,pr); U=np.pi*D*1e-3*n/60; w.writerow([T,pr,D,n,f"{c:.6f}",f"{U:.6f}",f"{U/c:.9f}",f"{.7*c*60/(np.pi*D*1e-3):.3f}"])
            if D==45: print(T,pr,D,n,f"C0 {c:.6f} U {U:.6f} U/C0 {U/c:.7f}")
print("ideal 90 degree wheel, zero exit swirl, ctheta2=U, lossless, no exit kinetic energy: U/C0=1/sqrt2=",1/np.sqrt(2))
def tri(m,T01,p01,D,b,al,U,blk=0.0):
    """mass flow, nozzle-exit angle al from radial at rotor inlet radius, lossless nozzle: solve c from continuity (subsonic)"""
    A=np.pi*D*b*(1-blk); f=lambda c: (T01-c*c/(2*cp))**(1/(g-1))/T01**(1/(g-1))*p01/(R*T01)*c*np.cos(al)*A-m
    from scipy.optimize import brentq
    cmax=np.sqrt(2*g/(g+1)*R*T01)
    if f(cmax)<0: return None
    c=brentq(f,1e-3,cmax); T=T01-c*c/(2*cp); cr=c*np.cos(al); ct=c*np.sin(al); wt=ct-U
    return c,cr,ct,np.degrees(np.arctan2(wt,cr)),np.hypot(cr,wt),c/np.sqrt(g*R*T),p01*(T/T01)**(g/(g-1))
print("m .06 kg/s, 900 K, 220 kPa, D 45 mm, b 6 mm, U 282.743 m/s: alpha -> c, cr, ctheta, beta2 (relative angle from radial, + = toward rotation), w, Mach, p2")
w=csv.writer(open('incidence.csv','w')); w.writerow("alpha_deg_from_radial,c,cr,ctheta,beta2_deg,w_m_s,Mach,p2_Pa,incidence_loss_J_kg".split(','))
U=np.pi*.045*120000/60; last=None
for a in (60,64,66,68,70,72,74):
    t=tri(.06,900.,220e3,.045,.006,np.radians(a),U)
    if t is None: print(a,"choked at this angle"); continue
    bo=-20.0; loss=.5*t[4]**2*np.sin(np.radians(t[3]-bo))**2
    w.writerow([a]+[f"{v:.6f}" for v in t]+[f"{loss:.4f}"]); print(a,[f"{v:.6f}" for v in t],f"dbeta per step {'' if last is None else f'{t[3]-last:.4f}'}  0.5 w^2 sin^2(beta-(-20)) = {loss:.4f} J/kg"); last=t[3]
print("closed form at fixed cr: tan beta2 = tan alpha - U/cr ; d beta2/d alpha = cos^2 beta2/cos^2 alpha")
cr=150.
for a in (60,65,70,75):
    b=np.arctan(np.tan(np.radians(a))-U/cr); print(a,f"beta2 {np.degrees(b):.6f} dbeta/dalpha {np.cos(b)**2/np.cos(np.radians(a))**2:.6f}")
