#!/usr/bin/env python3
"""The angle that a reference moved by, and whether it is a whole number of teeth, against enumeration by NumPy:
events_oracle.py PROGRAM PROJECT [JOBS]. Leaves with status 1 when anything differs.

The shipped example of a new pickup, with its later phases turned by other angles and noise of the stated size: the
likelihood of every angle of a fine grid, baseline and coefficients of every speed and sensor cancelled by a null vector of
the runs' weights, summed over the grid and over the teeth.
"""
import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import stats

program, project = sys.argv[1], Path(sys.argv[2])
jobs = int(sys.argv[3]) if len(sys.argv) > 3 else 6
example = project / "examples/new-pickup"
TEETH = 44
PITCH = 360.0 / TEETH
SD = {"front": 0.012, "turbine": 0.04 / 2}  # peak
RUNS = ["as found", "trial spinner", "as found again", "trial drum"]


def spinner(slot):  # 4 deg with rotation, numbered against it, 9 deg apart; a K5 in place of the filler
    return (5.3 * 188.5 - 0.9 * 188.0) * np.exp(1j * np.radians(4.0 - 9.0 * (slot - 1)))


WEIGHTS = np.array([[1, 0, 0], [1, spinner(30), 0], [1, 0, 0], [1, 0, 1180.0]], complex)
NULL = np.linalg.svd(WEIGHTS / np.abs(WEIGHTS).max(0))[0][:, -1].conj()  # NULL @ WEIGHTS = 0


def read_example():
    """Written amplitude (shown units) and lag by row and run, of the rows that every run has."""
    rows = {}
    for line in csv.DictReader(open(example / "readings.csv", encoding="utf-8")):
        if line["amplitude"] == "missing":
            continue
        amplitude, unit = line["amplitude"].split(" ", 1)
        key = (round(float(line["speed"].split()[0]) / 200), line["sensor"])
        rows.setdefault(key, {})[line["run"]] = [float(amplitude), float(line["phase"].split()[0]), unit, line["speed"]]
    return rows


def write_job(folder, rows):
    rotor = (project / "configs/larkmere-fan.yaml").read_text("utf-8")
    rotor = rotor.replace("    repeatability: 0.012 in/s", "    repeatability: 0.012 in/s\n    run_to_run: 0.00001 in/s")
    rotor = rotor.replace("    repeatability: 0.04 mil", "    repeatability: 0.04 mil\n    run_to_run: 0.00001 mil")
    (folder / "rotor.yaml").write_text(rotor, "utf-8")
    job = (example / "job.yaml").read_text("utf-8").replace("../../configs/larkmere-fan.yaml", "rotor.yaml")
    (folder / "job.yaml").write_text(job, "utf-8")
    lines = ["run,speed,sensor,amplitude,phase,component"]
    for run in RUNS:
        for (_, sensor), made in rows.items():
            if run in made:
                amplitude, lag, unit, speed = made[run]
                lines.append(f"{run},{speed},{sensor},{amplitude:.9g} {unit},{lag % 360:.9g} deg,once-per-rev")
    (folder / "readings.csv").write_text("\n".join(lines) + "\n", "utf-8")


def enumerate_angles(rows):
    """Mean, standard deviation [deg of lag] and whole teeth of the angle."""
    grid = np.arange(-180.0, 180.0, 0.005)

    def misfit(degrees):
        turned = np.exp(-1j * np.radians(np.atleast_1d(degrees)))  # lag: later phasors turn back
        total = np.zeros(turned.shape)
        count = 0
        for (_, sensor), made in rows.items():
            if len(made) < 4:
                continue
            count += 1
            peak = 0.5 if sensor == "turbine" else 1.0
            x = np.array([peak * made[r][0] * np.exp(-1j * np.radians(made[r][1])) for r in RUNS])
            total += np.abs(turned * (NULL[:2] @ x[:2]) + NULL[2:] @ x[2:]) ** 2 / SD[sensor] ** 2
        return total / (np.abs(NULL) ** 2).sum(), 2 * count - 1

    chi, freedom = misfit(grid)
    least = chi.min()
    widened = least / freedom if stats.chi2.sf(least, freedom) < 0.01 else 1.0
    density = np.exp(-0.5 * (chi - least) / widened)
    best = grid[chi.argmin()]
    off = (grid - best + 180.0) % 360.0 - 180.0
    mean = np.average(off, weights=density)
    sd = np.sqrt(np.average((off - mean) ** 2, weights=density))
    teeth = np.arange(-(TEETH - 1) // 2 + 1, TEETH // 2 + 1)
    share = 1.0 / np.maximum(1, teeth ** 2)
    whole = 0.5 * share / share.sum() * np.exp(-0.5 * (misfit(teeth * PITCH)[0] - least) / widened)
    none = 0.5 * density.mean()
    total = whole.sum() + none
    return best + mean, sd, teeth[whole.argmax()], whole.max() / total, none / total


def main():
    rng = np.random.default_rng(7190401)
    wrong = []
    for job in range(jobs):
        rows = read_example()
        by = [0.0, PITCH - 34.0, 2 * PITCH - 34.0, -PITCH - 34.0][job] if job < 4 else rng.uniform(-180, 180)
        for (_, sensor), made in rows.items():
            for run, one in made.items():
                if run in RUNS[2:]:
                    one[1] += by
                if job > 0:
                    shown = 2.0 if sensor == "turbine" else 1.0
                    x = one[0] * np.exp(1j * np.radians(one[1])) + shown * SD[sensor] * complex(*rng.normal(size=2))
                    one[0], one[1] = abs(x), np.degrees(np.angle(x))
        angle, sd, teeth, whole, none = enumerate_angles(rows)
        with tempfile.TemporaryDirectory() as name:
            write_job(Path(name), rows)
            out = subprocess.run([program, "influence", f"{name}/job.yaml", "--format", "json"], capture_output=True, text=True)
        if out.returncode != 0:
            wrong.append(f"job {job}: {out.stderr}")
            continue
        (told,) = json.loads(out.stdout)["events"]
        ring = told["whole_teeth"]
        print(f"job {job}: {told['value']:.3f} ± {told['sd']:.3f} deg, enumerated {angle:.3f} ± {sd:.3f}; teeth {ring['teeth']}"
              f" ({ring['probability']:.4f}, none {ring['none']:.4f}), enumerated {teeth} ({whole:.4f}, none {none:.4f})")
        apart = (told["value"] - angle + 180.0) % 360.0 - 180.0
        if abs(apart) > 0.05 * sd:
            wrong.append(f"job {job}: the angle lies {apart:.4f} deg off")
        if abs(told["sd"] / sd - 1.0) > 0.03:
            wrong.append(f"job {job}: its standard deviation is {told['sd'] / sd:.3f} of the enumerated")
        if abs(ring["none"] - none) > 0.02 or (whole > 0.1 and (ring["teeth"] != teeth or abs(ring["probability"] - whole) > 0.02)):
            wrong.append(f"job {job}: whole teeth differ")
    print("\n".join(wrong) or f"{jobs} angles as enumerated")
    sys.exit(1 if wrong else 0)


main()
