"""The same equations in SciPy, timed: 20 s of bench engine A's air path (load pulses, vane held) and 1.5 s of bench
actuator A from stop to stop. Compare with `cargo bench -p host-sim --bench world`, which prints the time of one
millisecond of each. Processor time, so that other work on the machine counts less. Run: python3 timing.py"""
import sys, time, os
os.chdir(os.path.dirname(os.path.abspath(__file__))); sys.path.insert(0, '.')
import numpy as np
from scipy.integrate import solve_ivp
import c4b_reduced_airpath as air

def best(f, n=3):
    times = []
    for _ in range(n):
        t = time.process_time(); f(); times.append(time.process_time() - t)
    return min(times)

x0, _ = air.ss(2000, 12, 0.35)
def air_run():
    y = x0
    for k in range(10):
        mf = 36 if k % 2 else 12
        y = solve_ivp(lambda t, x: air.f(x, 2000, mf, 0.35), (0, 2), y, method='LSODA', rtol=1e-8,
                      atol=[1e-3, 1e-3, 1e-4, 1e-9]).y[:, -1]
s = best(air_run); print(f"air path, LSODA rtol 1e-8: {s:.3f} s for 20 s, {1e9*s/20000:.0f} ns per simulated ms")
def air_rk4(n=2000, dt=1e-3):
    x = np.array(x0)
    for _ in range(n):
        F = lambda y: air.f(y, 2000, 36, 0.35)
        k1 = F(x); k2 = F(x+.5*dt*k1); k3 = F(x+.5*dt*k2); k4 = F(x+dt*k3); x = x+dt/6*(k1+2*k2+2*k3+k4)
s = best(air_rk4); print(f"air path, RK4 at 1 ms in Python: {1e9*s/2000:.0f} ns per simulated ms")

P = dict(R=1.60, L=0.9e-3, K=0.0180, N=48.0, b=0.03, ks=0.20, T0=0.30, hi=np.deg2rad(70.0), kst=400.0, cst=0.6)
J = 2.5e-4 + 48.0**2*2.2e-6
def g(w): return 0.18 + 0.08*np.exp(-(w/0.05)**2)
def rhs(t, x, v):
    i, w, th, z = x
    zd = w - 200.0*abs(w)/g(w)*z
    stop = max(0.0, -P['kst']*th - P['cst']*w) if th < 0 else (-max(0.0, P['kst']*(th-P['hi'])+P['cst']*w) if th > P['hi'] else 0.0)
    return [(v - P['R']*i - P['K']*P['N']*w)/P['L'],
            (P['N']*P['K']*i - P['b']*w - (200.0*z + 0.6*zd) - P['T0'] - P['ks']*th + stop)/J, w, zd]
def actuator_run():
    y = [0, 0, -P['T0']/(P['kst']+P['ks']), 0]
    for v, span in ((0, .05), (6, .75), (-3, .5), (0, .2)):
        y = solve_ivp(rhs, (0, span), y, args=(v,), method='Radau', rtol=1e-6, atol=1e-9, max_step=2e-3).y[:, -1]
s = best(actuator_run, 1); print(f"actuator, Radau rtol 1e-6: {s:.3f} s for 1.5 s, {1e9*s/1500:.0f} ns per simulated ms")
