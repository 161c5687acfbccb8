#!/usr/bin/env python3
"""One figure, one value: figures_cli.py PROGRAM PROJECT [JOBS].

On random jobs (readings missing, places that nothing predicts, overall levels, mixed units and detectors, lag and lead,
angles either way round, run_to_run and tolerances stated or not, speeds named or not), every figure that stands in two
outputs of the program is the same in all: table and steps of `plan`, its JSON, the page's tables, steps and sheet, and
`check` of a run made with the plan's weights beside the page and the sheet of that run, and that sheet beside the sheet of
the record that is filed of it, cell by cell. Rows are paired by speed and sensor, never by position. JOBS: 20 unless given (about 20 s of processor time); 200 is the thorough run.
"""
import cmath
import csv
import io
import json
import math
import random
import re
import subprocess
import sys
import tempfile
from html.parser import HTMLParser
from pathlib import Path

sys.dont_write_bytecode = True
from text_rows import has_heading

PROGRAM = str(Path(sys.argv[1]).resolve())
JOBS = int(sys.argv[3]) if len(sys.argv) > 3 else 20
failures, compared = [], 0
UNITS = [("velocity", "in/s", ["peak", "rms"]), ("displacement", "mil", ["pp", "peak"]), ("velocity", "mm/s", ["peak", "rms"])]


def same(what, *values):
    global compared
    compared += 1
    if any(value != values[0] for value in values):
        failures.append(f"{what}: {values}")


def run(*arguments):
    """With time enough: a search that a busy machine cuts short may end at another plan each time."""
    if arguments[0] != "record":
        arguments = (*arguments, "--time-limit", "3600")
    return subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, check=False)


def amplitude(shown):
    """As the program writes amplitudes: three significant digits, at most four decimals."""
    if shown is None:
        return None
    if shown == 0:
        return "0"
    whole = math.floor(math.log10(abs(shown))) + 1
    return f"{shown:.{min(4, max(0, 3 - whole))}f}"


def phasor(size, phase):
    return f"{amplitude(size)} ∠ {math.floor(phase + 0.5) % 360}°"


class Page(HTMLParser):
    """Tables as rows of cells under the id of their section, and the texts of list items and paragraphs."""

    def __init__(self, text):
        super().__init__()
        self.rows, self.texts, self.section, self.cell, self.item = {}, [], "", None, []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag == "section":
            self.section = dict(attributes).get("id", "")
        elif tag == "table":
            self.rows.setdefault(self.section, []).append([])  # one table ends before the next begins
        elif tag == "tr":
            self.rows.setdefault(self.section, []).append([])
        elif tag in ("td", "th"):
            self.cell = ""
        elif tag in ("li", "p"):
            self.item.append("")

    def handle_endtag(self, tag):
        if tag in ("td", "th") and self.cell is not None:
            self.rows[self.section][-1].append(self.cell)
            self.cell = None
        elif tag in ("li", "p") and self.item:
            self.texts.append(self.item.pop())

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data
        if self.item:
            self.item[-1] += data

    def table(self, section, *heading):
        """Rows by speed and sensor of the table with this heading."""
        found, rows = None, {}
        for row in self.rows.get(section, []):
            if row[: len(heading)] == list(heading):
                found = row
            elif found and len(row) == len(found):
                rows[row[0], row[1]] = dict(zip(found, row))
            elif found:
                break
        return rows


def text_table(text, *heading):
    """As `Page.table`, of a table in plain text: cells stand two blanks apart."""
    lines, found, rows = text.split("\n"), None, {}
    for line in lines:
        cells = re.split(r"\s{2,}", line.strip())
        if not found and has_heading(line, heading):
            found = cells
        elif line.startswith("  --"):
            continue
        elif found and len(cells) == len(found):
            rows[cells[0], cells[1]] = dict(zip(found, cells))
        elif found:
            break
    return rows


