#!/usr/bin/env python3
"""Least numbers of taps of filter structures by linear programming, for `filter_least.rs`.

Commands (NumPy 2.4.6, SciPy 1.17.1; a quarter of an hour):
    cargo test --test evidence filter_least::structures -- --ignored
    python3 tests/vectors/gen/filter_least.py target/tmp/filter_structures.json tests/vectors

A structure is a CIC and ratios of FIR stages. Stage by stage the least number of symmetric taps is found with
which a linear program (SciPy's HiGHS) can keep the specification: stages before the last keep what folds onto
the band down, relative to their own droop, and pass half or more of the band; the last makes up for all droop
and keeps the rest down. Structures are looked at from the cheapest estimate on, until the next one would not be
the cheapest with three quarters of its estimated taps. Nothing of the workbench is used but the list and what a
tap costs; nothing is rounded, so that fewer taps than a plan of integers takes are no contradiction.
"""
import json
import math
import sys
import time
import tomllib

import numpy as np
from scipy.optimize import linprog

SECONDS = 150


def cic(order, ratio, rate, f):
    x = np.pi * np.asarray(f, float) / rate
    with np.errstate(divide="ignore", invalid="ignore"):
        g = np.sin(ratio * x) / (ratio * np.sin(x))
    return np.abs(np.where(np.abs(np.sin(x)) < 1e-15, 1.0, g)) ** order


class Chain:
    """What stands before a stage."""

    def __init__(self, order, ratio, rate, stages=()):
        self.order, self.ratio, self.rate, self.stages = order, ratio, rate, list(stages)

    def then(self, ratio, taps):
        return Chain(self.order, self.ratio, self.rate, self.stages + [(ratio, taps)])

    def out(self):
        return self.rate / self.ratio / math.prod(q for q, _ in self.stages)

    def gain(self, f):
        g, r = cic(self.order, self.ratio, self.rate, f), self.rate / self.ratio
        for q, h in self.stages:
            n = np.arange(len(h)) - (len(h) - 1) / 2
            g = g * np.abs(np.cos(2 * np.pi * np.outer(np.atleast_1d(f) / r, n)) @ h)
            r /= q
        return g


