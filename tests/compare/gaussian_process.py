"""Gaussian processes of a study against scikit-learn: gaussian_process.py STUDY_FOLDER [BICOLUMN]

Reads models.json of a study's folder. For every Gaussian process in it
- predictions of `bicolumn predict` at the points and halfway between neighbours against scikit-learn's with the same reach
  and nugget (mean by generalised least squares, here in numpy): to 1e-6 of the spread of the values;
- the likelihood of the reach and nugget that were fitted against the best of scikit-learn's optimiser from 20 starts inside the
  same bounds: no worse by more than 0.1 (its logarithm).
A factor of words is compared where it has two levels: their correlation c is that of two places 1 apart with Matern's
reach chosen for it. Exit status 1 where something disagrees or nothing could be compared.
"""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

REACHES = (0.05, 20.0)
NUGGETS = (1e-8, 1.0)


def matern(h):
    s = 5**0.5 * h
    return (1 + s + s * s / 3) * np.exp(-s)


def reach_of_correlation(c):
    """Reach with which places 1 apart correlate by c."""
    c = min(max(c, 1e-12), 1 - 1e-9)
    return brentq(lambda log: matern(np.exp(-log)) - c, -6, 12)


def log_likelihood(kernel, x, y):
    """Mean and variance profiled out; kernel of variance 1 with its nugget."""
    r = kernel(x)
    solve = np.linalg.solve
    ones = np.ones(len(y))
    beta = ones @ solve(r, y) / (ones @ solve(r, ones))
    variance = (y - beta) @ solve(r, y - beta) / len(y)
    return -0.5 * (len(y) * np.log(variance) + np.linalg.slogdet(r)[1]), beta, variance


def main():
    folder = Path(sys.argv[1])
    program = sys.argv[2] if len(sys.argv) > 2 else "target/release/bicolumn"
    record = json.loads((folder / "models.json").read_text())
    factors = record["factors"]
    if any(len(f["over"].get("levels", [0, 0])) != 2 for f in factors):
        sys.exit("a factor of words with more than two levels is not compared")

    def scaled(point):
        ends = [f["over"].get("between", [0, 1]) for f in factors]
        return [(x - low) / (high - low) for x, (low, high) in zip(point, ends)]

    def predicted(case, point):
        at = []
        for f, x in zip(factors, point):
            levels = f["over"].get("levels")
            at += ["--at", f"{f['key']}={levels[int(x)] if levels else repr(float(x))}"]
        told = subprocess.run([program, "predict", folder, *at], capture_output=True, text=True, check=True).stdout
        row = next(r for r in csv.DictReader(io.StringIO(told)) if r["case"] == case)
        return float(row["predicted"]), float(row["standard_deviation"])

    compared, faults = 0, 0
    for model in record["models"]:
        if not isinstance(model["form"], dict):
            continue
        form = model["form"]["gaussian_process"]
        x, y = np.array([scaled(p) for p in model["points"]]), np.array(model["values"])
        is_word = ["levels" in f["over"] for f in factors]
        reach = [np.exp(reach_of_correlation(r)) if w else r for r, w in zip(form["reach"], is_word)]
        # sklearn's Matern is of one distance over all factors; the model's is a product of one a factor.
        kernel = None
        for k, length in enumerate(reach):
            own = Along(k, length, REACHES if not is_word[k] else (0.05, 1e6))
            kernel = own if kernel is None else kernel * own
        kernel = kernel + WhiteKernel(form["nugget"], NUGGETS)
        ours, beta, variance = log_likelihood(kernel, x, y)
        # Same covariance: predictions.
        regressor = GaussianProcessRegressor(ConstantKernel(variance, "fixed") * kernel, optimizer=None).fit(x, y - beta)
        places = list(model["points"]) + [
            [0.5 * (a + b) if not w else a for a, b, w in zip(p, q, is_word)]
            for p, q in zip(model["points"], model["points"][1:])
        ]
        spread = y.max() - y.min()
        worst_mean = worst_sd = 0.0
        inverse_ones = np.linalg.solve(kernel(x), np.ones(len(y)))
        for place in places:
            at = np.array([scaled(place)])
            mean, sd = regressor.predict(at, return_std=True)
            # What scikit-learn leaves out: the mean is estimated. What it adds: the nugget of a new point.
            r = kernel(at, x)[0]
            left = (1 - inverse_ones @ r) ** 2 / inverse_ones.sum()
            expected = np.sqrt(max(sd[0] ** 2 - variance * form["nugget"] + variance * left, 0.0))
            found = predicted(model["case"], place)
            worst_mean = max(worst_mean, abs(found[0] - mean[0] - beta) / spread)
            worst_sd = max(worst_sd, abs(found[1] - expected) / spread)
        # Its optimiser, on the same profiled likelihood by way of its own: centred values, free variance.
        search = GaussianProcessRegressor(
            ConstantKernel(variance, (1e-6 * variance, 1e6 * variance)) * kernel, n_restarts_optimizer=20, random_state=1
        ).fit(x, y - beta)
        theirs = log_likelihood(search.kernel_.k2, x, y)[0]
        ok = worst_mean < 1e-6 and worst_sd < 1e-5 and ours > theirs - 0.1
        compared, faults = compared + 1, faults + (not ok)
        print(
            f"{model['case']}: {len(places)} places, mean off by {worst_mean:.1e}, deviation by {worst_sd:.1e} of the spread; "
            f"log likelihood {ours:.3f}, scikit-learn's best {theirs:.3f}: {'agrees' if ok else 'DISAGREES'}"
        )
    print(f"{compared} processes compared, {faults} disagree")
    sys.exit(1 if faults or not compared else 0)


class Along(Matern):
    """Matern's kernel of one coordinate."""

    def __init__(self, axis, length_scale=1.0, length_scale_bounds=(1e-5, 1e5), nu=2.5):
        super().__init__(length_scale, length_scale_bounds, nu)
        self.axis = axis

    def __call__(self, X, Y=None, eval_gradient=False):
        column = lambda a: None if a is None else np.asarray(a)[:, [self.axis]]
        return super().__call__(column(X), column(Y), eval_gradient)


if __name__ == "__main__":
    main()
