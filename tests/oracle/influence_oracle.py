#!/usr/bin/env python3
"""Influence coefficients of random jobs against LAPACK's zgelsd through numpy.linalg.lstsq:
influence_oracle.py PROGRAM PROJECT [JOBS]. Leaves with status 1 when anything differs.

Jobs have 1-3 planes, 1-5 speeds and 1-3 sensors, repeats and redundant noisy runs, trial weights kept or removed,
pieces of the catalogue and not, known changes, runs set aside, missing, overall and phaseless readings, every
convention, unit and detector, inline and as a table. The numbers are those written, so nothing but rounding
separates the two answers.
"""
import json
import sys
import tempfile

import numpy as np
from scipy import stats

import trim_reference as ref

TOLERANCE = 1e-9  # relative, coefficients to the largest of their row; conditions here stay below 1e3
PRINTED = {"um": "µm", "m/s2": "m/s²"}  # how the program prints a unit that may be typed otherwise


def random_content(rng, plane, rotor):
    """Something fitted in a plane: a map of slots, or a list of items."""
    items = []
    if "slots" in plane:
        ring = rotor.rings[rotor.plane_names.index(plane["name"])]
        places = [int(n) for n in rng.choice(ring.usable(), int(rng.integers(1, 4)), replace=False)]
        if rng.random() < 0.6:
            return {str(n): ref.pick(rng, plane["weights"])["id"] for n in places}
        items += [{"slot": n, **ref.moment_entry(rng, rng.uniform(200, 1500))} for n in places[:-1]]
        items.append({"slot": places[-1], "weight": plane["weights"][0]["id"]})
    if not items or rng.random() < 0.5:
        items.append({"at": ref.angle_text(rng), **ref.moment_entry(rng, rng.uniform(300, 1500))})
    return items


def random_rotor(rng):
    planes = []
    for p in range(int(rng.integers(1, 4))):
        slots = 0 if rng.random() < 0.25 else int(rng.integers(12, 41))
        planes.append(ref.invent_plane(rng, f"plane {p + 1}", slots, sorted(rng.uniform(300, 1400, 3)),
                                       filler=rng.choice([0.0, 250.0]), unusable=int(rng.integers(0, 4))))
    stated = rng.random() < 0.5
    sensors = [ref.invent_sensor(rng, f"s{i + 1}", stated) for i in range(int(rng.integers(1, 4)))]
    return ref.invent_rotor(rng, planes, sensors), stated


def random_change(rng, rotor_written):
    change = {"plane": ref.pick(rng, rotor_written["planes"])["name"]}
    if rng.random() < 0.5:
        change["blade"] = int(rng.integers(1, rotor_written["blades"]["count"] + 1))
    else:
        change["at"] = ref.angle_text(rng)
    if rng.random() < 0.5:
        return {**change, "moment": f"{rng.uniform(-900, 900):.8g} g.mm"}
    unit = ref.pick(rng, list(ref.MOMENT))
    before, after = rng.uniform(20000, 21000, 2) / ref.MOMENT[unit]
    return {**change, "moment_before": f"{before:.9g} {unit}", "moment_after": f"{after:.9g} {unit}"}


def random_runs(rng, rotor_written):
    """A baseline, a trial per plane (kept or removed), then repeats, redundant runs and one set aside."""
    rotor, planes = ref.Rotor(rotor_written), rotor_written["planes"]
    base = {p["name"]: random_content(rng, p, rotor) for p in planes if rng.random() < 0.6}
    runs, kept = [{"name": "as found", "fitted": base or "none"}], dict(base)
    for plane in planes:
        content = {**(kept if rng.random() < 0.5 else base), plane["name"]: random_content(rng, plane, rotor)}
        kept = content
        runs.append({"name": "trial " + plane["name"], "fitted": content})
    for extra in range(int(rng.integers(0, 4))):
        if rng.random() < 0.3:
            runs.append({"name": f"repeat {extra}", "fitted": "same as " + ref.pick(rng, runs)["name"]})
        else:
            runs.append({"name": f"extra {extra}",
                         "fitted": {p["name"]: random_content(rng, p, rotor) for p in planes}})
    if rng.random() < 0.5:
        aside = {"name": "gusty", "fitted": {p["name"]: random_content(rng, p, rotor) for p in planes},
                 "set_aside": "gusts"}
        runs.insert(int(rng.integers(1, len(runs) + 1)), aside)
    for _ in range(int(rng.integers(0, 3))):
        ref.pick(rng, runs).setdefault("changes", []).append(random_change(rng, rotor_written))
    return runs


