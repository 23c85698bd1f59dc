#!/usr/bin/env python3
"""Lays the times of cross-validation by flourcast, R pls and scikit-learn side by
side: the same data, folds and permutations, in one run on one machine.

    python3 testdata/peers/models.py PEERBENCH FOLDER [--reps N] [--jobs W1:S,…] [--write docs/performance.md]

 1. What is missing is installed from Debian's packages (r-cran-pls, r-cran-jsonlite,
    python3-sklearn) if we are root; otherwise it stops and names them.
 2. The data are made in FOLDER (models_data.py), unless they are there.
 3. Every program does every workload N times in its own process, with one thread and
    with two; the median counts. Reading and starting are left out.
 4. Errors by number of components must agree to 1e-9, or it stops.
 5. The table is printed, and with --write put between its marks in the file.

Run it on a machine that does nothing else: the load before the run stands under the
table."""
import argparse
import datetime
import json
import os
import platform
import re
import shutil
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
PYTHON = "/usr/bin/python3"  # Debian's, which has Debian's packages
JOBS = "W1:S,W1:M,W1:C,W1:L,W2:S,W2:M,W2:C,W3:M,W3:C,W4:M,W5:S,W5:M,W6:L"
# How much faster than the best peer of one thread we mean to be, on one core; "2:" on
# two cores. Below 1 is slower.
AIMS = {"W1:S": "10", "W1:M": "10", "W1:C": "0.83", "W1:L": "0.83", "W2:S": "20", "W2:M": "15", "W2:C": "1.5, 2: 3",
        "W2:C-centred": "5", "W3:M": "20", "W3:C": "1.2, 2: 2.5", "W4:M": "15", "W5:S": "30", "W5:M": "40", "W6:L": "0.6, 2: 1"}
# Milliseconds of the fastest of four peers, one thread, on another 2-core machine. The
# fourth, a published implementation of fast partition-based cross-validation in Python
# (Engstrøm and Jensen), is not in Debian; it was the fastest on C and L.
ELSEWHERE = {"W1:S": 0.14, "W1:M": 0.33, "W1:C": 2.0, "W1:L": 104, "W2:S": 29, "W2:M": 79, "W2:C": 421, "W3:M": 171, "W3:C": 551,
             "W4:M": 209, "W5:S": 1360, "W5:M": 3940, "W6:L": 267}
WHAT = {"W1": "one fit", "W2": "10-fold × 20 repeats", "W3": "leave one out", "W4": "nested 10 × 10, 5 repeats",
        "W5": "999 permutations × 10-fold", "W6": "10-fold, 20 components"}
SIZE = {"S": "60 × 12", "M": "400 × 12", "C": "300 × 800", "L": "10,000 × 500"}


def have(command):
    return subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode == 0


def install():
    missing = []
    if not shutil.which("Rscript") or not have(["Rscript", "-e", "library(pls); library(jsonlite)"]):
        missing += ["r-cran-pls", "r-cran-jsonlite"]
    if not have([PYTHON, "-c", "import sklearn"]):
        missing += ["python3-sklearn"]
    if not missing:
        return
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        sys.exit("missing: install " + " ".join(missing) + " (Debian), or run as root")
    subprocess.run(["apt-get", "update", "-qq"], check=True, stdout=subprocess.DEVNULL)
    subprocess.run(["apt-get", "install", "-y", "-qq", "--no-install-recommends", *missing], check=True, stdout=subprocess.DEVNULL,
                   env=dict(os.environ, DEBIAN_FRONTEND="noninteractive"))


def programs(peerbench, folder, reps):
    """Name → command for a list of workloads."""
    r, py = os.path.join(HERE, "models_r.R"), os.path.join(HERE, "models_sklearn.py")
    return {
        "flourcast": lambda jobs: [peerbench, folder, jobs, reps],
        "R pls, bare loop": lambda jobs: ["Rscript", r, folder, jobs, reps, "bare"],
        "R pls, package": lambda jobs: ["Rscript", r, folder, jobs, reps, "package"],
        "scikit-learn": lambda jobs: [PYTHON, py, folder, jobs, reps],
    }


def measure(command, threads):
    env = dict(os.environ, GOMAXPROCS=str(threads), OPENBLAS_NUM_THREADS=str(threads), OMP_NUM_THREADS=str(threads))
    out = subprocess.run(command, env=env, check=True, capture_output=True, text=True).stdout
    return json.loads(out)


def agree(job, ours, theirs, who):
    """The largest relative difference of errors by number of components."""
    a, b = ours["rmsecv_by_component"], theirs["rmsecv_by_component"]
    if len(a) != len(b):
        sys.exit(f"{job}: {len(a)} errors by flourcast, {len(b)} by {who}")
    far = max(abs(x / y - 1) for x, y in zip(a, b))
    for figure in ("picks_sum", "p_value", "perm_min_rmsecv_mean"):
        if figure in theirs:
            far = max(far, abs(ours[figure] / theirs[figure] - 1))
    if not far <= 1e-9:
        sys.exit(f"{job}: errors of flourcast and {who} differ by {far:.1e}")
    return far


def ms(seconds):
    v = seconds * 1000
    return f"{v:,.0f}" if v >= 100 else f"{v:.3g}"


