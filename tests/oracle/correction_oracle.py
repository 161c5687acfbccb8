#!/usr/bin/env python3
"""The continuous correction of random jobs against independent solvers: correction_oracle.py PROGRAM PROJECT [JOBS].
Leaves with status 1 when anything differs.

Least squares: numpy.linalg.lstsq (LAPACK zgelsd), with moment limits scipy.optimize.minimize (SLSQP). Worst ratio: a
linear program over polygons of K = 128 sides instead of circles, scipy.optimize.linprog (HiGHS). Circumscribed
polygons give a ratio that is too small by at most 1 - cos(pi/K) = 3.0e-4 of itself, and with moment limits relaxed
by 1/cos(pi/K) still a lower bound; with limits inscribed, an upper bound after division by cos(pi/K). The lower bound
is then sharpened by tangents at the points found until it closes to 1e-7. Speed weights multiply the ratios of their
speed; the penalty adds one row a plane, `penalty` times the largest ratio a moment in the plane makes.

Where something is added by a known change no limit on the total moment is set here, nor are speed weights and
penalty set together: the documentation does not say what then holds.
"""
import sys
import tempfile

import numpy as np
from scipy.optimize import linprog, minimize

import trim_reference as ref

SIDES = 128
UNIT = 1000.0  # g mm: the solvers' unit of moment, so that all is of order one


class Problem:
    """Rows r + a u of amplitude over limit, u per plane in UNIT; discs (plane, offset, radius), in UNIT too."""

    def __init__(self, job, speeds, names, trim):
        model_planes, rows = ref.influence(job, speeds)
        rotor = job.rotor
        self.planes = [rotor.plane_names.index(n) for n in names]
        now = job.unbalance_now()
        self.keys, self.rows = list(rows), rows
        self.limit = np.array([rotor.sensors[i].limit(speeds[s]) for s, i in rows])
        self.now = np.array([row.at(now[model_planes]) for row in rows.values()])
        self.c = np.array([row.c[[model_planes.index(p) for p in self.planes]] for row in rows.values()])
        weight = np.ones(len(speeds))
        for one in trim.get("speed_weights", []):
            weight[int(np.argmin(np.abs(speeds - rotor.rpm(one["speed"]))))] = one["weight"]
        weight = np.array([weight[s] for s, _ in rows])
        self.ratio_now, self.ratio_c = self.now / self.limit, UNIT * self.c / self.limit[:, None]
        self.r, self.a = weight * self.ratio_now, weight[:, None] * self.ratio_c
        if trim.get("penalty"):
            self.r = np.append(self.r, np.zeros(len(self.planes)))
            self.a = np.vstack([self.a, trim["penalty"] * np.diag(np.max(np.abs(self.ratio_c), axis=0))])
        self.discs = []
        for k, p in enumerate(self.planes):
            plane = rotor.planes[p]
            if "max_added_moment" in plane:
                self.discs.append((k, 0.0, ref.measured(plane["max_added_moment"], ref.MOMENT) / UNIT))
            if "max_total_moment" in plane:
                self.discs.append((k, job.plane_moment(p, job.now[p]) / UNIT,
                                   ref.measured(plane["max_total_moment"], ref.MOMENT) / UNIT))

    def broken_by(self, u):
        """The largest excess of a moment limit, over its radius; negative inside all."""
        return max([abs(u[k] + o) / radius - 1 for k, o, radius in self.discs], default=-1.0)


def half_planes(points, coefficients, angles):
    """Rows of Re((points + coefficients u) e^{-j angle}) in (Re u, Im u), and what is constant in them."""
    turned = np.exp(-1j * angles)
    c = coefficients * turned[:, None]
    return np.hstack([c.real, -c.imag]), (points * turned).real


def worst_by_linear_program(r, a, discs, inscribed=False, sharpen=False):
    """min t, |r + a u| <= t and u in the discs, over polygons; (t, u) or None when there is no such u."""
    n, planes = a.shape
    sides = 2 * np.pi * np.arange(SIDES) / SIDES
    angles = [np.tile(sides, n), np.tile(sides, len(discs))]
    which = [np.repeat(np.arange(n), SIDES), np.repeat(np.arange(len(discs)), SIDES)]
    pick = np.array([np.eye(planes)[k] for k, _, _ in discs]).reshape(len(discs), planes)
    offset, radius = np.array([o for _, o, _ in discs]), np.array([rad for _, _, rad in discs])
    if inscribed:
        radius = radius * np.cos(np.pi / SIDES)
    lower = 0.0
    for _ in range(40 if sharpen else 1):
        g, h = half_planes(r[which[0]], a[which[0]], angles[0])
        left, right = np.hstack([g, -np.ones((len(h), 1))]), -h
        if discs:
            g, h = half_planes(offset[which[1]], pick[which[1]], angles[1])
            left = np.vstack([left, np.hstack([g, np.zeros((len(h), 1))])])
            right = np.append(right, radius[which[1]] - h)
        answer = linprog(np.append(np.zeros(2 * planes), 1.0), A_ub=left, b_ub=right,
                         bounds=[(None, None)] * (2 * planes + 1), method="highs")
        if answer.status != 0:
            return None
        u, lower = answer.x[:planes] + 1j * answer.x[planes:-1], answer.x[-1]
        x, y = r + a @ u, offset + pick @ u
        if np.max(np.abs(x)) - lower < 1e-8 and np.all(np.abs(y) <= radius * (1 + 1e-8)):
            break
        angles = [np.append(angles[0], np.angle(x)), np.append(angles[1], np.angle(y))]
        which = [np.append(which[0], np.arange(n)), np.append(which[1], np.arange(len(discs)))]
    return lower, u


