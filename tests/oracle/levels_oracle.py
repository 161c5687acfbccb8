#!/usr/bin/env python3
"""The prior in two levels against its closed form in NumPy: levels_oracle.py PROGRAM PROJECT [JOBS]. Leaves with status 1
when anything differs.

One to three earlier jobs, of this serial, of another, or of both, two planes and one speed of two sensors (no more rows than
planes: nothing is supposed of what weights cannot cancel), and a job with a baseline alone, whose coefficients are then the prior's. With the scatter that is stated where so few rotors tell it (0.2
common to a plane, 0.1 of each coefficient's own, half of the squares between visits) the joint normal distribution of
earlier readings' coefficients and this rotor's next is conditioned, the type's means integrated out with a wide prior. All
linear in relative deviations from the type's means, which are found by iteration. Where there are rotors and visits enough,
their scatter is what maximises the restricted likelihood times every standard deviation, sought by SciPy's minimiser.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import optimize

program = sys.argv[1]
jobs = int(sys.argv[3]) if len(sys.argv) > 3 else 9
WITHIN, RPM, SENSORS, PLANES = 0.02, 3000, ["A", "B"], ["front", "rear"]
COMMON, OWN = 0.2 ** 2 / 2, 0.1 ** 2 / 2  # of each level


def rotor_text():
    sensors = "".join(
        f"  - {{name: {s}, measures: velocity, unit: in/s peak, phase_of: velocity, repeatability: {WITHIN} in/s, run_to_run: 0 in/s, "
        "limits: [{up_to: 5000 rpm, limit: 2 in/s, target: 0.3 in/s}]}\n" for s in SENSORS)
    return ("trimwright: rotor 1\nname: type\nrotation: {sense: clockwise, seen_from: aft}\nphase: lead\nspeed_tolerance: 20 rpm\n"
            f"reference: {{teeth: 1, larger_tooth: 1, polarity: falling}}\nplanes:\n  - name: front\n  - name: rear\nsensors:\n{sensors}")


def job_text(serial, when, runs):
    text = f"trimwright: job 1\nrotor: ../rotor.yaml\nserial: {serial}\nruns:\n"
    for r, (plane, moment, x) in enumerate(runs):
        at = f"{np.degrees(np.angle(moment))!r} deg with rotation"
        fitted = f"{{{PLANES[plane]}: [{{at: {at}, moment: {abs(moment)!r} g.mm}}]}}" if moment else "none"
        text += f"  - name: run {r}\n    when: {when} 09:00\n    fitted: {fitted}\n    readings:\n"
        for s, value in zip(SENSORS, x):
            text += (f"      - {{speed: {RPM} rpm, sensor: {s}, amplitude: {abs(value)!r} in/s peak, "
                     f"phase: {np.degrees(np.angle(value)) % 360!r}}}\n")
    return text


def real(z):
    return np.column_stack([z.real, z.imag]).ravel()


def parts():
    """Covariances per unit variance (coefficients by sensor, then plane): common in amplitude, in phase, own in each."""
    same_plane = np.kron(np.ones((2, 2)), np.eye(2))
    return [np.kron(what, np.diag(part)) for what in (same_plane, np.eye(4)) for part in ([1, 0], [0, 1])]


def level(variances):
    return sum(v * part for v, part in zip(variances, parts()))


STATED = [COMMON, COMMON, OWN, OWN]


def as_real(hermitian):
    return np.block([[np.array([[k.real, -k.imag], [k.imag, k.real]]) for k in row] for row in hermitian])


def by_job(serials, fixed, rotors, visits):
    """Covariance of all jobs' coefficients."""
    n = len(serials)
    v = np.zeros((8 * n, 8 * n))
    for a in range(n):
        for b in range(n):
            block = level(rotors) if serials[a] == serials[b] else np.zeros((8, 8))
            v[8 * a:8 * a + 8, 8 * b:8 * b + 8] = block + (level(visits) + fixed[a] if a == b else 0)
    return v


def scatter(serials, y, x, fixed, start):
    """Variances between rotors and between visits of one, and what the search began from and ended at."""
    rotors, repeats = len(set(serials)), len(serials) - len(set(serials))
    if rotors < 3:
        return STATED, STATED, start
    both = repeats >= 3

    def split(log):
        variances = np.exp(log)
        return (variances[:4], variances[4:]) if both else (variances / 2, variances / 2)

    def lack(log):
        v = by_job(serials if both else range(len(serials)), fixed, *split(log))
        inverse = np.linalg.inv(v)
        weight = x.T @ inverse @ x
        r = y - x @ np.linalg.solve(weight, x.T @ inverse @ y)
        return (np.linalg.slogdet(v)[1] + np.linalg.slogdet(weight)[1] + r @ inverse @ r - log.sum()) / 2

    found = optimize.minimize(lack, np.full(8 if both else 4, np.log(0.01)) if start is None else start, method="BFGS", options={"gtol": 1e-6}).x
    return *split(found), found


