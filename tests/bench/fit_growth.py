#!/usr/bin/env python3
"""How processor time and memory of `trimwright influence` and `plan` grow with a job, beside one dense fit:

    fit_growth.py PROGRAM [LARGEST_DENSE=3000] [runs|sensors|speeds|planes|named ...]

`dense` is what a person with SciPy would do: statsmodels' GLS of all readings, sensor by sensor, each with the full
covariance of its readings, where noise is told; no noise is estimated, no reading reviewed, no run left out, no
convention tried, no chance reckoned. The program does all of these; `dense / influence` compares the two in one run.
Jobs: tests/large_job.py, a run-to-run change that the rotor file does not state. Memory is the program's largest
resident set. Nothing dense is tried beyond LARGEST_DENSE readings (a sensor's covariance is then all there is room for).
"""
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import statsmodels.api as sm

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import large_job  # noqa: E402

BASE = {"planes": 2, "sensors": 4, "speeds": 5, "runs": 50, "run": 0.01}
SWEEPS = {
    "runs": [{"runs": n} for n in (10, 20, 50, 100, 200, 500, 1000)],
    "sensors": [{"sensors": n} for n in (1, 2, 4, 10, 20, 50, 100)],
    "speeds": [{"speeds": n} for n in (1, 2, 5, 10, 20, 40)],
    "planes": [{"planes": n, "runs": 60} for n in (1, 2, 4, 8, 16)],
    "named": [{}, {"sensors": 20, "speeds": 1, "runs": 30, "planes": 6}, {"sensors": 100, "runs": 100}],
}


def spent(command):
    """Exit status, processor time [s] and largest resident set [MB], as GNU time tells them."""
    run = subprocess.run(["/usr/bin/time", "-f", "%U %S %M", *command], stdout=subprocess.DEVNULL,
                         stderr=subprocess.PIPE, text=True)
    user, system, memory = map(float, run.stderr.splitlines()[-1].split())
    return run.returncode, user + system, memory / 1024


def dense(size, moments, readings):
    before = time.process_time()
    for s in range(size["sensors"]):
        keys = [key for key in sorted(readings) if key[2] == s]
        entries = 1 + size["planes"]
        x = np.array([readings[key] for key in keys])
        design = np.zeros((len(keys), entries * size["speeds"]), complex)
        for i, (r, k, _) in enumerate(keys):
            design[i, k * entries:(k + 1) * entries] = [1.0, *moments[r]]
        run = np.array([key[0] for key in keys])
        v = size["within"] ** 2 * np.eye(len(keys)) + size["run"] ** 2 * (run[:, None] == run[None, :])
        both = np.block([[design.real, -design.imag], [design.imag, design.real]])
        sm.GLS(np.concatenate([x.real, x.imag]), both, np.kron(np.eye(2), v)).fit()
    return time.process_time() - before


def words(status, seconds, memory):
    return f"{seconds:.2f} s" if status == 0 else f"status {status} after {seconds:.2f} s"


def main():
    program, largest = sys.argv[1], 3000
    asked = sys.argv[2:]
    if asked and asked[0].isdigit():
        largest = int(asked.pop(0))
    print("| planes | sensors | speeds | runs | readings | influence | memory | plan --time-limit 1 | dense | dense / influence |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for name in asked or SWEEPS:
            for changes in SWEEPS[name]:
                size, moments, readings = large_job.make(folder, **{**BASE, **changes})
                job = str(Path(folder) / "job.yaml")
                told = spent([program, "influence", job])
                planned = spent([program, "plan", job, "--time-limit", "1"])
                theirs = dense(size, moments, readings) if len(readings) <= largest else None
                print(f"| {size['planes']} | {size['sensors']} | {size['speeds']} | {size['runs']} | {len(readings)} | "
                      f"{words(*told)} | {max(told[2], planned[2]):.0f} MB | {words(*planned)} | "
                      + (f"{theirs:.2f} s | {theirs / told[1]:.1f} |" if theirs else "- | - |"), flush=True)


if __name__ == "__main__":
    main()
