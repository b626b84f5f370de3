#!/usr/bin/env python3
"""FIR tap sets by SciPy's designers, rounded to Q2.30, and their frequency response by freqz.

Command: python3 tests/vectors/gen/fir.py tests/vectors      (NumPy 2.4, SciPy 1.17)

Writes fir_response.json: a list of
  name, taps (integers of weight 2^-30, symmetric), f (cycles per sample), re, im (of the integers)
and, for half-band filters, ripple: the largest error of pass band and stop band alike, edge: where
the pass band ends.
"""
import json
import sys

import numpy as np
from scipy.signal import firwin, freqz, remez

SCALE = 30
# 50 frequencies from zero to half the rate, multiples of 2^-13: their angles are exact in double precision.
FREQUENCIES = np.concatenate([[0.0], np.round((np.arange(48) + 0.382) / 96.5 * 2**13) / 2**13, [0.5]])


def quantise(h):
    q = np.round(np.asarray(h) * 2**SCALE).astype(np.int64)
    return [int(x) for x in np.where(np.arange(len(q)) < len(q) // 2, q, q[::-1])]


def half_band(quarter, edge):
    """Half-band filter of length 4 quarter - 1 from a one-band filter of half the length
    (Vaidyanathan and Nguyen 1987, recalled)."""
    g = remez(2 * quarter, [0, 2 * edge], [1], maxiter=400, grid_density=128, fs=1.0)
    h = np.zeros(4 * quarter - 1)
    h[::2] = g / 2
    h[2 * quarter - 1] = 0.5
    return h


def errors(h, edge):
    f, response = freqz(h, worN=2**16, fs=1.0)
    size = np.abs(response)
    return np.abs(size[f <= edge] - 1).max(), size[f >= 0.5 - edge].max()


# McClellan, Parks, Rabiner 1973, figure 7, as printed there (seen through an open test that cites it).
PRINTED = [.33740917e-2, .14938299e-1, .10569360e-1, .25415067e-2, -.15929392e-1, -.34085343e-1,
           -.38112177e-1, -.14629169e-1, .40089541e-1, .11540713, .18850752, .23354606]

sets = [
    ("firwin 31, cut-off 0.2, Hamming", firwin(31, 0.2, fs=1.0), None),
    ("firwin 64, cut-off 0.08, Kaiser 8", firwin(64, 0.08, window=("kaiser", 8.0), fs=1.0), None),
    ("remez 33, 0 to 0.1 and 0.16 to 0.5", remez(33, [0, 0.1, 0.16, 0.5], [1, 0], fs=1.0), None),
    ("remez 50, weight 1 to 100", remez(50, [0, 0.03, 0.1, 0.5], [1, 0], weight=[1, 100], fs=1.0), None),
    ("McClellan-Parks-Rabiner figure 7", PRINTED + PRINTED[::-1], None),
    ("half band 11", half_band(3, 0.2), 0.2),
    ("half band 15", half_band(4, 0.2), 0.2),
    ("half band 23", half_band(6, 0.2), 0.2),
    ("half band 31", half_band(8, 0.21), 0.21),
    ("half band 39", half_band(10, 0.2), 0.2),
]
out = []
for name, h, edge in sets:
    taps = quantise(h)
    _, response = freqz(np.array(taps, float) / 2**SCALE, worN=FREQUENCIES, fs=1.0)
    row = dict(name=name, taps=taps, f=FREQUENCIES.tolist(), re=response.real.tolist(), im=response.imag.tolist())
    if edge is not None:
        row["ripple"] = float(errors(h, edge)[1])
        row["edge"] = edge
    out.append(row)
with open(sys.argv[1] + "/fir_response.json", "w") as file:
    file.write("[\n" + ",\n".join(json.dumps(row) for row in out) + "\n]\n")
