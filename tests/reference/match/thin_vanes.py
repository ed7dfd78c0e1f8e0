"""Turbo geometry with INVENTED dimensions: thin-vane throats, choked flow, corrected flow, inertia.
Made with Python 3.11, numpy 2.4.6:  python3 thin_vanes.py"""
import numpy as np
print("compressor trim inducer 36.6 exducer 50.0:",(36.6/50)**2*100,"; inducer 38.0/50.0:",(38/50)**2*100)
print("turbine trim (exducer/inducer)^2: 37.0 / 43.0:",(37/43)**2*100)
print("A/R: A=1250 mm2, R=31 mm ->",1250/31,"mm =",1250/31/25.4,"in")
# pivoting vane ring: n vanes on pivot circle rp, straight thin vanes of chord c, angle a from tangential direction (0=closed/tangential). throat between adjacent trailing edges
def throat(n,rp,c,f,alpha):
    """straight thin vanes, pivot at fraction f of chord from leading (outer) edge, chord makes angle alpha with the local TANGENT.
    throat = least distance from the trailing edge of one vane to the neighbour vane's chord line segment (numerical)"""
    al=np.deg2rad(alpha)
    def vane(k):
        th=2*np.pi*k/n; p=rp*np.array([np.cos(th),np.sin(th)]); t=np.array([-np.sin(th),np.cos(th)]); r=np.array([np.cos(th),np.sin(th)])
        d=np.cos(al)*t-np.sin(al)*r   # towards trailing (inner) edge
        return p-f*c*d,p+(1-f)*c*d
    l0,t0=vane(0); best=1e9
    for k in (1,n-1):
        l,t=vane(k); u=t-l; s=np.clip(np.dot(t0-l,u)/np.dot(u,u),0,1); best=min(best,np.linalg.norm(t0-(l+s*u)))
    return best
n,rp,c,f,h=11,28.0,14.0,0.45,6.0
print("vane ring n=11 pivot radius 28 mm chord 14 mm pivot at 45 % chord, height 6 mm: angle from tangent deg -> throat mm, area mm2 = n*h*o, sine-rule o=2*pi*rp*sin(a)/n at pivot radius, and cascade rule s*sin(a)-t")
for a in (5,8,10,15,20,25,30,40,50,60):
    o=throat(n,rp,c,f,a); print(a,f"{o:.6f} {n*h*o:.4f}  sine rule {2*np.pi*rp/n*np.sin(np.deg2rad(a)):.6f}")
print("inertia d^5 scaling: J2/J1 for d2/d1 = 1.10, 1.25, 0.8:",1.1**5,1.25**5,0.8**5)
rho=2700.; 
print("disc check J=pi*rho*b*d^4/32 with b=0.3 d, Al 2700, d=50 mm:",np.pi*2700*0.3*0.05**5/32)
print("tip speed 50 mm @ 180000 rpm:",np.pi*.05*180000/60)
print("corrected: J1826 298 K/100 kPa vs J922 545 R / 28.4 inHg factor on flow:",np.sqrt(298/302.7778)*(100/96.1734)**-1, "i.e. W_J922 = W_J1826 *",(np.sqrt(298/302.7778)/(100/96.1734))**-1)
# derivation: Wc(Tref,pref)= W*sqrt(T/Tref)/(p/pref)  => ratio Wc(J922)/Wc(J1826)= sqrt(298/302.7778)*(96.1734/100)
print("  ratio Wc(302.78 K, 96.17 kPa)/Wc(298 K,100 kPa)=",np.sqrt(298/302.7778)*96.1734/100)
# area from flow: needed throat for choked W=.09,T=900,p=250 kPa g=1.33
print("choked throat for 0.06 kg/s, 900 K, 250 kPa, g=1.33,R=286:",0.06*np.sqrt(286*900)/(250e3*0.672628408)*1e6,"mm2")
