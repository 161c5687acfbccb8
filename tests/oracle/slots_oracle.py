#!/usr/bin/env python3
"""Weights in slots against exhaustive search and a mixed-integer solver:
slots_oracle.py PROGRAM PROJECT [SMALL [LARGE]]. Leaves with status 1 when anything differs.
SMALL: number of random small jobs a kind; LARGE: "few", "many" (an hour) or "none".

Small jobs: every admissible choice is listed. Each row of the trade-off must be the best for its number of changes,
every bound must hold, and what is called proved must be the best. Real size (40 slots, 6 weights, 12 rows, 1 or 2
planes): scipy.optimize.milp (HiGHS) over polygons of 32 sides instead of circles, which makes the ratio too small by
at most 1 - cos(pi/32) = 0.48 % of itself, starting from the program's claim as an upper limit.
"""
import itertools
import json
import sys
import tempfile
import time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

import trim_reference as ref
from correction_oracle import UNIT, Problem

SIDES = 32


# --- what may be done in the slots -----------------------------------------------------------------------------

class Option:
    """One slot made to hold something else."""

    def __init__(self, plane, slot, held, fit, change):
        self.plane, self.slot, self.held, self.fit, self.change = plane, slot, held, fit, change


def options_by_slot(job, problem, stay):
    """[[Option]] of every slot that may be changed; `plane` an index into problem.planes."""
    slots = []
    for k, p in enumerate(problem.planes):
        ring, filler, fitted = job.rotor.rings[p], job.rotor.fillers[p], job.now[p][0]
        for n in ring.usable():
            held, moment = fitted.get(n, (None, filler))
            if stay and n in fitted:
                continue
            wanted = [(id_, m) for id_, m in job.rotor.catalogue[p].items() if n not in fitted or id_ != held]
            if n in fitted:
                wanted.append((None, filler))
            direction = ref.unit_vector(ring.theta(n)) / UNIT
            slots.append([Option(k, n, held, id_, (m - moment) * direction) for id_, m in wanted])
    return slots


def stock_left(job, problem):
    """{(plane, id): pieces that may still be drawn}."""
    left = {}
    for k, p in enumerate(problem.planes):
        for id_, stock in job.rotor.stock[p].items():
            left[k, id_] = stock - sum(1 for held, _ in job.now[p][0].values() if held == id_)
    return left


class Objective:
    def __init__(self, problem, kind):
        self.problem, self.kind = problem, kind

    def __call__(self, u):
        """Of each row of u [choices x planes]; objective, sum of squares, unweighted worst ratio."""
        x = np.abs(self.problem.r + u @ self.problem.a.T)
        square = np.sum(x**2, axis=1)
        value = np.sqrt(square) if self.kind == "least squares" else np.max(x, axis=1)
        return value, square, np.max(np.abs(self.problem.ratio_now + u @ self.problem.ratio_c.T), axis=1)

    def admissible(self, u):
        ok = np.ones(len(u), bool)
        for k, offset, radius in self.problem.discs:
            ok &= np.abs(u[:, k] + offset) <= radius
        return ok


def every_choice(slots, planes, left, changes):
    """u [choices x planes] of every choice of exactly `changes` changes that the stock allows."""
    pieces = {key: n for n, key in enumerate(left)}
    u, drawn, last = np.zeros((1, planes), complex), np.zeros((1, len(left)), np.int8), np.array([-1])
    for _ in range(changes):
        parts = []
        for s, options in enumerate(slots):
            before = last < s
            for option in options:
                du, dd = np.zeros(planes, complex), np.zeros(len(left), np.int8)
                du[option.plane] = option.change
                for id_, sign in ((option.fit, 1), (option.held, -1)):
                    if (option.plane, id_) in pieces:
                        dd[pieces[option.plane, id_]] += sign
                parts.append((u[before] + du, drawn[before] + dd, np.full(before.sum(), s)))
        if not parts:
            return np.zeros((0, planes), complex)
        u, drawn, last = (np.concatenate(part) for part in zip(*parts))
    return u[np.all(drawn <= np.array(list(left.values()), np.int8), axis=1)]


