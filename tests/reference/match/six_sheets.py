"""Seven invented parts sheets, each of which changes one thing on the first, and what textbook formulas make of them.
Python 3.11, numpy 2.4.6, scipy 1.17.1. Dimensions drawn at random, seed 17. Nothing here shares code with the tool.

    python3 six_sheets.py      writes sheets/*.toml and six_sheets.csv

Throat: least distance of two stadium outlines, sampled and then minimised. Series of nozzle and wheel: two isentropic
throats by Brent's method, 900 K, expansion 2, blade-speed ratio 0.65. Volute and nozzle: 1/A^2 adds. Inertia: solid disc
pi rho b d^4/32 (b = 0.10 d) and flat blades n rho t h r^3/3 (t = 0.012 d). Corrected flow to 298 K, 100 kPa from choked
flow at 900 K, 250 kPa. Bench: isentropic air, 20 C, 101.325 kPa, drop 5 kPa."""
import csv, random
import numpy as np
from scipy.optimize import brentq, minimize

rng = random.Random(17)
near = lambda value, share=0.04: round(value * (1 + rng.uniform(-share, share)), 3)

base = dict(vanes=11, height=near(6.0), chord=near(17.0), thickness=near(1.3), pivot_radius=near(29.5), pivot_fraction=0.45,
            closed=near(11.2), open=near(34.0), end_gap=0.06, c_in=near(38.0), c_out=near(50.0), c_blades=12, c_h=3.6,
            c_rho=2700.0, c_mat='aluminium', t_in=near(45.0, 0.01), t_out=near(40.0, 0.01), hub=near(12.0), t_blades=10,
            t_h=6.0, t_thick=near(0.8), exit=near(57.0), t_rho=8190.0, t_mat='nickel', volute=near(1060.0), volute_r=58.0)
cases = {
    'car': {},
    'hybrid-wheel': dict(c_in=near(41.0, 0.01), c_out=near(54.0, 0.01), c_blades=14, c_h=4.0, c_mat='titanium', c_rho=4430.0),
    'clipped-turbine': dict(exit=base['exit'] - 6.0, hub=round(base['hub'] - 1.0, 3)),
    'more-vanes': dict(vanes=15, chord=round(base['chord'] * 11 / 15, 3)),
    'fewer-vanes': dict(vanes=9, chord=round(base['chord'] * 11 / 9, 3)),
    'wider-ring': dict(height=round(base['height'] * 1.25, 3)),
    'truck': dict(height=near(12.0), chord=near(28.0), thickness=near(3.0), pivot_radius=near(48.0), vanes=12, c_in=near(62.0),
                  c_out=near(86.0), c_h=6.5, t_in=near(76.0, 0.01), t_out=near(68.0, 0.01), hub=near(21.0), t_blades=12,
                  t_h=12.0, t_thick=1.4, volute=near(2900.0), volute_r=95.0),
}

def toml(name, d):
    q = lambda key, value, unit='mm': f"{key} = {{ {unit} = {value}, tol = {round(abs(value) * 0.002 + 0.005, 4)} }}"
    return "\n".join([
        "# INVENTED turbo for tests: no maker, no vehicle. Written by six_sheets.py.", f'name = "{name}"',
        'note = "invented, one thing changed"', '', '[measured]', 'by = "test"', 'with = "calliper"', 'on = "2026-01-01"', '',
        '[nozzle]', 'kind = "pivoting-vanes"', f"vanes = {d['vanes']}", q('height', d['height']), q('chord', d['chord']),
        q('thickness', d['thickness']), q('pivot_radius', d['pivot_radius']), q('pivot_fraction', d['pivot_fraction'], 'ratio'),
        q('closed_angle', d['closed'], 'deg'), q('open_angle', d['open'], 'deg'), q('end_gap', d['end_gap']), '',
        '[compressor]', q('inducer', d['c_in']), q('exducer', d['c_out']), f"blades = {d['c_blades']}", q('tip_height', d['c_h']),
        f"material = \"{d['c_mat']}\"", '', '[turbine]', q('inducer', d['t_in']), q('exducer', d['t_out']), q('hub', d['hub']),
        f"blades = {d['t_blades']}", q('tip_height', d['t_h']), q('blade_thickness', d['t_thick']), q('exit_angle', d['exit'], 'deg'),
        f"material = \"{d['t_mat']}\"", '', '[housing]', q('volute_radius', d['volute_r']), q('volute_area', d['volute'], 'mm2'), ''])

