#!/usr/bin/env python3
"""Fit, noise, leverages and the runs as the others predict them, against dense matrices in NumPy: one covariance of all
readings of a sensor, contrasts of its readings from one null space of all its rows, every run left out by fitting the
rest anew. The program never forms these: size_oracle.py PROGRAM PROJECT. Leaves with status 1 when anything differs.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import linalg, stats

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import large_job  # noqa: E402

CLOSE = 1e-10  # of values that follow from the noise
CASES = {
    "run-to-run not stated": {},
    "run-to-run stated": {"stated": 1, "run": 0.02},
    "run-to-run there, not stated": {"run": 0.02},
    "nothing stated": {"repeats": 0, "run": 0.015},
    "readings missing": {"missing": 0.2, "run": 0.02, "runs": 14},
    "readings missing, nothing stated": {"missing": 0.2, "run": 0.02, "runs": 14, "repeats": 0},
    "few runs, many planes": {"planes": 4, "runs": 8, "speeds": 4},
    "one speed": {"speeds": 1, "sensors": 4, "planes": 3, "runs": 9},
    "phase leads": {"convention": "lead", "run": 0.01},
    "noise larger than stated": {"run": 0.03, "stated": 0, "within": 0.004, "speeds": 1, "runs": 12},
}


def real(m):
    return np.block([[m.real, -m.imag], [m.imag, m.real]])


class Sensor:
    """All readings of one sensor, by run then speed, as dense matrices."""

    def __init__(self, size, moments, readings, s, without=None):
        self.keys = [key for key in sorted(readings) if key[2] == s and key[0] != without]
        self.x = np.array([readings[key] for key in self.keys])
        self.rows = sorted({key[1] for key in self.keys})
        entries = 1 + size["planes"]
        self.design = np.zeros((len(self.keys), entries * len(self.rows)), complex)
        for i, (r, k, _) in enumerate(self.keys):
            at = self.rows.index(k) * entries
            self.design[i, at:at + entries] = [1.0, *moments[r]]
        self.scale = np.linalg.norm(self.design, axis=0)
        self.own = np.eye(len(self.keys))
        self.shared = np.array([[float(a[0] == b[0]) for b in self.keys] for a in self.keys])
        self.shares = bool(np.any(self.shared - self.own))
        self.contrast = linalg.null_space((self.design / self.scale).conj().T).conj().T
        z = self.contrast @ self.x
        self.y = np.concatenate([z.real, z.imag])

    def seen(self, covariance):
        return real(self.contrast @ covariance @ self.contrast.conj().T)

    def fit(self, within, run):
        """Estimate, covariance, residual, V, (V^-1 - V^-1 X (X^H V^-1 X)^-1 X^H V^-1)."""
        v = within ** 2 * self.own + run ** 2 * self.shared + np.diag((1e-9 * np.abs(self.x)) ** 2)
        root = np.linalg.cholesky(v)
        q, r = np.linalg.qr(linalg.solve_triangular(root, self.design / self.scale, lower=True))
        white = linalg.solve_triangular(root, self.x, lower=True)
        inverse = linalg.solve_triangular(r, np.eye(len(r))) / self.scale[:, None]
        estimate = inverse @ (q.conj().T @ white)
        half = linalg.solve_triangular(root, np.eye(len(v)), lower=True)
        p = half.T @ (np.eye(len(v)) - q @ q.conj().T) @ half
        return estimate, inverse @ inverse.conj().T, self.x - self.design @ estimate, v, p


def score(blocks, variances):
    """Blocks: (y, fixed, parts)."""
    count = len(variances)
    gradient, information = np.zeros(count), np.zeros((count, count))
    for y, fixed, parts in blocks:
        inverse = np.linalg.inv(fixed + sum(v * part for v, part in zip(variances, parts)))
        left = inverse @ y
        through = [inverse @ part for part in parts]
        for q in range(count):
            gradient[q] += 0.5 * (left @ parts[q] @ left - np.trace(through[q]))
            for r in range(count):
                information[q, r] += 0.5 * np.sum(through[q] * through[r].T)
    return gradient, information


def scored(blocks, start, least):
    variances = np.full(len(blocks[0][2]), float(start))
    for _ in range(60):
        gradient, information = score(blocks, variances)
        free = (variances > 0) | (gradient > 0)
        step = np.zeros_like(variances)
        if free.any():
            step[free] = np.linalg.pinv(information[np.ix_(free, free)]) @ gradient[free]
        following = np.maximum(variances + step, 0.1 * variances)
        following = np.maximum(np.where(following > 1e-9 * start, following, 0.0), least)
        done = np.max(np.abs(following - variances)) <= 1e-7 * np.max(following)
        variances = following
        if done:
            break
    return variances, np.linalg.pinv(score(blocks, variances)[1])


def noise_of(size, sensors):
    """[(within, run)], degrees of freedom."""
    freedom = np.inf
    stated = [(size["within"] if size["repeats"] else None, size["run"] if size["stated"] else None) for _ in sensors]
    if size["repeats"] and not size["stated"]:
        blocks = [(s.y, s.seen(size["within"] ** 2 * s.own), [s.seen(size["within"] ** 2 * s.shared)]) for s in sensors]
        (share,), spread = scored(blocks, 1.0, np.zeros(1))
        return ([(size["within"], size["within"] * np.sqrt(share))] * len(sensors),
                2.0 * (1.0 + share) ** 2 / spread.sum() if spread.sum() > 0 else np.inf)
    noise = []
    for sensor, (within, run) in zip(sensors, stated):
        if within is None:
            mean = sensor.y @ sensor.y / len(sensor.y)
            fixed = np.zeros((len(sensor.y),) * 2) if run is None else sensor.seen(run ** 2 * sensor.shared)
            parts = [sensor.seen(sensor.own)] + ([sensor.seen(sensor.shared)] if run is None and sensor.shares else [])
            least = np.zeros(len(parts))
            least[0] = 1e-6 * mean
            variances, spread = scored([(sensor.y, fixed, parts)], mean, least)
            if spread.sum() > 0:
                freedom = min(freedom, 2.0 * variances.sum() ** 2 / spread.sum())
            noise.append((np.sqrt(variances[0]), np.sqrt(variances[1]) if len(parts) > 1 else run or 0.0))
        else:
            noise.append((within, run))
    return noise, freedom


def widened(size, sensors, noise, freedom):
    if not size["repeats"]:
        return 1.0, freedom
    misfit, spare = 0.0, 0
    for sensor, (within, run) in zip(sensors, noise):
        _, _, residual, _, p = sensor.fit(within, run)
        misfit += (sensor.x.conj() @ p @ sensor.x).real
        spare += 2 * (len(sensor.x) - sensor.design.shape[1])
    if spare == 0 or stats.chi2.sf(misfit, spare) >= 0.01:
        return 1.0, freedom
    return np.sqrt(misfit / spare), min(freedom, spare)


def distance_of_run(size, moments, readings, run):
    rest = [Sensor(size, moments, readings, s, run) for s in range(size["sensors"])]
    if any(np.linalg.matrix_rank(s.design / s.scale) < s.design.shape[1] for s in rest):
        return None
    noise, freedom = noise_of(size, rest)
    factor, _ = widened(size, rest, noise, freedom)
    distance = 0.0
    for s, (sensor, (within, shared)) in enumerate(zip(rest, noise)):
        keys = [key for key in sorted(readings) if key[0] == run and key[2] == s]
        estimate, covariance, *_ = sensor.fit(within, shared)
        design = np.zeros((len(keys), len(estimate)), complex)
        for i, (r, k, _) in enumerate(keys):
            at = sensor.rows.index(k) * (1 + size["planes"])
            design[i, at:at + 1 + size["planes"]] = [1.0, *moments[r]]
        off = np.array([readings[key] for key in keys]) - design @ estimate
        spread = design @ covariance @ design.conj().T + within ** 2 * np.eye(len(keys)) + shared ** 2
        distance += (off.conj() @ np.linalg.solve(spread, off)).real / factor ** 2
    return distance


def compare(name, what, ours, theirs, tolerance):
    off = abs(ours - theirs) / max(abs(theirs), 1e-12)
    if not off <= tolerance:
        print(f"{name}: {what}: {ours!r}, dense {theirs!r} ({off:.1e} off)")
    return bool(off <= tolerance)


def check(program, folder, name, changes):
    size, moments, readings = large_job.make(folder, **{"sensors": 2, "speeds": 3, "runs": 10, **changes})
    said = json.loads(subprocess.run([program, "influence", str(folder / "job.yaml"), "--format", "json"], check=True,
                                     capture_output=True, text=True).stdout)
    sensors = [Sensor(size, moments, readings, s) for s in range(size["sensors"])]
    noise, freedom = noise_of(size, sensors)
    factor, freedom = widened(size, sensors, noise, freedom)
    good, turn = True, -1.0 if size["convention"] == "lag" else 1.0
    if np.isfinite(freedom):
        good &= compare(name, "degrees of freedom", said["noise"]["degrees_of_freedom"], freedom, 1e-6)
    good &= compare(name, "widened", said["noise"]["widened"], factor, 1e-8)
    for sensor, one, (within, run) in zip(sensors, said["noise"]["sensors"], noise):
        good &= compare(name, "within", one["within"]["sd"], within, 1e-8)
        good &= compare(name, "run to run", one["run_to_run"]["sd"], run, 1e-7)
    coefficients = {(c["speed_rpm"], c["sensor"], c["plane"]): c for c in said["coefficients"]}
    checked = {(r["run"], r["speed_rpm"], r["sensor"]): r for r in said["review"]["readings"]}
    entries, tested = 1 + size["planes"], 0
    for s, sensor in enumerate(sensors):
        within, run = (said["noise"]["sensors"][s][part]["sd"] for part in ("within", "run_to_run"))
        estimate, covariance, residual, v, p = sensor.fit(within, run)
        for i, k in enumerate(sensor.rows):
            for plane in range(size["planes"]):
                at = i * entries + 1 + plane
                one = coefficients[1000 + 200 * k, f"S{s + 1}", f"P{plane + 1}"]
                ours = one["amplitude"] * np.exp(1j * turn * np.radians(one["phase_deg"]))
                good &= compare(name, "coefficient", ours, estimate[at], CLOSE)
                good &= compare(name, "its sd", one["sd"], factor * np.sqrt(covariance[at, at].real), CLOSE)
        whole = np.diag(np.linalg.inv(v))
        for i, (r, k, _) in enumerate(sensor.keys):
            one = checked[f"run {r + 1}", 1000 + 200 * k, f"S{s + 1}"]
            good &= compare(name, "leverage", one["leverage"], 1.0 - p[i, i].real / whole[i], 1e-8)
            if one["studentised"] is not None:
                studentised = abs(p[i] @ sensor.x) / np.sqrt(p[i, i].real)
                good &= compare(name, "studentised", one["studentised"], studentised, 1e-8)
                tested += 1
    predicted = 0
    for one in said["review"]["runs"]:
        distance = distance_of_run(size, moments, readings, int(one["run"].split()[1]) - 1)
        if distance is None or one["components"] == 0:
            continue
        predicted += 1
        good &= compare(name, f"distance of {one['run']}", one["distance"], distance, 1e-6)
    if tested == 0 or predicted == 0:
        print(f"{name}: nothing was compared")
        return False
    print(f"{name}: {tested} readings, {predicted} runs")
    return good


def main():
    program, good = sys.argv[1], True
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, changes) in enumerate(CASES.items()):
            good &= check(program, Path(folder) / str(number), name, changes)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
