#!/usr/bin/env python3
"""Generalised least squares with known covariance against statsmodels; posterior of runs and prior, and the chance of
meeting targets, against closed forms in NumPy and SciPy: certainty_oracle.py PROGRAM PROJECT [JOBS]. Leaves with status 1 when anything differs.

Jobs have two planes, two sensors at one speed or one sensor at two (no more rows than planes: nothing is supposed of what weights
cannot cancel), a baseline and a run with weights in both planes at once, and a random prior with full covariance.
The closed form conditions a joint normal distribution; the chance is Monte Carlo of NumPy's own.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import statsmodels.api as sm
from scipy import stats

PLANES, SENSORS, RPM = ["front", "rear"], ["A", "B"], 3000
PLACES = {"one speed": [("A", RPM), ("B", RPM)], "two speeds": [("A", RPM), ("A", 3600)]}
WITHIN, RUN, TARGET, LIMIT = 0.02, 0.03, 0.3, 1.0
NAMES = ["common_amplitude", "common_phase", "own_amplitude", "own_phase", "critical_speeds"]


def times(c):
    return np.array([[c.real, -c.imag], [c.imag, c.real]])


def stacked(z):
    return np.column_stack([np.real(z), np.imag(z)]).ravel()


def rotor_text():
    planes = "".join(f"  - name: {p}\n" for p in PLANES)
    sensors = "".join(
        f"  - {{name: {s}, measures: velocity, unit: in/s peak, phase_of: velocity, repeatability: {WITHIN} in/s, "
        f"run_to_run: {RUN} in/s, limits: [{{up_to: 5000 rpm, limit: {LIMIT} in/s, target: {TARGET} in/s}}]}}\n"
        for s in SENSORS)
    return ("trimwright: rotor 1\nname: type\nrotation: {sense: clockwise, seen_from: aft}\nphase: lead\n"
            "speed_tolerance: 20 rpm\nreference: {teeth: 1, larger_tooth: 1, polarity: falling}\n"
            f"planes:\n{planes}sensors:\n{sensors}")


def fitted_text(u):
    items = [f"{p}: [{{at: {np.degrees(np.angle(m))!r} deg with rotation, moment: {abs(m)!r} g.mm}}]"
             for p, m in zip(PLANES, u) if m != 0]
    return "{" + ", ".join(items) + "}" if items else "none"


def job_text(runs, places):
    text = "trimwright: job 1\nrotor: rotor.yaml\nprior: prior.yaml\nruns:\n"
    for name, u, x in runs:
        text += f"  - name: {name}\n    fitted: {fitted_text(u)}\n    readings:\n"
        for (s, rpm), value in zip(places, x):
            text += (f"      - {{speed: {rpm} rpm, sensor: {s}, amplitude: {abs(value)!r} in/s peak, "
                     f"phase: {np.degrees(np.angle(value)) % 360!r} deg, component: once-per-rev}}\n")
    return text


SPREAD = 1e-6  # variance of each variance of the scatter


def triangle(matrix):
    return "".join("  - [" + ", ".join(repr(float(v)) for v in matrix[i, :i + 1]) + "]\n" for i in range(len(matrix)))


def prior_text(means, sd, mean_covariance, places):
    text = "trimwright: prior 1\nrotor: type\njobs: 30\nphase: lead\nscatter:\n"
    text += "".join(f"  {n}: {float(s)!r}\n" for n, s in zip(NAMES, sd))
    text += "scatter_covariance:\n" + triangle(SPREAD * np.eye(len(sd))) + "coefficients:\n"
    for ((s, rpm), p), m in zip([(s, p) for s in places for p in PLANES], means):
        text += (f"  - {{speed: {rpm} rpm, sensor: {s}, plane: {p}, unit: in/s, amplitude: {abs(m)!r}, "
                 f"phase: {np.degrees(np.angle(m)) % 360!r} deg}}\n")
    return text + "mean_covariance:\n" + triangle(mean_covariance)


def slopes(means, places):
    """d ln C / d ln n of the four coefficients: between the two speeds of a plane, as (re, im) of each."""
    (first, low), (second, high) = places
    if first != second:
        return np.zeros(8)
    return stacked(np.tile(np.log(means[2:] / means[:2]) / np.log(high / low), 2))


def prior_moments(means, sd, mean_covariance, places):
    """Entries by place, then plane; relative amplitude and phase, turned into re and im."""
    slope = slopes(means, places)
    relative = mean_covariance + sd[4] ** 2 * np.outer(slope, slope)
    for a in range(4):
        for b in range(4):
            for part in range(2):
                if a % 2 == b % 2:
                    relative[2 * a + part, 2 * b + part] += sd[part] ** 2
                if a == b:
                    relative[2 * a + part, 2 * b + part] += sd[2 + part] ** 2
    turn = np.zeros((8, 8))
    for a in range(4):
        turn[2 * a:2 * a + 2, 2 * a:2 * a + 2] = times(means[a])
    return stacked(means), turn @ relative @ turn.T


def noise_of_run(places):
    """Of one run's two readings: a sensor's change of the run is common to its speeds."""
    same = np.array([[a[0] == b[0] for b in places] for a in places])
    return np.kron(WITHIN ** 2 * np.eye(2) + RUN ** 2 * same, np.eye(2))


def closed_form(runs, mean, covariance, places):
    """Unknowns (X0, C front, C rear) of the first place, then of the second; X0 wide. Returns their mean and covariance."""
    m, s = np.zeros(12), np.zeros((12, 12))
    at = [2, 3, 4, 5, 8, 9, 10, 11]
    for i in (0, 1, 6, 7):
        s[i, i] = 1e4
    m[at], s[np.ix_(at, at)] = mean, covariance
    rows, y = [], []
    for _, u, x in runs:
        for i in range(2):
            row = np.zeros((2, 12))
            row[:, 6 * i:6 * i + 2] = np.eye(2)
            for p in range(2):
                row[:, 6 * i + 2 + 2 * p:6 * i + 4 + 2 * p] = times(u[p])
            rows.append(row)
            y += [x[i].real, x[i].imag]
    a = np.vstack(rows)
    v = np.kron(np.eye(len(runs)), noise_of_run(places))
    gain = np.linalg.solve(a @ s @ a.T + v, a @ s).T
    return m + gain @ (np.array(y) - a @ m), s - gain @ a @ s


def ask(program, folder, command):
    done = subprocess.run([program, command, str(folder / "job.yaml"), "--format", "json"], capture_output=True,
                          text=True, check=False)
    if done.returncode:
        sys.exit(f"{command}: {done.stderr}")
    return json.loads(done.stdout)


def limits_of_distributions(program, root, check):
    """Probabilities of the review, chi-squared and F with two and more degrees of freedom, against SciPy."""
    for name in ("job.yaml", "misread.yaml"):
        done = subprocess.run([program, "influence", str(root / "examples" / "quillhaven" / name), "--format", "json"],
                              capture_output=True, text=True, check=True)
        found = json.loads(done.stdout)
        near = lambda value, wanted: abs(value - wanted) <= 1e-9 * wanted + 1e-300
        chi = found["chi_squared"]
        check(near(chi["probability"], stats.chi2.sf(chi["value"], chi["degrees_of_freedom"])), f"{name}: chi-squared")
        dof = found["noise"]["degrees_of_freedom"]
        tested = [one for one in found["review"]["readings"] if one["studentised"] is not None]
        check(len(tested) > 10, f"{name}: no reading was tested")
        for one in tested:
            wanted = stats.f.sf(one["studentised"] ** 2 / 2, 2, dof)
            check(near(one["probability"], wanted), f"{name}: {one['run']} {one['probability']} and not {wanted}")
        test = found["review"]["lack_of_fit"]
        if name == "misread.yaml":
            wanted = stats.f.sf(test["f"], test["fit_degrees_of_freedom"], test["repeat_degrees_of_freedom"])
            check(near(test["probability"], wanted), f"{name}: lack of fit")
            suspects = [(one["run"], one["sensor"]) for one in tested if one["suspect"]]
            check(suspects == [("third trial spinner", "front")], f"{name}: suspect are {suspects}")


def parts_rotor(within, run, proportional):
    planes = "".join(f"  - name: {p}\n" for p in PLANES)
    sensors = "".join(
        f"  - {{name: {s}, measures: velocity, unit: in/s peak, phase_of: velocity, repeatability: {within} in/s, "
        f"run_to_run: {run} in/s, proportional: {100 * proportional} %, limits: [{{up_to: 5000 rpm, limit: {LIMIT} in/s}}]}}\n"
        for s in SENSORS)
    return ("trimwright: rotor 1\nname: type\nrotation: {sense: clockwise, seen_from: aft}\nphase: lead\n"
            "speed_tolerance: 20 rpm\nreference: {teeth: 1, larger_tooth: 1, polarity: falling}\n"
            f"planes:\n{planes}sensors:\n{sensors}")


def parts_job(rng, within, run, proportional):
    """Five runs at three speeds; some readings missing, some with an sd of their own."""
    speeds = [2000, 2500, 3000]
    normal = lambda rms, n: rms * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    c, x0 = 4e-4 * normal(1, (3, 2, 2)), 0.4 * normal(1, (3, 2))
    readings, moments = [], [np.zeros(2, complex), *(normal(300, 2) for _ in range(4))]
    text = "trimwright: job 1\nrotor: rotor.yaml\nruns:\n"
    for r, u in enumerate(moments):
        text += f"  - name: run {r}\n    fitted: {fitted_text(u)}\n    readings:\n"
        change = normal(run, 2)
        for k, rpm in enumerate(speeds):
            for s in range(2):
                if r > 0 and rng.random() < 0.1:
                    continue
                truth = x0[k, s] + c[k, s] @ u
                own = 3 * within if rng.random() < 0.2 else None
                x = truth + change[s] + normal(np.hypot(own or within, proportional * abs(truth)), 1)[0]
                readings.append((r, k, s, x, own or within))
                text += (f"      - {{speed: {rpm} rpm, sensor: {SENSORS[s]}, amplitude: {abs(x)!r} in/s peak, phase: "
                         f"{np.degrees(np.angle(x)) % 360!r} deg, component: once-per-rev"
                         + (f", sd: {own!r} in/s" if own else "") + "}\n")
    return text, np.array(moments), readings


def aitken(moments, readings, sensor, run, proportional):
    """Generalised least squares of one sensor with known covariance by statsmodels, real and imaginary parts as two
    observations; the proportional part is of the fitted amplitude, found by iteration. Returns the speeds, the
    estimates (X0 and C per speed), their variances per real component, chi-squared and its degrees of freedom."""
    own = [one for one in readings if one[2] == sensor]
    speeds = sorted({k for _, k, *_ in own if sum(k == other for _, other, *_ in own) >= 3})
    own = [one for one in own if one[1] in speeds]
    design = np.zeros((len(own), 3 * len(speeds)), complex)
    for i, (r, k, *_) in enumerate(own):
        design[i, 3 * speeds.index(k):3 * speeds.index(k) + 3] = [1, *moments[r]]
    x = np.array([one[3] for one in own])
    level = np.abs(x)
    together = np.array([[one[0] == other[0] for other in own] for one in own])
    for _ in range(4):
        v = run ** 2 * together + np.diag([one[4] ** 2 for one in own]) + np.diag((proportional * level) ** 2)
        real = np.vstack([np.hstack([times(d) for d in row]) for row in design])
        fit = sm.GLS(stacked(x), real, sigma=np.kron(v, np.eye(2))).fit()
        estimate = fit.params[0::2] + 1j * fit.params[1::2]
        level = np.abs(design @ estimate)
    variances = np.diag(fit.normalized_cov_params)[0::2]
    return speeds, estimate, variances, fit.wresid @ fit.wresid, 2 * (len(own) - 3 * len(speeds))


def generalised(program, check, count):
    """Coefficients, their ± and chi-squared with every part of the noise, against statsmodels."""
    rng = np.random.default_rng(6)
    for job in range(count):
        within, run, proportional = 0.02, rng.choice([0.0, 0.03, 0.2]), rng.choice([0.0, 0.03, 0.1])
        text, moments, readings = parts_job(rng, within, run, proportional)
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "rotor.yaml").write_text(parts_rotor(within, run, proportional))
            (folder / "job.yaml").write_text(text)
            found = ask(program, folder, "influence")
        widened, chi2, dof = found["noise"]["widened"], 0.0, 0
        for s, sensor in enumerate(SENSORS):
            speeds, estimate, variances, misfit, spare = aitken(moments, readings, s, run, proportional)
            chi2, dof = chi2 + misfit, dof + spare
            coefficients = [one for one in found["coefficients"] if one["sensor"] == sensor]
            check(len(coefficients) == len(speeds) * len(PLANES), f"parts {job}: {len(coefficients)} coefficients")
            for one in coefficients:
                at = 3 * speeds.index([2000, 2500, 3000].index(round(one["speed_rpm"]))) + 1 + PLANES.index(one["plane"])
                value = one["amplitude"] * np.exp(1j * np.radians(one["phase_deg"]))
                sd = np.sqrt(variances[at]) * widened
                check(abs(value - estimate[at]) < 1e-7 * abs(estimate[at]), f"parts {job}: {value}, not {estimate[at]}")
                check(abs(one["sd"] / sd - 1) < 1e-7, f"parts {job}: ± {one['sd']}, not {sd}")
        check(found["chi_squared"]["degrees_of_freedom"] == dof, f"parts {job}: degrees of freedom, not {dof}")
        check(abs(found["chi_squared"]["value"] - chi2) < 1e-6 * max(1.0, chi2), f"parts {job}: chi-squared, not {chi2}")


def main():
    program, count = sys.argv[1], int(sys.argv[3]) if len(sys.argv) > 3 else 20
    rng = np.random.default_rng(5)
    failures = []

    def check(right, words):
        if not right:
            failures.append(words)

    limits_of_distributions(program, Path(sys.argv[2]), check)
    generalised(program, check, count)
    normal = lambda rms, n: rms * (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)
    for job in range(count):
        means = normal(1e-3, 4) + 4e-4
        places = PLACES["two speeds" if job % 2 else "one speed"]
        sd = np.append(rng.uniform(0.02, 0.15, 4), rng.uniform(0.005, 0.1))
        root = rng.standard_normal((8, 8)) * 0.02
        mean_covariance = root @ root.T
        c = (means * (1 + normal(0.1, 4))).reshape(2, 2)
        x0 = normal(0.8, 2)
        moments = [np.zeros(2, complex), normal(400, 2)]
        runs = [(f"run {r}", u, x0 + c @ u + normal(0.03, 2)) for r, u in enumerate(moments)]
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "rotor.yaml").write_text(rotor_text())
            (folder / "prior.yaml").write_text(prior_text(means, sd, mean_covariance, places))
            (folder / "job.yaml").write_text(job_text(runs, places))
            influence, plan = ask(program, folder, "influence"), ask(program, folder, "plan")
        mean, covariance = closed_form(runs, *prior_moments(means, sd, mean_covariance, places), places)
        check(len(influence["coefficients"]) == 4, f"job {job}: not four coefficients")
        for k, one in enumerate(influence["coefficients"]):
            at = [2, 4, 8, 10][k]
            found = one["amplitude"] * np.exp(1j * np.radians(one["phase_deg"]))
            wanted = mean[at] + 1j * mean[at + 1]
            sd_wanted = np.sqrt((covariance[at, at] + covariance[at + 1, at + 1]) / 2)
            # The wide X0 (100 in/s) moves the closed form by (0.05/100)^2 of a standard error at most.
            check(abs(found - wanted) < 1e-4 * sd_wanted, f"job {job}: coefficient {k}: {found} and not {wanted}")
            check(abs(one["sd"] / sd_wanted - 1) < 1e-4, f"job {job}: sd {k}: {one['sd']} and not {sd_wanted}")
        # The next run with the plan's moments added to what is fitted now.
        u = moments[-1].copy()
        for part in plan["correction"]:
            u[PLANES.index(part["plane"])] += part["moment_to_add_g_mm"] * np.exp(1j * np.radians(part["angle_deg"]))
        to_x = np.zeros((4, 12))
        for i in range(2):
            to_x[2 * i:2 * i + 2, 6 * i:6 * i + 6] = np.hstack([np.eye(2), times(u[0]), times(u[1])])
        noise = noise_of_run(places)
        samples = rng.multivariate_normal(np.zeros(4), to_x @ covariance @ to_x.T + noise, 200000)
        # Student's t, because the scatter of the fleet is itself estimated (F. E. Satterthwaite, 1946).
        diagonal = np.diag(mean_covariance).reshape(4, 2).mean(axis=0)
        steep = (slopes(means, places) ** 2).reshape(4, 2).mean(axis=0)
        dof = min(2 * (diagonal[k] + sd[k] ** 2 + sd[2 + k] ** 2 + steep[k] * sd[4] ** 2) ** 2
                  / (SPREAD * (2 + steep[k] ** 2)) for k in (0, 1))
        dof = min(dof, 2 * 29)  # two planes of 30 jobs
        samples = to_x @ mean + samples * np.sqrt(dof / rng.chisquare(dof, 200000))[:, None]
        worst = np.maximum(np.hypot(samples[:, 0], samples[:, 1]), np.hypot(samples[:, 2], samples[:, 3]))
        for level, key in ((TARGET, "meets_targets"), (LIMIT, "meets_limits")):
            wanted, found = np.mean(worst <= level), plan["probability"][key]
            # The program takes 4000 samples: four standard errors of a binomial share.
            chance = stats.binom(4000, min(max(wanted, 1e-4), 1 - 1e-4))
            check(abs(4000 * found - chance.mean()) <= 4 * chance.std() + 1, f"job {job}: {key} {found} and not {wanted}")
    print(f"{count} jobs with a prior against NumPy: {len(failures)} differences")
    for words in failures[:20]:
        print(words)
    sys.exit(1 if failures else 0)


main()
