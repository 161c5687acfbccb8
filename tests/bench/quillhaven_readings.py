"""Makes the readings of the shipped example: quillhaven_readings.py PROJECT [SEED [FOLDER]].

An invented linear rotor answers the runs of the jobs in examples/quillhaven, with the slots and weights of
configs/larkmere-fan.yaml. Each reading has noise of the sensor's stated repeatability per real component and is rounded
as a person writes it down. Writes readings.csv, misread.csv, after.csv, the run-ups of two runs and june.csv into FOLDER (without
it, examples/quillhaven).
The shipped tables are those of the seed below; a missing reading, an overall level and a phase written down 75 degrees
too large are put in here.
"""
import cmath
import json
import math
import random
import re
import sys
from pathlib import Path

PROJECT = Path(sys.argv[1])
SEED = int(sys.argv[2]) if len(sys.argv) > 2 else 1
EXAMPLE = PROJECT / "examples/quillhaven"
FOLDER = Path(sys.argv[3]) if len(sys.argv) > 3 else EXAMPLE
FULL_RPM = 5120
# Sensor: unit, noise, decimals.
SENSORS = {"front": ("in/s peak", 0.012, 3), "turbine": ("mil pp", 0.04, 2)}
# The rotor: per speed and sensor, the level with nothing but the hidden unbalance, and what 1000 g mm at rotor angle 0
# adds, in the spinner and in the drum; each amplitude and degrees of lag.
ROTOR = {
    56: {"front": ((0.45, 74), (0.24, 276), (0.08, 317)), "turbine": ((2.05, 315), (0.68, 82), (1.60, 70))},
    68: {"front": ((0.11, 154), (0.17, 354), (0.19, 44)), "turbine": ((3.20, 18), (1.30, 180), (1.70, 187))},
    80: {"front": ((0.32, 22), (0.06, 279), (0.16, 61)), "turbine": ((2.90, 19), (1.00, 201), (0.70, 146))},
    90: {"front": ((0.62, 29), (0.19, 259), (0.17, 69)), "turbine": ((3.55, 14), (1.10, 210), (0.72, 101))},
    96: {"front": ((0.84, 29), (0.23, 243), (0.20, 69)), "turbine": ((4.30, 13), (1.02, 216), (1.05, 88))},
}


def lag(amplitude, degrees):
    return cmath.rect(amplitude, -math.radians(degrees))


def planes():
    """{plane: ({slot: angle in degrees with rotation}, {weight: g mm}, g mm of a filler)}; slots run against rotation."""
    found = {}
    text = (PROJECT / "configs/larkmere-fan.yaml").read_text("utf-8")
    for part in re.split(r"  - name: ", text[text.index("planes:"):text.index("sensors:")])[1:]:
        count, first = int(re.search(r"count: (\d+)", part)[1]), float(re.search(r"slot_1_at: (\d+) deg", part)[1])
        unusable = [int(n) for n in re.findall(r"\d+", (re.search(r"unusable: \[(.*?)\]", part) or ["", ""])[1])]
        weights = {one: float(g) * float(mm) for one, g, mm in re.findall(r"id: (\w+), mass: ([\d.]+) g, radius: ([\d.]+) mm", part)}
        weights |= {one: float(g_mm) for one, g_mm in re.findall(r"id: (\w+), moment: ([\d.]+) g.mm", part)}
        filler = re.search(r"filler: {mass: ([\d.]+) g, radius: ([\d.]+) mm}", part)
        found[part.split("\n", 1)[0]] = ({n: first - 360 / count * (n - 1) for n in range(1, count + 1) if n not in unusable},
                                         weights, float(filler[1]) * float(filler[2]) if filler else 0.0)
    return found


PLANES = planes()


def unbalance(plane, held):
    """What a plane holds, fillers included [g mm, with rotation]."""
    slots, weights, filler = PLANES[plane]
    return sum(cmath.rect(weights[held[str(n)]] if str(n) in held else filler, math.radians(a)) for n, a in slots.items())


def runs_of(name):
    """{run: {plane: {slot: weight}}} of a job, without runs that were set aside."""
    runs = {}
    for run in (EXAMPLE / name).read_text("utf-8").split("\n  - name: ")[1:]:
        title, fitted = re.split(r"[\n#]", run, 1)[0].strip(), re.search(r"fitted: (.*?)(?:  +#.*)?$", run, re.M)[1]
        if "set_aside:" not in run:
            words = re.sub(r"\w+", r'"\g<0>"', fitted)
            runs[title] = runs[fitted.removeprefix("same as ")] if fitted.startswith("same as ") else json.loads(words)
    return runs


