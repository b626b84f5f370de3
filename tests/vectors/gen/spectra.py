#!/usr/bin/env python3
"""Welch spectra and detrending by SciPy.

Command: python3 tests/vectors/gen/spectra.py tests/vectors      (NumPy 2.4, SciPy 1.17)

Writes
  welch.json: x (250 samples of noise, tone, offset and ramp; seed 20260612, rate 12.5 Hz) and cases of
    scipy.signal.welch: window, length, detrend, segments, power
  welch64.json: x (64 samples of three tones) and welch, Hann, 32 long, rate 1: psd without detrending,
    spectrum_linear with the line taken off and scaled to power
  detrend.json: x (32 of the same samples) and scipy.signal.detrend of it, constant and linear
"""
import json
import sys

import numpy as np
from scipy import signal

RATE = 12.5
rng = np.random.default_rng(20260612)
n = np.arange(250)
x = rng.standard_normal(250) + 3 * np.sin(2 * np.pi * 0.1717 * n + 0.4) + 40.0 - 0.5 * n

cases = []
for window in ("boxcar", "hann", "blackmanharris"):
    for length in (16, 45, 64, 250):
        for detrend in ("constant", "linear"):
            # Segments start length // 2 apart.
            f, power = signal.welch(x, RATE, window, length, noverlap=length - length // 2, detrend=detrend)
            segments = (len(x) - length) // (length // 2) + 1
            cases.append(dict(window=window, length=length, detrend=detrend, segments=segments, f=f.tolist(),
                              power=power.tolist()))

with open(sys.argv[1] + "/welch.json", "w") as file:
    head = json.dumps(dict(rate=RATE, x=x.tolist()))[:-1]
    file.write(head + ', "cases": [\n' + ",\n".join(json.dumps(c) for c in cases) + "\n]}\n")
part = x[100:132]
with open(sys.argv[1] + "/detrend.json", "w") as file:
    json.dump(dict(x=part.tolist(), constant=signal.detrend(part, type="constant").tolist(),
                   linear=signal.detrend(part).tolist()), file)
    file.write("\n")

n = np.arange(64)
x = np.sin(2 * np.pi * 10 * n / 64 + 0.4) + 0.25 * np.cos(2 * np.pi * 3 * n / 64) + 0.1 * (n % 5 - 2)
f, psd = signal.welch(x, 1.0, "hann", 32, noverlap=16, detrend=False)
_, spectrum = signal.welch(x, 1.0, "hann", 32, noverlap=16, detrend="linear", scaling="spectrum")
with open(sys.argv[1] + "/welch64.json", "w") as file:
    json.dump(dict(x=x.tolist(), f=f.tolist(), psd=psd.tolist(), spectrum_linear=spectrum.tolist()), file)
