#!/usr/bin/env python3
"""Throughput of the whole chain beside general-purpose libraries on the same file: prints rates and ratios.

    python3 benches/peers.py [--seconds S] [--runs N] [--folder DIR]

Needs NumPy and SciPy (measured with 2.4 and 1.17) and `cargo build --release`. What vault-six-axis gives while its mass
drifts, by `quietgap simulate`: seven channels of int32, interleaved, at 800 kS/s, 60 s by default, 1.3 GB, written to DIR (a
temporary folder by default) and read from the page cache.

ours      `quietgap demodulate` of vault-six-axis: files, every code watched, filters to 10 S/s, bridges, axes, health
memory    the same chain over a block in memory, as large as that of `planar`, by criterion (`cargo bench`)
numpy     the front end alone: blocks read, turned to planar float32, product with the mixing and decimating weights
          (a CIC of order 2 by 160: two sums of cosine and of sine an interval), at its best block size
planar    that product alone, on one planar float32 block in memory
scipy     a block mixed with e^(-i w t) in complex64 and decimated by 160 with the CIC's impulse response (upfirdn)
read      the file read, and nothing made of it

Every figure is the best of N runs (of `memory` the median of criterion's), in million codes (channels x samples) a second. One
thread each, but for the last of ours.
"""

import argparse
import json
import os
import subprocess
import tempfile
import time
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np
import scipy
from scipy.signal import upfirdn

CHANNELS, RATE, PERIOD, RATIO = 7, 800_000, 10, 160
HEADER = 128


def write(program: Path, path: Path, seconds: int) -> None:
    """What the built-in sensor gives while its mass drifts: a healthy capture, not a test tone."""
    motion = path.with_suffix(".motion.csv")
    motion.write_text(f"t_s,x_m,y_m,z_m,theta_rad,eta_rad,phi_rad\n0,0,0,0,0,0,0\n{seconds},2e-5,-1e-5,5e-6,1e-4,-5e-5,2e-5\n")
    line = [program, "simulate", "vault-six-axis", "--motion", motion, "--seconds", str(seconds), "--out", path]
    subprocess.run(line, check=True, capture_output=True)


def best(runs: int, run) -> float:
    """Shortest time of some runs, seconds; one more before, to warm up."""
    times = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times[1:])


def weights() -> np.ndarray:
    """Cosine and minus sine of an interval, plain and weighted by the samples to its end: 160 x 4."""
    n = np.arange(RATIO)
    turn = 2 * np.pi * n / PERIOD
    carrier = np.stack([np.cos(turn), -np.sin(turn)], axis=1)
    return np.concatenate([carrier, carrier * (RATIO - n)[:, None]], axis=1).astype(np.float32)


def blocks(path: Path, intervals: int):
    """The file's blocks of whole intervals, frames x channels."""
    size = intervals * RATIO * CHANNELS * 4
    with open(path, "rb") as file:
        file.seek(HEADER)
        while len(data := file.read(size)) == size:
            yield np.frombuffer(data, "<i4").reshape(-1, CHANNELS)


def numpy_front_end(path: Path, intervals: int, table: np.ndarray) -> None:
    for codes in blocks(path, intervals):
        planar = np.ascontiguousarray(codes.T, dtype=np.float32)
        planar.reshape(-1, RATIO) @ table


def scipy_front_end(path: Path, intervals: int) -> None:
    box = np.ones(RATIO, np.float32)
    response = np.convolve(box, box).astype(np.float32)
    turn = np.exp(-2j * np.pi * np.arange(intervals * RATIO) / PERIOD).astype(np.complex64)
    for codes in blocks(path, intervals):
        planar = np.ascontiguousarray(codes.T, dtype=np.float32)
        upfirdn(response, planar * turn, down=RATIO, axis=1)


def read_only(path: Path) -> None:
    with open(path, "rb", buffering=0) as file:
        block = bytearray(1 << 20)
        while file.readinto(block):
            pass


def in_memory(root: Path) -> float:
    """The whole chain's median of criterion, million codes a second."""
    subprocess.run(["cargo", "bench", "--quiet", "--bench", "stages", "--", "whole chain"], cwd=root, check=True, capture_output=True)
    (result,) = (root / "target/criterion/whole chain").glob("*/new")
    codes = json.loads((result / "benchmark.json").read_text())["throughput"]["Elements"]
    return codes / json.loads((result / "estimates.json").read_text())["median"]["point_estimate"] * 1e3


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    arguments.add_argument("--seconds", type=int, default=60)
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--folder", type=Path)
    options = arguments.parse_args()
    root = Path(__file__).resolve().parent.parent
    program = root / "target/release/quietgap"
    if not program.exists():
        raise SystemExit(f"error: no {program}: cargo build --release")
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        path = Path(folder) / "capture.npy"
        frames = options.seconds * RATE
        write(program, path, options.seconds)
        codes = frames * CHANNELS / 1e6

        def ours(threads: int):
            line = [program, "demodulate", "vault-six-axis", path, "--out", path.with_suffix(".csv")]
            line += ["--threads", str(threads)]
            return lambda: subprocess.run(line, check=True, capture_output=True)

        rates = {}

        def measure(name: str, run, amount: float = codes) -> None:
            rates[name] = amount / best(options.runs, run)
            print(f"{name:24} {rates[name]:8.0f} million codes a second", flush=True)

        print(f"NumPy {np.__version__}, SciPy {scipy.__version__}")
        measure("read", lambda: read_only(path))
        measure("ours", ours(1))
        measure("ours, two threads", ours(2))
        rates["memory"] = in_memory(root)
        print(f"{'memory':24} {rates['memory']:8.0f} million codes a second", flush=True)
        table = weights()
        sizes = {}
        for intervals in (8, 25, 50, 100, 250, 1000):
            measure(f"numpy, {intervals} intervals", lambda: numpy_front_end(path, intervals, table))
            sizes[intervals] = rates[f"numpy, {intervals} intervals"]
        rates["numpy"] = max(sizes.values())
        planar = np.zeros((50 * CHANNELS, RATIO), np.float32) + 1.5
        turns = 200
        measure(
            "planar",
            lambda: [planar @ table for _ in range(turns)],
            turns * planar.size / 1e6,
        )
        measure("scipy", lambda: scipy_front_end(path, 50))
        print()
        for ours, peer in (("ours", "numpy"), ("memory", "planar"), ("ours", "scipy")):
            print(f"{ours} over {peer}: {rates[ours] / rates[peer]:.2f}")
        print(f"two threads over one: {rates['ours, two threads'] / rates['ours']:.2f}")


if __name__ == "__main__":
    main()