def rotor(draw, folder):
    full = draw.choice([5200, 4000, None])
    speed = lambda share: f"{share} %" if full else f"{share * 50} rpm"
    sensors, kinds = [], []
    for name in draw.sample(["intake", "mid frame", "turbine frame"], draw.randint(2, 3)):
        quantity, unit, detectors = draw.choice(UNITS)
        detector = draw.choice(detectors)
        limit = {"in/s": 0.9, "mil": 5.0, "mm/s": 22.0}[unit]
        goal = lambda share: f", target: {limit * share:.3g} {unit}" if draw.random() < 0.7 else ""
        lines = [f"  - name: {name}", f"    measures: {quantity}", f"    unit: {unit} {detector}", f"    phase_of: {draw.choice(['velocity', 'displacement'])}",
                 f"    direction: {{positive: {draw.choice(['outward', 'inward'])}, mounted: there}}",
                 f"    limits: [{{up_to: {speed(72)}, limit: {limit} {unit}{goal(0.3)}}}, {{up_to: {speed(110)}, limit: {limit * 1.2:.3g} {unit}{goal(0.25)}}}]"]
        if draw.random() < 0.85:
            lines.append(f"    repeatability: {limit * 0.01:.3g} {unit}")
            if draw.random() < 0.5:
                lines.append(f"    run_to_run: {limit * draw.choice([0, 0.03]):.3g} {unit}")
            if draw.random() < 0.3:
                lines.append("    proportional: 2 %")
        sensors += lines
        kinds.append((name, f"{unit} {detector}", limit))
    planes = []
    for name in draw.sample(["spinner", "tail cone"], draw.randint(1, 2)):
        sense = draw.choice(["clockwise", "counterclockwise"])
        planes += [f"  - name: {name}", f"    slots: {{count: 10, slot_1_at: {draw.randint(0, 30)} deg {draw.choice(['with', 'against'])} rotation, numbered: {sense}, seen_from: {draw.choice(['front', 'aft'])}}}",
                   "    weights: [{id: a, moment: 300 g.mm}, {id: b, moment: 700 g.mm}]"]
        if draw.random() < 0.5:
            planes.append("    weight_tolerance: 2 %\n    slot_tolerance: 1 deg")
    lines = ["trimwright: rotor 1", "name: random fan", "rotation: {sense: clockwise, seen_from: aft}", f"phase: {draw.choice(['lag', 'lead'])}"]
    if full:
        lines.append(f"speed_100: {full} rpm")
    lines += ["speed_tolerance: 20 rpm", "mass: 200 kg", "reference: {teeth: 1, larger_tooth: 1, polarity: falling}", "planes:", *planes, "sensors:", *sensors]
    (folder / "rotor.yaml").write_text("\n".join(lines) + "\n")
    names = [line.split(": ", 1)[1] for line in planes if line.startswith("  - name")]
    return kinds, names, full or 5000


