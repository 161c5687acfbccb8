"""Readings between trims: the program's figures against NumPy's and SciPy's, which share no code with it.

    trend_oracle.py PROGRAM PROJECT

One place without a trim: expected is the running mean of what was read, its ± that of a reading and of a mean of so many,
T squared their ratio. Many places: the limit of T squared is chi-squared's or Fisher's F (scipy.stats). Two places: T squared
with the covariance of readings that share what their run shares, worked out here.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import stats

program, project = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
CHANCE = 0.005 / 200  # of one date: half of 1 in 100, shared among 200 dates
WITHIN, SHARED = 0.012, 0.009  # in/s peak, per real component, as written in the rotor file below
draws = np.random.default_rng(20310601)
wrong = []


def run(*words):
    done = subprocess.run([str(program), *map(str, words)], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{words}: {done.stderr}")
    return done.stdout


def trend(folder, serial, speeds, vectors):
    """The one spell of readings of sensor "front" alone, `vectors[date, speed]` as lead phasors."""
    lines = ["date,speed,front [in/s peak],front [deg]"]
    for day, row in enumerate(vectors):
        for speed, x in zip(speeds, row):
            lines.append(f"2031-06-{day + 1:02},{speed} rpm,{abs(x):.9f},{np.degrees(-np.angle(x)) % 360:.7f}")
    table = folder / f"{serial}.csv"
    table.write_text("\n".join(lines) + "\n", "utf-8")
    archive = folder / "oracle.db"
    run("record", "readings", table, "--rotor", folder / "rotor.yaml", "--serial", serial, "--archive", archive, "--by", "oracle",
        "--dated", f"2031-06-{len(vectors):02}")
    return json.loads(run("record", "trend", serial, "--archive", archive, "--format", "json"))["spells"][0]


def phasor(shown):
    return shown["amplitude"] * np.exp(-1j * np.radians(shown["phase_deg"]))


def near(what, ours, theirs, tolerance=1e-6):
    if not abs(ours - theirs) <= tolerance * max(1.0, abs(theirs)):
        wrong.append(f"{what}: {ours}, not {theirs}")


def scatter(days, speeds):
    shared = SHARED * (draws.normal(size=(days, 1)) + 1j * draws.normal(size=(days, 1)))
    return shared + WITHIN * (draws.normal(size=(days, speeds)) + 1j * draws.normal(size=(days, speeds)))


with tempfile.TemporaryDirectory() as scratch:
    folder = Path(scratch)
    rotor = (project / "configs/larkmere-fan.yaml").read_text("utf-8")
    stated = "    repeatability: 0.012 in/s\n"
    if stated not in rotor:
        sys.exit("the shipped rotor states another repeatability")
    (folder / "rotor.yaml").write_text(rotor.replace(stated, stated + f"    run_to_run: {SHARED} in/s\n"), "utf-8")
    sizes = set()
    for name, speeds in (("one", [3000]), ("two", [3000, 4096])):
        level = 0.2 * np.exp(1j * np.linspace(1.0, 2.5, len(speeds)))
        read = level + 0.8 * scatter(28, len(speeds))
        spell = trend(folder, name, speeds, read)
        if spell["changes"]:
            wrong.append(f"{name}: {spell['changes'][0]['words']}")
        assumed = 0.003 * abs(read[:10].mean(axis=0))  # of a reading, where no proportional part is stated (`RunToRun`)
        covariance = SHARED**2 * np.ones((len(speeds), len(speeds))) + np.diag(WITHIN**2 + assumed**2)
        times = {one["sensor"]: one["times_stated"] for one in spell["scatter"]}.get("front", 1.0)
        for day, date in enumerate(spell["dates"]):
            shown = [place["readings"][day] for place in spell["places"]]
            for s, one in enumerate(shown):
                near(f"{name} {day} read", phasor(one["read"]), read[day, s])
            if day == 0:
                if date["components"] != 0 or shown[0]["expected"] is not None:
                    wrong.append(f"{name}: something is expected of the first date")
                continue
            mean, around = read[:day].mean(axis=0), covariance * (1 + 1 / day)
            for s, one in enumerate(shown):
                near(f"{name} {day} expected", phasor(one["expected"]), mean[s], 1e-4)
            scaled = shown[0]["sd"] ** 2 / around[0, 0].real  # how much more than stated, squared
            if date["degrees_of_freedom"] is None:
                near(f"{name} {day} scatter as stated", scaled, 1.0, 1e-4)
            off = read[day] - mean
            near(f"{name} {day} T squared", date["t_squared"], (off.conj() @ np.linalg.solve(around * scaled, off)).real, 1e-3)
            components = 2 * len(speeds)
            nu = date["degrees_of_freedom"]
            limit = stats.chi2.isf(CHANCE, components) if nu is None else components * stats.f.isf(CHANCE, components, nu)
            near(f"{name} {day} limit", date["t_squared_limit"], limit)
            sizes.add((components, nu is None))
    # A series that scatters more: the limit is Fisher's F.
    spell = trend(folder, "more", [3000], 0.2 + 2.0 * scatter(28, 1))
    for date in spell["dates"][1:]:
        nu = date["degrees_of_freedom"]
        limit = stats.chi2.isf(CHANCE, 2) if nu is None else 2 * stats.f.isf(CHANCE, 2, nu)
        near("more, limit", date["t_squared_limit"], limit)
        sizes.add((2, nu is None))
    if (2, False) not in sizes or (2, True) not in sizes or (4, True) not in sizes:
        wrong.append(f"not every kind of limit was met: {sizes}")
print("\n".join(wrong) or "expected, scatter, T squared and its limit agree with NumPy and SciPy")
sys.exit(1 if wrong else 0)
