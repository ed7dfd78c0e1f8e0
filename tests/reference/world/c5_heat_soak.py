"""Check B5: two thermal masses (gas-wall-body-ambient), closed form and SciPy; sensor lag on a ramp."""
import csv, math, numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import expm
C1,C2,Gg,G12,Ga=180.,900.,4.0,1.5,2.5   # J/K wall, J/K body, W/K gas-wall, wall-body, body-ambient (invented)
Ta,Tg=300.,900.
def two_mass(t,T0,Tg,Ta=Ta,p=(C1,C2,Gg,G12,Ga)):
    """closed form: T = Tinf + sum of two exponentials"""
    C1,C2,Gg,G12,Ga=p; a,b,c,d=-(Gg+G12)/C1,G12/C1,G12/C2,-(G12+Ga)/C2
    den=Gg*G12+Gg*Ga+G12*Ga; T1=(Gg*Tg*(G12+Ga)+G12*Ga*Ta)/den; T2=(G12*T1+Ga*Ta)/(G12+Ga)
    q=math.sqrt((a-d)**2+4*b*c); l1,l2=(a+d+q)/2,(a+d-q)/2
    e1,e2=T0[0]-T1,T0[1]-T2; t=np.asarray(t,float)
    # expm(At) = [ (A-l2 I) e^{l1 t} - (A-l1 I) e^{l2 t} ]/(l1-l2)
    E1,E2=np.exp(l1*t),np.exp(l2*t); k=l1-l2
    x1=(((a-l2)*e1+b*e2)*E1-((a-l1)*e1+b*e2)*E2)/k; x2=((c*e1+(d-l2)*e2)*E1-(c*e1+(d-l1)*e2)*E2)/k
    return T1+x1,T2+x2,(T1,T2),(-1/l1,-1/l2)
if __name__=='__main__':
    ts=[0,5,10,30,60,120,300,600,1200,3600]; y1,y2,inf,tau=two_mass(ts,(Ta,Ta),Tg)
    print("step gas 300->900 K: final wall, body K",inf,"time constants s",tau); 
    A=np.array([[-(Gg+G12)/C1,G12/C1],[G12/C2,-(G12+Ga)/C2]]); B=np.array([Gg*Tg/C1,Ga*Ta/C2]); f=lambda t,T: A@T+B
    s=solve_ivp(f,(0,3600),[Ta,Ta],method='Radau',rtol=1e-11,atol=1e-9,t_eval=ts); xi=np.linalg.solve(A,-B)
    print("largest closed form - Radau",abs(s.y[0]-y1).max(),abs(s.y[1]-y2).max()," - expm",max(abs(xi+expm(A*t)@(np.array([Ta,Ta])-xi)-np.array([u,v])).max() for t,u,v in zip(ts,y1,y2)))
    for t,u,v in zip(ts,y1,y2): print(t,f"{u:.9f} {v:.9f}")
    # shut-down: gas coupling drops to .3 W/K toward 330 K gas; body keeps rising (soak-back)
    p=(C1,C2,.3,G12,.8); z=lambda t: two_mass(t,(y1[6],y2[6]),330.,Ta,p); from scipy.optimize import minimize_scalar
    m=minimize_scalar(lambda t:-float(z(t)[1]),bounds=(1,2000),method='bounded',options=dict(xatol=1e-7)); print("soak-back after 300 s of heat (gas .3 W/K at 330 K, ambient .8 W/K): body at shut-down",y2[6],"peak",-m.fun,"at s",m.x,"taus",z(0.)[3]); print(" body at 60, 300, 900 s",[f"{float(z(t)[1]):.9f}" for t in (60.,300.,900.)]," wall",[f"{float(z(t)[0]):.9f}" for t in (60.,300.,900.)])
    with open('ref_heat_soak.csv','w') as fo:
        w=csv.writer(fo); w.writerow(['t_s','wall_K','body_K','phase'])
        for t in range(0,301,5): u,v=two_mass(t,(Ta,Ta),Tg)[:2]; w.writerow([t,f"{float(u):.9f}",f"{float(v):.9f}",'heat'])
        for t in range(5,1801,15): u,v=z(float(t))[:2]; w.writerow([300+t,f"{float(u):.9f}",f"{float(v):.9f}",'soak'])
    # energy: heat in over 300 s = stored + lost
    S=solve_ivp(lambda t,x:[*(f(t,x[:2])),Gg*(Tg-x[0]),Ga*(x[1]-Ta)],(0,300),[Ta,Ta,0,0],method='Radau',rtol=1e-11,atol=1e-8); print("energy 300 s: in",S.y[2,-1],"stored",C1*(S.y[0,-1]-Ta)+C2*(S.y[1,-1]-Ta),"lost",S.y[3,-1],"residual",S.y[2,-1]-S.y[3,-1]-C1*(S.y[0,-1]-Ta)-C2*(S.y[1,-1]-Ta))
    # explicit Euler error
    for h in (.01,.1,1.,10.):
        x=np.array([Ta,Ta]); 
        for _ in range(int(round(60/h))): x=x+h*(A@x+B)
        print("Euler step",h,"error at 60 s",x-np.array([y1[4],y2[4]]))
    # winding resistance drift with copper temperature coefficient
    for dT in (20,60,80,120): print("copper R ratio, dT",dT,1+.00393*dT,"stall torque ratio",1/(1+.00393*dT))
    print("--- sensor lag on a ramp r: e(t)=r(Td + tau(1-exp(-(t-Td)/tau)))")
    for r,tau,Td in ((5.,.8,0.),(5.,.8,.2),(50.,.012,.004),(100.,.02,.005)):
        e=lambda t: r*t-(0 if t<Td else r*((t-Td)-tau*(1-math.exp(-(t-Td)/tau))))
        g=solve_ivp(lambda t,y:[(r*max(t-Td,0)-y[0])/tau],(0,Td+10*tau),[0.],method='Radau',rtol=1e-10,atol=1e-12,max_step=tau/5)
        print(f"r {r} tau {tau} Td {Td}: steady error r(tau+Td) = {r*(tau+Td):.9f}; at t=Td+tau {e(Td+tau):.9f}; at Td+3tau {e(Td+3*tau):.9f}; Radau end diff {r*g.t[-1]-g.y[0,-1]-e(g.t[-1]):.2e}")
    # sampled exponential filter: y+=a(u-y), a=1-exp(-h/tau); steady lag on a ramp
    for h,tau in ((.001,.02),(.005,.02),(.01,.02)): a=1-math.exp(-h/tau); print("sampled filter h",h,"lag in s of y+=a(u-y) with the newest sample, a=1-exp(-h/tau):",h*(1-a)/a,"(continuous",tau,"); with a=h/tau:",h*(1-h/tau)/(h/tau),"; a=h/(tau+h):",h*(1-h/(tau+h))/(h/(tau+h)))
    print("two-direction ramp: apparent hysteresis from lag = 2 r (tau+Td):",2*50*(.012+.004),"%")