class Exhaustive:
    """best[m]: the least objective with exactly m changes; square[m] the least sum of squares among its ties."""

    def __init__(self, job, problem, trim):
        objective = Objective(problem, trim["objective"])
        slots = options_by_slot(job, problem, trim.get("fitted_weights") == "stay")
        left, self.best, self.square, self.ratio = stock_left(job, problem), [], [], np.inf
        self.choices = 0
        for m in range(min(trim["max_changes"], len(slots)) + 1):
            u = every_choice(slots, len(problem.planes), left, m)
            u = u[objective.admissible(u)]
            self.choices += len(u)
            value, square, ratio = objective(u) if len(u) else (np.array([np.inf]),) * 3
            self.best.append(value.min())
            self.square.append(square[value <= value.min() * (1 + 1e-10)].min())
            self.ratio = min(self.ratio, ratio.min())


# --- checks -----------------------------------------------------------------------------------------------------

def moments_of_slots(checks, name, job, problem, changes):
    """u of the changes a plan lists; checks that they may be made."""
    u, left = np.zeros(len(problem.planes), complex), stock_left(job, problem)
    for one in changes:
        p = job.rotor.plane_names.index(one["plane"])
        k, ring, fitted = problem.planes.index(p), job.rotor.rings[p], job.now[p][0]
        checks.ok(one["slot"] in ring.usable(), f"{name}: slot {one['slot']} is not usable")
        held, before = fitted.get(one["slot"], (None, job.rotor.fillers[p]))
        told = one["remove"]["moment_g_mm"] if isinstance(one["remove"], dict) else one["remove"]
        wanted = before if one["slot"] in fitted and held is None else held
        checks.ok(told == wanted or (isinstance(told, float) and abs(told / wanted - 1) < 1e-9),
                  f"{name}: slot {one['slot']} holds {wanted} and not {told}")
        after = job.rotor.fillers[p] if one["fit"] is None else job.rotor.catalogue[p][one["fit"]]
        for id_, sign in ((one["fit"], -1), (held, 1)):
            if (k, id_) in left:
                left[k, id_] += sign
        angle = ring.theta(one["slot"])
        checks.close(abs((one["angle_deg"] - angle + 180) % 360 - 180), 1e-7, f"{name}: angle of slot {one['slot']}")
        u[k] += (after - before) * ref.unit_vector(angle) / UNIT
    checks.ok(all(n >= 0 for n in left.values()), f"{name}: stock {left}")
    checks.ok(len({(one["plane"], one["slot"]) for one in changes}) == len(changes), f"{name}: a slot twice")
    return u


def check_row(checks, name, job, problem, trim, row):
    u = moments_of_slots(checks, name, job, problem, row["slots"])[None, :]
    objective = Objective(problem, trim["objective"])
    value, square, ratio = (one[0] for one in objective(u))
    checks.ok(len(row["slots"]) == row["pieces_changed"], f"{name}: number of changes")
    checks.ok(problem.broken_by(u[0]) <= 1e-8, f"{name}: moment limit")
    checks.close(abs(value - row["objective"]), 1e-9, f"{name}: objective told")
    checks.close(abs(ratio - row["worst_ratio"]), 1e-9, f"{name}: worst ratio told")
    checks.ok(row["bound"] <= row["objective"] * (1 + 1e-12), f"{name}: bound above objective")
    gap = (row["objective"] - row["bound"]) / row["objective"] if row["objective"] else 0.0
    checks.close(abs(gap - row["gap"]), 1e-12, f"{name}: gap told")
    checks.ok(row["proved_optimal"] or gap > 0, f"{name}: not proved and no gap")
    return square


