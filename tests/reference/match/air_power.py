"""air flow <-> power, P = m_air/(AFR*bsfc). Python 3.11, numpy 2.4.6, generator PCG64 seed 20260101."""
import numpy as np, csv
# m kg/s, b g/kWh = b*1e-3/3600 kg/(kW s), P kW
P=lambda m,afr,b: m/afr/(b*1e-3/3600.)
M=lambda p,afr,b: p*afr*b*1e-3/3600.
print("nominal .10 kg/s, AFR 22, 215 g/kWh:",P(.10,22,215),"kW; back:",M(P(.10,22,215),22,215))
rows=[(.05,22,215),(.10,18,205),(.10,20,215),(.10,25,230),(.10,28,240),(.20,22,205)]
w=csv.writer(open('air_power.csv','w')); w.writerow(['m_air_kg_s','AFR','bsfc_g_kWh','P_kW'])
for r in rows: w.writerow([*r,f"{P(*r):.9f}"]); print(r,f"{P(*r):.6f}")
ml,mh,al,ah,bl,bh=.095,.105,20.,25.,205.,230.
print("interval P:",P(ml,ah,bh),P(mh,al,bl)," nominal centre",P(.1,22.5,217.5))
p0=75.; print("inverse interval for 75 kW: m =",M(p0,al,bl),M(p0,ah,bh)," centre",M(p0,22.5,217.5))
print("relative half widths: m",.05,"AFR",2.5/22.5,"bsfc",12.5/217.5," linear sum",.05+2.5/22.5+12.5/217.5," root-sum-square",np.sqrt(.05**2+(2.5/22.5)**2+(12.5/217.5)**2))
rng=np.random.Generator(np.random.PCG64(20260101)); n=1_000_000
m=rng.uniform(ml,mh,n); a=rng.uniform(al,ah,n); b=rng.uniform(bl,bh,n); x=P(m,a,b)
print("MC uniform independent: mean %.4f sd %.4f 2.5/50/97.5 %% %.4f %.4f %.4f"%(x.mean(),x.std(ddof=1),*np.percentile(x,[2.5,50,97.5])))
ex=lambda l,h: np.log(h/l)/(h-l)
print("exact mean: m 0.1 * E[1/AFR] E[1/bsfc] =",.1*ex(al,ah)*ex(bl,bh)*3600e3, " GUM first order u =",P(.1,22.5,217.5)*np.sqrt(((.05)**2+(2.5/22.5)**2+(12.5/217.5)**2)/3))
# exact sd for uniform independent
E2=lambda l,h:1/(l*h); Em2=(mh**3-ml**3)/(3*(mh-ml)); v=Em2*E2(al,ah)*E2(bl,bh)*(3600e3)**2-(.1*ex(al,ah)*ex(bl,bh)*3600e3)**2; print("exact sd:",np.sqrt(v))
# N engine points sharing a common flow-scale error
N=8; u_ind,u_com=.02,.03
print("average of %d points, independent 2 %%, common 3 %%: u = sqrt(.02^2/%d+.03^2) = %.6f ; independent only %.6f ; if the common part is wrongly treated as independent %.6f"%(N,N,np.sqrt(u_ind**2/N+u_com**2),u_ind/np.sqrt(N),np.sqrt((u_ind**2+u_com**2)/N)))
c=rng.normal(0,u_com,200000); i=rng.normal(0,u_ind,(200000,N)); y=(1+c)[:,None]*(1+i); print("MC of the same: sd of mean %.6f ; sd of difference of two points %.6f (common cancels: sqrt2*.02=%.6f)"%(y.mean(1).std(),(y[:,0]-y[:,1]).std(),np.sqrt(2)*.02))
r=.6; cov=np.array([[1,r],[r,1]]); L=np.linalg.cholesky(cov); z=rng.standard_normal((n,2))@L.T; a2=22.5*np.exp(.05*z[:,0]); b2=217.5*np.exp(.03*z[:,1]); x2=P(.1,a2,b2)
print("AFR 5 %% and bsfc 3 %% correlated +0.6: u(P)/P = sqrt(.05^2+.03^2+2*.6*.05*.03)=%.6f MC %.6f ; uncorrelated %.6f"%(np.sqrt(.05**2+.03**2+2*r*.05*.03),np.log(x2).std(),np.hypot(.05,.03)))
