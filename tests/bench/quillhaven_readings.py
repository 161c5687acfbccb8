"""Makes the readings of the shipped example: quillhaven_readings.py PROGRAM PROJECT SEED [FOLDER].

The rotor is the virtual one of `trimwright rehearse` with this seed, described by configs/larkmere-fan.yaml; the runs
are those of the jobs in examples/quillhaven, in their order. Each run scatters as a rehearsal's does, with noise of
0.15 mm/s in each reading, and is then rounded as a person writes it down. Writes readings.csv, misread.csv and
after.csv into FOLDER (without it, into examples/quillhaven). Needs PyYAML.

The shipped tables: seed SEED_OF_THE_EXAMPLE. A missing reading, an overall level and the phase written down wrong
(70 degrees too large) are put in here.
"""
import csv
import subprocess
import sys
import tempfile
from pathlib import Path

import yaml

NOISE = "repeatability: 0.15 mm/s"
MISREAD = ("third trial spinner", 3, "front", 70)  # run, speed point, sensor, degrees
HEADING = "run,speed,sensor,amplitude,phase,component,note"

program, project, seed = sys.argv[1], Path(sys.argv[2]), sys.argv[3]
example = project / "examples/quillhaven"
folder = Path(sys.argv[4]) if len(sys.argv) > 4 else example


def runs_of(name):
    """{run: {plane: {slot: weight}}} of a job, without runs that were set aside."""
    runs = {}
    for run in yaml.safe_load((example / name).read_text("utf-8"))["runs"]:
        held = run["fitted"]
        if "set_aside" not in run:
            runs[run["name"]] = runs[held.removeprefix("same as ")] if isinstance(held, str) else held
    return runs


def rehearse(*words):
    subprocess.run([program, "rehearse", *map(str, words)], check=True, capture_output=True)


def written(row):
    """As a person writes it: whole rpm and degrees, three decimals of in/s and two of mil."""
    amplitude, unit = row["amplitude"].split(" ", 1)
    return {"run": row["run"], "speed": f"{float(row['speed'].split()[0]):.0f} rpm", "sensor": row["sensor"],
            "amplitude": f"{float(amplitude):.{2 if unit.startswith('mil') else 3}f} {unit}",
            "phase": f"{round(float(row['phase'].split()[0])) % 360} deg", "component": "once-per-rev", "note": ""}


def made(runs):
    """{run: [row, ...]} of the virtual rotor."""
    tables = {}
    with tempfile.TemporaryDirectory() as name:
        practice = Path(name) / "practice"
        rehearse("new", practice, "--seed", seed)
        (practice / "rotor.yaml").write_bytes((project / "configs/larkmere-fan.yaml").read_bytes())
        state = (practice / "rehearsal.yaml").read_text("utf-8")
        (practice / "rehearsal.yaml").write_text(state.replace("repeatability: 0.04 mm/s", NOISE), "utf-8")
        first = next(iter(runs))
        for run, fitted in runs.items():
            there = {} if run == first else runs[first]
            words = ["--like", first] if run != first else []
            for plane, slots in fitted.items():
                for slot, weight in slots.items():
                    if there.get(plane, {}).get(slot) != weight:
                        words += ["--fit", f"{plane} {slot}={weight}"]
            rehearse("run", practice, "--name", run, "--readings", *words)
            with open(practice / f"{run.replace(' ', '-')}.csv", encoding="utf-8") as table:
                tables[run] = [written(row) for row in csv.DictReader(table)]
    return tables


def store(name, tables, runs):
    lines = [HEADING]
    for run in runs:
        lines += [",".join(row.values()) for row in tables[run]]
    (folder / name).write_text("\n".join(lines) + "\n", "utf-8")


first_runs, misread_runs = runs_of("job.yaml"), runs_of("misread.yaml")
checked = runs_of("after.yaml")
tables = made({**first_runs, **misread_runs, **checked})
tables["trial drum"][3].update(amplitude="missing", phase="", note="cable fault")  # turbine at the second speed
top = next(row for row in reversed(tables["as found"]) if row["sensor"] == "front")
overall = {**top, "amplitude": f"{1.012 * float(top['amplitude'].split()[0]):.2f} in/s peak", "phase": "",
           "component": "overall", "note": '"unfiltered, for the record"'}
tables["as found"].append(overall)
for run in misread_runs:
    if run not in first_runs:  # the cable is still faulty
        del tables[run][3]
run, point, sensor, wrong = MISREAD
row = [row for row in tables[run] if row["sensor"] == sensor][point]
row["phase"] = f"{(int(row['phase'].split()[0]) + wrong) % 360} deg"
store("readings.csv", tables, first_runs)
store("misread.csv", tables, [run for run in misread_runs if run not in first_runs])
store("after.csv", tables, [run for run in checked if run not in first_runs])