def check_recommendation(checks, name, document):
    """The fewest changes within 0.05 of the best worst ratio; none above a limit where another is below."""
    rows = document["trade_off"]
    best = min(row["worst_ratio"] for row in rows)
    enough = min(best + 0.05, 1.0) if best <= 1.0 else best + 0.05
    wanted = next(row for row in rows if row["worst_ratio"] <= enough + 1e-9)
    checks.ok([row["pieces_changed"] for row in rows if row["recommended"]] == [wanted["pieces_changed"]],
              f"{name}: recommended row")
    checks.ok(document["slots"] == wanted["slots"], f"{name}: slots are not the recommended row's")
    checks.ok(document["worst_ratio"] == wanted["worst_ratio"], f"{name}: worst_ratio is not the recommended row's")


def check_small(checks, name, job, speeds, trim, document):
    problem = Problem(job, speeds, [job.rotor.plane_names[p] for p in job.moved_planes()], trim)
    every = Exhaustive(job, problem, trim)
    rows, so_far = document["trade_off"], np.inf
    wanted = []
    for m, best in enumerate(every.best):
        if best < so_far * (1 - 1e-9):
            wanted.append(m)
            so_far = best
        row = [r for r in rows if r["pieces_changed"] <= m][-1:]
        if np.isfinite(so_far):
            checks.ok(bool(row), f"{name}: no row for {m} changes")
        for r in row:
            checks.close(abs(r["objective"] / so_far - 1) if so_far else r["objective"], 1e-6, f"{name}: {m} changes")
    checks.ok([r["pieces_changed"] for r in rows] == wanted,
              f"{name}: rows {[r['pieces_changed'] for r in rows]} and not {wanted} {every.best}")
    for row in rows:
        m = row["pieces_changed"]
        square = check_row(checks, f"{name}, row {m}", job, problem, trim, row)
        least = min(every.best[: m + 1])
        checks.ok(row["bound"] <= least * (1 + 1e-9), f"{name}, row {m}: bound {row['bound']} above the best {least}")
        if row["proved_optimal"]:
            checks.close(row["objective"] / least - 1 if least else row["objective"], 2e-9, f"{name}, row {m}: proved")
        checks.ok(square <= every.square[m] * (1 + 1e-6), f"{name}, row {m}: a tied choice has smaller squares")
    checks.ok(document["bound"] <= every.ratio * (1 + 1e-9), f"{name}: bound above the best ratio")
    check_recommendation(checks, name, document)
    return every.choices, sum(not row["proved_optimal"] for row in rows)


# --- jobs -------------------------------------------------------------------------------------------------------

def trial_runs(rng, rotor_written, base):
    runs = [{"name": "as found", "fitted": base}]
    for plane in rotor_written["planes"]:
        piece = {"at": ref.angle_text(rng), "moment": f"{rng.uniform(500, 1500):.9g} g.mm"}
        runs.append({"name": "trial " + plane["name"],
                     "fitted": {**base, plane["name"]: base[plane["name"]] + [piece]}})
    return runs


def finish_job(rng, rotor_written, base, trim, speeds, moment, curable=False):
    """Readings of the runs; `curable`: some moments of about `moment` would cancel nearly all of it."""
    runs = trial_runs(rng, rotor_written, base)
    job_written = {"runs": runs, "fitted_now": "same as as found", "trim": trim}
    job = ref.Job(rotor_written, job_written)
    truth = ref.Truth(rng, rotor_written, speeds, moment)
    if curable:
        cure = job.unbalance_now() + moment * ref.complex_normal(rng, len(rotor_written["planes"]))
        truth.x0 = 0.1 * truth.x0 - truth.c @ cure
    for r, run in enumerate(runs):
        run["readings"] = truth.readings(job, r)
    return rotor_written, job_written, job, speeds