def between(percent, sensor):
    """Level and coefficients at any speed: the cubic through the four nearest of the rotor's."""
    nearest = sorted(sorted(ROTOR, key=lambda one: abs(one - percent))[:4])
    share = {one: math.prod((percent - other) / (one - other) for other in nearest if other != one) for one in nearest}
    return [sum(share[one] * lag(*ROTOR[one][sensor][i]) for one in nearest) for i in range(3)]


def reading(draw, percent, sensor, held, more=0):
    """Amplitude and phase as written down; `more`: vibration of what nobody fitted."""
    unit, noise, decimals = SENSORS[sensor]
    level, *coefficients = between(percent, sensor)
    x = level + sum(c * unbalance(plane, held.get(plane, {})) / 1000 for c, plane in zip(coefficients, PLANES)) + more
    x += complex(draw.gauss(0, noise), draw.gauss(0, noise))
    return [f"{abs(x):.{decimals}f} {unit}", f"{round(-math.degrees(cmath.phase(x))) % 360} deg", "once-per-rev", ""]


def table_of(draw, run, held):
    rows = []
    for percent in ROTOR:
        rpm = round(percent / 100 * FULL_RPM + draw.gauss(0, 7))
        rows += [[run, f"{rpm} rpm", sensor, *reading(draw, percent, sensor, held)] for sensor in SENSORS]
    return rows


def run_up_of(draw, run, held):
    """Every second percent, as a run-up is recorded; "component" and "note" as in the other tables."""
    return [[run, f"{percent / 100 * FULL_RPM:.0f} rpm", sensor, *reading(draw, percent, sensor, held)[:3], "run-up"]
            for percent in range(56, 98, 2) for sensor in SENSORS]


def store(name, tables):
    lines = ["run,speed,sensor,amplitude,phase,component,note"] + [",".join(row) for rows in tables for row in rows]
    (FOLDER / name).write_text("\n".join(lines) + "\n", "utf-8")


first, more, checked = (runs_of(name) for name in ("job.yaml", "misread.yaml", "after.yaml"))
draw = random.Random(SEED)
made = {run: table_of(draw, run, held) for run, held in {**first, **more, **checked}.items()}
made["trial drum"][3][3:] = ["missing", "", "once-per-rev", "cable fault"]
for name in ("as found", "check"):
    run, rpm, sensor, amplitude = made[name][-2][:4]
    made[name].append([run, rpm, sensor, f"{float(amplitude.split()[0]) + 0.009:.2f} in/s peak", "", "overall",
                       '"unfiltered, for the record"'])
for run in more.keys() - first.keys():
    del made[run][3]  # the cable is still faulty
wrong = made["third trial spinner"][5]
wrong[4] = f"{(int(wrong[4].split()[0]) + 75) % 360} deg"
store("readings.csv", [made[run] for run in first])
store("misread.csv", [made[run] for run in more if run not in first])
store("after.csv", [made[run] for run in checked if run not in first])
draw = random.Random(SEED + 1000)
for name, run in (("run-up.csv", "as found"), ("after-run-up.csv", "check")):
    store(name, [run_up_of(draw, run, checked[run])])

# A month after the trim, a printout a day at two speeds: from the 19th on the spinner end is 1300 g mm heavier at 140 degrees.
draw = random.Random(SEED + 6)
lines = ["date,speed," + ",".join(f"{name} [{unit}],{name} [deg]" for name, (unit, _, _) in SENSORS.items()) + ",note"]
for day in range(1, 31):
    for percent in (80, 96):
        cells = [f"2031-06-{day:02}", f"{round(percent / 100 * FULL_RPM + draw.gauss(0, 7))} rpm"]
        for sensor in SENSORS:
            lost = lag(*ROTOR[percent][sensor][1]) * cmath.rect(1.3, math.radians(140)) if day >= 19 else 0
            amplitude, phase = reading(draw, percent, sensor, checked["check"], lost)[:2]
            cells += [amplitude.split()[0], phase.split()[0]]
        lines.append(",".join(cells + ["blades inspected" if day == 10 else ""]))
(FOLDER / "june.csv").write_text("\n".join(lines) + "\n", "utf-8")
