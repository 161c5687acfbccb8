#!/usr/bin/env python3
"""The balance page and choices of one's own, through the built program: page_cli.py PROGRAM PROJECT.

A choice of weights (`plan --fitted`) is refused with one message that says where and what was expected; a good one
is predicted from the `influence` document, recomputed here with complex numbers. The arithmetic of the page's script
(src/report/page/arithmetic.js), run by node on the data inside a page, agrees with the program on random choices.
"""
import cmath
import json
import math
import random
import re
import shutil
import subprocess
import sys
import tempfile
from html.parser import HTMLParser
from pathlib import Path

PROGRAM, PROJECT = sys.argv[1], Path(sys.argv[2]).resolve()
JOB = str(PROJECT / "examples/quillhaven/job.yaml")
PLAN = ["plan", JOB, "--time-limit", "20", "--format", "json"]
failures = []


def check(good, what):
    print("ok  " if good else "FAIL", what)
    if not good:
        failures.append(what)


def run(*arguments):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, check=False)


def choice(**planes):
    fitted = {"spinner": {"4": "K3", "19": "K2"}, "drum": {}}
    fitted.update(planes)
    return {"trimwright": "fitted 1", "rotor": "Larkmere demonstrator fan", "serial": "LKM-417", "fitted": fitted}


def without(document, *path):
    copy = json.loads(json.dumps(document))
    part = copy
    for key in path[:-1]:
        part = part[key]
    del part[path[-1]]
    return copy


def changed(key, value):
    copy = choice()
    copy[key] = value
    return copy


REFUSED = [
    ("another serial", changed("serial", "LKM-418"), ["serial", "LKM-418", "LKM-417"]),
    ("another rotor", changed("rotor", "another fan"), ["rotor", "another fan", "Larkmere"]),
    ("no serial", without(choice(), "serial"), ["serial", "LKM-417"]),
    ("another document", changed("trimwright", "plan 1"), ["plan 1", "fitted 1"]),
    ("a key more", changed("extra", 1), ["extra", "not known"]),
    ("a plane left out", without(choice(), "fitted", "drum"), ["drum", "missing"]),
    ("an unknown plane", choice(tail={}), ["tail", "not known"]),
    ("slot out of range", choice(spinner={"41": "K2"}), ["slot 41", "1 to 40"]),
    ("unusable slot", choice(spinner={"11": "K2"}), ["slot 11", "unusable"]),
    ("no slot number", choice(spinner={"one": "K2"}), ["one", "slot number"]),
    ("unknown weight", choice(spinner={"1": "K9"}), ["K9", "K2, K3"]),
    ("weight of another plane", choice(spinner={"1": "D4"}), ["D4", "K2, K3"]),
    ("more than the stock", choice(spinner={str(n): "K7" for n in range(1, 6)}), ["K7", "stock"]),
    ("negative moment", choice(spinner={"1": {"moment_g_mm": -3}}), ["moment_g_mm", "-3"]),
    ("no slots but a list", choice(spinner=["K2"]), ["spinner", "not a map"]),
    ("too much in one plane", choice(spinner={str(n): "K7" for n in (1, 2, 3, 40)} | {str(n): "K5" for n in (4, 5, 39)}),
     ["spinner", "total moment", "6000"]),
]


def check_refusals(folder):
    for name, document, words in REFUSED:
        path = folder / "choice.json"
        path.write_text(json.dumps(document, indent=1))
        done = run(*PLAN, "--fitted", str(path))
        good = (done.returncode == 1 and done.stdout == "" and done.stderr.count("\n") == 1 and "expected" in done.stderr
                and "choice.json" in done.stderr and all(word in done.stderr for word in words))
        check(good, f"refused: {name}" + ("" if good else f": {done.returncode} {done.stderr}"))
    (folder / "broken.json").write_text('{"trimwright": "fitted 1", "fitted": {')
    for path in ("broken.json", "nowhere.json"):
        done = run(*PLAN, "--fitted", str(folder / path))
        check(done.returncode == 1 and path in done.stderr and done.stdout == "", f"refused: {path}")
    for arguments in (["--fitted", "x", "--changes", "2"], ["--fitted", ""]):
        check(run("plan", JOB, *arguments).returncode == 2, "wrong command line: " + " ".join(arguments))
    check(run("page", JOB, "--format", "json").returncode == 2, "wrong command line: a page has one form")


def phasor(amplitude, phase_deg):
    return cmath.rect(amplitude, math.radians(phase_deg))


