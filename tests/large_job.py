"""An invented job of any size: planes of 24 slots, so many sensors, speeds and runs, from a fixed seed.

    large_job.py FOLDER [planes=2] [sensors=4] [speeds=5] [runs=50] [slots=24] [weights=4] [seed=1] ...

makes rotor.yaml, readings.csv and job.yaml there; `run` is the change from run to run (0: none), `stated` whether the
rotor file states it, `repeats` whether it states the repeatability, `proportional` a share of the reading, `missing`
a share of the readings left out. `make` gives back what stands in them, for tests and benchmarks.
"""
import sys
from pathlib import Path

import numpy as np

DEFAULTS = {"planes": 2, "sensors": 4, "speeds": 5, "runs": 50, "slots": 24, "weights": 4, "seed": 1, "within": 0.01,
            "run": 0.0, "stated": 0, "repeats": 1, "proportional": 0.0, "missing": 0.0, "max_changes": 6,
            "convention": "lag"}
RADIUS = 200.0  # mm


def rotor_text(size):
    weights = ", ".join(f"{{id: W{k + 1}, mass: {1.5 * (k + 1):g} g, radius: {RADIUS:g} mm, stock: 40}}"
                        for k in range(size["weights"]))
    text = ("trimwright: rotor 1\nname: invented fan\nrotation: {sense: clockwise, seen_from: aft}\n"
            f"phase: {size['convention']}\nspeed_tolerance: 5 rpm\n"
            "reference: {teeth: 1, larger_tooth: 1, polarity: falling}\nplanes:\n")
    for p in range(size["planes"]):
        text += (f"  - name: P{p + 1}\n    slots: {{count: {size['slots']}, slot_1_at: 0 deg with rotation, "
                 f"numbered: clockwise, seen_from: aft}}\n    weights: [{weights}]\n")
    text += "sensors:\n"
    for s in range(size["sensors"]):
        noise = f", repeatability: {size['within']!r} in/s" if size["repeats"] else ""
        noise += f", run_to_run: {size['run']!r} in/s" if size["stated"] else ""
        noise += f", proportional: {100 * size['proportional']!r} %" if size["proportional"] else ""
        text += (f"  - {{name: S{s + 1}, measures: velocity, unit: in/s peak, phase_of: velocity{noise}, "
                 "limits: [{up_to: 1000000 rpm, limit: 1.0 in/s, target: 0.3 in/s}]}\n")
    return text


def make(folder, **changes):
    """Writes the files and gives back (size, fitted moments [runs, planes], readings {(run, speed, sensor): phasor},
    each lead of the peak)."""
    size = {**DEFAULTS, **changes}
    rng = np.random.default_rng(size["seed"])
    planes, rows, runs = size["planes"], size["speeds"] * size["sensors"], size["runs"]
    slots, used = size["slots"], []
    for r in range(runs):  # a baseline, one weight in each plane in turn, then anything
        fitted = [{} for _ in range(planes)]
        for p in range(planes):
            if r == p + 1 or (r > planes and rng.random() < 0.6):
                fitted[p] = {int(s): int(rng.integers(size["weights"])) for s in
                             rng.choice(slots, size=1 + (r > planes) * int(rng.integers(2)), replace=False)}
        used.append(fitted)
    moments = np.array([[sum((1.5 * (w + 1) * RADIUS * np.exp(2j * np.pi * s / slots) for s, w in plane.items()), 0j)
                         for plane in run] for run in used]).reshape(runs, planes)
    unit = rng.normal(size=(rows, planes)) + 1j * rng.normal(size=(rows, planes))
    coefficients = 4e-4 * unit
    cancel = 600.0 * (rng.normal(size=planes) + 1j * rng.normal(size=planes))
    rest = 0.02 * (rng.normal(size=rows) + 1j * rng.normal(size=rows))
    baseline = -coefficients @ cancel + rest
    noise = lambda *shape: rng.normal(size=shape) + 1j * rng.normal(size=shape)
    clean = baseline + moments @ coefficients.T
    shift = size["run"] * noise(runs, size["sensors"])
    read = clean + size["within"] * noise(runs, rows) + size["proportional"] * np.abs(clean) * noise(runs, rows)
    readings, lines = {}, ["run,speed,sensor,amplitude,phase,component"]
    for r in range(runs):
        for k in range(size["speeds"]):
            for s in range(size["sensors"]):
                if r > planes and rng.random() < size["missing"]:
                    continue
                x = read[r, k * size["sensors"] + s] + shift[r, s]
                readings[r, k, s] = x
                phase = np.degrees(np.angle(x)) * (-1 if size["convention"] == "lag" else 1) % 360
                lines.append(f"run {r + 1},{1000 + 200 * k} rpm,S{s + 1},{abs(x)!r} in/s peak,{phase!r} deg,once-per-rev")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "rotor.yaml").write_text(rotor_text(size))
    (folder / "readings.csv").write_text("\n".join(lines) + "\n")
    text = "trimwright: job 1\nrotor: rotor.yaml\nreadings: readings.csv\nruns:\n"
    for r, fitted in enumerate(used):
        parts = ", ".join(f"P{p + 1}: {{" + ", ".join(f"{s + 1}: W{w + 1}" for s, w in sorted(plane.items())) + "}"
                          for p, plane in enumerate(fitted) if plane)
        text += f"  - {{name: run {r + 1}, fitted: {'{' + parts + '}' if parts else 'none'}}}\n"
    text += f"fitted_now: same as run {runs}\ntrim: {{max_changes: {size['max_changes']}}}\n"
    (folder / "job.yaml").write_text(text)
    return size, moments, readings


if __name__ == "__main__":
    given = dict(one.split("=") for one in sys.argv[2:])
    make(sys.argv[1], **{name: type(DEFAULTS[name])(value) for name, value in given.items()})