def predict(serials, estimates, variances):
    """Coefficients and their standard deviations per real component, of rotor "mine"."""
    mean = np.mean(estimates, axis=0)
    n = len(estimates)
    x = np.tile(np.eye(8), (n, 1))
    start = None
    for _ in range(60):
        y = np.concatenate([real(e / mean - 1.0) for e in estimates])
        fixed = [as_real(one / np.outer(mean, mean.conj())) for one in variances]
        rotors, visits, start = scatter(serials, y, x, fixed, start)
        v = by_job(serials, fixed, rotors, visits)
        inverse = np.linalg.inv(v)
        off = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
        mean = mean * (1 + off[0::2] + 1j * off[1::2])
        if np.abs(off).max() < (1e-6 if start is not None else 1e-13):
            break
    wide = 1e4  # of the type's means
    joint = v + wide * x @ x.T
    across = wide * x.T + np.hstack([level(rotors) if s == "mine" else np.zeros((8, 8)) for s in serials])
    gain = across @ np.linalg.inv(joint)
    told = gain @ y
    covariance = wide * np.eye(8) + level(rotors) + level(visits) - gain @ across.T
    value = mean * (1 + told[0::2] + 1j * told[1::2])
    # A level's scatter is a share of the rotor's own coefficient: in the frame of what is foretold.
    between = level(visits) if "mine" in serials else level(rotors) + level(visits)
    rest = covariance - between
    sd = []
    for i in range(4):
        own = rest[2 * i:2 * i + 2, 2 * i:2 * i + 2]
        sd.append(np.sqrt(abs(mean[i]) ** 2 * np.trace(own) / 2 + abs(value[i]) ** 2 * np.trace(between[2 * i:2 * i + 2, 2 * i:2 * i + 2]) / 2))
    together = np.kron(np.kron(np.ones((2, 2)), np.eye(2)), np.eye(2))  # of one plane, amplitude or phase
    shares = [(gain[:, 8 * a:8 * a + 8] * together).sum() / 8 for a in range(len(serials))]
    return value, np.array(sd), shares


def main():
    rng = np.random.default_rng(26112)
    wrong = []
    normal = lambda n: (rng.normal(size=n) + 1j * rng.normal(size=n)) / np.sqrt(2)
    worlds = [["mine"], ["other"], ["mine", "other"], ["mine", "mine"], ["other", "other"], ["other", "mine", "mine"],
              ["a", "b", "c", "mine"], ["a", "a", "b", "b", "c", "c", "mine", "mine"], ["a", "b", "b", "c", "c", "d", "d"]]
    for job in range(jobs):
        serials = worlds[job % len(worlds)]
        c0 = normal(4) * 1e-3 + 1e-3
        estimates, variances = [], []
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "jobs").mkdir()
            (folder / "now").mkdir()
            (folder / "rotor.yaml").write_text(rotor_text(), "utf-8")
            rotor = {serial: np.tile(0.1 * normal(2), 2) + 0.05 * normal(4) for serial in dict.fromkeys(serials)}
            for j, serial in enumerate(serials):
                common = 0.06 * normal(2)
                c = c0 * (1 + rotor[serial] + np.tile(common, 2) + 0.03 * normal(4))
                moments = rng.uniform(200, 400, 2) * np.exp(1j * rng.uniform(0, 6, 2))
                x0 = normal(2)
                runs = [(0, 0, x0)]
                for p in (0, 1):
                    runs.append((p, moments[p], x0 + c.reshape(2, 2)[:, p] * moments[p] + WITHIN * normal(2)))
                estimates.append(np.array([(runs[1 + p][2][i] - x0[i]) / moments[p] for i in (0, 1) for p in (0, 1)]))
                k = np.zeros((4, 4), complex)
                for i in (0, 1):
                    for p in (0, 1):
                        for q in (0, 1):
                            shared = 2.0 if p == q else 1.0
                            k[2 * i + p, 2 * i + q] = shared * WITHIN ** 2 / (moments[p] * moments[q].conj())
                variances.append(k)
                (folder / f"jobs/{j}.yaml").write_text(job_text(serial, f"2031-05-1{j}", runs), "utf-8")
            (folder / "now/job.yaml").write_text(job_text("mine", "2031-06-01", [(0, 0, normal(2))]), "utf-8")
            out = subprocess.run([program, "influence", f"{name}/now/job.yaml", "--archive", f"{name}/jobs", "--format", "json"],
                                 capture_output=True, text=True)
        if out.returncode != 0:
            wrong.append(f"job {job}: {out.stderr}")
            continue
        told = json.loads(out.stdout)
        value, sd, shares = predict(serials, estimates, variances)
        for i, one in enumerate(told["coefficients"]):
            found = one["amplitude"] * np.exp(1j * np.radians(one["phase_deg"]))
            estimated = len(set(serials)) >= 3
            if abs(found - value[i]) > (1e-4 if estimated else 1e-5) * abs(value[i]):
                wrong.append(f"job {job} {serials}: {found}, not {value[i]}")
            if abs(one["sd"] / sd[i] - 1) > (5e-3 if estimated else 1e-3):
                wrong.append(f"job {job} {serials}: ± {one['sd']}, not {sd[i]}")
        for share, one in zip(shares, told["earlier_jobs"]["jobs"], strict=True):
            if abs(share - one["share"]) > (1e-3 if estimated else 1e-4):
                wrong.append(f"job {job} {serials}: share {one['share']}, not {share}")
    print(f"{jobs} priors in two levels against their closed form: {len(wrong)} differences")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
