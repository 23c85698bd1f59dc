"""Times the workloads of models.py with scikit-learn's PLSRegression (features scaled
by their SD in each training part) and prints a JSON line each, as peerbench does.

    python3 models_sklearn.py FOLDER WORKLOADS REPS

One fit of all components a training part; predictions with fewer come from its
rotations and loadings. OPENBLAS_NUM_THREADS sets the threads of numpy's library."""
import json
import os
import statistics
import sys
import time
import warnings

import numpy as np
from sklearn.cross_decomposition import PLSRegression

warnings.simplefilter("ignore")


def figures(folder, name, file):
    path = os.path.join(folder, name, file)
    return np.loadtxt(path, delimiter=",", skiprows=1, ndmin=2) if os.path.exists(path) else None


def fit(x, y, a):
    """Predictions of rows by 1 to a components, components first."""
    m = PLSRegression(n_components=a, scale=True).fit(x, y)
    b = np.cumsum(m.x_rotations_ * m.y_loadings_.ravel(), axis=1) * m._y_std
    return lambda new: (((new - m._x_mean) / m._x_std) @ b + m._y_mean).T


def press(x, y, a, of):
    total = np.zeros(a)
    for fold in np.unique(of):
        test = of == fold
        total += ((fit(x[~test], y[~test], a)(x[test]) - y[test]) ** 2).sum(axis=1)
    return total


class Set:
    def __init__(self, folder, name):
        self.name = name
        self.x, self.y = figures(folder, name, "X.csv"), figures(folder, name, "y.csv").ravel()
        self.folds = figures(folder, name, "folds.csv").astype(int)
        orders = figures(folder, name, "perms.csv")
        self.orders = None if orders is None else orders.astype(int)


def one_fit(s, a):
    inner = {"S": 200, "M": 100, "C": 10}.get(s.name, 1)
    for _ in range(inner):
        predict = fit(s.x, s.y, a)
    return inner, np.sqrt(((predict(s.x) - s.y) ** 2).mean(axis=1)), {}


def ten_fold(s, a):
    repeats = s.folds.shape[1]
    return 1, np.sqrt(sum(press(s.x, s.y, a, s.folds[:, r]) for r in range(repeats)) / (len(s.y) * repeats)), {}


def leave_one_out(s, a):
    return 1, np.sqrt(press(s.x, s.y, a, np.arange(len(s.y))) / len(s.y)), {}


def nested(s, a):
    total, picks = 0.0, 0
    for r in range(5):
        for fold in range(10):
            test = s.folds[:, r] == fold
            x, y = s.x[~test], s.y[~test]
            best = int(np.argmin(press(x, y, a, s.folds[~test, 10 + r]))) + 1
            picks += best
            total += ((fit(x, y, best)(s.x[test])[best - 1] - s.y[test]) ** 2).sum()
    return 1, np.sqrt([total / (5 * len(s.y))]), {"picks_sum": picks}


def permuted(s, a):
    of = s.folds[:, 0]
    seen = np.sqrt(press(s.x, s.y, a, of) / len(s.y))
    least = np.array([np.sqrt(press(s.x, s.y[order], a, of).min() / len(s.y)) for order in s.orders])
    p = (1 + (least <= seen.min()).sum()) / (1 + len(least))
    return 1, seen, {"p_value": float(p), "perm_min_rmsecv_mean": float(least.mean())}


def first_repeat(s, a):
    return 1, np.sqrt(press(s.x, s.y, a, s.folds[:, 0]) / len(s.y)), {}


WORK = {"W1": one_fit, "W2": ten_fold, "W3": leave_one_out, "W4": nested, "W5": permuted, "W6": first_repeat}


def main():
    folder, jobs, reps = sys.argv[1], sys.argv[2].split(","), int(sys.argv[3])
    sets = {}
    for job in jobs:
        work, name = job.split(":")
        s = sets.setdefault(name, None) or Set(folder, name)
        sets[name] = s
        a = 20 if work == "W6" else 5 if name == "S" else 10
        seconds = []
        for _ in range(reps):
            begin = time.perf_counter()
            inner, found, more = WORK[work](s, a)
            seconds.append((time.perf_counter() - begin) / inner)
        line = dict(tool="scikit-learn", variant="one fit a part", threads=os.environ.get("OPENBLAS_NUM_THREADS", ""), workload=work,
                    dataset=name, seconds=statistics.median(seconds), all_seconds=seconds, rmsecv_by_component=[float(v) for v in found], **more)
        print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
