#!/usr/bin/env python3
"""The shipped trim with every reading taken on the way up and, hot, on the way down, through every command:
approach_cli.py PROGRAM PROJECT. And earlier trims found in an archive by serial. Leaves with status 1 when anything is wrong.

Readings on the way down are those on the way up with one vector added for each sensor. So the baselines differ by it, the
coefficients do not, and whatever is foretold on the way down lies that vector off what is foretold on the way up.
"""
import csv
import io
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

program, project = sys.argv[1], Path(sys.argv[2])
example = project / "examples/quillhaven"
MORE = {"front": 0.05 * np.exp(1j * np.radians(40)), "turbine": 0.3 * np.exp(1j * np.radians(110))}  # as shown, lag
wrong = []


def check(right, words):
    if not right:
        wrong.append(words)


def both_ways(name):
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(["run", "speed", "sensor", "amplitude", "phase", "component", "note", "approach", "state"])
    for line in csv.DictReader(open(example / name, encoding="utf-8")):
        rows.writerow([*line.values(), "up", "cold"])
        if line["component"] == "overall":
            continue
        if line["amplitude"] != "missing":
            amplitude, unit = line["amplitude"].split(" ", 1)
            x = float(amplitude) * np.exp(1j * np.radians(float(line["phase"].split()[0]))) + MORE[line["sensor"]]
            line["amplitude"], line["phase"] = f"{abs(x):.12g} {unit}", f"{np.degrees(np.angle(x)) % 360:.12g} deg"
        rows.writerow([*line.values(), "Down", "hot"])
    return out.getvalue()


def run(*words, status=0):
    done = subprocess.run([program, *map(str, words)], capture_output=True, text=True, timeout=600)
    check(done.returncode == status, f"{words}: status {done.returncode}, {done.stderr}")
    return done.stdout if status == 0 else done.stderr


def document(*words):
    return json.loads(run(*words, "--format", "json") or "{}")


def by_place(rows):
    return {(round(one["speed_rpm"]), one["sensor"], one.get("approach")): one for one in rows}


def shown(one, amplitude, phase):
    return one[amplitude] * np.exp(1j * np.radians(one[phase]))


def read_both_ways(folder):
    plain = document("influence", example / "job.yaml")
    told = document("influence", folder / "job.yaml")
    own = {(round(one["speed_rpm"]), one["sensor"], one["plane"]): one for one in plain["coefficients"]}
    check(len(told["coefficients"]) == 2 * len(own), "not two coefficients for each one")
    for one in told["coefficients"]:
        other = own[round(one["speed_rpm"]), one["sensor"], one["plane"]]
        off = abs(shown(one, "amplitude", "phase_deg") - shown(other, "amplitude", "phase_deg"))
        check(off < 1e-6 * other["amplitude"], f"a coefficient is {off} off")
        check(one["state"] == {"up": "cold", "down": "hot"}[one["approach"]], "another state")
    plan = document("plan", folder / "job.yaml")
    predicted = by_place(plan["predicted"])
    check(len(predicted) == len(plan["predicted"]), "a place stands there twice")
    for (rpm, sensor, approach), one in predicted.items():
        other = predicted[rpm, sensor, "up"]
        more = MORE[sensor] if approach == "down" else 0.0
        for word in ("before", "after"):
            off = abs(shown(one, word, f"{word}_phase_deg") - shown(other, word, f"{word}_phase_deg") - more)
            check(off < 1e-6, f"{word} at {rpm} rpm, {sensor}, {approach} is {off} off")
    for command in ("plan", "influence", "trial", "ready"):
        text = " ".join(run(command, folder / "job.yaml").split())
        if command != "ready":
            check("on the way down, hot" in text and "on the way up, cold" in text, f"{command} does not say which way")
    run("page", folder / "job.yaml", "-o", folder / "page.html")
    check("on the way down, hot" in (folder / "page.html").read_text("utf-8"), "the page does not say which way")
    verdict = document("check", folder / "after.yaml")
    check(len(by_place([one for one in verdict["readings"] if one["component"] != "overall"])) ==
          len([one for one in verdict["readings"] if one["component"] != "overall"]), "a reading of the check run stands twice")
    check(verdict["verdict"] == "accepted", f"the check run is {verdict['verdict']}")


def wrong_words(folder):
    table = (folder / "readings.csv").read_text("utf-8")
    (folder / "readings.csv").write_text(table.replace(",up,cold", ",sideways,cold", 1), "utf-8")
    message = run("plan", folder / "job.yaml", status=1)
    check('readings.csv:2: approach: "sideways" is not known here' in message, f"not said: {message}")
    (folder / "readings.csv").write_text(table, "utf-8")


def earlier_trims(folder):
    archive = folder / "trims.db"
    run("record", "file", folder / "after.yaml", "--by", "L. Marsh", "--archive", archive, "--dated", "2031-05-13")
    history = json.loads(run("record", "compare", "LKM-417", "--archive", archive, "--format", "json"))
    places = [(round(one["speed_rpm"]), one["sensor"], one.get("approach")) for one in history["levels"]]
    check(len(set(places)) == len(places) and {"up", "down"} <= {one[2] for one in places}, f"history: {places}")
    (folder / "again.yaml").write_text(
        "trimwright: job 1\nrotor: configs/larkmere-fan.yaml\nserial: LKM-417\nruns:\n  - name: as found\n    fitted: none\n    readings:\n" +
        "".join(f"      - {{speed: {rpm} rpm, sensor: front, amplitude: {0.3 + rpm / 1e4} in/s peak, phase: {rpm / 50} }}\n"
                for rpm in (2876, 3482, 4100, 4612, 4924)), "utf-8")
    plan = document("plan", folder / "again.yaml", "--archive", archive)
    words = " ".join(plan["warnings"])
    check("from this rotor's own earlier trim, the trim of 2031-05-12 (" in words, f"the plan does not say from where: {words}")
    check("come from this rotor's own earlier trims" in words and "fleet" not in words, f"said to be the fleet's: {words}")
    told = document("influence", folder / "again.yaml", "--archive", archive)
    check(told["earlier_jobs"]["own_share"] > 0.999 and told["earlier_jobs"]["jobs"][0]["same_serial"], "not its own trim")
    message = run("plan", folder / "after.yaml", "--archive", archive, status=1)
    check("no earlier job of rotor" in message, f"a job foretells itself: {message}")


with tempfile.TemporaryDirectory() as name:
    folder = Path(name)
    (folder / "configs").mkdir()
    (folder / "configs/larkmere-fan.yaml").write_bytes((project / "configs/larkmere-fan.yaml").read_bytes())
    for one in ("readings.csv", "after.csv"):
        (folder / one).write_text(both_ways(one), "utf-8")
    for one in ("job.yaml", "after.yaml"):
        text = (example / one).read_text("utf-8").replace("../../configs", "configs")
        (folder / one).write_text("".join(line for line in text.splitlines(True) if "run_up:" not in line), "utf-8")
    for part in (read_both_ways, wrong_words, earlier_trims):
        part(folder)
print("\n".join(wrong) or "read on the way up and down, through every command; earlier trims found by serial")
sys.exit(1 if wrong else 0)