def small_job(rng, kind):
    """A plane or two of a few slots, with what `kind` asks."""
    two = rng.random() < 0.5
    planes, base = [], {}
    for p in range(1 + two):
        count = int(rng.integers(5, 7)) if two else int(rng.integers(6, 11))
        plane = ref.invent_plane(rng, f"plane {p + 1}", count, sorted(rng.uniform(200, 1200, int(rng.integers(2, 4)))),
                                 filler=rng.choice([0.0, 150.0]), unusable=int(rng.integers(0, 2)),
                                 stock=int(rng.integers(1, 4)) if kind == "stock" or rng.random() < 0.4 else None)
        if kind == "moment limits":
            plane[ref.pick(rng, ["max_total_moment", "max_added_moment"])] = f"{rng.uniform(300, 1500):.6g} g.mm"
        planes.append(plane)
        free = [n for n in range(1, count + 1) if n not in plane["slots"].get("unusable", [])]
        places = [int(n) for n in rng.choice(free, int(rng.integers(0, 4)), replace=False)]
        items = [{"slot": n, "weight": f"w{i + 1}"} for i, n in enumerate(places[: len(plane["weights"])])
                 if plane["weights"][i].get("stock", 1) >= 1]
        if len(places) == 3:
            items[-1] = {"slot": items[-1]["slot"], **ref.moment_entry(rng, 700)}
        base[plane["name"]] = items
    sensors = [ref.invent_sensor(rng, f"s{i + 1}") for i in range(int(rng.integers(1, 4)))]
    rotor_written = ref.invent_rotor(rng, planes, sensors)
    speeds = np.sort(rng.choice(np.arange(2000, 5400, 400), int(rng.integers(1, 5)), replace=False)) + 0.0
    trim = {"objective": ref.pick(rng, ["worst ratio", "least squares"]), "max_changes": int(rng.integers(1, 5))}
    if kind == "fitted weights stay":
        trim["fitted_weights"] = "stay"
    if kind == "speed weights":
        trim["speed_weights"] = [{"speed": f"{s:.0f} rpm", "weight": round(rng.uniform(0.3, 3), 3)} for s in speeds[:2]]
    if kind == "penalty":
        trim["penalty"] = round(rng.uniform(0.05, 0.6), 3)
    return finish_job(rng, rotor_written, base, trim, speeds, 1000.0)


def tied_job(rng):
    """One row, slots and residual symmetric: many choices tie."""
    plane = ref.invent_plane(rng, "plane 1", 8, [400.0, 700.0])
    plane["slots"]["slot_1_at"] = "0 deg"
    plane["weights"] = [{"id": "w1", "moment": "400 g.mm"}, {"id": "w2", "moment": "700 g.mm"}]
    rotor_written = ref.invent_rotor(rng, [plane], [ref.invent_sensor(rng, "s1")])
    trim = {"objective": ref.pick(rng, ["worst ratio", "least squares"]), "max_changes": 4}
    runs = [{"name": "as found", "fitted": "none"},
            {"name": "trial", "fitted": {"plane 1": [{"at": "90 deg with rotation", "moment": "800 g.mm"}]}}]
    job_written = {"runs": runs, "fitted_now": "none", "trim": trim}
    job, truth = ref.Job(rotor_written, job_written), ref.Truth(rng, rotor_written, np.array([3000.0]))
    truth.x0[:] = truth.c[:, :, 0] * rng.uniform(300, 1500) * ref.unit_vector(22.5 * int(rng.integers(0, 16)))
    for r, run in enumerate(runs):
        run["readings"] = truth.readings(job, r)
    return rotor_written, job_written, job, truth.speeds


