"""Step responses with a closed form, a play element, and gauge studies, evaluated outside the project.

Step: root search on the analytic response. Play: a hand-rolled hysteron. ISO 5725-2: one-way sums of
squares in numpy. Constants 1/d2*: the range's moments by quadrature of the normal distribution. Analysis
of variance: statsmodels. All readings are invented. Run with Python 3.11, numpy 2.4.6, scipy 1.17.1,
statsmodels 0.14.5, pandas.
"""
import numpy as np
import pandas as pd
from scipy.integrate import dblquad
from scipy.optimize import brentq
from scipy.stats import norm
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.anova import anova_lm

# --- step responses
wn, z, Td = 10.0, 0.5, 0.1
wd = wn * np.sqrt(1 - z * z)


def second_order(t):
    t = np.maximum(t - Td, 0)
    return 1 - np.exp(-z * wn * t) * (np.cos(wd * t) + z / np.sqrt(1 - z * z) * np.sin(wd * t))


peak = Td + np.pi / wd
print("second order: T63", brentq(lambda t: second_order(t) - 0.632, Td, peak),
      "T86", brentq(lambda t: second_order(t) - 0.865, Td, peak),
      "overshoot %", 100 * np.exp(-np.pi * z / np.sqrt(1 - z * z)), "peak at", peak)
print("first order tau .2 dead .05: T63", 0.05 - 0.2 * np.log(1 - 0.632), "T86", 0.05 - 0.2 * np.log(1 - 0.865))

# --- ISO 5725-2, four groups of three
d = np.array([[10.02, 10.04, 10.03], [10.10, 10.07, 10.09], [9.98, 10.01, 9.99], [10.05, 10.05, 10.08]])
p, n = d.shape
m = d.mean(1)
within = ((d - m[:, None]) ** 2).sum() / (p * (n - 1))
between = max(0, (n * ((m - m.mean()) ** 2).sum() / (p - 1) - within) / n)
print("ISO 5725-2: s_r", within ** 0.5, "s_L", between ** 0.5, "s_R", (within + between) ** 0.5)

# --- constants 1/d2*(m, 1) = 1/sqrt(E[range^2])
for k in range(2, 11):
    e2 = dblquad(lambda r, low: r * r * k * (k - 1) * norm.pdf(low) * norm.pdf(low + r)
                 * (norm.cdf(low + r) - norm.cdf(low)) ** (k - 2), -8, 8, 0, 12)[0]
    print(f"1/d2* of {k}: {e2 ** -0.5:.4f}")


# --- gauge study, operators x parts x trials
def anova(name, a):
    o, p, r = a.shape
    rows = [(i, j, a[i, j, k]) for i in range(o) for j in range(p) for k in range(r)]
    df = pd.DataFrame(rows, columns=["op", "part", "y"])
    t = anova_lm(OLS.from_formula("y ~ C(op)*C(part)", df).fit(), typ=2)
    ms, both = t["sum_sq"] / t["df"], "C(op):C(part)"
    e, i, df_i, df_e = ms["Residual"], ms[both], t["df"][both], t["df"]["Residual"]
    print(name, "MS part %.12g op %.12g interaction %.12g within %.12g F %.12g p %.12g" % (
        ms["C(part)"], ms["C(op)"], i, e, t["F"][both], t["PR(>F)"][both]))
    if t["PR(>F)"][both] > 0.25:
        e = i = (i * df_i + e * df_e) / (df_i + df_e)
    v = [max(0, (i - e) / r), max(0, (ms["C(op)"] - i) / (p * r)), max(0, (ms["C(part)"] - i) / (o * r))]
    print(name, "repeatability %.12g reproducibility %.12g part %.12g" % (e ** 0.5, (v[0] + v[1]) ** 0.5, v[2] ** 0.5))


a = np.array([[[2.1, 2.2, 2.1], [3.0, 3.1, 3.0], [2.5, 2.4, 2.5], [3.4, 3.5, 3.4], [2.8, 2.8, 2.9]],
              [[2.2, 2.1, 2.2], [3.1, 3.1, 3.2], [2.5, 2.6, 2.5], [3.5, 3.4, 3.5], [2.9, 2.8, 2.9]]])
b = a.copy()
b[1, 3] += 0.3
b[1, 0] -= 0.2
anova("plain", a)
anova("interacting", b)
