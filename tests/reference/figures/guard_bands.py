"""Conformity risks with a normal prior and a normal measurement error; guard bands.

Python 3.11, numpy 2.4.6, scipy 1.17.1; writes guard_bands.csv, each row by quadrature and by the bivariate normal
distribution (they agree within 2e-9).
"""
import csv, math, numpy as np
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr
xg,wg=np.polynomial.legendre.leggauss(400)
def _int(f,a,b): x=.5*(b-a)*xg+.5*(a+b); return float(np.sum(.5*(b-a)*wg*f(x)))
def risks(m,u0,um,TL,TU,AL,AU):
    """global consumer's and producer's risk, acceptance rate, P(conforming)"""
    pri=lambda e: np.exp(-.5*((e-m)/u0)**2)/(u0*math.sqrt(2*math.pi)); acc=lambda e: ndtr((AU-e)/um)-ndtr((AL-e)/um)
    lo,hi=m-9.5*u0,m+9.5*u0
    rc=(_int(lambda e:pri(e)*acc(e),min(lo,TL),TL) if lo<TL else 0)+(_int(lambda e:pri(e)*acc(e),TU,max(hi,TU)) if hi>TU else 0)
    rp=_int(lambda e:pri(e)*(1-acc(e)),max(lo,TL),min(hi,TU)); pc=ndtr((TU-m)/u0)-ndtr((TL-m)/u0)
    s=math.hypot(u0,um); return rc,rp,ndtr((AU-m)/s)-ndtr((AL-m)/s),pc
def risks_mvn(m,u0,um,TL,TU,AL,AU):
    """second route: rectangle probabilities of the joint (true, measured) normal"""
    s=math.hypot(u0,um); r=u0/s; b=stats.multivariate_normal([0,0],[[1,r],[r,1]],abseps=1e-13,releps=1e-13,maxpts=10**7)
    F=lambda t,a: b.cdf([(t-m)/u0,(a-m)/s]); both=F(TU,AU)-F(TL,AU)-F(TU,AL)+F(TL,AL)
    acc=ndtr((AU-m)/s)-ndtr((AL-m)/s); pc=ndtr((TU-m)/u0)-ndtr((TL-m)/u0); return acc-both,pc-both
