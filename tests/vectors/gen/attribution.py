"""Vectors for attribution and modulated experiments, by statsmodels and SciPy.

python3 tests/vectors/gen/attribution.py tests/vectors
"""

import json
import sys

import numpy as np
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests


def discoveries():
    """How many of sorted p are declared by the step-down procedure of Gavrilov, Benjamini and Sarkar."""
    rng = np.random.default_rng(11)
    out = []
    for true in (0, 1, 3, 8):
        for q in (0.01, 0.05, 0.2):
            p = rng.uniform(size=30)
            p[:true] = 10 ** rng.uniform(-9, -2, size=true)
            p = np.sort(p)
            rejected, _, _, _ = multipletests(p, alpha=q, method="fdr_gbs")
            out.append({"q": q, "p": p.tolist(), "declared": int(rejected.sum())})
    return out


def multiple_coherence():
    """Share of a reading that three channels explain, from complex averages: by least squares of NumPy, with the quantile of
    SciPy's Beta distribution."""
    rng = np.random.default_rng(12)
    out = []
    for averages in (10, 40):
        complex_normal = lambda *shape: rng.normal(size=shape) + 1j * rng.normal(size=shape)
        z = complex_normal(averages, 3)
        y = z @ np.array([1.0, 0.3j, -0.2]) + 0.8 * complex_normal(averages)
        b, *_ = np.linalg.lstsq(z, y, rcond=None)
        told = 1 - np.linalg.norm(y - z @ b) ** 2 / np.linalg.norm(y) ** 2
        pairs = lambda a: [[x.real, x.imag] for x in a]
        out.append(
            {
                "channels": [pairs(z[:, k]) for k in range(3)],
                "reading": pairs(y),
                "coherence": told,
                "threshold": stats.beta.ppf(0.95, 3, averages - 3),
            }
        )
    return out


def student():
    """Two-sided tails."""
    return [
        {"t": t, "degrees": nu, "p": 2 * stats.t.sf(t, nu)}
        for t in (0.5, 2.0, 4.5, 9.0)
        for nu in (3.0, 12.5, 300.0)
    ]


def sines():
    """A line in noise: amplitude by least squares of NumPy, cosine and minus sine, of two lines, an offset and a slope."""
    rng = np.random.default_rng(13)
    rows, rate = 4000, 2.0
    t = 100.0 + np.arange(rows) / rate
    x = 3e-9 * np.cos(2 * np.pi * 0.05 * t + 0.7) + 5e-9 * np.cos(2 * np.pi * 0.13 * t - 1.1)
    x += 1e-9 * rng.normal(size=rows) + 2e-8 + 1e-12 * t
    columns = [np.ones(rows), t - t.mean()]
    for f in (0.05, 0.13):
        columns += [np.cos(2 * np.pi * f * t), -np.sin(2 * np.pi * f * t)]
    b, *_ = np.linalg.lstsq(np.array(columns).T, x, rcond=None)
    return {
        "rate_hz": rate,
        "start_s": 100.0,
        "values": x.tolist(),
        "frequency_hz": [0.05, 0.13],
        "least_squares": b[2:].tolist(),
        "noise": 1e-9,
    }


def recorded(folder):
    """A recorded line in noise on a drift thirty times its size: carbon dioxide in the air of Mauna Loa, week by week from 1958
    to 2001 (C. D. Keeling and T. P. Whorf 2004, public domain; statsmodels' `co2`). The yearly line and its harmonics by
    statsmodels' least squares with errors that allow for correlation over a year (Newey and West), trend a polynomial of
    degree 8."""
    table = sm.datasets.co2.load_pandas().data["co2"]
    days = np.array([(t - table.index[0]).days for t in table.index])
    kept = table.notna().to_numpy()
    seconds, x = days[kept] * 86400.0, table.to_numpy()[kept] * 1e-6
    with open(f"{folder}/co2_weekly.csv", "w") as file:
        file.write("# carbon dioxide at Mauna Loa, mole fraction of dry air; first row 1958-03-29\n")
        file.write("t_s,carbon_dioxide\n")
        for t, value in zip(seconds, x):
            file.write(f"{t:.0f},{value:.4e}\n")
    frequency = 1 / (365.2422 * 86400.0)
    at = 2 * (seconds - seconds.mean()) / (seconds[-1] - seconds[0])
    columns = [np.polynomial.legendre.Legendre.basis(k)(at) for k in range(9)]
    for n in (1, 2, 3, 4):
        columns += [np.cos(2 * np.pi * n * frequency * seconds), -np.sin(2 * np.pi * n * frequency * seconds)]
    fit = sm.OLS(x, np.array(columns).T).fit(cov_type="HAC", cov_kwds={"maxlags": 52})
    return {
        "frequency_hz": frequency,
        "rows": int(kept.sum()),
        "least_squares": fit.params[9:].tolist(),
        "errors": fit.bse[9:].tolist(),
    }


if __name__ == "__main__":
    told = {
        "recorded": recorded(sys.argv[1]),
        "discoveries": discoveries(),
        "multiple_coherence": multiple_coherence(),
        "student": student(),
        "sines": sines(),
    }
    with open(f"{sys.argv[1]}/attribution.json", "w") as file:
        json.dump(told, file)
        file.write("\n")
