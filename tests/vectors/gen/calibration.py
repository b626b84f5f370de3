#!/usr/bin/env python3
"""One whole calibration of a bridge, propagated by uncertain numbers from every reading to every constant.

Command: python3 tests/vectors/gen/calibration.py tests/vectors
  (GTC 1.5, NumPy 2.4: general-purpose packages of the Python registry; GTC is the GUM's calculus in uncertain numbers, by
  the Measurement Standards Laboratory of New Zealand)

Writes calibration_propagated.json: columns and readings of a line, what the file says, and the constants that follow, with
standard uncertainties, correlations and degrees of freedom (Welch and Satterthwaite).
"""
import json
import sys

import numpy as np
from GTC import dof, get_correlation, uncertainty, ureal, value

rng = np.random.default_rng(20261128)
ROWS = 14
x = np.column_stack([rng.uniform(-0.4, 0.4, ROWS), 1 + rng.uniform(-0.03, 0.03, ROWS), rng.uniform(-0.4, 0.4, ROWS)])
y = x @ np.array([1.0012, 3.1e-3, -0.0193]) + 2e-5 * rng.standard_normal(ROWS)
degrees = ROWS - 3
fit, *_ = np.linalg.lstsq(x, y, rcond=None)
sd = float(np.sqrt(np.sum((y - x @ fit) ** 2) / degrees))
told = {"a0_code": 812345.25, "pair_f": 4.25e-12, "stage_scale": 1.5e-5}

readings = [ureal(float(v), sd) for v in y]
weights = np.linalg.inv(x.T @ x) @ x.T
k, s, c = (sum(float(w) * r for w, r in zip(row, readings)) for row in weights)
stage = ureal(1.0, told["stage_scale"])
a0 = told["a0_code"] * k * stage
stray = s / k * told["pair_f"]
share = c / k
# Degrees of freedom: the fit's coefficient as one influence of its own, the stage's scale of infinite ones.
whole = told["a0_code"] * ureal(value(k), uncertainty(k), degrees) * ureal(1.0, told["stage_scale"])

out = {
    "source": "GTC (MSL New Zealand), uncertain numbers; gen/calibration.py",
    "x": x.tolist(), "y": y.tolist(), "told": told, "residual_sd": sd,
    "values": {n: value(v) for n, v in [("a0_code", a0), ("stray_f", stray), ("share", share)]},
    "uncertainties": {n: uncertainty(v) for n, v in [("a0_code", a0), ("stray_f", stray), ("share", share)]},
    "correlation_gain_stray": get_correlation(k, s),
    "degrees_a0": dof(whole),
}
with open(f"{sys.argv[1]}/calibration_propagated.json", "w") as file:
    json.dump(out, file, indent=1)
    file.write("\n")
