"""Reference numbers for the control checks; writes control_reference.csv beside itself.

Python 3.11, numpy 2.4.6, scipy 1.17.1, control 0.10.2. Run: python3 control_reference.py
Sources: S. Skogestad, J. Process Control 13 (2003) 291-309, table 1 (SIMC); K. J. Astrom and T. Hagglund,
Automatica 20 (1984) 645-651 (relay feedback). Margins by python-control where it can carry the loop
(dead time as a tenth-order Pade approximation), and by the exact frequency response otherwise.
"""

import csv
import pathlib

import control as ct
import numpy as np
from scipy.optimize import brentq

rows = []


def put(name, value, source):
    rows.append((name, repr(float(value)), source))


def margins(loop, lowest=1e-4, highest=1e5):
    """Exact frequency response: gain margin, phase margin (degrees), peak sensitivity, crossover."""
    w = np.logspace(np.log10(lowest), np.log10(highest), 800001)
    z = loop(1j * w)
    size, phase = np.abs(z), np.unwrap(np.angle(z))
    i = np.where((size[:-1] >= 1) & (size[1:] < 1))[0][-1]
    crossover = brentq(lambda q: abs(loop(1j * q)) - 1, w[i], w[i + 1])
    phase_margin = 180 + np.degrees(np.interp(crossover, w, phase))
    j = np.where((phase[:-1] >= -np.pi) & (phase[1:] < -np.pi))[0][0]
    w180 = np.interp(np.pi, [-phase[j], -phase[j + 1]], [w[j], w[j + 1]])
    return 1 / abs(loop(1j * w180)), phase_margin, np.max(1 / np.abs(1 + z)), crossover


def put_margins(name, loop, source):
    gain, phase, sensitivity, crossover = margins(loop)
    put(f"{name}.gain_margin", gain, source)
    put(f"{name}.phase_margin_deg", phase, source)
    put(f"{name}.sensitivity", sensitivity, source)
    put(f"{name}.crossover_rad_s", crossover, source)


EXACT = "exact frequency response, numpy"

# First order plus dead time, k 1, tau 8, theta 1, tau_c = theta.
k, tau, theta = 1.0, 8.0, 1.0
kc, ti = tau / (k * 2 * theta), min(tau, 8 * theta)
put("simc_first_order.proportional", kc, "SIMC rule")
put("simc_first_order.integral_time_s", ti, "SIMC rule")
first = lambda s: kc * (1 + 1 / (ti * s)) * k * np.exp(-theta * s) / (tau * s + 1)
put_margins("simc_first_order", first, EXACT)
s = ct.tf("s")
pade = ct.tf(*ct.pade(theta, 10))
gm, pm, _, _ = ct.margin(kc * (1 + 1 / (ti * s)) * k * pade / (tau * s + 1))
put("simc_first_order.gain_margin_python_control", gm, "python-control margin, Pade 10")
put("simc_first_order.phase_margin_deg_python_control", pm, "python-control margin, Pade 10")

# Integrating, k' 1, theta 1.
put("simc_integrating.proportional", 0.5, "SIMC rule")
put("simc_integrating.integral_time_s", 8.0, "SIMC rule")
put_margins("simc_integrating", lambda s: 0.5 * (1 + 1 / (8 * s)) * np.exp(-s) / s, EXACT)

# Lambda tuning (tau_c = 3 tau) of the first-order process.
put("lambda.proportional", 8 / (24 + 1), "SIMC rule with tau_c = 3 tau")