def job(draw, folder):
    """Baseline, a trial in each plane, and a check run; the readings of a linear rotor with some noise."""
    sensors, planes, full = rotor(draw, folder)
    speeds = sorted(draw.sample([0.5, 0.6, 0.7, 0.724, 0.8, 0.9, 0.983], draw.randint(2, 3)))
    rough = lambda size: size * cmath.rect(draw.uniform(0.5, 1.0), draw.uniform(0, 6.28))
    x0 = {(v, s): rough(0.6 * s[2]) for v in speeds for s in sensors}
    gain = {(v, s, p): rough(5e-4 * s[2]) for v in speeds for s in sensors for p in planes}
    fitted = [{}] + [{p: (draw.randint(1, 10), "b")} for p in planes] + [{planes[0]: (draw.randint(1, 10), "a")}]
    names = ["as found", *[f"trial {p}" for p in planes], "after"]
    lines = ["trimwright: job 1", "rotor: rotor.yaml", "serial: R1"]
    if draw.random() < 0.3:
        lines.append(f"speeds: [{{at: {speeds[0] * full:.0f} rpm, name: idle}}]")
    lines.append("runs:")
    for name, held in zip(names, fitted):
        weights = ", ".join(f"{p}: {{{slot}: {weight}}}" for p, (slot, weight) in held.items())
        lines += [f"  - name: {name}", "    when: 2031-05-12 09:40", "    who: R. Orrin", f"    fitted: {{{weights}}}" if held else "    fitted: none", "    readings:"]
        for v in speeds:
            for s in sensors:
                x = x0[v, s] + sum(gain[v, s, p] * {"a": 300, "b": 700}[w] * cmath.rect(1, 0.628 * slot) for p, (slot, w) in held.items())
                x += 0.01 * s[2] * complex(draw.gauss(0, 1), draw.gauss(0, 1))
                if name == "after" and draw.random() < 0.05:
                    x *= 3
                rpm = f"{v * full + draw.uniform(-4, 4):.1f} rpm"
                first = name == "as found"
                if first or draw.random() > 0.08:
                    lines.append(f"      - {{speed: {rpm}, sensor: {s[0]}, amplitude: {abs(x):.5f} {s[1]}, phase: {math.degrees(cmath.phase(x)) % 360:.2f} deg, component: once-per-rev}}")
                if draw.random() < 0.1:
                    lines.append(f"      - {{speed: {rpm}, sensor: {s[0]}, amplitude: {abs(x) * draw.uniform(1, 1.6):.5f} {s[1]}, component: overall}}")
    trim = ["trim:", f"  max_changes: 2", f"  objective: {draw.choice(['worst ratio', 'least squares'])}"]
    before = [*lines, "fitted_now: none", *trim]
    cut = before.index("  - name: after")
    (folder / "job.yaml").write_text("\n".join(before[:cut] + before[before.index("fitted_now: none"):]) + "\n")
    (folder / "after.yaml").write_text("\n".join(before) + "\n")
    choice = {"trimwright": "fitted 1", "rotor": "random fan", "serial": "R1", "fitted": {p: {} for p in planes}}
    choice["fitted"][planes[0]] = {str(fitted[-1][planes[0]][0]): "a"}
    (folder / "fitted.json").write_text(json.dumps(choice))


STEP = re.compile(r"^(.*), ([^,]+): read _+ ∠ _+ \(([^)]*)\); (?:expected (\S+ ∠ \d+°)(?:; not as expected when the tips are more than (\S+) apart.*)?|not predicted: watch it)$")


def steps_of(particulars):
    """Expected reading and `differs by` of the steps' lines, by speed and sensor."""
    return {(m[1], m[2]): (m[4] or "not known", m[5] or "?") for m in map(STEP.match, particulars) if m}


def compare_plan(seed, plan, text, page, judged=False):
    """The outputs of one plan; returns its expected readings by place. `judged`: the sheet has a run's own `differs by`."""
    written = text_table(text, "speed", "sensor", "now (fit)")
    levels, sheet = page.table("levels", "speed", "sensor"), page.table("sheet", "speed", "sensor")
    predicted = {(one["speed"], one["sensor"]): one for one in plan["predicted"]}
    expected = {(one["speed"], one["sensor"]): one for one in plan["expected"]}
    order = list(expected)
    same(f"{seed}: order of places", order, list(written), list(levels), [key for key in sheet if "overall" not in key[1]])
    same(f"{seed}: places not predicted", [key for key in order if key not in predicted],
         [(one["speed"], one["sensor"]) for one in plan["not_predicted"]])
    compare = [step for step in plan["steps"] if step["step"] == "compare"]
    steps = steps_of(compare[0]["particulars"]) if compare else None
    if steps is not None:
        same(f"{seed}: places of the steps", order, list(steps), list(steps_of(page.texts)))
        squeezed = " ".join(text.split())
        same(f"{seed}: steps in the text", [], [line for line in compare[0]["particulars"] if line not in squeezed])
    for key in order:
        where, one, row = f"{seed} {key}", expected[key], predicted.get(key)
        its = {"±": "?", "9 in 10": "?", "differs by": "?", "target": "-", **written[key]}  # empty columns are not printed
        level, paper = levels[key], sheet[key]
        reading = phasor(one["amplitude"], one["phase_deg"]) if row else "not known"
        differs = amplitude(one["differs_by"]) or "?"
        same(where + " expected", reading, its["expected"], level["expected"], paper["expected"], *([steps[key][0]] if steps else []))
        same(where + " differs by", differs, its["differs by"], *([] if judged else [level["differs by"], paper["differs by"], *([steps[key][1]] if steps else [])]))
        same(where + " limit", amplitude(one["stop_above"]), its["limit"], level["limit"], paper["limit"])
        same(where + " target", its["target"].replace("-", "–"), level["target"], paper["target"])
        same(where + " result", its["result"], level["result"])
        if row is None:
            same(where + " is to be watched", its["result"], "watch it")
            continue
        same(where + " JSON", (row["after"], row["after_phase_deg"], row["differs_by"], row["limit"]),
             (one["amplitude"], one["phase_deg"], one["differs_by"], one["stop_above"]))
        same(where + " now", phasor(row["before"], row["before_phase_deg"]), its["now (fit)"], level["now (fit)"],
             *([] if judged else [paper["now (fit)"]]))
        same(where + " ±", amplitude(row["after_sd"]) or "?", its["±"], level["±"])
        same(where + " 9 in 10", "?" if row["reading_low"] is None else f"{amplitude(row['reading_low'])}-{amplitude(row['reading_high'])}", its["9 in 10"], level["9 in 10"])
        if row["differs_by"]:
            parts = math.sqrt(sum(part**2 for part in row["scatter"].values()))
            same(where + " no part of the scatter left out", True, row["differs_by"] >= 2.82 * parts)
    squeezed = " ".join(text.split())
    chance = [line for line in page.texts if line.startswith(("Probability that", "How likely this is"))]
    same(f"{seed}: chance", 0 if judged else 1, sum(line in squeezed for line in chance), len(chance))
    if plan["probability"] and not judged:
        left = len(order) - plan["probability"]["readings"]
        same(f"{seed}: places outside the chance", left > 0, "predicted" in chance[0])
    return expected


