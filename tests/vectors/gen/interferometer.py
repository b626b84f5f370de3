#!/usr/bin/env python3
"""Vectors of the interferometer: interferometer.py FOLDER

air: phase index of air by ref-index (PyPI, Ciddor's equation), at states drawn with a seed and usual ones.
ellipse: points of x = p + cos t, y = q + sin(t - alpha)/r by mpmath, the phase error of taking them as a circle.
arctangent: the series of host-sim/src/interferometer/phase.rs, by interpolation at Chebyshev's points, 60 digits;
turns: the table of core/src/fringe.rs.
Made with ref-index 1.0, mpmath 1.4.1.
"""
import json
import random
import sys

import mpmath as mp
import ref_index

mp.mp.dps = 60
states = [(632.99, 20.0, 101325.0, 0.0, 450.0), (632.99, 20.0, 101325.0, 50.0, 450.0), (1064.0, 10.0, 95000.0, 90.0, 420.0)]
draw = random.Random(20261127)
for _ in range(20):
    states.append((
        round(draw.uniform(400, 1600), 1), round(draw.uniform(0, 35), 2), round(draw.uniform(6e4, 1.1e5), 0),
        round(draw.uniform(0, 100), 1), round(draw.uniform(300, 600), 0),
    ))
air = [
    {"wavelength_nm": w, "celsius": t, "pascal": p, "humidity_percent": h, "carbon_dioxide_ppm": c,
     "index": float(ref_index.ciddor(wave=w, t=t, p=p, rh=h, co2=c))}
    for w, t, p, h, c in states
]

p, q, r, alpha = mp.mpf("0.05"), mp.mpf("-0.03"), mp.mpf("1.12"), mp.radians(mp.mpf("7.5"))
points, errors = [], []
for n in range(120):
    t = 2 * mp.pi * n / 120
    points.append([float(t), float(p + mp.cos(t)), float(q + mp.sin(t - alpha) / r)])
for n in range(7200):
    t = 2 * mp.pi * n / 7200
    x, y = p + mp.cos(t), q + mp.sin(t - alpha) / r
    errors.append(mp.atan2(y * mp.cos(t) - x * mp.sin(t), x * mp.cos(t) + y * mp.sin(t)))
mean = mp.fsum(errors) / len(errors)
most = max(abs(e - mean) for e in errors)
ellipse = {"offset_x": float(p), "offset_y": float(q), "ratio": float(r), "lack_rad": float(alpha),
           "points": points, "uncorrected_rad": float(most)}

end, count = (mp.sqrt(2) - 1) ** 2, 10
nodes = [end / 2 * (1 + mp.cos(mp.pi * (2 * i + 1) / (2 * count))) for i in range(count)]
matrix = mp.matrix(count, count)
right = mp.matrix(count, 1)
for i, z in enumerate(nodes):
    for j in range(count):
        matrix[i, j] = z ** j
    right[i] = mp.atan(mp.sqrt(z)) / mp.sqrt(z)
series = [float(c) for c in mp.lu_solve(matrix, right)]

turns = [int(mp.nint(mp.atan(mp.mpf(2) ** -n) / (2 * mp.pi) * 2 ** 48)) for n in range(34)]

with open(sys.argv[1] + "/interferometer.json", "w") as out:
    json.dump({"air": air, "ellipse": ellipse, "arctangent_series": series, "turns_q48": turns}, out, indent=1)
    out.write("\n")