def least_squares_within(problem):
    """(least sqrt(sum |x|^2), u) within the discs."""
    u = np.linalg.lstsq(problem.a, -problem.r, rcond=None)[0]
    if problem.broken_by(u) <= 0:
        return np.linalg.norm(problem.r + problem.a @ u), u
    planes = len(u)
    join = lambda z: z[:planes] + 1j * z[planes:]
    split = lambda v: np.concatenate([v.real, v.imag])
    square = lambda z: np.sum(np.abs(problem.r + problem.a @ join(z)) ** 2)
    slope = lambda z: 2 * split(problem.a.conj().T @ (problem.r + problem.a @ join(z)))
    limits = [{"type": "ineq", "fun": lambda z, k=k, o=o, rad=rad: rad**2 - abs(join(z)[k] + o) ** 2}
              for k, o, rad in problem.discs]
    # From a point inside every disc, found by shrinking toward the offsets' negatives.
    start = np.zeros(planes, complex)
    for k in range(planes):
        centres = [-o for kk, o, _ in problem.discs if kk == k]
        start[k] = np.mean(centres) if centres else u[k]
    done = minimize(square, split(start), jac=slope, method="SLSQP", constraints=limits,
                    options={"ftol": 1e-14, "maxiter": 500})
    return np.sqrt(done.fun), join(done.x)


def invented(rng, limited, objective):
    planes = [ref.invent_plane(rng, f"plane {p + 1}", 0, []) for p in range(int(rng.integers(1, 4)))]
    for plane in planes:
        if limited and rng.random() < 0.7:
            plane["max_added_moment"] = f"{rng.uniform(400, 1500):.6g} g.mm"
        if limited and rng.random() < 0.7:
            plane["max_total_moment"] = f"{rng.uniform(60, 160):.6g} g.cm"
    rotor_written = ref.invent_rotor(rng, planes, [ref.invent_sensor(rng, f"s{i + 1}")
                                                   for i in range(int(rng.integers(1, 4)))])
    speeds = np.sort(rng.choice(np.arange(2000, 5400, 400), int(rng.integers(1, 6)), replace=False)) + 0.0
    item = lambda low, high: {"at": ref.angle_text(rng), "moment": f"{rng.uniform(low, high):.9g} g.mm"}
    base = {p["name"]: [item(100, 500)] for p in planes}
    runs = [{"name": "as found", "fitted": base}]
    for plane in planes:
        runs.append({"name": "trial " + plane["name"],
                     "fitted": {**base, plane["name"]: base[plane["name"]] + [item(500, 1500)]}})
    if not limited and rng.random() < 0.5:
        runs[-1]["changes"] = [{"plane": planes[0]["name"], "blade": 5, "moment": "-321 g.mm"}]
    trim = {"objective": objective}
    draw = rng.random()
    if draw < 0.3:
        trim["speed_weights"] = [{"speed": f"{s:.0f} rpm", "weight": round(rng.uniform(0.2, 3), 3)}
                                 for s in speeds[:3]]
    elif draw < 0.6:
        trim["penalty"] = round(rng.uniform(0.05, 1.0), 3)
    if len(planes) > 1 and rng.random() < 0.3:
        trim["planes"] = [p["name"] for p in planes[1:]]
    job_written = {"runs": runs, "fitted_now": ref.pick(rng, [base, "same as as found", "same as " + runs[-1]["name"]]),
                   "trim": trim}
    job, truth = ref.Job(rotor_written, job_written), ref.Truth(rng, rotor_written, speeds, moment=1200.0)
    for r, run in enumerate(runs):
        run["readings"] = truth.readings(job, r)
    return rotor_written, job_written, job, speeds


