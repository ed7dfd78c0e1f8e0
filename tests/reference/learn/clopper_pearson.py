"""Exact two-sided 95 % bounds of a counted rate, by SciPy's binomial test.

Writes clopper_pearson.csv beside itself. Made with SciPy 1.17.1, Python 3.11.
"""

import csv
import pathlib

from scipy.stats import binomtest

CASES = [(0, 1000), (1, 1000), (10, 1000), (0, 60), (3, 60), (60, 60), (0, 58_000), (7, 5000), (500, 1000), (1, 1)]

with open(pathlib.Path(__file__).with_name("clopper_pearson.csv"), "w", newline="") as file:
    rows = csv.writer(file, lineterminator="\n")
    rows.writerow(["count", "total", "low", "high"])
    for count, total in CASES:
        bounds = binomtest(count, total).proportion_ci(confidence_level=0.95, method="exact")
        rows.writerow([count, total, repr(float(bounds.low)), repr(float(bounds.high))])
