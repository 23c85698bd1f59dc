"""Reads the same pasting curves with flourcast and with general-purpose peers, one
after the other, and prints a table: seconds, MB of CSV a second, memory of the
largest process. The files are those of BenchmarkCurves, which writes them.

    python3 testdata/peers/curves.py BINARY FOLDER [FILES] [ROUNDS]

A peer that is not installed is left out (Debian: r-cran-data.table, python3-pandas).
Each program runs ROUNDS times in turn; the fastest round counts."""
import os
import shutil
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))


def run(command):
    """Seconds, and memory of the largest process in MiB."""
    begin = time.monotonic()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    if status != 0:
        sys.exit(f"{command[0]} failed with status {status}")
    return time.monotonic() - begin, usage.ru_maxrss / 1024


def main():
    binary, folder = sys.argv[1], sys.argv[2]
    files = sys.argv[3] if len(sys.argv) > 3 else "10000"
    rounds = int(sys.argv[4]) if len(sys.argv) > 4 else 3
    env = dict(os.environ, FLOURCAST_BENCH_FILES=files, FLOURCAST_BENCH_DIR=folder)
    print("load average before:", " ".join(f"{x:.2f}" for x in os.getloadavg()))
    print(subprocess.run(["go", "test", "-run", "^$", "-bench", "Curves", "-benchtime", "2x", "./dataset/run"],
                         env=env, check=True, capture_output=True, text=True).stdout)
    curves = os.path.join(folder, "long")
    paths = [os.path.join(curves, name) for name in sorted(os.listdir(curves))]
    size = sum(os.path.getsize(p) for p in paths) / 1e6
    programs = [("flourcast features: read, checked, judged, features", [binary, "features", "--json", *paths])]
    if shutil.which("Rscript"):
        programs.append(("R data.table fread: read, highest value", ["Rscript", os.path.join(HERE, "curves_fread.R"), curves]))
    if subprocess.run(["/usr/bin/python3", "-c", "import pandas"], capture_output=True).returncode == 0:
        programs.append(("pandas read_csv: read, highest value", ["/usr/bin/python3", os.path.join(HERE, "curves_pandas.py"), curves]))
    best = {}
    for _ in range(rounds):
        for name, command in programs:
            took = run(command)
            best[name] = min(best.get(name, took), took)
    print(f"{len(paths)} files, {size:.0f} MB of CSV, {os.cpu_count()} cores\n")
    print("| program | s | MB/s | memory of its largest process, MiB |")
    print("| --- | --- | --- | --- |")
    for name, (seconds, memory) in best.items():
        print(f"| {name} | {seconds:.1f} | {size / seconds:.0f} | {memory:.0f} |")


main()
