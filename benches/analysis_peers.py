#!/usr/bin/env python3
"""Speed of the analysis beside general-purpose libraries, in one run: prints times and ratios.

    python3 benches/analysis_peers.py

Needs NumPy, SciPy, AllanTools, speckit, lpsd and pandas (measured with 2.4, 1.17, 2024.6, 1.0, 1.0 and 2.3), and a Rust
toolchain. Ours is the best of fifty samples, a few runs each, of the criterion benchmark `analysis`; peers are the best of five
runs. Same lengths, segments, windows, number of frequencies (about) and averaging times; one thread each, but for the line
that says two. The log-spaced peer compiles its loops at its first run, which is not counted, and takes both cores: its
processor time is what is compared.
"""

import json
import subprocess
import time
from pathlib import Path

import allantools
import lpsd
import numpy as np
import pandas as pd
import speckit
from scipy import signal

ROOT = Path(__file__).resolve().parent.parent
subprocess.run(["cargo", "bench", "--locked", "--bench", "analysis"], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def ours(name: str) -> float:
    """Best of a benchmark's samples, seconds; its folder's name is what criterion makes of the benchmark's."""
    for path in (ROOT / "target" / "criterion" / "analysis").iterdir():
        if name in path.name:
            samples = json.loads((path / "new" / "sample.json").read_text())
            return min(t / n for t, n in zip(samples["times"], samples["iters"])) * 1e-9
    raise SystemExit(f"no benchmark {name}")


def best(run, clock=time.perf_counter) -> float:
    times = []
    for _ in range(5):
        start = clock()
        run()
        times.append(clock() - start)
    return min(times)


random = np.random.default_rng(1)
long = random.standard_normal(10_000_000)
x = long[:1_000_000]
welch = best(lambda: signal.welch(long, 10.0, "hann", 2**17, 2**16, detrend="constant"))
spaced = lambda data: speckit.SpectrumAnalyzer(data, 10.0, win="hann", olap=0.5, Jdes=400, Kdes=100).compute()
spaced(x[:20_000])
log_spaced = best(lambda: spaced(x), time.process_time)
frame = pd.DataFrame({"x": x}, index=np.arange(len(x)) / 10.0)
options = dict(window_function=np.hanning, overlap=0.5, sample_rate=10.0, n_frequencies=400, n_averages=100)
other = best(lambda: lpsd.lpsd(frame, **options), time.process_time)
times = np.unique(np.round(10 ** (np.arange(75) / 74 * np.log10(3e5))).astype(int))[:60] / 10.0
allan = best(lambda: allantools.oadev(x, rate=10.0, data_type="freq", taus=times))

rows = [
    ("Welch, 1e7 values, 2^17", ours("welch"), welch, "SciPy"),
    ("log-spaced, 1e6 values, 1 thread", ours("1 threads"), log_spaced, "speckit, processor time"),
    ("the same", ours("1 threads"), other, "lpsd, processor time"),
    ("log-spaced, 1e6 values, 2 threads", ours("2 threads"), log_spaced, "speckit, processor time"),
    ("overlapping Allan, 1e6 values, 60 times", ours("allan"), allan, "AllanTools"),
]
for name, own, peer, who in rows:
    print(f"{name:<42} {own * 1e3:8.1f} ms  {peer * 1e3:8.1f} ms ({who})  ratio {peer / own:.1f}")
print(f"two threads over one: {ours('1 threads') / ours('2 threads'):.2f}")
