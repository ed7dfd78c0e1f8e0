"""interpolation in an invented compressor map. Python 3.11, numpy 2.4.6, scipy 1.17.1. Writes compressor_map_invented.csv and reference values.
Method P: each line parametrised by beta = 0 (surge end) .. 1 (choke end) at its own tabulated points i/(n-1); flow, ratio, efficiency monotone cubic (PCHIP) in beta; then, at fixed beta, PCHIP in speed over the five lines.
 (speed, flow): solve flow(beta)=flow.   (flow, ratio): solve both.
Method B: along each line linear in flow; then linear in speed between the two bracketing lines at the SAME flow (fails where one line does not reach that flow)."""
import numpy as np, csv
from scipy.interpolate import PchipInterpolator as PC
from scipy.optimize import brentq, least_squares
hdr=["# invented compressor map, not measured","# flow: corrected mass flow kg/s = W*sqrt(T01/Tref)/(p01/pref)","# speed: corrected rpm = N/sqrt(T01/Tref)","# Tref_K=298.0","# pref_Pa=100000.0","# pressure_ratio: total to total","# efficiency: isentropic total to total"]
S=np.array([60e3,90e3,120e3,150e3,175e3]); n=6; b=np.linspace(0,1,n)
W=[];P=[];E=[]
for s in S:
    x=s/175e3; ws,wc=.010+.045*x**1.6,.055+.085*x**1.1; ps=1+2.1*x**2.1; pc=1+.95*x**2.0
    W.append(np.round(ws+(wc-ws)*b**.85,5)); P.append(np.round(ps-(ps-pc)*b**2.4,4)); E.append(np.round(.60+.06*np.sin(np.pi*x*.8)+.10*np.sin(np.pi*(.12+.80*b))-.10*b**4,4))
W,P,E=map(np.array,(W,P,E))
with open('compressor_map_invented.csv','w') as f:
    f.write("\n".join(hdr)+"\nspeed_rpm,flow_kg_s,pressure_ratio,efficiency\n")
    for i,s in enumerate(S):
        for j in range(n): f.write(f"{s:.0f},{W[i,j]:.5f},{P[i,j]:.4f},{E[i,j]:.4f}\n")
for i,s in enumerate(S): print(int(s),W[i].tolist(),P[i].tolist(),E[i].tolist())
LW,LP,LE=[[PC(b,A[i]) for i in range(5)] for A in (W,P,E)]
at=lambda L,s,be: float(PC(S,[l(be) for l in L])(s))
def inv_flow(s,w):
    lo,hi=at(LW,s,0),at(LW,s,1)
    if not lo<=w<=hi: return None
    return brentq(lambda be: at(LW,s,be)-w,0,1,xtol=1e-14)
def bilin(s,w):
    i=int(np.clip(np.searchsorted(S,s)-1,0,3)); o=[]
    for j in (i,i+1):
        if not W[j,0]<=w<=W[j,-1]: return None
        o.append((np.interp(w,W[j],P[j]),np.interp(w,W[j],E[j])))
    t=(s-S[i])/(S[i+1]-S[i]); return tuple((1-t)*a+t*c for a,c in zip(*o))
pts=[(60000,.030),(75000,.045),(90000,.060),(105000,.050),(105000,.080),(120000,.0753),(135000,.060),(135000,.100),(160000,.085),(175000,.120)]
out=csv.writer(open('compressor_map.csv','w')); out.writerow("speed_rpm,flow_kg_s,beta,ratio_P,eff_P,ratio_B,eff_B".split(','))
for s,w in pts:
    be=inv_flow(s,w); B=bilin(s,w); r=[at(LP,s,be),at(LE,s,be)] if be is not None else [None]*2; B=B or (None,None)
    fm=lambda v:'outside' if v is None else f"{v:.9f}"
    out.writerow([s,w,fm(be),fm(r[0]),fm(r[1]),fm(B[0]),fm(B[1])]); print(s,w,"beta",fm(be),"P:",fm(r[0]),fm(r[1])," B:",fm(B[0]),fm(B[1]))
print("PCHIP vs linear along a tabulated line, 120000 rpm beta .1:",float(LW[2](.1)),float(LP[2](.1)),"linear",np.interp(.1,b,W[2]),np.interp(.1,b,P[2]))
print("inverse (flow, ratio) -> speed, beta:")
for w,p in ((.060,1.5),(.080,2.0),(.100,2.4),(.050,1.2)):
    f=lambda x:[at(LW,x[0]*1e5,x[1])/.1-w/.1,at(LP,x[0]*1e5,x[1])-p]
    best=min((least_squares(f,[s0,.5],bounds=([.6,0],[1.75,1]),xtol=1e-15,ftol=1e-15,gtol=1e-15) for s0 in (.8,1.1,1.4)),key=lambda r:r.cost)
    print(w,p,f"speed {best.x[0]*1e5:.3f} beta {best.x[1]:.7f} residual {np.sqrt(2*best.cost):.1e} eff {at(LE,best.x[0]*1e5,best.x[1]):.7f}")
print("outside cases (must be refused, never extrapolated silently):")
for s,w in ((50000,.03),(180000,.1),(105000,.020),(105000,.130)): 
    print(s,w,"speed outside" if not S[0]<=s<=S[-1] else f"flow range at this speed {at(LW,s,0):.6f}..{at(LW,s,1):.6f}: "+("below surge end" if w<at(LW,s,0) else "beyond choke end"))
def cross(a,bb):
    """first crossing of two polylines in (flow, ratio)"""
    o=[]
    for i in range(len(a)-1):
        for j in range(len(bb)-1):
            p,r,q,s_=a[i],a[i+1]-a[i],bb[j],bb[j+1]-bb[j]; d=r[0]*s_[1]-r[1]*s_[0]
            if abs(d)<1e-15: continue
            t=((q-p)[0]*s_[1]-(q-p)[1]*s_[0])/d; u=((q-p)[0]*r[1]-(q-p)[1]*r[0])/d
            if -1e-12<=t<=1+1e-12 and -1e-12<=u<=1+1e-12: o.append((p+t*r).tolist())
    return o
L=[np.c_[W[i],P[i]] for i in range(5)]
print("crossings in the good map:",[cross(L[i],L[i+1]) for i in range(4)])
bad=L[2].copy(); bad[3:,1]=[1.34,1.20,1.05]; print("bad map: 120000 line ends",bad[3:].tolist(),"crosses 90000 line at",cross(L[1],bad))
print("bad order: ratio at equal flow .0900: 90000 line",np.interp(.09,W[1],P[1]),"120000 bad line",np.interp(.09,bad[:,0],bad[:,1]))