def throat(d, angle_deg):
    a, half = np.radians(angle_deg), d['thickness'] / 2
    def ends(turn):
        along = np.array([-np.sin(a), np.cos(a)]); pivot = np.array([d['pivot_radius'], 0.0])
        lead = pivot - along * (d['pivot_fraction'] * d['chord'] - half)
        trail = pivot + along * ((1 - d['pivot_fraction']) * d['chord'] - half)
        c, s = np.cos(turn), np.sin(turn); m = np.array([[c, -s], [s, c]])
        return m @ lead, m @ trail
    (p, q), (r, s) = ends(0.0), ends(2 * np.pi / d['vanes'])
    dist = lambda x: np.hypot(*((p + x[0] * (q - p)) - (r + x[1] * (s - r))))
    grid = np.linspace(0, 1, 201)
    x0 = min(((u, v) for u in grid for v in grid), key=dist)
    best = minimize(lambda x: dist(x) ** 2, x0, bounds=[(0, 1), (0, 1)], method='L-BFGS-B', options=dict(ftol=1e-16, gtol=1e-14))
    return np.sqrt(min(best.fun, dist(x0) ** 2)) - d['thickness']

g, R = 1.33, 286.0; cp = g * R / (g - 1); crit = (2 / (g + 1)) ** (g / (g - 1))
def psi(x, k=g):
    x = min(max(x, (2 / (k + 1)) ** (k / (k - 1))), 1.0)
    return np.sqrt(2 * k / (k - 1) * (x ** (2 / k) - x ** ((k + 1) / k)))
def share(an, aw, ratio3):
    T, p3 = 900.0, 101325.0; p1 = 2 * p3
    u = 0.65 * np.sqrt(2 * cp * T * (1 - 0.5 ** ((g - 1) / g))); u3 = u * ratio3
    Tr, T2 = T - u * u / cp + u3 * u3 / (2 * cp), T - u * u / (2 * cp); k = (Tr / T2) ** (g / (g - 1))
    mn = lambda pm: an * p1 / np.sqrt(R * T) * psi(pm / p1); mw = lambda pm: aw * k * pm / np.sqrt(R * Tr) * psi(p3 / (k * pm))
    return mn(brentq(lambda pm: mw(pm) - mn(pm), p3 / k, p1, xtol=1e-9, rtol=1e-14)) / mn(p3)

rows = []
for name, change in cases.items():
    d = base | change
    open(f'sheets/{name}.toml', 'w').write(toml(name, d))
    areas = {w: d['vanes'] * d['height'] * throat(d, d[w]) for w in ('closed', 'open')}
    gap = 0.60 * d['end_gap'] * 2 * np.pi * d['pivot_radius']
    eff = {w: 0.90 * areas[w] + gap for w in areas}
    inlet = {w: 1 / np.sqrt(1 / eff[w] ** 2 + 1 / d['volute'] ** 2) for w in eff}
    wheel = 0.92 * (np.pi / 4 * (d['t_out'] ** 2 - d['hub'] ** 2) * np.cos(np.radians(d['exit'])) - d['t_blades'] * d['t_thick'] * (d['t_out'] - d['hub']) / 2)
    left = share(inlet['open'] * 1e-6, wheel * 1e-6, np.sqrt((d['t_out'] ** 2 + d['hub'] ** 2) / 2) / d['t_in'])
    choked = lambda a: a * 1e-6 * 250e3 * psi(0.0) / np.sqrt(R * 900.0)
    j = sum(np.pi * rho * 0.10 * D ** 5 / 32 + n * rho * 0.012 * D * h * (D / 2) ** 3 / 3
            for rho, D, n, h in ((d['c_rho'], d['c_out'] * 1e-3, d['c_blades'], d['c_h'] * 1e-3), (d['t_rho'], d['t_in'] * 1e-3, d['t_blades'], d['t_h'] * 1e-3)))
    tau = 1 - 5.0 / 101.325
    bench = 1e3 * inlet['closed'] * 1e-6 * 101325 / np.sqrt(287.05287 * 293.15) * psi(tau, 1.4)
    for key, value in {
        'compressor trim': 100 * (d['c_in'] / d['c_out']) ** 2, 'turbine trim': 100 * (d['t_out'] / d['t_in']) ** 2,
        'rotor inertia': j, 'volute A/R': d['volute'] / d['volute_r'],
        'minimum-flow throat area': areas['closed'], 'minimum-flow effective area': eff['closed'],
        'open throat area': areas['open'], 'open effective area': eff['open'],
        "turbine wheel's throat, effective": wheel, 'flow left by the wheel, open': 100 * left,
        'choked flow, open, 900 K, 250 kPa absolute': choked(inlet['open']),
        'swallowing capacity, open, 298 K, 100 kPa absolute': choked(inlet['open']) * left * np.sqrt(900 / 298) / 2.5,
        'bench flow, closed': bench}.items():
        rows.append([name, key, f"{value:.12g}"])
csv.writer(open('six_sheets.csv', 'w'), delimiter=';').writerows([['sheet', 'figure', 'value']] + rows)