def small_jobs(program, checks, kind, count, first_seed):
    checks.begin(f"{count} small jobs, {kind}, against exhaustive search")
    choices = unproved = refused = 0
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng(seed)
        rotor_written, job_written, job, speeds = tied_job(rng) if kind == "ties" else small_job(rng, kind)
        with tempfile.TemporaryDirectory() as folder:
            path = ref.write_job(folder, rotor_written, job_written)
            status, answer, error = program.run("plan", path, "--time-limit", 60, "--format", "json")
            trim = job_written["trim"]
            if status == 0:
                done = check_small(checks, f"job {seed}", job, speeds, trim, json.loads(answer))
                choices, unproved = choices + done[0], unproved + done[1]
            else:
                problem = Problem(job, speeds, [job.rotor.plane_names[p] for p in job.moved_planes()], trim)
                refused += 1
                checks.ok(status == 1 and not np.isfinite(min(Exhaustive(job, problem, trim).best)),
                          f"job {seed}: {error}")
    checks.end(f", {choices} choices listed, {unproved} rows not proved, {refused} rightly refused")


# --- real size --------------------------------------------------------------------------------------------------

def real_size_job(rng, planes, max_changes):
    written, base = [], {}
    for p in range(planes):
        name = f"plane {p + 1}"
        written.append(ref.invent_plane(rng, name, 40, [390, 610, 845, 1100, 1380, 1650], filler=180.0, unusable=3,
                                        stock=3))
        free = [n for n in range(1, 41) if n not in written[-1]["slots"]["unusable"]]
        base[name] = [{"slot": int(n), "weight": f"w{i + 2}"} for i, n in enumerate(rng.choice(free, 2, replace=False))]
    rotor_written = ref.invent_rotor(rng, written, [ref.invent_sensor(rng, f"s{i + 1}") for i in range(2)])
    return finish_job(rng, rotor_written, base, {"objective": "worst ratio", "max_changes": max_changes},
                      np.arange(2400.0, 4900.0, 400.0)[:6], 2000.0, curable=True)


def mixed_integer(problem, slots, left, changes, claim, seconds):
    """(least polygon ratio, u of it), at most `changes` changes, not above `claim`: infinite when there is none, None
    when out of time.

    Unknowns: one binary an option, then Re u and Im u of each plane, then the ratio t.
    """
    options = list(itertools.chain.from_iterable(slots))
    n, planes, rows = len(options), len(problem.planes), len(problem.r)
    push = np.zeros((planes, n), complex)
    for j, option in enumerate(options):
        push[option.plane, j] = option.change
    nothing, unit = np.zeros((planes, planes)), np.eye(planes)
    made = np.vstack([np.hstack([push.real, -unit, nothing, np.zeros((planes, 1))]),
                      np.hstack([push.imag, nothing, -unit, np.zeros((planes, 1))])])
    which, turn = np.repeat(np.arange(rows), SIDES), np.tile(np.exp(-2j * np.pi * np.arange(SIDES) / SIDES), rows)
    a = problem.a[which] * turn[:, None]
    sides = np.hstack([np.zeros((len(which), n)), a.real, -a.imag, -np.ones((len(which), 1))])
    counts, limits = [np.ones(n)], [changes]
    for s in range(len(slots)):
        counts.append(np.repeat(np.arange(len(slots)) == s, [len(one) for one in slots]).astype(float))
        limits.append(1)
    for (k, id_), stock in left.items():
        counts.append(np.array([(o.plane == k) * (float(o.fit == id_) - float(o.held == id_)) for o in options]))
        limits.append(stock)
    counts = np.hstack([np.array(counts), np.zeros((len(counts), 2 * planes + 1))])
    free, last = np.full(2 * planes, np.inf), 2 * planes + 1
    answer = milp(np.append(np.zeros(n + 2 * planes), 1.0),
                  constraints=[LinearConstraint(csr_matrix(made), 0, 0),
                               LinearConstraint(csr_matrix(sides), -np.inf, -(problem.r[which] * turn).real),
                               LinearConstraint(csr_matrix(counts), -np.inf, np.array(limits))],
                  integrality=np.append(np.ones(n), np.zeros(last)),
                  bounds=Bounds(np.concatenate([np.zeros(n), -free, [0.0]]),
                                np.concatenate([np.ones(n), free, [claim * (1 + 1e-7)]])),
                  options={"time_limit": seconds, "mip_rel_gap": 1e-6})
    if answer.status == 1:  # out of time
        return None, None
    if answer.status != 0:
        return np.inf, None
    return answer.x[-1], push @ np.round(answer.x[:n])