def check_prediction(folder):
    """Amplitudes of a choice from the influence document: before plus coefficient times moment, all in lag."""
    path = folder / "choice.json"
    path.write_text(json.dumps(choice(spinner={"4": "K3", "19": "K2", "30": "K4"}, drum={"9": "D7", "10": {"moment_g_mm": 500}})))
    plan = json.loads(run(*PLAN, "--fitted", str(path)).stdout)
    influence = json.loads(run("influence", JOB, "--format", "json").stdout)
    filler = 0.9 * 188
    # Slot 30 of the spinner: numbered clockwise from the front, against rotation: 4 - 29 * 9 degrees. The drum's slots
    # are numbered counterclockwise from aft, against rotation as well: -(n - 1) * 14.4 degrees.
    added = {"spinner": (4.4 * 188.5 - filler) * phasor(1, 4 - 29 * 9),
             "drum": 690 * phasor(1, -8 * 14.4) + 500 * phasor(1, -9 * 14.4)}
    worst = 0.0
    for row in plan["predicted"]:
        x = phasor(row["before"], -row["before_phase_deg"])
        for one in influence["coefficients"]:
            if (one["speed_rpm"], one["sensor"]) == (row["speed_rpm"], row["sensor"]):
                x += phasor(one["amplitude"], -one["phase_deg"]) * added[one["plane"]]
        worst = max(worst, abs(x - phasor(row["after"], -row["after_phase_deg"])) / row["after"])
    check(len(plan["predicted"]) == 9 and worst < 1e-9, f"a choice is predicted by the influence coefficients, {worst:.1e}")
    check(sum(row["chosen"] for row in plan["trade_off"]) == 1 and len(plan["slots"]) == 3, "the choice is the chosen row")
    check(any("your own choice" in note for note in plan["notes"]), "and is said to be one's own")
    check({row["instruction"][:8] for row in plan["steps"]} >= {"Take out", "Put in:"}, "with the steps to carry it out")


class PageParts(HTMLParser):
    """The data in the page's script element."""

    def __init__(self):
        super().__init__()
        self.data, self.inside = "", False

    def handle_starttag(self, tag, attributes):
        self.inside = tag == "script" and ("id", "page-data") in attributes

    def handle_endtag(self, tag):
        self.inside = False

    def handle_data(self, data):
        if self.inside:
            self.data += data


def random_choice(data, draw):
    """Up to six slots of each plane, within the stock."""
    fitted = {}
    for plane in data["planes"]:
        left = {weight["id"]: weight["stock"] for weight in plane["weights"]}
        fitted[plane["name"]] = {}
        for slot in draw.sample(plane["slots"], draw.randrange(5)):
            weight = draw.choice(plane["weights"])["id"]
            if left[weight] > 0:
                left[weight] -= 1
                fitted[plane["name"]][str(slot["slot"])] = weight
    return choice(**fitted)


def ruled_job(folder):
    """The example's job on a rotor with rules of every kind, and with what a job may ask beside them."""
    job = (PROJECT / "examples/quillhaven/job.yaml").read_text()
    rotor_file = re.search(r"^rotor: (.*)$", job, re.M).group(1)
    rotor = (PROJECT / "examples/quillhaven" / rotor_file).read_text()
    third = list(re.finditer(r"\{id: \w+, ", rotor))[2]
    rotor = rotor[:third.end()] + "only_in: [20, 21], " + rotor[third.end():]
    rotor = re.sub(r"^    max_total_moment: .*$", r"\g<0>\n    rules: {max_pieces: 4, max_mass: 45 g, "
                   "max_slot_moment: 1200 g.mm,\n            apart: neighbours, together: [[1, 5]]}", rotor, count=1, flags=re.M)
    (folder / "rotor.yaml").write_text(rotor)
    job = job.replace(rotor_file, "rotor.yaml")
    job = re.sub(r"^  max_changes: .*$", "  max_changes: 3\n  max_pieces: 5\n  fitted_weights: stay", job, flags=re.M)
    (folder / "job.yaml").write_text(job)
    shutil.copy(PROJECT / "examples/quillhaven/readings.csv", folder)
    return str(folder / "job.yaml")


def chosen_by_hand(data):
    """What is fitted now with one thing more, or less, in the first plane: some allowed, some not."""
    plane = data["planes"][0]
    now = {one["name"]: one["fitted_now"] for one in data["planes"]}
    ids = [weight["id"] for weight in plane["weights"]]
    for more in ({}, {"30": ids[2]}, {"21": ids[2]}, {"30": ids[-1]}, {"29": ids[1], "30": ids[1]}, {"1": ids[1]},
                 {"1": ids[1], "5": ids[0]}, {"30": ids[0], "32": ids[0], "34": ids[0]},
                 {"9": ids[1]}, {"30": ids[0], "34": ids[1]}):
        yield choice(**{**now, plane["name"]: {**plane["fitted_now"], **more}})
    yield choice(**{**now, plane["name"]: dict(list(plane["fitted_now"].items())[1:])})


