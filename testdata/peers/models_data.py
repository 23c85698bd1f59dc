#!/usr/bin/env python3
"""Invented data, folds and permutations for the race of models.py.

    python3 testdata/peers/models_data.py FOLDER [SETS]      SETS: S,M,C,L

FOLDER/SET/ gets X.csv and y.csv (10 digits), folds.csv (n rows, a column each
repeat, folds 0 to 9, rows of one lot together) and, for S and M, perms.csv (999
rows of n row numbers from 0). A set is the same figures on every machine: each has
its own stream of numpy's PCG64 from one seed.

    S     60 ×  12   20 lots of 3      6 hidden causes
    M    400 ×  12   100 lots of 4     8 hidden causes
    C    300 × 800   100 lots of 3     curves of 12 bumps
    L  10000 × 500   2000 lots of 5   40 hidden causes
"""
import os
import sys

import numpy as np

SEED, FOLDS, PERMUTATIONS = 20240607, 10, 999


def hidden_causes(rng, n, p, causes, lot):
    """Columns driven by a few causes, each with its own mean and spread."""
    lots = n // lot
    of = np.repeat(np.arange(lots), lot)
    cause = rng.standard_normal((lots, causes))[of] * 0.8 + rng.standard_normal((n, causes)) * 0.6
    pattern = rng.standard_normal((causes, p))
    z = cause @ pattern / np.sqrt(causes) + 0.5 * rng.standard_normal((n, p))
    mean = rng.uniform(0.5, 80.0, p)
    spread = np.exp(rng.uniform(np.log(0.02), np.log(6.0), p))
    effect = rng.standard_normal(causes) * 0.85 ** np.arange(causes)
    y = cause @ effect + 0.25 * rng.standard_normal(lots)[of] + 0.4 * rng.standard_normal(n)
    return mean + spread * z, 40.0 + 7.5 * y, of


def bumps(rng, n, p, lot, number=12):
    """Curves that are sums of bumps of random height under white noise."""
    lots = n // lot
    of = np.repeat(np.arange(lots), lot)
    t = np.linspace(0.0, 1.0, p)
    centre = (np.arange(number) + 0.5) / number
    shape = np.exp(-0.5 * ((t[None, :] - centre[:, None]) / 0.05) ** 2)
    height = 1.0 + 0.35 * rng.standard_normal((lots, number))[of] + 0.2 * rng.standard_normal((n, number))
    x = 3.0 + height @ shape * (1.0 + t) + 0.02 * rng.standard_normal((n, p))
    effect = rng.standard_normal(number)
    y = height @ effect + 0.1 * rng.standard_normal(lots)[of] + 0.15 * rng.standard_normal(n)
    return x, 500.0 + 60.0 * y, of


def folds(rng, of, repeats):
    """Whole lots dealt out to folds of equal size, anew for each repeat."""
    lots = of.max() + 1
    out = np.empty((len(of), repeats), dtype=int)
    for r in range(repeats):
        fold = np.empty(lots, dtype=int)
        fold[rng.permutation(lots)] = np.arange(lots) % FOLDS
        out[:, r] = fold[of]
    return out


def make(name, rng):
    if name == "S":
        return hidden_causes(rng, 60, 12, 6, 3), 20
    if name == "M":
        return hidden_causes(rng, 400, 12, 8, 4), 20
    if name == "C":
        return bumps(rng, 300, 800, 3), 20
    return hidden_causes(rng, 10000, 500, 40, 5), 1


def write(path, figures, form, header):
    np.savetxt(path, figures, fmt=form, delimiter=",", header=",".join(header), comments="")


def main():
    folder = sys.argv[1]
    wanted = sys.argv[2] if len(sys.argv) > 2 else "S,M,C,L"
    for number, name in enumerate("SMCL"):
        if name not in wanted.split(","):
            continue
        rng = np.random.Generator(np.random.PCG64([SEED, number]))
        (x, y, of), repeats = make(name, rng)
        plan = folds(rng, of, repeats)
        out = os.path.join(folder, name)
        os.makedirs(out, exist_ok=True)
        write(os.path.join(out, "X.csv"), x, "%.10g", [f"x{j + 1}" for j in range(x.shape[1])])
        write(os.path.join(out, "y.csv"), y, "%.10g", ["y"])
        write(os.path.join(out, "folds.csv"), plan, "%d", [f"r{r}" for r in range(repeats)])
        if name in "SM":
            orders = np.stack([rng.permutation(len(y)) for _ in range(PERMUTATIONS)])
            write(os.path.join(out, "perms.csv"), orders, "%d", [f"i{i}" for i in range(len(y))])


if __name__ == "__main__":
    main()