def compare_check(seed, verdict, text, page, expected):
    """`check` beside the page and sheet of the same run."""
    sheet, levels, steps = page.table("sheet", "speed", "sensor"), page.table("levels", "speed", "sensor"), steps_of(page.texts)
    limits, beside = text_table(text, "speed", "sensor", "first"), text_table(text, "speed", "sensor", "read")
    same(f"{seed} check: readings", True, len(verdict["readings"]) > 0)
    for one in verdict["readings"]:
        overall = one["component"] == "overall"
        key = (one["speed"], one["sensor"])
        paper = sheet[one["speed"], one["sensor"] + (", overall level" if overall else "")]
        where = f"{seed} check {key} {one['component']}"
        read = amplitude(one["amplitude"]) if one["phase_deg"] is None else phasor(one["amplitude"], one["phase_deg"])
        same(where + " read", read, paper["measured after"])
        same(where + " above limit", one["above_limit"], "ABOVE LIMIT" in paper["result"])
        same(where + " above target", one["above_target"] and not one["above_limit"], "above target" in paper["result"])
        if overall or one["expected"] is None:
            continue
        same(where + " expected", one["expected"], expected[key]["amplitude"])
        same(where + " differs by", amplitude(one["differs_by"]), paper["differs by"], levels[key]["differs by"], beside[key]["differs by"],
             *([steps[key][1]] if steps else []))
        same(where + " differs", one["differs"], "differs" in paper["result"], beside[key]["result"] == "differs")
        same(where + " text", read, beside[key]["read"])
    for one in verdict["missing"]:
        overall = one["component"] == "overall"
        paper = sheet[one["speed"], one["sensor"] + (", overall level" if overall else "")]
        same(f"{seed} check missing {one}", "✕ MISSING", paper["result"])
        if overall:
            continue
        key = (one["speed"], one["sensor"])
        same(f"{seed} check missing {one} differs by", amplitude(expected[key]["differs_by"]) or "?", sheet[key]["differs by"])
    words = next(line for line in " ".join(text.split()).split("BESIDE LIMITS")[:1])
    said = [line.split(": ", 1)[1] for line in page.texts if line.startswith("Run “after”")]
    same(f"{seed} verdict on page and sheet", 2, len(said), sum(line.split(" Released")[0] in words for line in said))
    del limits