def page_data(folder, job):
    done = run("page", job, "-o", str(folder / "page.html"))
    check(done.returncode == 0 and done.stdout == "" and done.stderr == "", f"a page is written {done.stderr}")
    page = (folder / "page.html").read_text()
    check(run("page", job).stdout == page, "and comes to standard output alike")
    parts = PageParts()
    parts.feed(page)
    return json.loads(parts.data)


def check_arithmetic(folder, job):
    data = page_data(folder, job)
    plan = ["plan", job, *PLAN[2:]]
    node = shutil.which("node") or shutil.which("nodejs")
    if node is None:
        print("skip node is not installed: the arithmetic of the page's script is not compared here")
        return
    draw = random.Random(11)
    choices = [random_choice(data, draw) for _ in range(20)]
    choices += chosen_by_hand(data)
    script = f"""const page = require({json.dumps(str(PROJECT / "src/report/page/arithmetic.js"))});
      const {{data, choices}} = JSON.parse(require("fs").readFileSync(0, "utf8"));
      console.log(JSON.stringify(choices.map((one) => {{
        const held = data.planes.map((plane) => one.fitted[plane.name] || {{}});
        return {{rows: page.predict(data, held), refusals: page.refusals(data, held), document: page.fittedDocument(data, held)}};
      }})));"""
    answer = json.loads(subprocess.run([node, "-e", script], input=json.dumps({"data": data, "choices": choices}),
                                       capture_output=True, text=True, check=True).stdout)
    worst, compared = 0.0, 0
    for one, its in zip(choices, answer, strict=True):
        check(its["document"] == one, "the script saves what was chosen")
        (folder / "choice.json").write_text(json.dumps(its["document"]))
        done = run(*plan, "--fitted", str(folder / "choice.json"))
        check((done.returncode != 0) == bool(its["refusals"]), f"script and program refuse alike: {its['refusals']} {done.stderr.strip()}")
        if done.returncode != 0:
            continue
        for row, mine in zip(json.loads(done.stdout)["predicted"], its["rows"], strict=True):
            difference = phasor(row["after"], row["after_phase_deg"]) - phasor(mine["amplitude"], mine["phase"])
            worst = max(worst, abs(difference) / row["after"], abs(row["after_sd"] - mine["sd"]) / mine["sd"])
            compared += 1
    check(compared > 20 and worst < 1e-9, f"what if: {compared} rows of the script and the program differ by {worst:.1e}")


def check_wording():
    """The page's script writes angles, phases and moments as the program does."""
    node = shutil.which("node") or shutil.which("nodejs")
    if node is None:
        print("skip node is not installed: the words of the page's script are not compared here")
        return
    page = run("page", JOB, "--time-limit", "20").stdout
    parts = PageParts()
    parts.feed(page)
    script = f"""const fs = require("fs"), sources = {json.dumps(str(PROJECT / "src/report/page"))};
      const {{totalMoment}} = require(sources + "/arithmetic.js");
      const wording = new Function(fs.readFileSync(sources + "/levels.js", "utf8") + "; return wording;")();
      const data = JSON.parse(fs.readFileSync(0, "utf8"));
      const angles = [[359.96, 1], [359.94, 1], [11.25, 1], [-0.2, 0], [359.6, 0], [144.4999999, 0]];
      console.log(JSON.stringify({{angles: angles.map((one) => wording.angle(...one)),
        reading: wording.reading({{phase_convention: "lag"}}, {{amplitude: 0.3, phase: 144.4999999}}),
        now: data.planes.map((plane) => wording.moment(totalMoment(plane, plane.fitted_now)))}}));"""
    said = json.loads(subprocess.run([node, "-e", script], input=parts.data, capture_output=True, text=True, check=True).stdout)
    check(said["angles"] == ["0.0°", "359.9°", "11.3°", "0°", "0°", "145°"], f"the script rounds angles as the program does: {said['angles']}")
    check(said["reading"].endswith("∠ 145°"), f"and phases: {said['reading']}")
    now = re.findall(r'moment now: <span class="amount">([^<]*)</span>', page)
    check(len(now) > 0 and now == said["now"], f"a plane's moment is written alike: {now} {said['now']}")
    scale = re.search(r'<div class="bar-groups[^>]*data-limit-at="([^"]*)" data-most-shown="([^"]*)"', page)
    check(scale is not None and 0 < float(scale[1]) < float(scale[1]) * float(scale[2]) <= 100, "the script is told the scale of the bars")


