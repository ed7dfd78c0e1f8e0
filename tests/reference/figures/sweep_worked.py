"""Worked sweep of 11 points and 3 cycles, in per cent of span, evaluated with numpy and scipy.

The readings are invented. Definitions after IEC 61298-2 and ISA-51.1; the minimax line comes from a
linear program, the zero-based slope from a bounded scalar search, so neither shares a method with the
Rust code. Run with Python 3.11, numpy 2.4.6, scipy 1.17.1; writes sweep_worked.csv, prints the figures.
"""
import csv
import numpy as np
from scipy.optimize import linprog, minimize_scalar

rng = np.random.default_rng(7)
x = np.linspace(0, 100, 11)


def deviation(up):
    arch = np.sin(np.pi * x / 100)
    return 0.25 * arch + 0.004 * x - 0.10 + (-0.18 if up else 0.18) * arch


U, D = [], []
for _ in range(3):
    U.append(np.round(x + deviation(True) + rng.normal(0, 0.03, 11), 2))
    D.append(np.round(x + deviation(False) + rng.normal(0, 0.03, 11), 2))
U, D = np.array(U), np.array(D)
eU, eD = U - x, D - x
aU, aD = eU.mean(0), eD.mean(0)
ym = x + (aU + aD) / 2
print("inaccuracy", max(eU.max(), eD.max()), min(eU.min(), eD.min()))
print("average errors", aU.max(), aU.min(), aD.max(), aD.min())
print("hysteresis", np.abs(aD - aU).max(), "at", x[np.abs(aD - aU).argmax()])
print("non-repeatability", max(np.ptp(eU, axis=0).max(), np.ptp(eD, axis=0).max()))
terminal = ym - (ym[0] + (ym[-1] - ym[0]) * x / 100)
print("terminal-based", np.abs(terminal).max(), "at", x[np.abs(terminal).argmax()])
zero = minimize_scalar(lambda k: np.abs(ym - ym[0] - k * x).max(), bounds=(0.9, 1.1), method="bounded",
                       options=dict(xatol=1e-13))
print("zero-based", zero.fun, "slope", zero.x)
A = np.block([[np.ones((11, 1)), x[:, None], -np.ones((11, 1))],
              [-np.ones((11, 1)), -x[:, None], -np.ones((11, 1))]])
lp = linprog([0, 0, 1], A_ub=A, b_ub=np.concatenate([ym, -ym]), bounds=[(None, None)] * 3)
print("independent", lp.x[2], "intercept, slope", lp.x[:2])
ls = np.polyfit(x, ym, 1)
print("least squares (not the independent line)", np.abs(ym - np.polyval(ls, x)).max())
with open("sweep_worked.csv", "w") as f:
    w = csv.writer(f)
    w.writerow(["x_pct"] + [f"up{i + 1}" for i in range(3)] + [f"down{i + 1}" for i in range(3)])
    for k in range(11):
        w.writerow([x[k], *U[:, k], *D[:, k]])
