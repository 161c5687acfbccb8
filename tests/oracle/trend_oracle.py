"""Readings between trims: the program's figures against NumPy's and SciPy's, which share no code with it.

    trend_oracle.py PROGRAM PROJECT

Expected is the running mean of what was read, its ± that of a reading and of a mean of so many, times the scatter so far. A
score is the root of the chi-squared of two degrees (scipy.stats) that is as rare as T squared over 2 by Fisher's F with the
degrees that scatter has; the date is held against the score of a chance of 0.0025 shared among 200 dates and all places. Sums
are S = max(0, S + z - k) along three axes, either way. Once with what the rotor file states, once with nothing stated.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import optimize, stats

program, project = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
CHANCE = 0.0025 / 200  # of one date: half of 1 in 200, shared among 200 dates
STATED, SENSOR = 10, 20  # degrees that what is stated counts as, and a sensor's scatter for each of its places
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


def sum_limit(k, run_length):
    """D. Siegmund's run length, solved by SciPy."""
    def length(h):
        b = h + 1.166
        return (np.expm1(2 * k * b) - 2 * k * b) / (2 * k * k)
    return optimize.brentq(lambda h: np.log(length(h) / run_length), 0.5, 60)


def judged(name, spell, read, covariance, to_find, stated):
    """Scores and limits of the spell against those worked out here; a series without a change."""
    days, rows = read.shape
    variance = np.diag(covariance).real
    squares, freedom = np.zeros(rows), np.zeros(rows)
    sensor = [float(STATED), float(STATED)] if stated else [0.0, 0.0]
    k = np.clip(to_find / 2 / np.sqrt(variance), 0.5, 1.0)
    h = np.array([sum_limit(one, 2 * 3 * rows / CHANCE) for one in k])
    axes = np.exp(1j * np.pi * np.arange(3) / 3)
    up, down = np.zeros((rows, 3)), np.zeros((rows, 3))
    clip = np.sqrt(stats.chi2.isf(0.01, 2))
    for day, date in enumerate(spell["dates"]):
        shown = [place["readings"][day] for place in spell["places"]]
        for s, one in enumerate(shown):
            near(f"{name} {day} read", phasor(one["read"]), read[day, s])
        if day == 0:
            if date["reading_over_its_limit"] != 0 or shown[0]["expected"] is not None or shown[0]["score"] is not None:
                wrong.append(f"{name}: something is expected of the first date")
            continue
        mean, around = read[:day].mean(axis=0), variance * (1 + 1 / day)
        shared = SENSOR if stated else 0
        degrees = shared + freedom
        common = sensor[0] / sensor[1] if stated else 1.0
        scatter = np.where(degrees > 0, (shared * common + squares) / np.maximum(degrees, 1e-9), 1.0)
        sd = np.sqrt(scatter * around)
        off = read[day] - mean
        t = np.abs(off) / sd
        score = np.where(degrees > 0, np.sqrt(stats.chi2.isf(stats.f.sf(t**2 / 2, 2, np.maximum(degrees, 1)), 2)), 0.0)
        for s, one in enumerate(shown):
            near(f"{name} {day} expected", phasor(one["expected"]), mean[s], 1e-4)
            near(f"{name} {day} ±", one["sd"], sd[s], 2e-4)
            near(f"{name} {day} score", one["score"], score[s], 1e-3)
        near(f"{name} {day} reading over its limit", date["reading_over_its_limit"], score.max() / np.sqrt(stats.chi2.isf(CHANCE / rows, 2)), 1e-3)
        along = (score * off / np.abs(off))[:, None] * axes
        up, down = np.maximum(0, up + along.real - k[:, None]), np.maximum(0, down - along.real - k[:, None])
        near(f"{name} {day} sum over its limit", date["sum_over_its_limit"], (np.maximum(up, down).max(axis=1) / h).max(), 2e-3)
        clipped = np.minimum(1, clip / np.maximum(score, 1e-9)) ** 2 * np.abs(off) ** 2 / around
        squares, freedom = squares + clipped, freedom + 2
        sensor = [sensor[0] + clipped.mean(), sensor[1] + 2]
    times = {one["sensor"]: one["times_stated"] for one in spell["scatter"]}.get("front")
    really = np.sqrt(sensor[0] / sensor[1] * variance.mean() / (WITHIN**2 + SHARED**2))
    if stated and (times is not None or really > 1.2):
        near(f"{name} scatter", times or 1.0, really, 1e-3)


with tempfile.TemporaryDirectory() as scratch:
    folder = Path(scratch)
    rotor = (project / "configs/larkmere-fan.yaml").read_text("utf-8")
    stated = "    repeatability: 0.012 in/s\n"
    if stated not in rotor:
        sys.exit("the shipped rotor states another repeatability")
    (folder / "rotor.yaml").write_text(rotor.replace(stated, stated + f"    run_to_run: {SHARED} in/s\n"), "utf-8")
    for name, speeds, times in (("one", [3000], 0.8), ("two", [3000, 4096], 0.8), ("more", [3000, 4096], 2.5)):
        level = 0.2 * np.exp(1j * np.linspace(1.0, 2.5, len(speeds)))
        read = level + times * scatter(28, len(speeds))
        spell = trend(folder, name, speeds, read)
        if spell["changes"]:
            wrong.append(f"{name}: {spell['changes'][0]['words']}")
        assumed = 0.003 * abs(read.mean(axis=0))  # of a reading, where no proportional part is stated (`RunToRun`)
        covariance = SHARED**2 * np.ones((len(speeds), len(speeds))) + np.diag(WITHIN**2 + assumed**2)
        goals = np.array([place["target"] or place["limit"] for place in spell["places"]])
        judged(name, spell, read, covariance, 0.5 * goals, True)
    # Nothing stated: the dates alone tell the scatter, whatever its size was taken to be beforehand.
    (folder / "rotor.yaml").write_text(rotor.replace(stated, ""), "utf-8")
    read = 0.2 + 2.0 * scatter(28, 1)
    spell = trend(folder, "unstated", [3000], read)
    told = spell["places"][0]["readings"]
    size = told[1]["sd"] ** 2 / 2  # before any date has told it: what was taken
    goal = spell["places"][0]["target"] or spell["places"][0]["limit"]
    judged("unstated", spell, read, np.array([[size]]), np.array([0.5 * goal]), False)
print("\n".join(wrong) or "expected, scatter, scores, sums and their limits agree with NumPy and SciPy")
sys.exit(1 if wrong else 0)