def check_phases():
    """Phase against speed: from one speed to the next no series turns by more than half a turn."""
    page = run("page", JOB, "--time-limit", "20").stdout
    plots = re.findall(r'<g data-phase="\d+" data-from="([-\d.]+)" data-to="([-\d.]+)" data-low="([-\d.]+)" data-high="([-\d.]+)">(.*?)</svg>', page, re.S)
    turns = []
    for begin, end, low, high, inside in plots:
        for points in re.findall(r'<polyline[^>]* points="([^"]*)"', inside):
            phases = [float(begin) + (float(end) - float(begin)) * (float(point.split(",")[1]) - float(low)) / (float(high) - float(low))
                      for point in points.split()]
            turns += [abs(b - a) for a, b in zip(phases, phases[1:])]
    check(len(turns) > 10 and max(turns) < 181, f"phase goes through a whole turn without a jump: {len(turns)} moves, the largest {max(turns, default=0):.0f} degrees")


def check_other_pages(folder):
    """After the check run, after a baseline alone, and before any run."""
    after = run("page", str(PROJECT / "examples/quillhaven/after.yaml"), "--check-run", "--time-limit", "20")
    verdict = json.loads(run("check", str(PROJECT / "examples/quillhaven/after.yaml"), "--format", "json").stdout)
    check(after.returncode == 0 and "Changed 3 slots" in after.stdout and "What the check says" in after.stdout,
          "the shipped check run has its page: " + after.stderr)
    rows = {name: len((PROJECT / "examples/quillhaven" / name).read_text("utf-8").splitlines()) - 1 for name in ("run-up.csv", "after-run-up.csv")}
    for css_class, name in (("run-up-line", "run-up.csv"), ("run-up-line newest", "after-run-up.csv")):
        points = [len(one.split()) for one in re.findall(f'<polyline class="{css_class}" points="([^"]*)"', after.stdout)]
        check(points == [rows[name] // 2] * 4, f"every reading of {name} is a point of its sensor's amplitude and phase: {points}")
    steps = after.stdout[after.stdout.index('id="steps"'):]
    for one in verdict["readings"]:
        if one.get("differs_by") is None:
            continue
        differs = f"not as expected when the tips are more than {one['differs_by']:.3g}"
        check(steps.count(differs[:-1]) > 0, f"the steps of a judged page say check's differs by at {one['speed']} {one['sensor']}: {differs}")
    trial = run("page", str(PROJECT / "examples/quillhaven/first-visit.yaml"))
    check("Fit one trial weight and run" in trial.stdout and "Run sheet" in trial.stdout, "a baseline alone makes a trial page: " + trial.stderr)
    (folder / "begin.yaml").write_text(f"trimwright: job 1\nrotor: {PROJECT}/configs/larkmere-fan.yaml\nspeeds: [{{at: 80 %}}]\nruns: []\n")
    begin = run("page", str(folder / "begin.yaml"))
    check("4096 rpm (80 %)" in begin.stdout and "Run sheet" in begin.stdout, "before any run there is a run sheet: " + begin.stderr)
    refused = run("plan", str(folder / "begin.yaml"))
    check(refused.returncode == 1 and "there is no run" in refused.stderr, "which nothing else takes for a job")
    for option in (["--best", "3"], ["--both-objectives"]):
        check(run("page", JOB, *option).returncode == 2, "a page does not take what it would not show: " + option[0])


with tempfile.TemporaryDirectory(prefix="trimwright-page-") as name:
    check_refusals(Path(name))
    check_phases()
    check_other_pages(Path(name))
    check_prediction(Path(name))
    check_arithmetic(Path(name), JOB)
    check_wording()
    check_arithmetic(Path(name), ruled_job(Path(name)))
# Runs that contradict each other: no check mark stands before what they foretell.
misread = run("page", str(PROJECT / "examples/quillhaven/misread.yaml"), "--time-limit", "20").stdout
verdict = re.search(r'<p class="verdict[^"]*">.*?</p>', misread, re.DOTALL)
check(verdict and "✕" in verdict[0] and "Fit nothing yet" in verdict[0] and "✓" not in verdict[0],
      f"the verdict on contradictory runs: {verdict and verdict[0][:200]}")

print(f"{len(failures)} failed")
sys.exit(1 if failures else 0)