def with_phases_joined(rows):
    """Readings of the sheet's CSV, amplitude and phase in two columns, as the page writes them in one cell."""
    joined, phases = [], []
    for row in rows:
        if row[0].endswith(" heading"):
            phases = [c for c in range(1, len(row)) if row[c] == row[c - 1] + " phase"]
        of_heading = row[0].endswith(" heading")
        cells = list(row)
        if row[0] in ("level", "reading"):
            for c in phases:
                pairs = list(zip(row[c - 1].split("; "), row[c].split("; "), strict=False))
                cells[c - 1] = "; ".join(f"{size} ∠ {phase}°" if phase else size for size, phase in pairs)
        if of_heading or row[0] in ("level", "reading"):
            cells = [cell for c, cell in enumerate(cells) if c not in phases]
        joined.append(cells)
    return joined


def compare_record(seed, after, page, folder):
    """The sheet of the filed record beside the page's, cell by cell."""
    archive = str(folder / f"{seed}.db")
    filed = run("record", "file", after, "--archive", archive, "--by", "L. Marsh", "--run", "after", "--dated", "2031-05-12")
    same(f"{seed} filed", (0, ""), (filed.returncode, filed.stderr))
    if filed.returncode:
        return
    rows = list(csv.reader(io.StringIO(run("record", "sheet", "1", "--archive", archive, "--format", "csv").stdout)))
    rows = with_phases_joined(rows)
    paper = page.rows["sheet"]
    for kind in ("level", "weight", "signature"):
        heading = [row for row in rows if row[0] == f"{kind} heading"]
        mine = [row for row in rows if row[0] == kind]
        if kind == "weight" and not mine:
            continue
        width = len(heading[0]) - heading[0][::-1].index(next(cell for cell in heading[0][::-1] if cell))
        where = paper.index(heading[0][1:width])
        theirs = paper[where + 1 : where + 1 + len(mine)]
        same(f"{seed} rows of {kind}", len(mine), len(theirs))
        for one, other in zip(mine, theirs):
            cells = [cell.removeprefix("'") if cell[1:2] in "=+-@" else cell for cell in one[1:width]]
            same(f"{seed} {kind} on the sheets of page and record", cells, other)
        same(f"{seed}: no other {kind} on the page", [], paper[where + 1 + len(mine)] if where + 1 + len(mine) < len(paper) else [])
    for kind in ("warning", "fitted", "verdict", "caution"):
        for row in rows:
            if row[0] == kind:
                same(f"{seed} {kind}: {row[1]}", True, row[1] in page.texts)


def one_job(seed, folder):
    draw = random.Random(seed)
    job(draw, folder)
    plan_job, after = str(folder / "job.yaml"), str(folder / "after.yaml")
    document = run("plan", plan_job, "--format", "json")
    if document.returncode != 0:
        return False
    text, page = run("plan", plan_job), run("page", plan_job)
    if text.returncode != 0 or page.returncode != 0:
        failures.append(f"{seed}: plan and page refuse differently: {text.stderr} {page.stderr}")
        return True
    compare_plan(seed, json.loads(document.stdout), text.stdout, Page(page.stdout))
    choice = ["--fitted", str(folder / "fitted.json")]
    document, text, page = run("plan", after, *choice, "--format", "json"), run("plan", after, *choice), run("page", after, *choice)
    verdict, words = run("check", after, "--format", "json"), run("check", after)
    if any(one.returncode != 0 for one in (document, text, page, verdict, words)):
        return True
    expected = compare_plan(f"{seed} after", json.loads(document.stdout), text.stdout, Page(page.stdout), judged=True)
    compare_check(seed, json.loads(verdict.stdout), words.stdout, Page(page.stdout), expected)
    compare_record(seed, after, Page(page.stdout), folder)
    return True


with tempfile.TemporaryDirectory(prefix="trimwright-figures-") as name:
    planned = sum(one_job(seed, Path(name)) for seed in range(JOBS))
for failure in failures[:20]:
    print("FAIL", failure)
print(f"{planned} of {JOBS} jobs planned, {compared} comparisons, {len(failures)} failed")
sys.exit(1 if failures or planned < JOBS / 2 or compared < 20 * JOBS else 0)