def spoil(rng, readings):
    """Some readings missing, some overall, some without phase."""
    kept = []
    for reading in readings:
        draw = rng.random()
        if draw < 0.05:
            continue
        if draw < 0.08:
            reading.pop("phase")
        kept.append(reading)
        if draw > 0.95:
            overall = {"speed": reading["speed"], "sensor": reading["sensor"], "component": "overall"}
            if "phase_of" not in reading:  # then the amplitude is in the sensor's own unit
                kept.append({**overall, "amplitude": reading["amplitude"]})
    return kept


def random_job(rng):
    rotor_written, stated = random_rotor(rng)
    speeds = np.sort(rng.choice(np.arange(2000, 5400, 400), int(rng.integers(1, 6)), replace=False)) + 7.5
    job_written = {"title": "invented", "runs": random_runs(rng, rotor_written)}
    job = ref.Job(rotor_written, job_written)
    truth = ref.Truth(rng, rotor_written, speeds)
    for r, run in enumerate(job_written["runs"]):
        readings = truth.readings(job, r, rng, noise=0.02, any_unit=True)
        run["readings"] = readings if r == 0 else spoil(rng, readings)
    table = None
    if rng.random() < 0.6:
        names = [run["name"] for run in job_written["runs"] if rng.random() < 0.7]
        style = ref.pick(rng, [{}, {"delimiter": "\t"}, {"delimiter": ";", "decimal_comma": True}])
        table = {"runs": names, **style}
    return rotor_written, job_written, job, truth, table, stated


def widening(job, rows):
    """Factor on standard errors where chi-squared rejects the stated repeatability at 1 %."""
    sensors = job.rotor.sensors
    if not all(s.repeatability for s in sensors):
        return 1.0
    chi2 = sum(row.residual2 / sensors[key[1]].repeatability ** 2 for key, row in rows.items() if row.spare)
    spare = 2 * sum(row.spare for row in rows.values())
    return np.sqrt(chi2 / spare) if spare and stats.chi2.sf(chi2, spare) < 0.01 else 1.0


def compare(checks, name, job, truth, document):
    planes, rows = ref.influence(job, truth.speeds)
    names = [job.rotor.plane_names[p] for p in planes]
    widened = widening(job, rows)
    found = {}
    for one in document["coefficients"]:
        s = int(np.argmin(np.abs(truth.speeds - one["speed_rpm"])))
        found.setdefault((s, job.rotor.sensor(one["sensor"])), {})[one["plane"]] = one
    checks.ok(set(found) == set(rows), f"{name}: rows {sorted(found)} and not {sorted(rows)}")
    for key in set(found) & set(rows):
        sensor, row, one = job.rotor.sensors[key[1]], rows[key], found[key]
        checks.ok(list(one) == names, f"{name}: planes {list(one)} and not {names}")
        c = np.array([sensor.phasor(f"{one[n]['amplitude']!r} {sensor.unit}", one[n]["phase_deg"], None,
                                    truth.speeds[key[0]], job.rotor.lag) for n in names])
        checks.close(np.max(np.abs(c - row.c)) / np.max(np.abs(row.c)), TOLERANCE, f"{name}, row {key}")
        symbol, detector = sensor.unit.split(" ")
        unit = f"{PRINTED.get(symbol, symbol)} {detector} per g.mm"
        checks.ok(all(one[n]["unit"] == unit for n in names), f"{name}: unit of {key}, not {unit}")
        if sensor.repeatability:
            sd = np.array([one[n]["sd"] for n in names]) / sensor.detector
            wanted = sensor.repeatability * row.unit_sd * widened
            checks.close(np.max(np.abs(sd / wanted - 1)), TOLERANCE, f"{name}, standard error of {key}")
    for one in document["baselines"]:
        key = (int(np.argmin(np.abs(truth.speeds - one["speed_rpm"]))), job.rotor.sensor(one["sensor"]))
        if key in rows:
            sensor, row = job.rotor.sensors[key[1]], rows[key]
            x0 = sensor.phasor(f"{one['amplitude']!r} {sensor.unit}", one["phase_deg"], None, one["speed_rpm"],
                               job.rotor.lag)
            checks.close(abs(x0 - row.x0) / row.size, TOLERANCE, f"{name}, baseline {key}")
            checks.ok(one["readings"] == row.readings and one["spare_readings"] == row.spare,
                      f"{name}: readings counted in {key}")
    return rows


