# sin_q31_1024.csv and sincos_phase32.csv: sine and cosine to 25 and more digits, and rounded
# to Q1.31 half away from zero, saturated at 2^31 - 1. Needs mpmath. Usage: python3 sincos.py OUT_DIR
import csv
import random
import sys

from mpmath import mp, mpf

mp.dps = 40
out = sys.argv[1]


def rnd(x):  # half away from zero
    f = mp.floor(abs(x) + mpf(1) / 2)
    return int(f) if x >= 0 else -int(f)


def q31(x):
    return min(rnd(x * 2**31), 2**31 - 1)


with open(f"{out}/sin_q31_1024.csv", "w", newline="") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow(["k", "sin_q31_sat", "sin_q15_sat", "sin_50digits"])
    for k in range(1024):
        s = mp.sin(2 * mp.pi * k / 1024)
        w.writerow([k, q31(s), min(rnd(s * 2**15), 2**15 - 1), mp.nstr(s, 30)])

random.seed(7)
ws = [0, 1, 2**30 - 1, 2**30, 2**30 + 1, 2**31 - 1, 2**31, 2**31 + 1, 3 * 2**30, 2**32 - 1]
ws += [random.getrandbits(32) for _ in range(246)]
with open(f"{out}/sincos_phase32.csv", "w", newline="") as f:
    w = csv.writer(f, lineterminator="\n")
    w.writerow(["phase_u32", "sin", "cos", "sin_q31_round", "cos_q31_round"])
    for p in ws:
        a = 2 * mp.pi * p / mpf(2) ** 32
        s, c = mp.sin(a), mp.cos(a)
        w.writerow([p, mp.nstr(s, 25), mp.nstr(c, 25), q31(s), q31(c)])