# Position loop of the invented bench actuator A: k' from 12 V no-load speed, tau from its poles.
gain, lag, dead, wish = 0.8914, 0.0107, 0.0021, 0.012
reach = wish + dead
kc2, ti2, td2 = 1 / (gain * reach), 4 * reach, lag
factor = 1 + td2 / ti2
kp, ti_p, td_p = kc2 * factor, ti2 * factor, td2 / factor
tf = 0.3 * td_p
put("position.proportional", kp, "SIMC rule for integrating with lag, series to parallel")
put("position.integral_time_s", ti_p, "SIMC rule for integrating with lag, series to parallel")
put("position.derivative_time_s", td_p, "SIMC rule for integrating with lag, series to parallel")
controller = lambda s: kp * (1 + 1 / (ti_p * s) + td_p * s / (tf * s + 1))
plant = lambda s: gain * np.exp(-dead * s) / (s * (lag * s + 1))
put_margins("position", lambda s: controller(s) * plant(s), EXACT)
pade = ct.tf(*ct.pade(dead, 8))
loop = kp * (1 + 1 / (ti_p * s) + td_p * s / (tf * s + 1)) * gain * pade / (s * (lag * s + 1))
gm, pm, _, _ = ct.margin(ct.minreal(loop, verbose=False))
put("position.gain_margin_python_control", gm, "python-control margin, Pade 8")
put("position.phase_margin_deg_python_control", pm, "python-control margin, Pade 8")

# Its step with the derivative on the measurement. State space in milliseconds: as a transfer function in
# seconds the Pade polynomials lose so many digits that the step is 1 % wrong.
ms = 1e3
process = ct.ss(ct.tf([gain / ms], [lag * ms, 1])) * ct.ss(ct.tf([1], [1, 0]))
delayed = process * ct.ss(ct.tf(*ct.pade(dead * ms, 6)))
damped = ct.feedback(delayed, ct.ss(ct.tf([kp * td_p * ms, 0], [tf * ms, 1])))
closed = ct.feedback(damped * ct.ss(ct.tf([kp * ti_p * ms, kp], [ti_p * ms, 0])), 1)
_, y = ct.step_response(closed, np.linspace(0, 400, 4001))
for at_ms in (10, 20, 30, 50, 80, 120, 200, 300):
    put(f"position.step_{at_ms}_ms", y[at_ms * 10], "python-control step_response in state space, Pade 6")

# Relay of height 1 around exp(-s)/(8s+1): closed form of the limit cycle.
amplitude = 1 - np.exp(-1 / 8)
put("relay.amplitude", amplitude, "closed form")
put("relay.period_s", 16 * np.log(2 * np.exp(1 / 8) - 1), "closed form")
put("relay.ultimate_gain", 4 / np.pi / amplitude, "describing function 4d/(pi a)")
w180 = brentq(lambda q: -q - np.arctan(8 * q) + np.pi, 1.0, 3.0)
put("relay.true_ultimate_gain", abs(8j * w180 + 1), "exact frequency response")


def pi_loop(limit, anti_windup, step=1e-3, seconds=60):
    """PI of the first-order case on the exact process; integral of the absolute error, peak."""
    delay = [0.0] * int(round(1 / step))
    y = integral = error_sum = peak = 0.0
    keep = np.exp(-step / 8)
    for i in range(int(seconds / step)):
        e = 1.0 - y
        wanted = 4 * e + integral
        u = min(limit, max(-limit, wanted))
        if not (anti_windup and u != wanted and e * wanted > 0):
            integral += 4 / 8 * e * step
        late = delay[i % len(delay)]
        delay[i % len(delay)] = u
        y = late + (y - late) * keep
        error_sum += abs(1.0 - y) * step
        peak = max(peak, y)
    return error_sum, peak


put("pi_step.integral_absolute_error", pi_loop(1e9, False)[0], "own integration, dead time exact")
put("windup.peak_without", pi_loop(1.2, False)[1], "own integration, |u| <= 1.2, no anti-windup")
error, peak = pi_loop(1.2, True)
put("windup.peak_conditional", peak, "own integration, |u| <= 1.2, conditional integration")
put("windup.integral_absolute_error_conditional", error, "same")

with open(pathlib.Path(__file__).with_name("control_reference.csv"), "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(("name", "value", "source"))
    writer.writerows(rows)
