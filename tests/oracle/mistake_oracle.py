#!/usr/bin/env python3
"""The evidence of mistakes against exact Bayes by enumeration in NumPy: mistake_oracle.py PROGRAM PROJECT. Leaves with
status 1 when anything differs.

One plane of six slots, three sensors, one speed: as found, a trial, a check run. The program foretells each run from the
others; here the joint density of all nine readings is taken from one dense Gaussian of baselines, coefficients and noise,
for every form of a mistake, and divided by that of the runs the mistake leaves alone. What is believed beforehand, how
noise is made up and which forms there are stands in docs/check.md.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

SENSORS, RUNS = ["A", "B", "C"], ["as found", "trial", "check"]
WITHIN, RUN, SHARE, RPM = 0.02, 0.015, 0.01, 3000
WEIGHTS = {"a": 100.0, "b": 160.0}
FITTED = [{}, {2: "b"}, {3: "a", 5: "b"}]
X0 = np.array([0.5 + 0.2j, -0.3 + 0.4j, 0.3 + 0.3j])
C = np.array([2e-3, 4e-4 + 1.2e-3j, 1e-3j])
SCALES = [1.0, 1.5, 2.0]
SHARES = [0.9, 0.08, 0.02]  # how likely beforehand


def moment(fitted):
    return sum(WEIGHTS[w] * np.exp(2j * np.pi * (slot - 1) / 6) for slot, w in fitted.items())


U = np.array([moment(f) for f in FITTED])


def document(folder, program, x):
    sensors = "".join(
        f"  - {{name: {s}, measures: velocity, unit: in/s peak, phase_of: velocity, repeatability: {WITHIN} in/s, "
        f"run_to_run: {RUN} in/s, proportional: {100 * SHARE} %, limits: [{{up_to: 5000 rpm, limit: 3 in/s}}]}}\n"
        for s in SENSORS)
    weights = ", ".join(f"{{id: {k}, moment: {m} g.mm}}" for k, m in WEIGHTS.items())
    (folder / "rotor.yaml").write_text(
        "trimwright: rotor 1\nname: type\nrotation: {sense: clockwise, seen_from: aft}\nphase: lead\n"
        "speed_tolerance: 20 rpm\nreference: {teeth: 1, larger_tooth: 1, polarity: falling}\nplanes:\n"
        "  - name: fan\n    slots: {count: 6, slot_1_at: 0 deg, numbered: clockwise, seen_from: aft}\n"
        f"    weights: [{weights}]\nsensors:\n{sensors}")
    job = "trimwright: job 1\nrotor: rotor.yaml\nruns:\n"
    for name, fitted, row in zip(RUNS, FITTED, x):
        held = ", ".join(f"{slot}: {w}" for slot, w in fitted.items())
        job += f"  - name: {name}\n    fitted: {'{fan: {' + held + '}}' if fitted else 'none'}\n    readings:\n"
        for s, value in zip(SENSORS, row):
            job += (f"      - {{speed: {RPM} rpm, sensor: {s}, amplitude: {abs(value)!r} in/s peak, "
                    f"phase: {np.degrees(np.angle(value)) % 360!r} deg, component: once-per-rev}}\n")
    (folder / "job.yaml").write_text(job)
    done = subprocess.run([program, "check", str(folder / "job.yaml"), "--format", "json"], capture_output=True,
                          text=True)
    if done.returncode != 0:
        sys.exit(f"check failed: {done.stderr}")
    return json.loads(done.stdout)


class Gaussian:
    """All readings of some runs, run by run: x = X0 + C U + noise."""

    def __init__(self, written):
        self.usual = np.median(np.abs(written), axis=0)
        self.centre = U.mean()
        self.change = np.abs(U - U[0]).max()
        cap = np.minimum(1.0, 2.0 * self.usual / np.abs(written))
        self.level = written * cap
        before = [0, 1]
        d, noise = self.parts(before, U)
        across = self.prior() @ d.conj().T
        b = across @ np.linalg.solve(d @ across + noise, written[before].ravel())
        self.level[2] = self.parts([2], U)[0] @ b  # of the check run: what was foretold

    def prior(self):
        return np.diag(np.repeat((2.0 * self.usual) ** 2, 2)).astype(complex)

    def parts(self, runs, unbalance):
        n = len(SENSORS)
        design = np.zeros((len(runs) * n, 2 * n), complex)
        noise = np.zeros((len(runs) * n, len(runs) * n), complex)
        for k, r in enumerate(runs):
            for s in range(n):
                i = k * n + s
                design[i, 2 * s] = 1.0
                design[i, 2 * s + 1] = (unbalance[r] - self.centre) / self.change
                noise[i, i] = WITHIN ** 2 + RUN ** 2 + SHARE ** 2 * abs(self.level[r, s]) ** 2
        return design, noise

    def joint(self, runs, unbalance, scale):
        design, noise = self.parts(runs, unbalance)
        return design @ self.prior() @ design.conj().T + scale ** 2 * noise

    def log_density(self, runs, unbalance, x, scale):
        if not runs:
            return 0.0
        s = self.joint(runs, unbalance, scale)
        d = x[runs].ravel()
        _, log_det = np.linalg.slogdet(s)
        return -len(d) * np.log(2 * np.pi) - log_det - 0.5 * (d.conj() @ np.linalg.solve(s, d)).real

    def conditional(self, about, unbalance, x, volume=0.0):
        """Log of the mean over the scales of p(about | others)."""
        others = [r for r in range(3) if r not in about]
        each = [self.log_density(sorted(about) + others, unbalance, x, s) - self.log_density(others, unbalance, x, s)
                for s in SCALES]
        return np.logaddexp.reduce(each + np.log(SHARES)) + volume

    def spread(self, about, unbalance):
        if 2 in about and min(about) == 2:
            return 0.0
        return 2 * len(SENSORS) * np.log(np.abs(unbalance - unbalance[0]).max() / self.change)


def forms(x):
    """(kind, run, share, runs it is about, U, readings, log volume)."""
    def fit(kind, run, share, fitted):
        u = U.copy()
        u[run] = moment(fitted)
        return kind, run, share, [run], u, x, 0.0

    for run in (1, 2):
        for slot, weight in FITTED[run].items():
            rest = {k: w for k, w in FITTED[run].items() if k != slot}
            yield fit("weight_missing", run, 1.0, rest)
            yield fit("weight_of_wrong_size", run, 1.0, {**rest, slot: "a" if weight == "b" else "b"})
    yield fit("weight_left_in", 2, 2.0, {**FITTED[2], 2: "b"})
    for run in range(3):
        for which in [[0, 1, 2], [0], [1], [2]]:
            turned, over = x.copy(), x.copy()
            turned[run, which] = turned[run, which].conj()
            over[run, which] = -over[run, which]
            yield "phase_sense", run, 2.0 if len(which) == 3 else 1.0, [run], U, turned, 0.0
            if len(which) == 1:
                yield "sensor_polarity", run, 1.0, [run], U, over, 0.0
            for factor in [2, 0.5, 2 ** 0.5, 0.5 ** 0.5, 8 ** 0.5, 8 ** -0.5, 25.4, 1 / 25.4, 1000, 0.001]:
                scaled = x.copy()
                scaled[run, which] /= factor
                yield "unit_or_detector", run, 1.0, [run], U, scaled, -2 * len(which) * np.log(factor)
    for a, b in [(0, 1), (0, 2), (1, 2)]:
        swapped = x.copy()
        swapped[[a, b]] = swapped[[b, a]]
        yield "runs_exchanged", a, 1.0, [a, b], U, swapped, 0.0


def compare(program, folder, what, x):
    said = document(folder, program, x)
    exact = Gaussian(x)
    base = exact.conditional([2], U, x)
    evidence = {}
    for kind, run, share, about, u, readings, volume in forms(x):
        log = (base + exact.conditional(about, u, readings, volume) + exact.spread(about, u)
               - exact.conditional(about, U, x) - exact.spread(about, U))
        evidence.setdefault((kind, RUNS[run]), []).append((share, log))
    worst, compared = 0.0, 0
    for one in said["mistakes"]:
        if one["kind"] == "nothing_wrong":
            worst = max(worst, abs(one["log_evidence"] - base))
        key = one["kind"], one["run"]
        if key not in evidence:
            continue
        shares = np.array([s for s, _ in evidence[key]])
        mean = np.logaddexp.reduce(np.log(shares / shares.sum()) + [log for _, log in evidence[key]])
        worst = max(worst, abs(one["log_evidence"] - mean))
        compared += 1
    print(f"{what}: {compared} kinds of mistake in named runs, largest difference of log evidence {worst:.2e}")
    return worst < 1e-6 * max(1.0, abs(base)) and compared == len(evidence)


def main():
    program, rng = str(Path(sys.argv[1]).resolve()), np.random.default_rng(20261126)
    noise = 0.02 * (rng.standard_normal((3, 3)) + 1j * rng.standard_normal((3, 3)))
    sound = X0 + np.outer(U, C) + noise
    small = X0 + np.outer([0, moment({2: "a"}), U[2]], C) + noise
    exchanged = sound.copy()
    exchanged[[0, 1]] = exchanged[[1, 0]]
    good = True
    with tempfile.TemporaryDirectory() as scratch:
        for what, x in [("sound", sound), ("trial of another size", small), ("runs exchanged", exchanged)]:
            good &= compare(program, Path(scratch), what, x)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