def memory(peerbench, folder):
    """Peak memory of W6:L in MB on one core and two, and the size of the data."""
    out = []
    for cores in (1, 2):
        child = subprocess.Popen([peerbench, folder, "W6:L", "1"], env=dict(os.environ, GOMAXPROCS=str(cores)), stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        if status != 0:
            sys.exit("peerbench W6:L failed")
        out.append(usage.ru_maxrss * 1024 / 1e6)
    return out, 10000 * 500 * 8 / 1e6


def machine():
    model = "unknown"
    if os.path.exists("/proc/cpuinfo"):
        found = re.search(r"model name\s*: (.*)", open("/proc/cpuinfo").read())
        model = found.group(1) if found else model
    return f"{os.cpu_count()} cores ({model}, {platform.machine()})"


def versions():
    go = subprocess.run(["go", "version"], capture_output=True, text=True).stdout.split()[2]
    r = subprocess.run(["Rscript", "-e", 'cat(paste0(getRversion(), ", pls ", packageVersion("pls")))'], capture_output=True, text=True).stdout
    s = subprocess.run([PYTHON, "-c", "import sklearn, numpy; print(f'scikit-learn {sklearn.__version__}, numpy {numpy.__version__}')"],
                       capture_output=True, text=True).stdout.strip()
    return f"{go}, R {r}, {s}"


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("peerbench")
    ask.add_argument("folder")
    ask.add_argument("--reps", default="5")
    ask.add_argument("--jobs", default=JOBS)
    ask.add_argument("--write")
    asked = ask.parse_args()
    begin, end = "<!-- peers: from here -->\n", "<!-- peers: to here -->"
    if asked.write:
        with open(asked.write, encoding="utf-8") as f:
            page = f.read()
        if begin not in page or end not in page:
            sys.exit(f"{asked.write} has no marks {begin.strip()} … {end}")
    install()
    jobs = asked.jobs.split(",")
    absent = sorted({j.split(":")[1] for j in jobs if not os.path.exists(os.path.join(asked.folder, j.split(":")[1], "X.csv"))})
    if absent:
        subprocess.run([PYTHON, os.path.join(HERE, "models_data.py"), asked.folder, ",".join(absent)], check=True)
    load = " ".join(f"{v:.2f}" for v in os.getloadavg())
    rows, worst = [], 0.0
    for job in jobs:
        # One fit takes less than a few milliseconds: it is timed often, or the first call decides.
        often = str(20 * int(asked.reps)) if job.startswith("W1:") and job != "W1:L" else asked.reps
        do = programs(asked.peerbench, asked.folder, often)
        took, ours = {}, None
        for threads in (1, 2):
            for name, command in do.items():
                line = measure(command(job), threads)
                took[name, threads] = line["seconds"]
                if name == "flourcast":
                    ours = line
                else:
                    worst = max(worst, agree(job, ours, line, name))
                print(job, name, threads, ms(line["seconds"]), "ms", file=sys.stderr, flush=True)
        rows.append((job, took))
        if job == "W2:C":
            centred = {("flourcast", t): measure(do["flourcast"]("W2:C-centred"), t)["seconds"] for t in (1, 2)}
            rows.append(("W2:C-centred", {**took, **centred}))
    text = table(rows, worst, load, asked.reps)
    if any(j == "W6:L" for j in jobs):
        (one, two), data = memory(asked.peerbench, asked.folder)
        text += f"\nMemory of W6 on L, the largest at any time: {one:.0f} MB on one core, {two:.0f} MB on two, program and all; the data are {data:.0f} MB.\n"
    print(text)
    if asked.write:
        page = page[:page.index(begin) + len(begin)] + text + page[page.index(end):]
        with open(asked.write, "w", encoding="utf-8") as f:
            f.write(page)


def table(rows, worst, load, reps):
    out = ["| workload | best peer, 1 thread, ms | flourcast, 1 core, ms | times faster (aim) | best peer, 2 threads, ms | flourcast, 2 cores, ms | "
           "times faster than the peer's 1 thread | second core | best of four peers elsewhere, ms |",
           "| --- | --- | --- | --- | --- | --- | --- | --- | --- |"]
    for job, took in rows:
        work, name = job.removesuffix("-centred").split(":")
        best = {t: min((s, who) for (who, threads), s in took.items() if threads == t and who != "flourcast") for t in (1, 2)}
        one, two = took["flourcast", 1], took["flourcast", 2]
        centred = ", features centred only (the peers scale)" if job.endswith("-centred") else ""
        elsewhere = ELSEWHERE[job.removesuffix("-centred")]
        out.append(f"| {work} {name}: {WHAT[work]}, {SIZE[name]}{centred} | {ms(best[1][0])} ({best[1][1]}) | {ms(one)} | {best[1][0] / one:.3g} ({AIMS[job]}) | "
                   f"{ms(best[2][0])} ({best[2][1]}) | {ms(two)} | {best[1][0] / two:.3g} | {one / two:.2f}× | {elsewhere:,} |")
    today = datetime.date.today()
    out += ["", f"{today.day} {today:%B %Y}, {machine()}, {versions()}; median of {reps} in each process (of {20 * int(reps)} for a fit of S, M and C); load average before the run {load}.",
            f"Errors by number of components agree with every peer to {worst:.0e} (relative)."]
    return "\n".join(out) + "\n"


if __name__ == "__main__":
    main()
