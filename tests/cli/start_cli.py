#!/usr/bin/env python3
"""From nothing to a plan with what the program itself writes and says: start_cli.py PROGRAM PROJECT."""
import cmath
import copy
import csv
import fcntl
import json
import math
import os
import pty
import re
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path

import jsonschema
import yaml

program, project = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
wrong = []


def check(what, holds, found=""):
    if not holds:
        wrong.append(f"{what}: {found}")


def run(*arguments, status=0, folder=None):
    done = subprocess.run([program, *map(str, arguments)], cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    check(f"{arguments} ends with {status}", done.returncode == status, f"{done.returncode} {done.stderr}")
    return done.stdout + done.stderr


def edit(path, old, new):
    text = path.read_text("utf-8")
    check(f"{path.name} holds {old!r}", old in text)
    path.write_text(text.replace(old, new), "utf-8")


class Loader(yaml.SafeLoader):
    """YAML as the program and editors take it: dates are texts."""


Loader.yaml_implicit_resolvers = {c: [(tag, rule) for tag, rule in rules if not tag.endswith((":timestamp", ":bool"))]
                                  for c, rules in yaml.SafeLoader.yaml_implicit_resolvers.items()}


def load(text):
    return yaml.load(text, Loader)


# --- a job from nothing ---------------------------------------------------------------------------------------

SHIPPED = ["--name", "Larkmere: two", "--rotation", "clockwise from aft", "--speed-100", "5120 rpm", "--phase", "lag", "--planes",
           "spinner 40, drum 25", "--sensors", "front ips pk, tail cone mils p-p", "--speeds", "60 %, 80 %, 96 %"]
TOLD = [*SHIPPED, "--slots", "slot 1 at 0 deg, clockwise from front", "--radius", "spinner: 200 mm; drum: 10 in", "--weights", "A2 2 g, A5 5 g, 7.5 g",
        "--teeth", "1", "--limits", "front: limit 0.98 in/s, target 0.25; tail cone: 5 mil", "--repeatability", "0.03 in/s; 0.15 mil"]


def read(x, u, k):
    """Amplitude and lag of a made-up rotor: what is there, and what moments `u` of the planes add."""
    c = (0.0006 + 0.0001 * k, 0.0002 - 0.0003j)
    z = x + sum(a * b for a, b in zip(c, u))
    return abs(z), -math.degrees(cmath.phase(z))


def fill(path, runs, parted_by=";"):
    """Writes the table as a person would: run by run into the columns that start made; some spreadsheets save it with commas."""
    mark, *lines = path.read_text("utf-8").splitlines()
    check("the table says what parts its cells", mark == "sep=;", mark)
    rows = list(csv.reader(lines, delimiter=";"))
    speeds = list(dict.fromkeys(row[1] for row in rows[1:]))
    with path.open("w", encoding="utf-8", newline="") as out:
        if parted_by == ";":
            out.write("sep=;\r\n")
        writer = csv.writer(out, delimiter=parted_by)
        writer.writerow(rows[0])
        decimal = (lambda text: text.replace(".", ",")) if parted_by == ";" else str
        for name, u in runs:
            for k, speed in enumerate(speeds):
                front, tail = read(0.5 + 0.2j * k, u, k), read(2 - 1j * k, [3 * one for one in u], k)
                writer.writerow([name, speed, decimal(f"{front[0]:.4f}"), f"{front[1]:.0f}", decimal(f"{tail[0]:.2f}"), f"{tail[1]:.0f}", ""])


with tempfile.TemporaryDirectory() as scratch:
    folder = Path(scratch) / "new" / "engine"
    run("start", folder, *SHIPPED)
    job, rotor, table = folder / "job.yaml", folder / "rotor.yaml", folder / "readings.csv"
    check("start writes", sorted(p.name for p in folder.iterdir()) == ["job.yaml", "readings.csv", "rotor.yaml", "run-sheet.html"],
          sorted(p.name for p in folder.iterdir()))
    before = {p: p.read_bytes() for p in folder.iterdir()}
    check("start leaves what is there", "there is a rotor.yaml already" in run("start", folder, status=1))
    check("nothing is changed by it", before == {p: p.read_bytes() for p in folder.iterdir()})
    sheet = (folder / "run-sheet.html").read_text("utf-8")
    check("the sheet has the speeds", "4915 rpm (96 %)" in sheet)
    check("the sheet has no limit that nobody gave", "Limits are not given yet" in sheet and '<td class="number">' not in sheet)

    text = run("ready", job)
    missing = re.findall(r"^  (\d)\. (.*(?:\n     .*)*)", text, re.M)
    check("ready: first what is assumed", missing and "slot numbering" in " ".join(missing[0][1].split()), text)
    check("ready: given answers are not assumed", missing and "rotation" not in missing[0][1], text)
    check("ready: then the run", len(missing) > 1 and 'Make run "as found"' in missing[-1][1], text)
    check("ready: the next command", f"NEXT\n  trimwright ready {job}\n" in text, text)
    for command in ("plan", "trial"):
        check(f"{command}: no weight on what is assumed", "to_confirm" in run(command, job, status=1))

    text = rotor.read_text("utf-8")
    check("what nobody told is open", "to_confirm: [slot numbering of spinner, slot numbering of drum, limits of front, limits of tail cone]\n" in text, text)
    said_figures = {"1", "2", "40", "25", "0", "5120", "100"}  # of the answers, the format's own number, and what is assumed and listed
    figures = {one for line in text.splitlines() if not line.lstrip().startswith("#") for one in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", line)}
    check("no figure that nobody stated", figures <= said_figures, figures - said_figures)
    for command in ("check", "plan"):
        check(f"{command}: refused while limits are open", "limits of front" in run(command, job, status=1))
    (folder / "no-limits-rotor.yaml").write_text(text.replace(", limits of front, limits of tail cone", ""), "utf-8")
    (folder / "no-limits.yaml").write_text(job.read_text("utf-8").replace("rotor.yaml", "no-limits-rotor.yaml"), "utf-8")
    check("a limit may be missing only while it is told to be open", "limits" in run("ready", folder / "no-limits.yaml", status=1))
    front_only = Path(scratch) / "front-only"
    run("start", front_only, *SHIPPED, "--limits", "front: 0.98 in/s; tail cone: none")
    sheet = (front_only / "run-sheet.html").read_text("utf-8")
    check("the sheet has the limit that was given, and a blank for the other", sheet.count('<td class="number">0.980</td>') == 3 and
          "Limits are not given yet" in sheet and "not given</td>" not in sheet)

    # all told: no file is edited before the trial run
    folder = Path(scratch) / "told"
    said = run("start", folder, *TOLD)
    job, rotor, table = folder / "job.yaml", folder / "rotor.yaml", folder / "readings.csv"
    check("start: nothing is open, and the next command", "rotor file" not in said and f"trimwright ready {job}" in said, said)
    text = rotor.read_text("utf-8")
    check("nothing that nobody said counts", not re.search(r"\n    (proportional|access|run_to_run):|to_confirm|stock: \d", re.sub("#.*", "", text)), text)
    written = load(text)
    check("weights in both planes, each at its radius", [(w["id"], w["mass"], w["radius"]) for p in written["planes"] for w in p["weights"]] ==
          [(i, m, r) for r in ("200 mm", "10 in") for i, m in (("A2", "2 g"), ("A5", "5 g"), ("W7.5", "7.5 g"))], written["planes"])
    check("limits and targets", [one["limits"] for one in written["sensors"]] == [[{"limit": "0.98 in/s", "target": "0.25 in/s"}], [{"limit": "5 mil"}]], written["sensors"])
    check("each trial run has its rows", [row[0] for row in csv.reader(table.read_text("utf-8").splitlines()[2:], delimiter=";")] ==
          [name for name in ("as found", "trial spinner", "trial drum") for _ in range(3)], table.read_text("utf-8"))
    sheet = (folder / "run-sheet.html").read_text("utf-8")
    check("the sheet has the limits at once", "Limits are not given yet" not in sheet and '<td class="number">0.980</td>' in sheet, re.findall("<td class=.number.>.*?</td>", sheet)[:4])
    check("plan: without readings", f"next: trimwright ready {job}" in run("plan", job, status=1))
    fill(table, [("as found", [0, 0])])
    check("ready: a trial is next", f"NEXT\n  trimwright trial {job}\n" in run("ready", job))
    for command in ("plan", "influence"):
        check(f"{command}: a trial is next", f"next: trimwright trial {job}" in run(command, job, status=1))
    said = run("trial", job, status=1)
    check("trial: what would do instead of the mass", '--plane "spinner" --weight "A2"' in said and "mass" in said, said)
    check("trial: and it does", "slot" in run("trial", job, "--plane", "spinner", "--weight", "A2"))
    edit(rotor, "# mass: M kg", "mass: 260 kg")
    said = run("trial", job)
    entry = re.search(r"AFTER THE RUN\n.*?\n    (- name: [^\n]*\n      fitted: [^\n]*)\n.*?\n    (fitted_now: .*)\n\nNEXT\n  trimwright ready (.*)\n$", said, re.S)
    check("trial: how the run is entered, and the next command", entry and entry[1] == "- name: trial spinner\n      fitted: {spinner: {1: A2}}" and
          entry[2] == "fitted_now: none" and entry[3] == str(job), said[-700:])
    copied = Path(scratch) / "told/copied.yaml"
    copied.write_text(job.read_text("utf-8").replace("  # A second run", "  " + entry[1].replace("\n    ", "\n  ") + "\n" + entry[2] + "\n# A second run"), "utf-8")
    fill(table, [("as found", [0, 0]), ("trial spinner", [400, 0])])
    check("what trial says can be copied into the job", "trimwright plan" in run("ready", copied))
    check("trial: how it is printed", f"ON PAPER\n  trimwright page {job} \\\n      -o {folder / 'trial.html'}\n" in said, said[-900:])
    check("and a run that is not entered is told with what to do", "entered there under runs" in run("ready", job, status=1))

    spinner = 5 * 200 * cmath.rect(1, -2 * cmath.pi * 9 / 40)  # clockwise from the front is against this rotation
    runs = [("as found", [0, 0]), ("trial spinner", [spinner, 0])]
    fill(table, runs, parted_by=",")
    edit(job, "  # - name: trial spinner\n  #   fitted: {spinner: {20: W7.5}}\n",
         "  - name: trial spinner\n    fitted: {spinner: {10: A5}}\n")
    edit(job, "# fitted_now: same as as found", "fitted_now: same as as found")
    text = run("ready", job)
    check("ready: the plan is next, and the other plane is told", f"NEXT\n  trimwright plan {job}\n" in text and "drum" in text, text)
    text = run("plan", job)
    check("plan: numbering as written", "clockwise seen from the front" in text, text[:500])
    check("plan: how the check run is entered, and the next command", re.search(r"- name: check run\n      fitted: \{.*\}\n", text) and
          "Take the line fitted_now out" in text and text.endswith(f"NEXT\n  trimwright check {job}\n"), text[-600:])

    # angles and a second folder with nothing answered
    bare = Path(scratch) / "bare"
    run("start", bare)
    for one in ("rotor.yaml", "job.yaml"):
        text = (bare / one).read_text("utf-8")
        check(f"{one}: no plane or weight of the shipped example where none was named", not re.search(r"spinner|drum|\bK\d", text), text)
    text = run("ready", bare / "job.yaml")
    check("ready: all that was not answered is assumed or open", "name, planes, rotation, sensors, phase, limits of front, limits of rear" in
          " ".join(text.split()), text)
    text = rotor.read_text("utf-8")
    check("rotor.yaml: run_to_run waits to be put right", "    # run_to_run: 0.049 in/s\n" in text, text)
    (folder / "told.yaml").write_text(text.replace("    # run_to_run:", "    run_to_run:"), "utf-8")
    (folder / "told-job.yaml").write_text(job.read_text("utf-8").replace("rotor.yaml", "told.yaml"), "utf-8")
    check("and is read where its # is taken away", run("ready", folder / "told-job.yaml") == run("ready", job).replace("job.yaml", "told-job.yaml"))
    # answers as people write them
    wide = Path(scratch) / "wide"
    run("start", wide, "--planes", "nose 28 holes, disc 30 Slots", "--sensors", "fwd velocity mm/s rms, aft mil pp", "--speed-100", "4000",
        "--speeds", "1850, 2640, 3310, 3975 rpm", "--repeatability", "0.3 mm/s, 0.09 mil")
    written = load((wide / "rotor.yaml").read_text("utf-8"))
    check("start: holes are slots", [(one["name"], one["slots"]["count"]) for one in written["planes"]] == [("nose", 28), ("disc", 30)], written["planes"])
    check("start: a quantity is no part of a sensor's name", [one["name"] for one in written["sensors"]] == ["fwd", "aft"], written["sensors"])
    check("start: a third of what readings differ", [one["repeatability"] for one in written["sensors"]] == ["0.1 mm/s", "0.03 mil"], written["sensors"])
    check("start: what was said is not assumed", "repeatability" not in written["to_confirm"], written["to_confirm"])
    check("start: rpm for all", [one["at"] for one in load((wide / "job.yaml").read_text("utf-8"))["speeds"]] ==
          ["1850 rpm", "2640 rpm", "3310 rpm", "3975 rpm"] and written["speed_100"] == "4000 rpm")
    check("start: what is open is told", "repeatability" not in (wide / "rotor.yaml").read_text("utf-8").split("planes:")[0])
    run("start", Path(scratch) / "alone", "--speeds", "3975")
    check("start: a number too large for a share is rpm", "{at: 3975 rpm}" in (Path(scratch) / "alone/job.yaml").read_text("utf-8"))
    for name, value in (("--speeds", "60"), ("--sensors", "fwd acceleration mm/s rms"), ("--repeatability", "0.1 in/s"),
                        ("--repeatability", "0.1 in/s, often"), ("--planes", "spinner"), ("--sensors", "front mils"), ("--rotation", "left"), ("--phase", "late"),
                        ("--speeds", "60 %, 60 %"), ("--speeds", "130 %"), ("--speeds", "60 %"), ("--speeds", "62,5 %"), ("--speed-100", "fast"), ("--slots", "slot 1 at 0 deg"),
                        ("--radius", "200 mm"), ("--weights", "2 g"), ("--teeth", "no"), ("--mass", "260"), ("--limits", "1 in/s"), ("--fitted", "left")):
        said = run("start", Path(scratch) / "no", name, value, status=1)
        check(f"start {name} {value}", "expected" in said and said.count("\n") == 1, said)
        check("nothing is written then", not (Path(scratch) / "no").exists())
    two = ["--planes", "spinner 40, drum 25", "--sensors", "front in/s peak, rear mil pp", "--radius", "200 mm"]
    for name, value in (("--radius", "250"), ("--radius", "0 mm"), ("--radius", "1 in; 2 in; 3 in"), ("--radius", "nose: 200 mm; 210 mm"), ("--weights", "S1"),
                        ("--weights", "S1 2 g, S1 5 g"), ("--weights", "2 g x 10"), ("--weights", "0 g"), ("--weights", "A 3,2 g x 6, B 5,1 g"), ("--slots", "spinner: same as drum"), ("--slots", "slot 1 at 9 deg sideways, clockwise from front"),
                        ("--limits", "front: 1,0 in/s"), ("--limits", "front: 1 in/s target 2"), ("--limits", "front: 1 mil"), ("--limits", "nose: 1 in/s; front: 1"),
                        ("--fitted", "spinner 41 S2"), ("--fitted", "spinner 4 S2")):
        arguments = two[:4] if name == "--radius" else two
        said = run("start", Path(scratch) / "no", *arguments, name, value, status=1)
        check(f"start {name} {value}", "expected" in said and said.count("\n") == 1 and name in said, said)
    check("a decimal comma in the kit is told", '"3,2 g" has a comma for its decimal point: "3.2 g"' in
          run("start", Path(scratch) / "no", *two, "--weights", "A 3,2 g x 6, B 5,1 g", status=1))
    kits = Path(scratch) / "kits"
    run("start", kits, *two, "--weights", "spinner: 2.5, 5 g x 6, big 500 g.mm; drum: 4 x S2 5 g", "--fitted", "spinner slot 7 w5, drum 3 S2", status=1)
    run("start", kits, *two, "--weights", "spinner: 2.5, 5 g x 6, big 500 g.mm; drum: 4 x S2 5 g", "--fitted", "spinner slot 7 W5, drum 3 S2")
    written = load((kits / "rotor.yaml").read_text("utf-8"))
    check("start: a kit for each plane, with its stock", [one["weights"] for one in written["planes"]] ==
          [[{"id": "W2.5", "mass": "2.5 g", "radius": "200 mm"}, {"id": "W5", "mass": "5 g", "radius": "200 mm", "stock": 6}, {"id": "big", "moment": "500 g.mm"}],
           [{"id": "S2", "mass": "5 g", "radius": "200 mm", "stock": 4}]], written["planes"])
    check("start: what is fitted", load((kits / "job.yaml").read_text("utf-8"))["runs"][0]["fitted"] == {"spinner": {7: "W5"}, "drum": {3: "S2"}})
    check("ready: weights that nobody told are told", "List in the rotor file the weights" in " ".join(run("ready", wide / "job.yaml").split()))

    # --- from a table that a spreadsheet saved -----------------------------------------------------------------

    ROWS = [["baseline", "3200", "0,541", "338", "2,23", "333", "b\u00f6ig"], ["baseline", "3600", "0,625", "331", "2,64", "328", ""],
            ["trial 1", "3200", "0,854", "16", "1,25", "6", ""], ["trial 1", "3600", "0,953", "14", "1,19", "3", ""],
            ["trial 2", "3200", "0,612", "320", "5,39", "338", ""], ["trial 2", "3600", "0,732", "314", "6,01", "335", ""]]
    HEADING = ["run", "speed [rpm]", "front [in/s peak]", "front [\u00b0 lag]", "rear [\u00b5m pp]", "rear [\u00b0 lag]", "note"]
    semicolons = "\r\n".join(";".join(row) for row in [HEADING, *ROWS]) + "\r\n"
    long_rows = ["run,RPM,sensor,amplitude,phase"] + [f"{r[0]},{r[1]},{s},{r[i].replace(',', '.')} {u},{r[i + 1]}" for r in ROWS
                                                       for s, i, u in (("front", 2, "in/s peak"), ("rear", 4, "um pp"))]
    KNOWN = ["--planes", "spinner 40, drum 25", "--radius", "200 mm", "--weights", "S1 2.5 g, S2 5 g", "--rotation", "clockwise from aft", "--slots",
             "0 deg, clockwise from front", "--limits", "front: 1 in/s target 0.3; rear: 10", "--name", "Type 7", "--teeth", "1"]
    RUNS = ["--fitted", "trial 1: spinner 7 S2; trial 2: drum 3 S2; now: none"]
    plans = []
    for name, content in (("latin", semicolons.encode("latin-1")), ("utf", ("sep=;\r\n" + semicolons).encode("utf-8")),
                          ("begun", semicolons.replace("front [in/s peak];front [\u00b0 lag]", "front bearing [in/s peak];front phase [\u00b0 lag]").encode("utf-8")),
                          ("long", "\n".join(long_rows).encode("utf-8"))):
        sheet = Path(scratch) / f"{name}.csv"
        sheet.write_bytes(content)
        home = Path(scratch) / name
        front = "front bearing" if name == "begun" else "front"
        known = [one.replace("front: 1", front + ": 1") for one in KNOWN]
        said = run("start", home, "--readings", sheet, *known, *RUNS, *(["--phase", "lag"] if name == "long" else []))
        check(f"{name}: nothing is open", "rotor file" not in said and f"trimwright ready {home / 'job.yaml'}" in said, said)
        written, started = load((home / "rotor.yaml").read_text("utf-8")), load((home / "job.yaml").read_text("utf-8"))
        check(f"{name}: sensors with their units", [(one["name"], one["unit"]) for one in written["sensors"]] == [(front, "in/s peak"), ("rear", "\u00b5m pp")], written["sensors"])
        check(f"{name}: runs, speeds and what was in", started["runs"] == [{"name": "baseline", "fitted": "none"}, {"name": "trial 1", "fitted": {"spinner": {7: "S2"}}},
              {"name": "trial 2", "fitted": {"drum": {3: "S2"}}}] and [one["at"] for one in started["speeds"]] == ["3200 rpm", "3600 rpm"] and
              started["fitted_now"] == "none", started)
        check(f"{name}: the plan is next", f"NEXT\n  trimwright plan {home / 'job.yaml'}\n" in run("ready", home / "job.yaml"))
        if name != "begun":  # its sensor has another name
            plans.append(run("plan", home / "job.yaml").split("WHAT CHANGES")[1].split("FEWER OR MORE")[0])
    home = Path(scratch) / "first-word"
    run("start", home, "--readings", Path(scratch) / "utf.csv", "--planes", "front ring 40, rear disc 25", "--radius", "200 mm", "--weights", "S1 2.5 g, S2 5 g",
        "--fitted", "trial 1: S2 in front hole 7; trial 2: rear 3 S1")
    check("a plane is known by its first word where no other begins so", [one["fitted"] for one in load((home / "job.yaml").read_text("utf-8"))["runs"]] ==
          ["none", {"front ring": {7: "S2"}}, {"rear disc": {3: "S1"}}])
    check("the same readings give the same plan", len(set(plans)) == 1 and "spinner" in plans[0], plans)
    here = Path(scratch) / "here"
    here.mkdir()
    (here / "sheet.csv").write_bytes(semicolons.encode("latin-1"))
    run("start", here, "--readings", here / "sheet.csv", *KNOWN, *RUNS)
    check("a table that is in the folder stays the one", not (here / "readings.csv").exists() and "readings: sheet.csv\n" in (here / "job.yaml").read_text("utf-8"))
    one_run = Path(scratch) / "one-run.csv"
    one_run.write_text("speed [rpm];front [in/s peak];front [deg];wind\n3200;0,5;40;4 kt\n3210;;;\n", "utf-8")
    run("start", Path(scratch) / "one", "--readings", one_run)
    check("a table of one run needs no column of runs", "are no readings" not in run("ready", Path(scratch) / "one/job.yaml"))
    FAULTS = [(semicolons.replace(" [in/s peak]", ""), [], ":1: ", "no unit"), (semicolons.replace("in/s peak", "in/s"), [], ":1: ", "detector"),
              ("run;speed\r\nbaseline;3200\r\n", [], ":1: ", "no column is of a sensor"), (semicolons.replace("speed [rpm]", "speed"), [], ":2: front.speed", "no unit of speed"),
              (semicolons.replace("0,541", "often"), [], ":2: ", "often"), (semicolons, ["--phase", "lead"], "", "--phase"), (semicolons, ["--sensors", "x in/s pp"], "", "--sensors"),
              (semicolons, ["--fitted", "trial 1: spinner 7 S2"], "", "trial 2"), (semicolons, ["--fitted", "trial 1: spinner 7 S9"], "", "S9"),
              (semicolons, ["--fitted", "trial 7: none"], "", "trial 7"), ("", [], "", "empty")]
    for content, more, place, words in FAULTS:
        one_run.write_text(content, "utf-8")
        said = run("start", Path(scratch) / "faulty", "--readings", one_run, *KNOWN, *(more if "--fitted" in more else RUNS + more), status=1)
        check(f"a faulty table or answer is told: {words}", words in said and place in said and said.count("\n") == 1, said)
        check("nothing is written then", not (Path(scratch) / "faulty").exists())

    # --- asked on a terminal ---------------------------------------------------------------------------------

    def at_a_terminal(arguments, answers=(), columns=80):
        """What is said, the answers typed one by one as each question stands there."""
        pid, terminal = pty.fork()
        if pid == 0:
            fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack("4H", 24, columns, 0, 0))
            os.execv(program, [str(program), *arguments])
        said, typed, begin = b"", 0, time.monotonic()
        while time.monotonic() - begin < 60:
            if select.select([terminal], [], [], 0.2)[0]:
                try:
                    part = os.read(terminal, 4096)
                except OSError:
                    break
                if not part:
                    break
                said += part
            if typed < len(answers) and said.count(b"\n> ") > typed:
                os.write(terminal, answers[typed].encode() + b"\n")
                typed += 1
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), said.decode("utf-8")

    asked = Path(scratch) / "asked"
    status, said = at_a_terminal(["start", str(asked), "--name", "Asked", "--phase", "lead"],
                                 ["", "fan 36, disc 24", "sideways", "counterclockwise from front", "slot 1 at 10 deg with rotation, clockwise from front", "",
                                  "250", "250 mm", "10 in", "2.5 g, 5 g", "", "front in/s peak, rear mil pp", "", "limit 1.0 in/s, target 0.3", "", "0.06 in/s", "",
                                  "60 %, 80 %", "", "4740", "", "fan 7 W5"])
    of_asked = said
    check("asked on a terminal", status == 0, said)
    check("a wrong answer is told and asked again", "does not say how the rotor turns" in said and '"250" has no unit' in said and "This is needed: there are speeds in %" in said, said)
    check("every question has a reason, an example and what Enter means, but not once more after a wrong answer", said.count("\r\n> ") - 3 == len(re.findall(r"Example: .*?(?:Enter: |An answer is needed: )", " ".join(said.split()))), said)
    check("what an option says is not asked", "type of rotor" not in said, said)
    status, said = at_a_terminal(["start", str(asked)])
    check("nothing is asked for a folder that has a job", status == 1 and "> " not in said and "already" in said, said)
    status, said = at_a_terminal(["page", str(job)])
    check("no HTML on a terminal", status == 1 and "-o page.html" in said and "<html" not in said, said[:300])
    written = load((asked / "rotor.yaml").read_text("utf-8"))
    check("the answers are written", written["rotation"] == {"sense": "counterclockwise", "seen_from": "front"} and
          written["planes"][0]["slots"]["count"] == 36 and written["phase"] == "lead" and written["speed_100"] == "4740 rpm", written)
    check("Enter at the second plane is the same", [(one["slots"]["slot_1_at"], one["weights"][1]) for one in written["planes"]] ==
          [("10 deg with rotation", {"id": "W5", "mass": "5 g", "radius": radius}) for radius in ("250 mm", "10 in")], written["planes"])
    check("what was not answered is open", written["to_confirm"] == ["slot numbering of disc", "limits of rear"], written["to_confirm"])
    check("what is fitted is asked", load((asked / "job.yaml").read_text("utf-8"))["runs"][0]["fitted"] == {"fan": {7: "W5"}})
    lines = (asked / "rotor.yaml").read_text("utf-8").splitlines()
    told = {words: int(line) for line, words in re.findall(r"    line (\d+): (.*?)\r?\n", of_asked)}
    check("the last lines name what is to be confirmed, by its line", set(told) == set(written["to_confirm"]) and
          "slots: {count: 24" in lines[told["slot numbering of disc"] - 1] and "# limits:" in lines[told["limits of rear"] - 1] and
          lines[int(re.search(r"to_confirm,\s+line\s+(\d+)", of_asked)[1]) - 1].startswith("to_confirm:"), of_asked[-900:])
    again = Path(scratch) / "again"
    status, said = at_a_terminal(["start", str(again), "--name", "N", "--serial", "1", "--radius", "250 mm", "--weights", "A 3.2 g", "--teeth", "1", "--mass", "260 kg",
                                  "--speeds", "3200 rpm", "--speed-100", "4000 rpm", "--fitted", "none", "--planes", "front 28, rear 24"],
                                 ["clockwise from aft", "back", "clockwise, seen from the front", "hole 1 at 15 degrees, clockwise seen from the front", "back",
                                  "hole 1 at 15 deg, clockwise seen from the front", "slot 1 at the reference tooth, clockwise from the aft",
                                  "a in/s peak, b in/s peak, c mil pp, d in/s peak", "lead, degrees", "limit 1.0, target 0.3", "", "", "none", "0.06 in/s", "", "", ""])
    check("back asks the question before again", status == 0 and said.count("Which way does the rotor turn") == 2 and said.count("front: where is slot 1") == 3, said)
    check("an angle without a sense is told back", said.count("Understood: ") == 1 and "counted the way the slots are numbered" in " ".join(said.split()), said)
    check("the question says what Enter repeats", "Enter: the same as of a, limit 1.0, target 0.3; none leaves it open" in " ".join(said.split()), said)
    written = load((again / "rotor.yaml").read_text("utf-8"))
    check("answers in the words of people", written["phase"] == "lead" and written["rotation"] == {"sense": "clockwise", "seen_from": "front"} and
          [one["slots"]["slot_1_at"] for one in written["planes"]] == ["15 deg clockwise from front", "0 deg"], written)
    limit = [{"limit": "1.0 in/s", "target": "0.3 in/s"}]
    check("Enter at another sensor is the same only in the same unit", [one.get("limits") for one in written["sensors"]] == [limit, limit, None, None], written["sensors"])
    check("and so for what readings differ", [one.get("repeatability") for one in written["sensors"]] == ["0.02 in/s", "0.02 in/s", None, "0.02 in/s"], written["sensors"])
    check("what Enter left open", written["to_confirm"] == ["limits of c", "limits of d"], written["to_confirm"])
    sheet.write_bytes(semicolons.encode("latin-1"))
    status, said = at_a_terminal(["start", str(Path(scratch) / "typed"), "--readings", str(sheet), *KNOWN],
                                 ["", "", "", "", "", "", "S2 in the spinner hole 7", "drum 3 S2", ""])
    check("with a table only the rest is asked", status == 0 and "sensors are there" not in said and "counts phase" not in said and "mass of the rotor" not in said, said)
    check("what was in a trial run must be told", "This is needed: the table has readings of run" in said.replace("\r\n", " "), said)

    check("Enter for what is fitted now is written", load((Path(scratch) / "typed/job.yaml").read_text("utf-8"))["fitted_now"] == "same as trial 2" and
          load((Path(scratch) / "typed/job.yaml").read_text("utf-8"))["runs"][1]["fitted"] == {"spinner": {7: "S2"}})

    # --- how wide the answers are ----------------------------------------------------------------------------

    example = project / "examples/quillhaven"
    widest = lambda text: max(len(line) for line in re.sub(r"\x1b\[[0-9;]*m", "", text).split("\n"))
    os.environ.pop("COLUMNS", None)
    for command in ("plan", "influence", "ready", "check", "trial"):
        path_of_job = str(example / ("after.yaml" if command == "check" else "first-visit.yaml" if command == "trial" else "job.yaml"))
        piped = run(command, path_of_job)
        check(f"{command}: 80 columns in a pipe", 60 < widest(piped) <= 80, widest(piped))
        said = at_a_terminal([command, path_of_job], columns=160)[1].replace("\r\n", "\n")
        os.environ["COLUMNS"] = "160"
        plain = run(command, path_of_job)
        del os.environ["COLUMNS"]
        check(f"{command}: as wide as the terminal", widest(said) <= 160 and re.sub(r"\x1b\[[0-9;]*m", "", said) == plain, said[:400])
        wide = [line for line in plain.split("\n") if len(line) > 80]
        check(f"{command}: only tables are wider than 80", all(re.search(r"\S  +\S|--|^  \S+$", line) for line in wide), wide)
        if command in ("plan", "check"):
            check(f"{command}: a row is one line where there is room", len(wide) >= 8, len(wide))

    # --- the schemas -----------------------------------------------------------------------------------------

    schemas = {kind: json.loads((project / f"docs/schemas/{kind}-1.json").read_text("utf-8")) for kind in ("rotor", "job")}
    validators = {kind: jsonschema.Draft202012Validator(one) for kind, one in schemas.items()}
    for one in schemas.values():
        jsonschema.Draft202012Validator.check_schema(one)
    good = {"rotor": [project / "configs/larkmere-fan.yaml", rotor, bare / "rotor.yaml", asked / "rotor.yaml"],
            "job": [*sorted(project.glob("examples/quillhaven/*.yaml")), job, bare / "job.yaml", asked / "job.yaml"]}
    for kind, paths in good.items():
        for path in paths:
            faults = [fault.message for fault in validators[kind].iter_errors(load(path.read_text("utf-8")))]
            check(f"{path} fits its schema", not faults, faults[:3])
    larkmere, quillhaven = load(good["rotor"][0].read_text("utf-8")), load((project / "examples/quillhaven/job.yaml").read_text("utf-8"))
    first_visit = load((project / "examples/quillhaven/first-visit.yaml").read_text("utf-8"))

    def broken(document, *path, value=None):
        found = copy.deepcopy(document)
        inner = found
        for key in path[:-1]:
            inner = inner[key]
        if value is None:
            del inner[path[-1]]
        else:
            inner[path[-1]] = value
        return found

    BROKEN = [("rotor", broken(larkmere, "rotation", "seen_from")), ("rotor", broken(larkmere, "phase", value="behind")),
              ("rotor", broken(larkmere, "colour", value="red")), ("rotor", broken(larkmere, "planes", value=[])),
              ("rotor", broken(larkmere, "planes", 0, "slots", "slot_1_at", value="4 deg")),
              ("rotor", broken(larkmere, "planes", 0, "slots", "count", value="forty")),
              ("rotor", broken(larkmere, "planes", 0, "weights", 0, "mass")),
              ("rotor", broken(larkmere, "planes", 0, "weights", 0, "mass", value="2.2")),
              ("rotor", broken(larkmere, "planes", 0, "weights", 0, "moment", value="400 g.mm")),
              ("rotor", broken(larkmere, "planes", 0, "slots")), ("rotor", broken(larkmere, "sensors", 0, "unit")),
              ("rotor", broken(larkmere, "sensors", 0, "limits")),
              ("rotor", broken(larkmere, "speed_100", value=5120)), ("rotor", broken(larkmere, "trimwright", value="job 1")),
              ("job", broken(quillhaven, "rotor")), ("job", broken(quillhaven, "runs")), ("job", broken(quillhaven, "runs", 0, "fitted")),
              ("job", broken(quillhaven, "runs", 0, "fitted", value="K3 in slot 4")),
              ("job", broken(quillhaven, "trim", "objective", value="luck")), ("job", broken(quillhaven, "run", value=[])),
              ("job", broken(first_visit, "runs", 0, "readings", 0, "speed", value="fast"))]
    for kind, document in BROKEN:
        check("a broken file does not fit its schema", list(validators[kind].iter_errors(document)), str(document)[:200])
        target = rotor.with_name(f"{kind}-broken.yaml")
        target.write_text(json.dumps(document), "utf-8")  # JSON is YAML
        user = target if kind == "job" else folder / "user.yaml"
        if kind == "rotor":
            user.write_text("trimwright: job 1\nrotor: rotor-broken.yaml\nruns: [{name: one, fitted: none}]\n", "utf-8")
        else:
            (folder / "readings.csv").write_bytes((project / "examples/quillhaven/readings.csv").read_bytes())
            target.write_text(json.dumps(document).replace("../../configs/larkmere-fan.yaml", str(good["rotor"][0])), "utf-8")
        run("ready", user, status=1)

    # the keys of each map are those that the program knows
    MAPS = [("rotor", (), ()), ("rotor", ("rotation",), ("rotation",)), ("rotor", ("reference",), ("reference",)),
            ("rotor", ("blades",), ("blades",)), ("rotor", ("planes", 0), "plane"),
            ("rotor", ("planes", 0, "slots"), ("#plane", "slots")), ("rotor", ("planes", 0, "filler"), ("#plane", "filler")),
            ("rotor", ("planes", 0, "weights", 0), ("#plane", "weights")), ("rotor", ("sensors", 0), "sensor"),
            ("rotor", ("sensors", 0, "direction"), ("#sensor", "direction")), ("rotor", ("sensors", 0, "limits", 0), ("#sensor", "limits")),
            ("job", (), ()), ("job", ("runs", 0), "run"), ("job", ("runs", 0, "readings", 0), ("#run", "readings")),
            ("job", ("trim",), ("trim",))]
    for kind, path, place in MAPS:
        document = copy.deepcopy(larkmere if kind == "rotor" else first_visit)
        if kind == "job":
            document["trim"] = {"max_changes": 3}
            document["rotor"] = str(good["rotor"][0])
        inner = document
        for key in path:
            inner = inner[key]
        inner["unheard"] = "of"
        target = folder / f"{kind}-unheard.yaml"
        target.write_text(json.dumps(document), "utf-8")
        user = target
        if kind == "rotor":
            user = folder / "user.yaml"
            user.write_text("trimwright: job 1\nrotor: rotor-unheard.yaml\nruns: [{name: one, fitted: none}]\n", "utf-8")
        said = run("ready", user, status=1)
        listed = re.search(r'key "unheard" is not known here; expected one of: (.*)', said)
        check(f"{kind} {path}: an unknown key is told", listed, said)
        schema = schemas[kind]
        if isinstance(place, str):
            schema = schema["$defs"][place]
        else:
            for name in place:
                schema = schema["$defs"][name[1:]] if name[0] == "#" else schema["properties"][name]
        schema = schema.get("items", schema)
        if "anyOf" in schema:
            schema = next(one for one in schema["anyOf"] if "items" in one)["items"]
        if listed:
            check(f"{kind} {path}: the schema has the program's keys", set(schema["properties"]) == set(listed[1].strip().split(", ")),
                  sorted(set(schema["properties"]) ^ set(listed[1].strip().split(", "))))

    # --- the smallest files of the reference -----------------------------------------------------------------

    reference = (project / "docs/file-formats.md").read_text("utf-8")
    smallest = {name: text for name, text in re.findall(r"`(\S+)`:\n\n```(?:yaml|csv)\n(.*?)```", reference, re.S)}
    check("the reference shows the smallest rotor, job and table", set(smallest) == {"rotor.yaml", "job.yaml", "readings.csv"}, set(smallest))
    small = Path(scratch) / "small"
    small.mkdir()
    for name, text in smallest.items():
        check(f"{name} of the reference is below 20 lines", text.count("\n") < 20, text.count("\n"))
        (small / name).write_text(text, "utf-8")
        if name.endswith(".yaml"):
            faults = [fault.message for fault in validators[name[:-5]].iter_errors(load(text))]
            check(f"{name} of the reference fits its schema", not faults, faults)
    run("plan", small / "job.yaml")
    required = {kind: set(schemas[kind]["required"]) for kind in schemas}
    for kind in schemas:
        marked = {name for row in re.findall(r"^\| `.*$", reference.split(f"## {kind.title()}\n")[1].split("\n\n## ")[0].split("\n\nA ")[0], re.M)
                  if "**required**" in row for name in re.findall(r"`(\w+)", row)[:1]}
        check(f"the reference marks the required keys of a {kind}", marked == required[kind], marked ^ required[kind])

    # --- manual and completion -------------------------------------------------------------------------------

    said = run("manual", "plan", status=1, folder=scratch)
    check("manual: a command is no folder", "trimwright plan --help" in said and not (Path(scratch) / "plan").exists(), said)
    manual = Path(scratch) / "manual"
    run("manual", manual)
    commands = re.findall(r"^  (\w+) ", run("--help").split("Subcommands:\n")[1], re.M)
    check("the program lists its commands", len(commands) >= 11, commands)
    for command in commands:
        page = manual / f"trimwright-{command}.1"
        check(f"{command} has a manual page", page.exists())
        shown = subprocess.run(["groff", "-man", "-ww", "-Kutf8", "-Tutf8", "-P-cbou", page], capture_output=True, text=True)
        check(f"{command}: the page is sound", shown.returncode == 0 and not shown.stderr, shown.stderr)
        for option in re.findall(r"^  (?:-\w,)?(--[\w-]+)", run(command, "--help"), re.M):
            check(f"{command}: the page tells {option}", option in shown.stdout.replace("‐", "-").replace("−", "-"))
    completed = lambda *words: subprocess.run(
        ["bash", "-c", f'. {manual}/trimwright.bash; COMP_WORDS=("$@"); COMP_CWORD=$(($#-1)); _trimwright; echo "${{COMPREPLY[@]}}"', "bash",
         "trimwright", *words], capture_output=True, text=True, cwd=folder).stdout.split()
    check("a command is completed", completed("tri") == ["trial"], completed("tri"))
    check("an option is completed", completed("plan", "job.yaml", "--chan") == ["--changes"], completed("plan", "job.yaml", "--chan"))
    check("a subcommand's option is completed", "--archive" in completed("record", "file", "--a"), completed("record", "file", "--a"))
    check("a file is completed", completed("plan", "job.ya") == ["job.yaml"], completed("plan", "job.ya"))

print("\n".join(wrong) or "from nothing to a plan, with schemas, manual and completion")
sys.exit(1 if wrong else 0)
