#!/usr/bin/env python3
"""Designs the decimation plan of the built-in sensors and prints its FIR stages as TOML.

Command: python3 plan.py > plan.toml      (NumPy 2.4, SciPy 1.17)

Frequencies are in units of the output rate, so one design serves every sensor whose front
end leaves 500 output rates: pass band 0 to 0.3, alias rejection 120 dB into 0 to 0.4,
ratios 10, 10, 5 after a CIC of order 2.
"""
import numpy as np
from scipy.signal import remez, firwin2

RATIOS, ORDER, PASS, KEEP, SCALE = (10, 10, 5), 2, 0.3, 0.4, 30


def response(taps, f):
    n = np.arange(len(taps)) - (len(taps) - 1) / 2
    return np.cos(2 * np.pi * np.outer(f, n)) @ taps


def multiband(length, rate, ratio, weight):
    """Passes 0 to KEEP, stops what the ratio folds onto 0 to KEEP."""
    out = rate / ratio
    bands, desired, weights = [0, KEEP], [1], [1]
    for k in range(1, ratio // 2 + 1):
        lo, hi = k * out - KEEP, min(k * out + KEEP, rate / 2)
        if lo < rate / 2:
            bands += [lo, hi]
            desired.append(0)
            weights.append(weight)
    return remez(length, bands, desired, weight=weights, fs=rate, grid_density=64, maxiter=200)


def last(length, rate, earlier):
    """Low pass that also undoes the earlier stages' droop: iteratively reweighted least squares."""
    f = np.concatenate([np.linspace(0, PASS, 400), np.linspace(1 - KEEP, rate / 2, 2500)])
    passing = f <= PASS
    desired = np.where(passing, 1 / earlier(f), 0.0)
    half = (length + 1) // 2
    n = np.arange(half) + (0 if length % 2 else 0.5)
    basis = 2 * np.cos(2 * np.pi * np.outer(f / rate, n))
    if length % 2:
        basis[:, 0] /= 2
    # Ten times flatter within the pass band than the stop band is low.
    base = np.where(passing, 1.0, 0.1)
    weight = np.ones_like(f)
    best = None
    for _ in range(400):
        w = np.sqrt(weight) * base
        c = np.linalg.lstsq(basis * w[:, None], desired * w, rcond=None)[0]
        error = np.abs(basis @ c - desired) * base
        if best is None or error.max() < best[0]:
            best = (error.max(), c)
        weight *= (error / error.mean() + 1e-3) ** 0.6
        weight /= weight.sum()
    c = best[1]
    return np.concatenate([c[::-1], c[1:]]) if length % 2 else np.concatenate([c[::-1], c])


def quantise(taps):
    """Symmetric integers whose sum is exactly 2^SCALE."""
    q = np.round(taps / taps.sum() * 2**SCALE).astype(np.int64)
    q = np.minimum(q, q[::-1])
    rest = int(2**SCALE - q.sum())
    middle = len(q) // 2
    if len(q) % 2:
        q[middle] += rest
    else:
        # An even rest splits over the two middle taps; symmetric even length makes it even.
        q[middle] += rest // 2
        q[middle - 1] += rest // 2
    assert q.sum() == 2**SCALE and (q == q[::-1]).all()
    return q


def cic(f, rate_in, ratio):
    x = np.maximum(f / rate_in, 1e-12)
    return np.abs(np.sin(np.pi * x * ratio) / np.sin(np.pi * x) / ratio) ** ORDER


rates = [500.0, 50.0, 5.0]
f1 = quantise(multiband(50, rates[0], RATIOS[0], 100.0))
f2 = quantise(multiband(60, rates[1], RATIOS[1], 30.0))
unit = 2.0**SCALE
earlier = lambda f: cic(f, 80000.0, 160) * response(f1 / unit, f / rates[0]) * response(f2 / unit, f / rates[1])
f3 = quantise(last(151, rates[2], earlier))

stages = [(500.0, 10, f1), (50.0, 10, f2), (5.0, 5, f3)]
for rate, ratio, taps in stages:
    out = rate / ratio
    grid = np.linspace(0, KEEP, 801)
    alias = max(np.abs(response(taps / unit, (k * out + s * grid) / rate)).max()
                for k in range(1, ratio // 2 + 1) for s in (-1, 1) if k * out + s * KEEP <= rate / 2 + KEEP)
    print(f"# {len(taps)} taps, ratio {ratio}, alias {20*np.log10(alias):.1f} dB")
g = np.linspace(0, PASS, 2001)
whole = earlier(g) * response(f3 / unit, g / rates[2])
print(f"# pass band {20*np.log10(whole.min()):.2e} to {20*np.log10(whole.max()):.2e} dB")
for rate, ratio, taps in stages:
    print(f"\n[[plan.fir]]\nratio = {ratio}\nscale_bits = {SCALE}\ntaps = [")
    for k in range(0, len(taps), 8):
        print("    " + ", ".join(str(int(t)) for t in taps[k:k + 8]) + ",")
    print("]")