def real_size(program, checks, planes, changes, count, seconds, first_seed):
    checks.begin(f"40 slots, 6 weights, 12 rows, {planes} plane(s), {changes} changes against HiGHS, {count} jobs")
    spent, unproved, late, percent = 0.0, 0, 0, 0
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng(seed)
        rotor_written, job_written, job, speeds = real_size_job(rng, planes, changes)
        trim, name = job_written["trim"], f"job {seed}"
        with tempfile.TemporaryDirectory() as folder:
            document = program.json("plan", ref.write_job(folder, rotor_written, job_written), "--time-limit", 30)
        problem = Problem(job, speeds, [p["name"] for p in rotor_written["planes"]], trim)
        row = document["trade_off"][-1]
        unproved += not row["proved_optimal"]
        for one in document["trade_off"]:
            check_row(checks, f"{name}, row {one['pieces_changed']}", job, problem, trim, one)
        begun = time.monotonic()
        least, u = mixed_integer(problem, options_by_slot(job, problem, False), stock_left(job, problem), changes,
                                 row["objective"], seconds)
        if least is None:  # a smaller question: is there anything one in a hundred better?
            least, _ = mixed_integer(problem, options_by_slot(job, problem, False), stock_left(job, problem), changes,
                                     0.99 * row["objective"], seconds)
            late, percent = late + (least is None), percent + (least is not None)
            checks.ok(least in (None, np.inf), f"{name}: HiGHS finds {least}, 1 % below {row['objective']}")
            spent += time.monotonic() - begun
            continue
        spent += time.monotonic() - begun
        checks.ok(u is not None, f"{name}: HiGHS finds nothing as good as the claim {row['objective']}")
        if u is None:
            continue
        checks.ok(row["objective"] >= least - 1e-6, f"{name}: {row['objective']} below what HiGHS can reach, {least}")
        checks.ok(least >= row["bound"] * np.cos(np.pi / SIDES) - 1e-6, f"{name}: bound {row['bound']}, HiGHS {least}")
        theirs = Objective(problem, "worst ratio")(u[None, :])[0][0]
        checks.ok(row["bound"] <= theirs + 1e-9, f"{name}: HiGHS found {theirs}, below the bound {row['bound']}")
        if row["proved_optimal"]:
            checks.close(1 - least / row["objective"], 1 - np.cos(np.pi / SIDES) + 1e-6, f"{name}: polygon's error")
            checks.ok(row["objective"] <= theirs * (1 + 1e-9), f"{name}: HiGHS found {theirs}")
    checks.end(f", {spent:.0f} s in HiGHS, {unproved} not proved by the program; HiGHS ended {count - late - percent},"
               f" for {percent} only shows that nothing is 1 % better")


def main():
    program, checks = ref.Program(sys.argv[1]), ref.Checks()
    small = int(sys.argv[3]) if len(sys.argv) > 3 else 8
    large = sys.argv[4] if len(sys.argv) > 4 else "few"
    many = large == "many"
    kinds = ["anything goes", "stock", "moment limits", "fitted weights stay", "speed weights", "penalty", "ties"]
    parts = [lambda k=k: small_jobs(program, checks, kinds[k], small, 1000 * (k + 1)) for k in range(len(kinds))]
    sizes = [(1, 2), (2, 2), (2, 3), (2, 4)] + ([(1, 3), (1, 4)] if many else [])
    jobs, seconds = (4, 900) if many else (1, 120)
    if large != "none":
        parts += [lambda p=p, m=m: real_size(program, checks, p, m, jobs, seconds, 50_000 + 100 * p + m)
                  for p, m in sizes]
    return ref.verdict(checks, parts)


if __name__ == "__main__":
    sys.exit(main())