def basis(n, f):
    """Gains of unit taps of one half, from the middle on."""
    k = np.arange((n + 1) // 2) + (0.5 if n % 2 == 0 else 0.0)
    b = 2 * np.cos(2 * np.pi * np.outer(np.atleast_1d(f), k))
    if n % 2:
        b[:, 0] = 1.0
    return b


def whole(n, x):
    return np.concatenate([x[::-1], x]) if n % 2 == 0 else np.concatenate([x[:0:-1], x])


def grid(lo, hi, n, density=10, least=9):
    m = max(least, math.ceil((hi - lo) * n * density) + 1)
    return lo + (hi - lo) * (0.5 - 0.5 * np.cos(np.pi * np.arange(m) / (m - 1)))


class Program:
    """Rows x <= hard + t soft, with the least t."""

    def __init__(self):
        self.rows, self.hard, self.soft = [], [], []

    def add(self, rows, hard, soft):
        for to, x in ((self.rows, rows), (self.hard, hard), (self.soft, soft)):
            to.append(np.broadcast_to(x, rows.shape if to is self.rows else len(rows)))

    def both(self, rows, middle, soft):
        self.add(rows, middle, soft)
        self.add(-rows, -np.asarray(middle, float), soft)

    def solve(self, n):
        rows, hard, soft = np.vstack(self.rows), np.concatenate(self.hard), np.concatenate(self.soft)
        scale = np.where(soft > 0, 1.0 / np.where(soft > 0, soft, 1.0), 1.0)
        a = np.hstack([rows, -soft[:, None]]) * scale[:, None]
        c = np.zeros(a.shape[1])
        c[-1] = 1
        method = "highs-ds" if n < 60 else "highs-ipm"
        r = linprog(c, A_ub=a, b_ub=hard * scale, bounds=[(None, None)] * len(c), method=method)
        return (None, np.inf) if r.x is None else (whole(n, r.x[:-1]), r.x[-1])


def early(chain, q, spec, n):
    r, into = chain.out(), spec["into"]
    floor, edge = 10 ** (-spec["alias_db"] / 20), max(spec["pass"], spec["into"])
    offsets = grid(-into, into, 1, 1, 17)
    program = Program()
    for k in range(1, q // 2 + 1):
        f = k * r / q + offsets
        ok = f <= r / 2 * (1 + 1e-12)
        bound = floor * chain.gain(offsets)[ok] / np.maximum(chain.gain(f[ok]), 1e-12)
        bound = np.minimum(bound, 1.0)
        # Against the stage's own droop at the offset: linear in the taps, too.
        rows, own = basis(n, f[ok] / r), bound[:, None] * basis(n, offsets[ok] / r)
        program.add(rows - own, 0.0, bound)
        program.add(-rows - own, 0.0, bound)
    program.both(basis(n, [0.0]), 1.0, 0.0)
    band = basis(n, grid(0, edge / r, n, 4, 9))
    program.add(band, 1.1, 0.0)
    program.add(-band, -0.5, 0.0)
    taps, t = program.solve(n)
    # Bounds hold already at t = 0: what is above is excess.
    return taps, t + 1


def last(chain, q, spec, n):
    r, into, edge = chain.out(), spec["into"], spec["pass"]
    floor = 10 ** (-spec["alias_db"] / 20)
    program = Program()
    program.both(basis(n, [0.0]), 1.0, 0.0)
    f = grid(0, edge, n / r, 12, 13)
    program.both(basis(n, f / r) * chain.gain(f)[:, None], 1.0, 1 - 10 ** (-spec["pass_db"] / 20))
    for k in range(1, q // 2 + 1):
        f = grid(k * r / q - into, min(k * r / q + into, r / 2), n / r, 12, 13)
        bound = np.minimum(floor / np.maximum(chain.gain(f), 1e-12), 1.0)
        program.both(basis(n, f / r), 0.0, bound)
    for offset, db in spec["lines"]:
        at = abs(offset - r * round(offset / r))
        left = 10 ** (-db / 20) / max(chain.gain([offset])[0], 1e-30)
        if left < 1 and at > edge:
            program.both(basis(n, [at / r]), 0.0, left)
    f = grid(edge, r / 2, n / r, 4, 17)
    program.both(basis(n, f / r), 0.0, 0.0)
    program.hard[-1] = program.hard[-2] = np.full(len(f), 1.5)
    return program.solve(n)


def least(design, chain, q, spec, guess, most):
    """Least number of taps with which all bounds can be kept; what n taps can, n + 2 can."""
    known = {}

    def ok(n):
        if n not in known:
            known[n] = design(chain, q, spec, n)
        return known[n][1] <= 1.0 + 1e-6

    def either(n):
        return ok(n) or ok(n + 1)

    high = max(2, min(guess, most))
    step = max(2, high // 16 * 2)
    while not either(high):
        high += step
        if high > most:
            return None
    low = high
    while low > 1 and either(low):
        high, low = low, max(1, low - step)
    if either(low):
        high = low
    while high - low > 1:
        middle = (high + low) // 2
        if either(middle):
            high = middle
        else:
            low = middle
    n = high if ok(high) else high + 1
    return n, known[n][0]


def search(entry):
    text = tomllib.loads(entry["text"])
    mask, carrier = text["mask"], text["carrier_hz"]
    spec = {key: mask[name] for key, name in
            (("pass", "pass_hz"), ("pass_db", "pass_db"), ("into", "alias_into_hz"), ("alias_db", "alias_db"))}
    spec["lines"] = [(side * line["frequency_hz"] - carrier, line["reject_db"])
                     for line in text.get("line", []) for side in (1, -1)]
    limit, start = mask.get("delay_s", math.inf), time.time()
    known, found, best = {}, [], math.inf
    for s in sorted(entry["structures"], key=lambda s: s["cost"]):
        estimates = [slope * taps for slope, taps in zip(s["slopes"], s["taps"])]
        cost = s["cost"] - sum(estimates)
        if not s["firs"] or cost + 0.75 * sum(estimates) > best * 0.999 or max(s["taps"]) > 520:
            continue
        if time.time() - start > SECONDS:
            break
        chain, counts = Chain(s["order"], s["ratio"], text["rate_hz"]), []
        for n, q in enumerate(s["firs"]):
            is_last = n + 1 == len(s["firs"])
            key = (s["order"], s["ratio"], tuple(s["firs"][: n + 1]), is_last)
            if key not in known:
                guess = s["taps"][n]
                known[key] = least(last if is_last else early, chain, q, spec, guess, int(guess * 1.5) + 20)
            if known[key] is None:
                break
            counts.append(known[key][0])
            chain = chain.then(q, known[key][1])
            cost += s["slopes"][n] * counts[-1]
            if cost + 0.75 * sum(estimates[n + 1:]) > best * 0.999:
                break
        if len(counts) < len(s["firs"]) or known[key] is None:
            continue
        rate, delay = text["rate_hz"] / s["ratio"], s["order"] * (s["ratio"] - 1) / text["rate_hz"]
        for taps, q in zip(counts, s["firs"]):
            delay += (taps - 1) / rate
            rate /= q
        delay /= 2
        if delay <= limit:
            best = min(best, cost)
        found.append((delay > limit, cost, dict(
            order=s["order"], ratio=s["ratio"], firs=s["firs"], taps=counts, delay_s=delay)))
    found.sort(key=lambda f: f[:2])
    return [f[2] for f in found[:6]]


def main(source, folder):
    rows = []
    for entry in json.load(open(source)):
        found = search(entry)
        print(entry["name"], found[:1], flush=True)
        rows.append(" %s: [%s]" % (json.dumps(entry["name"]), ",\n  ".join(map(json.dumps, found))))
    with open(folder + "/filter_least.json", "w") as out:
        out.write("{\n" + ",\n".join(rows) + "\n}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
