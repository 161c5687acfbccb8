#!/usr/bin/env python3
"""Readings on the way up and down, hot and cold, against one least squares of NumPy: approach_oracle.py PROGRAM PROJECT
[JOBS]. Leaves with status 1 when anything differs.

Random jobs of two planes, one sensor and two speeds; what is read in which run differs. A place is a speed, an approach and a
state; the design has a baseline for each place, and coefficients for each speed. The covariance is that of what is stated
(repeatability and, in half the jobs, a change from run to run); in the other half the change is estimated, and its
restricted likelihood is maximised here by SciPy. Half the jobs are written in the job file, half in a table.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import optimize

program = sys.argv[1]
jobs = int(sys.argv[3]) if len(sys.argv) > 3 else 12
WITHIN = 0.02
SPEEDS = [2000, 3000]
STATES = [("up", ""), ("down", ""), ("down", "hot"), ("", "")]


def rotor_text(run):
    stated = f"run_to_run: {run} in/s, " if run is not None else ""
    return ("trimwright: rotor 1\nname: type\nrotation: {sense: clockwise, seen_from: aft}\nphase: lead\n"
            "speed_tolerance: 20 rpm\nreference: {teeth: 1, larger_tooth: 1, polarity: falling}\n"
            "planes:\n  - name: front\n  - name: rear\nsensors:\n"
            f"  - {{name: A, measures: velocity, unit: in/s peak, phase_of: velocity, repeatability: {WITHIN} in/s, {stated}"
            "limits: [{up_to: 5000 rpm, limit: 2 in/s, target: 0.3 in/s}]}\n")


def job_text(weights, readings, table):
    text = "trimwright: job 1\nrotor: rotor.yaml\n" + ("readings: readings.csv\n" if table else "") + "runs:\n"
    rows = ["run,speed,sensor,amplitude,phase,approach,state"]
    for r, u in enumerate(weights):
        fitted = ", ".join(f"{p}: [{{at: {np.degrees(np.angle(m))!r} deg with rotation, moment: {abs(m)!r} g.mm}}]"
                           for p, m in zip(("front", "rear"), u) if m)
        text += f"  - name: run {r}\n    fitted: " + ("{" + fitted + "}" if fitted else "none") + "\n"
        if not table:
            text += "    readings:\n"
        for run, rpm, (approach, state), x in readings:
            if run != r:
                continue
            said = (f", approach: {approach}" if approach else "") + (f", state: {state}" if state else "")
            polar = abs(x), np.degrees(np.angle(x)) % 360
            if not table:
                text += f"      - {{speed: {rpm} rpm, sensor: A, amplitude: {polar[0]!r} in/s peak, phase: {polar[1]!r}{said}}}\n"
            rows.append(f"run {r},{rpm} rpm,A,{polar[0]!r} in/s peak,{polar[1]!r},{approach},{state}")
    return text, "\n".join(rows) + "\n"


def solve(weights, readings, run_sd):
    places = sorted({(rpm, how) for _, rpm, how, _ in readings})
    design = np.zeros((len(readings), len(places) + 2 * len(SPEEDS)), complex)
    x = np.array([one[3] for one in readings])
    covariance = np.zeros((len(readings), len(readings)))
    for i, (run, rpm, how, _) in enumerate(readings):
        design[i, places.index((rpm, how))] = 1.0
        at = len(places) + 2 * SPEEDS.index(rpm)
        design[i, at:at + 2] = weights[run] / 300.0
        for j, other in enumerate(readings):
            covariance[i, j] = (WITHIN ** 2 if i == j else 0.0) + (run_sd ** 2 if run == other[0] else 0.0)
    half = np.linalg.inv(np.linalg.cholesky(covariance))
    q, r = np.linalg.qr(half @ design)
    estimate = np.linalg.solve(r, q.conj().T @ (half @ x))
    residual = half @ (x - design @ estimate)
    inverse = np.linalg.inv(r)
    misfit = np.vdot(residual, residual).real
    # Per real component the variances are those of the covariance: twice the log of its determinant for both.
    likelihood = -0.5 * misfit + 2 * np.log(np.diag(half)).sum() - 2 * np.log(np.abs(np.diag(r))).sum()
    spare = 2 * (len(readings) - design.shape[1])
    return places, estimate, np.sqrt((np.abs(inverse) ** 2).sum(1)), misfit, spare, likelihood


def main():
    rng = np.random.default_rng(19260)
    wrong = []
    complex_normal = lambda n: rng.normal(size=n) + 1j * rng.normal(size=n)
    for job in range(jobs):
        stated = job % 2 == 0
        weights = np.array([[0, 0], [300 * np.exp(1j), 0], [0, 280 * np.exp(2.5j)], [0, 0],
                            [150 * np.exp(2j), 150 * np.exp(-1j)]], complex)
        c = complex_normal((len(SPEEDS), 2)) * 1e-3
        x0 = {(rpm, how): complex_normal(1)[0] * 0.5 for rpm in SPEEDS for how in STATES}
        readings = []
        for run, u in enumerate(weights):
            together = 0.03 * complex_normal(1)[0]
            for s, rpm in enumerate(SPEEDS):
                for how in STATES:
                    if rng.uniform() < 0.3 and run > 0:
                        continue
                    x = x0[rpm, how] + c[s] @ u + together + WITHIN * complex_normal(1)[0]
                    readings.append((run, rpm, how, x))
        text, table = job_text(weights, readings, job % 4 > 1)
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "rotor.yaml").write_text(rotor_text(0.03 if stated else None), "utf-8")
            (folder / "job.yaml").write_text(text, "utf-8")
            (folder / "readings.csv").write_text(table, "utf-8")
            out = subprocess.run([program, "influence", f"{name}/job.yaml", "--format", "json"], capture_output=True, text=True)
        if out.returncode != 0:
            wrong.append(f"job {job}: {out.stderr}")
            continue
        told = json.loads(out.stdout)
        run_sd = 0.03
        if not stated:
            best = optimize.minimize_scalar(lambda v: -solve(weights, readings, np.sqrt(v))[5], bounds=(0, 0.1), method="bounded",
                                            options={"xatol": 1e-10})
            run_sd = np.sqrt(best.x)
            found = told["noise"]["sensors"][0]["run_to_run"]["sd"]
            if abs(found - run_sd) > 1e-3 * run_sd:
                wrong.append(f"job {job}: run to run {found}, not {run_sd}")
            run_sd = found
        places, estimate, sd, misfit, spare, _ = solve(weights, readings, run_sd)
        widened = told["noise"]["widened"]
        coefficients = told["coefficients"]
        if len(coefficients) != 2 * len(places):
            wrong.append(f"job {job}: {len(coefficients)} coefficients of {len(places)} places")
        for one in coefficients:
            at = len(places) + 2 * SPEEDS.index(round(one["speed_rpm"])) + ["front", "rear"].index(one["plane"])
            value = one["amplitude"] * np.exp(1j * np.radians(one["phase_deg"]))
            if abs(value * 300 - estimate[at]) > 1e-7 * abs(estimate[at]):
                wrong.append(f"job {job}: {value * 300}, not {estimate[at]}")
            if abs(one["sd"] * 300 / (sd[at] * widened) - 1) > 1e-6:
                wrong.append(f"job {job}: ± {one['sd'] * 300}, not {sd[at] * widened}")
        for one in told["baselines"]:
            how = (one.get("approach", ""), one.get("state", ""))
            at = places.index((round(one["speed_rpm"]), how))
            value = one["amplitude"] * np.exp(1j * np.radians(one["phase_deg"]))
            if abs(value - estimate[at]) > 1e-7 * abs(estimate[at]):
                wrong.append(f"job {job}: baseline {value}, not {estimate[at]}")
        if stated and abs(told["chi_squared"]["value"] - misfit) > 1e-6 * misfit:
            wrong.append(f"job {job}: chi-squared {told['chi_squared']['value']}, not {misfit}")
        if told["chi_squared"]["degrees_of_freedom"] != spare:
            wrong.append(f"job {job}: {told['chi_squared']['degrees_of_freedom']} degrees of freedom, not {spare}")
    print(f"{jobs} jobs read up and down, hot and cold, against NumPy: {len(wrong)} differences")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
