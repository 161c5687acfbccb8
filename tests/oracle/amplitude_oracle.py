#!/usr/bin/env python3
"""Trims without phase against Siebert's construction done by geometry, and against SciPy.

    amplitude_oracle.py PROGRAM [JOBS]

One plane, four runs: with the amplitude as found O as the radius of a circle, three circles about its points at minus the
trial weights' angles, of radii T1, T2, T3, meet in one point D; the trial weight acts with |OD|, so the correction is the
trial weight times O / |OD|, at the angle of D's direction from O (the construction of the four-run method, K. Siebert; the
meeting point is found here from the circles' radical axes, nothing of it fitted). Two planes, seven runs: SciPy's
least_squares from random starts on |x + C1 U1 + C2 U2|, then SciPy's least squares for the correction.
"""

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

ROTOR = """trimwright: rotor 1
name: oracle
rotation: {{sense: clockwise, seen_from: aft}}
phase: unknown
speed_100: 5000 rpm
speed_tolerance: 1 %
reference: {{teeth: 34, larger_tooth: 1, polarity: falling}}
planes:
{planes}
sensors:
  - {{name: v, measures: velocity, unit: mm/s peak, phase_of: velocity, limits: [{{up_to: 6000 rpm, limit: 10 mm/s}}]}}
"""


def write_job(folder: Path, planes: list, weights: list, amplitudes: list) -> Path:
    """Weights: a run's complex moment in each plane [g mm]."""
    (folder / "rotor.yaml").write_text(ROTOR.format(planes="\n".join(f"  - name: {p}" for p in planes)))
    text = "trimwright: job 1\nrotor: rotor.yaml\ntrim: {objective: least squares}\nruns:\n"
    for k, (run, amplitude) in enumerate(zip(weights, amplitudes)):
        pieces = [
            f"{p}: [{{at: {math.degrees(np.angle(u)) % 360:.12f} deg with rotation, moment: {abs(u):.12f} g.mm}}]"
            for p, u in zip(planes, run) if u != 0
        ]
        text += f"  - name: run {k}\n    fitted: {'{' + ', '.join(pieces) + '}' if pieces else 'none'}\n"
        text += ("    readings: [{speed: 4000 rpm, sensor: v, "
                 f"amplitude: {amplitude:.12f} mm/s peak, component: once-per-rev}}]\n")
    text += "fitted_now: none\n"
    (folder / "job.yaml").write_text(text)
    return folder / "job.yaml"


def correction(program: str, job: Path) -> list:
    done = subprocess.run([program, "plan", str(job), "--amplitudes-only", "--format", "json"],
                          capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(done.stderr)
    plan = json.loads(done.stdout)
    assert plan["phase_convention"] == "unknown"
    assert plan["predicted"] and all(one["after_phase_deg"] is None for one in plan["predicted"])
    return [part["moment_to_add_g_mm"] * np.exp(1j * np.radians(part["angle_deg"])) for part in plan["correction"]]


def meeting_point(original: float, trials: list, angles: list) -> complex:
    """Of circles of radius trials[k] about original * exp(-j angles[k]): two radical axes."""
    centres = original * np.exp(-1j * np.asarray(angles))
    rows, right = [], []
    for k in (1, 2):
        between = centres[k] - centres[0]
        rows.append([2 * between.real, 2 * between.imag])
        right.append(trials[0] ** 2 - trials[k] ** 2 + abs(centres[k]) ** 2 - abs(centres[0]) ** 2)
    return complex(*np.linalg.solve(rows, right))


def one_plane(program: str, rng, folder: Path) -> float:
    x, c = rng.normal(size=2) @ [3, 3j], rng.normal(size=2) @ [0.01, 0.01j]
    moment = rng.uniform(200, 600)
    angles = np.radians(np.array([0, 120, 240]) + rng.uniform(-25, 25, 3) + rng.uniform(0, 360))
    weights = [0] + list(moment * np.exp(1j * angles))
    amplitudes = [abs(x + c * u) for u in weights]
    # |O + s e^(j angle)| is |O e^(-j angle) + s|: the circles meet where -s, the trial weight's effect, lies.
    effect = -meeting_point(amplitudes[0], amplitudes[1:], angles)
    expected = -moment * amplitudes[0] / effect
    job = write_job(folder, ["fan"], [[u] for u in weights], amplitudes)
    told = correction(program, job)[0]
    return abs(told - expected) / abs(expected)


def two_planes(program: str, rng, folder: Path) -> float:
    x, c = rng.normal(size=2) @ [3, 3j], rng.normal(size=(2, 2)) @ [0.01, 0.01j]
    weights = [[0, 0]]
    for plane in (0, 1):
        for k in range(3):
            run = [0, 0]
            run[plane] = rng.uniform(200, 600) * np.exp(1j * np.radians(120 * k + rng.uniform(-20, 20)))
            weights.append(run)
    u = np.array(weights)
    amplitudes = np.abs(x + u @ c)

    def misfit(z):
        return np.abs(z[0] + u @ np.array([z[1] + 1j * z[2], z[3] + 1j * z[4]])) - amplitudes

    best = None
    for _ in range(200):
        start = np.concatenate([[amplitudes[0]], rng.normal(size=4) * 0.01])
        found = least_squares(misfit, start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
        if best is None or found.cost < best.cost:
            best = found
    z = best.x
    coefficients = np.array([z[1] + 1j * z[2], z[3] + 1j * z[4]])
    told = np.array(correction(program, write_job(folder, ["fan", "rear"], weights, list(amplitudes))))
    return abs(z[0] + coefficients @ told) / abs(z[0])  # one sensor: the correction cancels it whole


def main() -> int:
    program = sys.argv[1]
    jobs = int(sys.argv[2]) if len(sys.argv) > 2 and sys.argv[2].isdigit() else 40
    rng = np.random.default_rng(7)
    worst = {"one plane": 0.0, "two planes": 0.0}
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(jobs):
            worst["one plane"] = max(worst["one plane"], one_plane(program, rng, Path(folder)))
        for _ in range(max(1, jobs // 8)):
            worst["two planes"] = max(worst["two planes"], two_planes(program, rng, Path(folder)))
    print(f"{jobs} jobs: largest relative difference {worst}")
    return 0 if max(worst.values()) < 1e-6 else 1


if __name__ == "__main__":
    sys.exit(main())
