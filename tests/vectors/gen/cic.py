# cic_*: responses of CIC decimators and bit-exact streams. Needs mpmath.
# Usage: python3 cic.py OUT_DIR
import csv
import json
import math
import random
import sys

from mpmath import log10, mp, mpf, pi, sin

mp.dps = 40
out = sys.argv[1]


# Streams: big-integer convolution, the impulse response by polynomial products (independent of
# any integrator or comb), checked here against the wrapping recursion of minimal width.
def cic_direct(x, N, R, M):
    h = [1]
    for _ in range(N):
        r = [0] * (len(h) + R * M - 1)
        for i, a in enumerate(h):
            for j in range(R * M):
                r[i + j] += a
        h = r
    assert sum(h) == (R * M) ** N
    return [sum(h[j] * x[k - j] for j in range(min(k + 1, len(h)))) for k in range(0, len(x), R)]


def cic_wrap(x, N, R, M, W):
    mask = (1 << W) - 1
    I = [0] * N
    Z = [[0] * M for _ in range(N)]
    y = []
    for k, v in enumerate(x):
        a = v & mask
        for i in range(N):
            I[i] = (I[i] + a) & mask
            a = I[i]
        if k % R == 0:
            for i in range(N):
                d = Z[i].pop(0)
                Z[i].append(a)
                a = (a - d) & mask
            y.append(a - (1 << W) if a >> (W - 1) else a)
    return y


random.seed(12345)
V = []
for N, R, M, Bin in ((4, 25, 1, 16), (3, 8, 1, 12), (3, 16, 2, 12), (5, 10, 1, 18), (2, 125, 1, 16)):
    L = R * (N * M + 12)
    W = Bin + math.ceil(N * math.log2(R * M) - 1e-12)
    for kind in ("random", "fullscale_neg", "impulse"):
        if kind == "random":
            x = [random.randint(-(1 << (Bin - 1)), (1 << (Bin - 1)) - 1) for _ in range(L)]
        elif kind == "fullscale_neg":
            x = [-(1 << (Bin - 1))] * L
        else:
            x = [0] * L
            x[3] = (1 << (Bin - 1)) - 1
        y = cic_direct(x, N, R, M)
        assert y == cic_wrap(x, N, R, M, W)
        V.append(dict(N=N, R=R, M=M, Bin=Bin, width=W, kind=kind, x=x, y=y))
with open(f"{out}/cic_streams.json", "w") as f:
    json.dump(V, f)

# Responses, dB below zero frequency; fc in units of the output rate.
mp.dps = 30
fr = [(1, 256), (1, 128), (1, 64), (1, 32), (1, 16), (1, 8), (1, 4)]


def dB(x):
    return 20 * log10(abs(x))


with open(f"{out}/cic_tableI_passband.csv", "w", newline="") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow(["M*fc", "N1", "N2", "N3", "N4", "N5", "N6"])
    for a, b in fr:
        x = mpf(a) / b
        w.writerow([f"{a}/{b}"] + [float(-N * dB(sin(pi * x) / (pi * x))) for N in range(1, 7)])
with open(f"{out}/cic_tableII_alias.csv", "w", newline="") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow(["M", "fc", "N1", "N2", "N3", "N4", "N5", "N6"])
    for M in (1, 2):
        for a, b in fr:
            x = 1 - mpf(a) / b
            w.writerow([M, f"{a}/{b}"] + [float(-N * dB(sin(pi * M * x) / (pi * M * x))) for N in range(1, 7)])
rows = []
for N, R, M in [(4, 25, 1), (3, 8, 1), (5, 64, 1), (3, 125, 1), (4, 100, 1), (6, 16, 2)]:
    for a, b in fr:
        x = mpf(a) / b
        g = lambda x: sin(pi * M * x) / sin(pi * x / R) / (R * M)
        rows.append(dict(N=N, R=R, M=M, fc=f"{a}/{b}", droop_dB=float(-N * dB(g(x))), alias_dB=float(-N * dB(g(1 - x)))))
with open(f"{out}/cic_finiteR.json", "w") as f:
    json.dump(rows, f, indent=1)