def post(y,m,u0,um): w=u0*u0/(u0*u0+um*um); return m+w*(y-m),math.sqrt(w)*um
if __name__=='__main__':
    a=(1500.,.12,.04,1499.8,1500.2,1499.82,1500.18); r=risks(*a); print("resistor example (1500+-0.2, prior .12, meas .04, accept +-0.18): RC,RP,accept,pc",r,"mvn",risks_mvn(*a))
    print(" same, accept = tolerance",risks(1500.,.12,.04,1499.8,1500.2,1499.8,1500.2))
    st=.0002; ys=np.arange(1499.8,1500.2+1e-9,st); yl=np.arange(1499.44,1499.8+1e-9,st); g=lambda x,mu,s: np.exp(-.5*((x-mu)/s)**2)/(s*math.sqrt(2*math.pi)); xs=np.arange(1499.82,1500.18+1e-9,st); xr=np.arange(1499.44,1499.82+1e-9,st)
    print(" grid-sum form of the stored program: RC",2*sum((st*g(xs,e,.04)).sum()*st*g(e,1500.,.12) for e in yl)," RP",2*sum((st*g(xr,e,.04)).sum()*st*g(e,1500.,.12) for e in ys), "prior outside T",1-(st*g(ys,1500.,.12)).sum())
    print("two-normal checks quoted in an open test (prior 1): T2,u.25 RC,RP",risks(0,1,.25,-2,2,-2,2)[:2]," T2.5,u.25",risks(0,1,.25,-2.5,2.5,-2.5,2.5)[0]," T2.5,u.625 (ratio 4)",risks(0,1,.625,-2.5,2.5,-2.5,2.5)[0]," T2,u.5,A.91T",risks(0,1,.5,-2,2,-1.82,1.82)[:2], " T2,u1 meas",risks(0,1,1,-2,2,-2,2)[:2])
    print("scale 4/1 T8:",risks(0,4,1,-8,8,-8,8)[:2])
    rng=np.random.default_rng(2); N=4_000_000; e=.8*rng.standard_normal(N); y=e+.3*rng.standard_normal(N); print("Monte Carlo s.8 u.3 T2 A=2-1.645u: RC,RP",((abs(e)>2)&(abs(y)<2-1.6448536*.3)).mean(),((abs(e)<=2)&(abs(y)>2-1.6448536*.3)).mean())
    # specific: guard-band factor g/u for one limit
    for p in (.8,.9,.95,.975,.99,.999): print("required conformance prob",p,"guard g/u (one limit)",f"{stats.norm.ppf(p):.9f}")
    print("guard 1u, 1.645u, 1.96u, 2u, 3u -> largest specific risk at the acceptance limit",[f"{stats.norm.sf(k):.9f}" for k in (1,1.6448536269514722,1.959963984540054,2,3)])
    # tolerance +-2 % of travel
    T=2.0; rows=[]
    for y,u in ((0,.3),(1.0,.3),(1.5,.3),(1.9,.3),(2.0,.3),(1.5,.5)): print("flat prior, reading",y,"u",u,"conformance prob",f"{ndtr((T-y)/u)-ndtr((-T-y)/u):.9f}"," with prior s .8:",f"{(lambda q:ndtr((T-q[0])/q[1])-ndtr((-T-q[0])/q[1]))(post(y,0,.8,u)):.9f}",post(y,0,.8,u))
    for m in (0.,.4):
        for s in (.4,.6,.8,1.0):
            for u in (.1,.2,.3,.4,.5):
                for nm,A in (('none',T),('1.645u',T-1.6448536269514722*u),('2u',T-2*u)):
                    q=risks(m,s,u,-T,T,-A,A); v=risks_mvn(m,s,u,-T,T,-A,A); assert abs(q[0]-v[0])<2e-9 and abs(q[1]-v[1])<2e-9,(q,v); rows.append([m,s,u,nm,f"{A:.9f}"]+[f"{x:.10e}" for x in q])
    with open('guard_bands.csv','w') as f: w=csv.writer(f); w.writerow(['mean_pct','unit_sd_pct','meas_u_pct','guard','accept_half_pct','consumer_risk','producer_risk','acceptance_rate','conforming_rate']); w.writerows(rows)
    for s in (.6,.8,1.0):
        for u in (.1,.2,.3,.5): z=risks(0,s,u,-T,T,-T,T); k=risks(0,s,u,-T,T,-(T-1.6448536269514722*u),T-1.6448536269514722*u); print(f"s {s} u {u}: none RC {z[0]*1e6:.3f} RP {z[1]*1e6:.3f} ppm | 1.645u RC {k[0]*1e6:.4f} RP {k[1]*1e6:.2f} ppm | share of accepted that is bad {z[0]/z[2]*1e6:.3f} ppm")
    print("acceptance half-width for a target global RC (s, u, target):")
    for s in (.8,1.0):
        for u in (.2,.3,.5):
            for t in (1e-3,1e-4):
                f=lambda A: risks(0,s,u,-T,T,-A,A)[0]-t
                print(s,u,t,"no guard needed" if f(T)<0 else f"A={brentq(f,.05,T,xtol=1e-13):.9f} factor A/T {brentq(f,.05,T,xtol=1e-13)/T:.9f} RP {risks(0,s,u,-T,T,*(lambda a:(-a,a))(brentq(f,.05,T,xtol=1e-13)))[1]:.9f}")
    print("ratio-only factors, R=T/(2u): rss sqrt(1-1/R^2), full 1-1/R, managed 1-(1.04-exp(.38 ln R-.54))/R")
    for R in (1.5,2,3,4,6,10): print(R,f"{math.sqrt(1-1/R**2):.9f} {1-1/R:.9f} {1-(1.04-math.exp(.38*math.log(R)-.54))/R:.9f}")
    # the managed rule's claim: RC <= 2 % whatever the in-tolerance probability
    for R in (1.5,2,4): 
        G=1-(1.04-math.exp(.38*math.log(R)-.54))/R; print("worst RC over prior spread, R",R,max((risks(0,s,T/2/R,-T,T,-G*T,G*T)[0],s) for s in np.linspace(.3,6,115)))
