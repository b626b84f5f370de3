#!/usr/bin/env python3
"""Densities, coherence, transfer functions, log-spaced densities, deviations and their degrees of freedom.

Command: python3 tests/vectors/gen/analysis.py tests/vectors
  (NumPy 2.4, SciPy 1.17, AllanTools 2024.6, speckit 1.0: general-purpose packages of the Python registry)

Writes analysis.json:
  rate, x, y: two series of 1500 values with a common part (seed 20261127), rate 4 Hz
  cross: scipy.signal.csd and coherence of x and y, window, length, detrend
  log_spaced: speckit's density of x at a frequency and segment length, hann (periodic), overlap, order of trend
  log_spaced_cross: its densities of x and y, and coherence
  deviations: AllanTools' deviations of x taken as what is averaged, and as an integral
  degrees: AllanTools' degrees of freedom where its sums are exact (few lags)
  chi2: scipy.stats.chi2 quantiles; coherence: expected coherence by mpmath's 3F2
"""
import json
import sys

import allantools as at
import mpmath
import numpy as np
import speckit
from scipy import signal, stats

RATE = 4.0
rng = np.random.default_rng(20261127)
N = 1500
common = np.cumsum(rng.standard_normal(N))
x = common + rng.standard_normal(N)
y = 0.5 * np.roll(common, 2) + 2 * rng.standard_normal(N) + 7.0

cross = []
for window in ("hann", "blackmanharris"):
    for length in (100, 251):
        for detrend in ("constant", "linear"):
            hop = length // 2
            kw = dict(fs=RATE, window=window, nperseg=length, noverlap=length - hop, detrend=detrend)
            f, pxy = signal.csd(x, y, **kw)
            _, coherence = signal.coherence(x, y, **kw)
            _, pxx = signal.welch(x, **kw)
            tf = pxy / pxx
            cross.append(dict(window=window, length=length, detrend=detrend, f=f.tolist(), re=pxy.real.tolist(),
                              im=pxy.imag.tolist(), coherence=coherence.tolist(), gain=np.abs(tf).tolist(),
                              phase=np.angle(tf).tolist()))

hann = lambda length: signal.get_window("hann", length)
log_spaced, log_cross = [], []
for f, length, overlap, order in ((0.004, 1500, 0.5, 0), (0.011, 1100, 0.5, 0), (0.037, 700, 0.5, 1),
                                  (0.05, 411, 0.75, 0), (0.2123, 333, 0.66, 1), (0.77, 100, 0.5, -1),
                                  (1.4, 64, 0.5, 0), (1.99, 40, 0.5, 0)):
    kw = dict(L=length, win=hann, olap=overlap, order=order)
    r = speckit.compute_single_bin(x, RATE, f, **kw)
    log_spaced.append(dict(f=f, length=length, overlap=overlap, order=order, power=float(r.Gxx[0]), segments=int(r.K[0])))
    r = speckit.compute_single_bin(np.array([x, y]), RATE, f, **kw)
    log_cross.append(dict(f=f, length=length, overlap=overlap, order=order, x=float(r.Gxx[0]), y=float(r.Gyy[0]),
                          coherence=float(r.coh[0])))

deviations = []
kinds = dict(allan=at.oadev, modified=at.mdev, time=at.tdev, hadamard=at.ohdev, total=at.totdev)
kinds["allan-apart"] = at.adev
kinds["hadamard-apart"] = at.hdev
for name, kind in kinds.items():
    for data_type in ("freq", "phase"):
        taus = np.array([1, 2, 5, 17, 100, 400]) / RATE
        tau, dev, _, n = kind(x - np.mean(x), rate=RATE, data_type=data_type, taus=taus)
        deviations.append(dict(kind=name, integrated=data_type == "phase", tau=tau.tolist(), dev=dev.tolist(),
                               n=[int(k) for k in n]))

degrees = []
for alpha in (2, 1, 0, -1, -2):
    for d, modified, overlapping in ((2, False, True), (2, True, True), (3, False, True), (2, False, False)):
        for m, n in ((1, 60), (4, 120), (8, 200)):
            if alpha == 2 and not modified:
                continue  # Its closed form is for another limit.
            edf = at.edf_greenhall(alpha, d, m, n, overlapping=overlapping, modified=modified)
            degrees.append(dict(alpha=alpha, d=d, modified=modified, overlapping=overlapping, m=m, n=n, edf=float(edf)))

chi2 = [dict(p=p, nu=nu, q=float(stats.chi2.ppf(p, nu))) for p in (0.005, 0.025, 0.16, 0.5, 0.84, 0.975, 0.995)
        for nu in (0.7, 1, 2, 3.6, 16, 63.9, 200, 1e5)]
mpmath.mp.dps = 30
coherence = [dict(g=g, k=k, expected=float((1 - mpmath.mpf(g)) ** k / k * mpmath.hyp3f2(2, k, k, k + 1, 1, g)))
             for g in (0.0, 0.1, 0.5, 0.9, 0.99) for k in (2, 8, 32, 100)]

with open(sys.argv[1] + "/analysis.json", "w") as file:
    json.dump(dict(rate=RATE, x=x.tolist(), y=y.tolist(), cross=cross, log_spaced=log_spaced,
                   log_spaced_cross=log_cross, deviations=deviations, degrees=degrees, chi2=chi2,
                   coherence=coherence), file)
    file.write("\n")