def compare_statistics(checks, name, job, rows, document):
    """Rank, condition and chi-squared as the headers define them."""
    u = np.array([job.run_unbalance(r)[job.moved_planes()] for r in job.used_runs()])
    centred = u - u.mean(axis=0)
    condition = np.linalg.cond(centred / np.linalg.norm(centred, axis=0))
    checks.ok(document["rank"] == 1 + u.shape[1], f"{name}: rank {document['rank']}")
    checks.close(abs(document["condition"] / condition - 1), TOLERANCE, f"{name}: condition")
    sensors = job.rotor.sensors
    if all(s.repeatability for s in sensors):
        chi2 = sum(row.residual2 / sensors[key[1]].repeatability ** 2 for key, row in rows.items() if row.spare)
        checks.close(abs(document["chi_squared"]["value"] - chi2), TOLERANCE * max(chi2, 1.0), f"{name}: chi-squared")
        spare = 2 * sum(row.spare for row in rows.values())
        checks.ok(document["chi_squared"]["degrees_of_freedom"] == spare, f"{name}: degrees of freedom")


def random_jobs(program, checks, count):
    checks.begin(f"coefficients, standard errors and statistics of {count} random jobs against zgelsd")
    refused = 0
    for seed in range(count):
        rng = np.random.default_rng(seed)
        rotor_written, job_written, job, truth, table, _ = random_job(rng)
        with tempfile.TemporaryDirectory() as folder:
            path = ref.write_job(folder, rotor_written, job_written, table)
            status, answer, error = program.run("influence", path, "--format", "json")
            if ref.influence(job, truth.speeds)[1] and status == 0:
                document = json.loads(answer)
                rows = compare(checks, f"job {seed}", job, truth, document)
                compare_statistics(checks, f"job {seed}", job, rows, document)
            else:
                refused += 1
                checks.ok(status == 1 and not ref.influence(job, truth.speeds)[1], f"job {seed}: {error}")
    checks.end(f", {refused} rightly refused")


def inseparable_runs(rng, proportion, rotor_written):
    """Two planes always changed together, in one proportion or not."""
    def fitted(size, k):
        return {"a": [{"at": "20 deg with rotation", "moment": f"{size} g.mm"}],
                "b": [{"at": "130 deg with rotation", "moment": f"{size * k:.12g} g.mm"}]}
    runs = [{"name": "as found", "fitted": "none"}]
    for n, size in enumerate([500, 900, 1300]):
        runs.append({"name": f"trial {n}", "fitted": fitted(size, 0.7 if proportion else rng.uniform(0.4, 1.2))})
    job_written = {"runs": runs}
    job = ref.Job(rotor_written, job_written)
    truth = ref.Truth(rng, rotor_written, [3000.0, 4000.0])
    for r, run in enumerate(runs):
        run["readings"] = truth.readings(job, r)
    return job_written


def refusals(program, checks, count):
    checks.begin("refused when, and only when, the runs cannot separate the planes")
    for seed in range(count):
        rng = np.random.default_rng(10_000 + seed)
        planes = [ref.invent_plane(rng, name, 0, []) for name in ("a", "b")]
        rotor_written = ref.invent_rotor(rng, planes, [ref.invent_sensor(rng, "s1")])
        for proportion in (True, False):
            with tempfile.TemporaryDirectory() as folder:
                path = ref.write_job(folder, rotor_written, inseparable_runs(rng, proportion, rotor_written))
                status, _, error = program.run("influence", path)
            if proportion:
                checks.ok(status == 1 and '"a"' in error and '"b"' in error, f"job {seed}: {status} {error}")
            else:
                checks.ok(status == 0, f"job {seed}: {status} {error}")
    checks.end()


def main():
    program, checks = ref.Program(sys.argv[1]), ref.Checks()
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    return ref.verdict(checks, [lambda: random_jobs(program, checks, count), lambda: refusals(program, checks, 8)])


if __name__ == "__main__":
    sys.exit(main())