def check_predictions(checks, name, job, problem, u, document):
    """Readings before and after, amplitude and phase as the sensors' readings are written."""
    for key, now, c in zip(problem.keys, problem.now, problem.c):
        sensor = job.rotor.sensors[key[1]]
        one = document["predicted"][problem.keys.index(key)]
        for word, x in (("before", now), ("after", now + c @ u * UNIT)):
            found = sensor.phasor(f"{one[word]!r} {sensor.unit}", one[word + "_phase_deg"], None, one["speed_rpm"],
                                  job.rotor.lag)
            checks.close(abs(found - x) / abs(now), 1e-9, f"{name}: {word} of {key}")
        checks.close(abs(one["limit"] / sensor.detector / sensor.limit(one["speed_rpm"]) - 1), 1e-12,
                     f"{name}: limit of {key}")


def check_job(checks, name, job, speeds, written, document):
    trim = written["trim"]
    names = trim.get("planes") or [job.rotor.plane_names[p] for p in job.moved_planes()]
    problem = Problem(job, speeds, names, trim)
    checks.ok([one["plane"] for one in document["correction"]] == names, f"{name}: planes")
    u = np.array([one["moment_to_add_g_mm"] * ref.unit_vector(one["angle_deg"]) / UNIT
                  for one in document["correction"]])
    checks.close(problem.broken_by(u), 1e-8, f"{name}: moment limit")
    check_predictions(checks, name, job, problem, u, document)
    x = problem.r + problem.a @ u
    if trim["objective"] == "least squares":
        least, there = least_squares_within(problem)
        checks.close(np.linalg.norm(x) / least - 1 if least > 1e-9 else np.linalg.norm(x), 1e-6,
                     f"{name}: sum of squares")
        if problem.a.shape[0] >= problem.a.shape[1] and problem.broken_by(there) < -1e-9:
            checks.close(np.max(np.abs(u - there)) / np.max(np.abs(there)), 1e-6, f"{name}: moments against zgelsd")
    else:
        low, _ = worst_by_linear_program(problem.r, problem.a, problem.discs)
        inner = worst_by_linear_program(problem.r, problem.a, problem.discs, inscribed=True)
        sharp, _ = worst_by_linear_program(problem.r, problem.a, problem.discs, sharpen=True)
        worst = np.max(np.abs(x))
        checks.ok(worst >= low - 1e-7, f"{name}: worst ratio {worst} below the polygons' {low}")
        checks.ok(inner is None or worst <= inner[0] / np.cos(np.pi / SIDES) + 1e-7,
                  f"{name}: worst ratio {worst} above the polygons' {inner}")
        checks.close(worst - sharp, 2e-6, f"{name}: worst ratio against the linear program")
    ratio = np.max(np.abs(problem.ratio_now + problem.ratio_c @ u))
    checks.close(abs(document["worst_ratio"] - ratio), 1e-9, f"{name}: worst_ratio told")
    low, _ = worst_by_linear_program(problem.ratio_now, problem.ratio_c, problem.discs)
    sharp, _ = worst_by_linear_program(problem.ratio_now, problem.ratio_c, problem.discs, sharpen=True)
    checks.ok(low - 1e-7 <= document["bound"] <= document["worst_ratio"] * (1 + 1e-12),
              f"{name}: bound {document['bound']} not from {low} to {document['worst_ratio']}")
    checks.ok(document["bound"] <= sharp + 2e-6, f"{name}: bound {document['bound']} above the least {sharp}")


def admissible(job, names):
    """Whether the discs of each plane meet, None when it is close."""
    answer = True
    for p, plane in enumerate(job.rotor.planes):
        if plane["name"] not in names:
            continue
        if "max_added_moment" in plane and "max_total_moment" in plane:
            radii = [ref.measured(plane[key], ref.MOMENT) for key in ("max_added_moment", "max_total_moment")]
            slack = sum(radii) - abs(job.plane_moment(p, job.now[p]))
            if abs(slack) < 1:
                return None
            answer = answer and slack > 0
    return answer


def random_corrections(program, checks, objective, limited, count, first_seed):
    checks.begin(f"{objective}, {'with' if limited else 'without'} moment limits, {count} random jobs")
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng(seed)
        rotor_written, job_written, job, speeds = invented(rng, limited, objective)
        with tempfile.TemporaryDirectory() as folder:
            path = ref.write_job(folder, rotor_written, job_written)
            can = admissible(job, job_written["trim"].get("planes", job.rotor.plane_names))
            if can:
                check_job(checks, f"job {seed}", job, speeds, job_written, program.json("plan", path))
            elif can is not None:
                checks.ok(program.run("plan", path)[0] == 1, f"job {seed}: planned")
    checks.end()


def main():
    program, checks = ref.Program(sys.argv[1]), ref.Checks()
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 10
    kinds = [("least squares", False), ("least squares", True), ("worst ratio", False), ("worst ratio", True)]
    return ref.verdict(checks, [lambda k=k: random_corrections(program, checks, *kinds[k], count, 100_000 * (k + 1))
                                for k in range(len(kinds))])


if __name__ == "__main__":
    sys.exit(main())
