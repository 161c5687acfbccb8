#!/usr/bin/env python3
"""The printed plan, read as a technician would: technician_cli.py PROGRAM PROJECT.

A linear rotor whose readings are worked out here (slot angles from the way the numbers grow, lag, detectors) is trimmed by
the built program. The test then does what the printed sheet says, and nothing else: takes out what it lists, puts in what
it lists, and reads the rotor. What is printed as fitted now, as expected, as limit, as distance that differs and as moment
to add must be what the rotor, its file and the least squares of NumPy say.
"""
import cmath
import json
import math
import re
import subprocess
import sys
import tempfile
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

sys.dont_write_bytecode = True
from text_rows import has_heading

import numpy as np

PROGRAM = str(Path(sys.argv[1]).resolve())
failures, compared = [], 0

FULL, SPEEDS = 5000, (3000, 4500)
PLANES = {  # count, angle of slot 1 with rotation, whether the numbers grow with rotation, filler, weights
    "spinner": (10, 20.0, False, 40.0, {"a": 100.0, "b": 300.0, "c": 700.0}),
    "tail cone": (12, -15.0, True, 0.0, {"d": 150.0, "e": 400.0}),
}
SENSORS = {  # unit, limits, targets (below 70 % and above), repeatability, run to run, proportional; as printed
    "intake": ("in/s rms", (0.8, 0.9), (0.25, 0.2), 0.006, 0.0, 0.02),
    "rear": ("mil pp", (5.0, 6.0), (1.5, 1.2), 0.05, 0.08, 0.0),
}
TOLERANCES = {"spinner": (0.0, 0.0), "tail cone": (0.03, math.radians(1.5))}  # largest errors of a moment and of a slot's angle
ROTOR = """trimwright: rotor 1
name: technician's fan
rotation: {sense: clockwise, seen_from: aft}
phase: lag
speed_100: 5000 rpm
speed_tolerance: 20 rpm
mass: 200 kg
reference: {teeth: 34, larger_tooth: 1, polarity: falling}
blades: {count: 22, blade_1_at: 6 deg with rotation, numbered: counterclockwise, seen_from: aft}
planes:
  - name: spinner
    slots: {count: 10, slot_1_at: 20 deg with rotation, numbered: clockwise, seen_from: front, unusable: [6]}
    filler: {moment: 40 g.mm}
    weights: [{id: a, moment: 100 g.mm}, {id: b, moment: 300 g.mm, stock: 3}, {id: c, moment: 700 g.mm}]
  - name: tail cone
    slots: {count: 12, slot_1_at: 15 deg against rotation, numbered: clockwise, seen_from: aft}
    weights: [{id: d, moment: 150 g.mm}, {id: e, moment: 400 g.mm}]
    weight_tolerance: 3 %
    slot_tolerance: 1.5 deg
sensors:
  - name: intake
    measures: velocity
    unit: in/s rms
    phase_of: velocity
    direction: {positive: inward, mounted: top}
    limits: [{up_to: 70 %, limit: 0.8 in/s, target: 0.25 in/s}, {up_to: 110 %, limit: 0.9 in/s, target: 0.2 in/s}]
    repeatability: 0.006 in/s
    proportional: 2 %
  - name: rear
    measures: displacement
    unit: mil pp
    phase_of: velocity
    direction: {positive: outward, mounted: left}
    limits: [{up_to: 70 %, limit: 5 mil, target: 1.5 mil}, {up_to: 110 %, limit: 6 mil, target: 1.2 mil}]
    repeatability: 0.05 mil
    run_to_run: 0.08 mil
"""
AS_FOUND = {"spinner": {2: "a", 5: "b"}, "tail cone": {3: "d"}}
TRIALS = [{"spinner": {2: "a", 5: "b", 8: "b"}, "tail cone": {3: "d"}}, {"spinner": {2: "a", 5: "b"}, "tail cone": {3: "d", 7: "e"}}]
CHOSEN = {"spinner": {1: "b", 5: "c"}, "tail cone": {4: "e"}}  # out, in and exchanged, with filler and without
AT = {3000: "3000 rpm (60 %)", 4500: "4500 rpm (90 %)"}


def same(what, found, wanted):
    global compared
    compared += 1
    if found != wanted:
        failures.append(f"{what}: found {found}, wanted {wanted}")


def angle(plane, slot):
    count, first, with_rotation, _, _ = PLANES[plane]
    return (first + (1 if with_rotation else -1) * 360.0 / count * (slot - 1)) % 360.0


def moment(plane, holds):
    """Of all its slots together, fillers included, without the unusable slot."""
    count, _, _, filler, weights = PLANES[plane]
    return sum((weights[holds[slot]] if slot in holds else filler) * cmath.rect(1, math.radians(angle(plane, slot)))
               for slot in range(1, count + 1) if (plane, slot) != ("spinner", 6))


def turned(size, degrees):
    return cmath.rect(size, math.radians(degrees))


# As the instrument shows it (in the sensor's unit, lead): of the fillers alone, and per g mm of each plane.
FIRST = {(3000, "intake"): turned(0.331, 58), (3000, "rear"): turned(2.91, 224), (4500, "intake"): turned(0.987, 134), (4500, "rear"): turned(7.58, 327)}
EFFECT = {(3000, "intake"): (turned(4e-4, 10), turned(3e-4, 80)), (3000, "rear"): (turned(9e-4, 150), turned(2.6e-3, 20)),
          (4500, "intake"): (turned(9e-4, 60), turned(5e-4, 200)), (4500, "rear"): (turned(1.5e-3, 250), turned(5e-3, 140))}
EMPTY = [moment(plane, {}) for plane in PLANES]


def reads(place, fitted):
    return FIRST[place] + sum(c * (moment(p, fitted[p]) - e) for c, p, e in zip(EFFECT[place], PLANES, EMPTY))


def amplitude(shown):
    whole = math.floor(math.log10(abs(shown))) + 1
    return f"{shown:.{min(4, max(0, 3 - whole))}f}"


def phasor(x):
    """Amplitude and phase lag."""
    return f"{amplitude(abs(x))} ∠ {math.floor(-math.degrees(cmath.phase(x)) + 0.5) % 360}°"


def band(speed):
    return 0 if speed <= 0.7 * FULL else 1


def level(place, size):
    """What the sheet must say of an amplitude."""
    _, limits, targets, *_ = SENSORS[place[1]]
    at = band(place[0])
    return "✕ ABOVE LIMIT" if size > limits[at] else "▲ above target" if size > targets[at] else "✓ below target"


def run(*arguments):
    done = subprocess.run([PROGRAM, *arguments, "--time-limit", "3600"], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"FAIL {' '.join(arguments)}: {done.stderr}")
    return done.stdout


def run_lines(name, fitted, really=None, rest=""):
    lines = [f"  - name: {name}", f"    fitted: {json.dumps({p: {str(s): w for s, w in held.items()} for p, held in fitted.items()})}{rest}", "    readings:"]
    for speed, sensor in FIRST:
        x = reads((speed, sensor), really or fitted)
        lines.append(f"      - {{speed: {speed} rpm, sensor: {sensor}, amplitude: {abs(x):.9f} {SENSORS[sensor][0]}, "
                     f"phase: {-math.degrees(cmath.phase(x)) % 360:.7f} deg, component: once-per-rev}}")
    return lines


def job_file(folder, name, runs, now, trim="max_changes: 3"):
    (folder / "rotor.yaml").write_text(ROTOR)
    lines = ["trimwright: job 1", "rotor: rotor.yaml", "serial: T1", "runs:", *sum(runs, [])]
    lines += [f"fitted_now: {json.dumps({p: {str(s): w for s, w in held.items()} for p, held in now.items()})}", f"trim: {{{trim}}}"]
    (folder / name).write_text("\n".join(lines) + "\n")
    return str(folder / name)


def before_trim():
    return [run_lines("as found", AS_FOUND), run_lines("trial one", TRIALS[0]), run_lines("trial two", TRIALS[1])]


def table(text, *heading):
    """Rows of a printed table, as {column: cell}; a column stands where its rule of dashes does."""
    lines = text.split("\n")
    for at, line in enumerate(lines):
        if has_heading(line, heading) and set(lines[at + 1].strip()) <= {"-", " "}:
            spans = [match.span() for match in re.finditer("-+", lines[at + 1])]
            rows = []
            for row in lines[at + 2:]:
                if not row.strip() or any(begin and row[begin - 1: begin].strip() for begin, _ in spans) or len(row) > spans[-1][1]:
                    break
                rows.append({line[b:e].strip(): row[b:e].strip() for b, e in spans})
            return rows
    failures.append(f"no table {heading}")
    return []


def steps(text):
    """[(instruction, [particulars], whether a name is asked for)] of the printed steps, lines joined."""
    found = []
    for line in text.split("\nSTEPS\n", 1)[1].split("\nCAUTION", 1)[0].split("\n"):
        if match := re.match(r" +\d+\. (.*)", line):
            found.append([match[1], [], False])
        elif match := re.match(r" {6}- (.*)", line):
            found[-1][1].append(match[1])
        elif line.strip().startswith("Done by:"):
            found[-1][2] = True
        elif line.strip() and found[-1][1]:
            found[-1][1][-1] += " " + line.strip()
        elif line.strip():
            found[-1][0] += " " + line.strip()
    return found


def blade_words(degrees):
    """Blades grow against rotation from 6 degrees."""
    along = (6.0 - degrees) % 360.0 / (360.0 / 22)
    near = round(along)
    if abs(along - near) * 360.0 / 22 <= 0.1:
        return f"at blade {near % 22 + 1}"
    return f"between blades {math.floor(along) % 22 + 1} and {(math.floor(along) + 1) % 22 + 1}"


def place_words(plane, slot):
    return f"{plane} slot {slot}, {angle(plane, slot):.1f}° with rotation, {blade_words(angle(plane, slot))}"


def piece_words(plane, weight):
    """As the list names a piece; none: what an empty slot holds."""
    if weight:
        return f"{weight} ({PLANES[plane][4][weight]:g} g.mm)"
    return "the filler" if PLANES[plane][3] else None


def all_slots(fitted):
    return {(plane, slot): fitted[plane].get(slot) for plane, about in PLANES.items() for slot in range(1, about[0] + 1)}


def carried_out(what, out, put, now):
    """What the slots hold once the two lists are done, each line read for its place and its piece."""
    holds = {key: piece_words(key[0], weight) for key, weight in all_slots(now).items()}
    by_words = {place_words(*key): key for key in holds}
    taken, fitted = [], []
    for lines, takes in ((out, True), (put, False)):
        for line in lines:
            place, _, piece = line.rpartition(": ")
            key = by_words.get(place)
            if key is None:
                failures.append(f"{what}: no such place: {line}")
            elif takes:
                same(f"{what}: {place} holds what is to be taken out", holds[key], piece)
                holds[key] = None
                taken.append(piece)
            else:
                same(f"{what}: {place} is empty when something is put in", holds[key], None)
                holds[key] = piece
                fitted.append(piece)
    return holds, Counter(taken), Counter(fitted)


def wanted_slots(fitted):
    return {key: piece_words(key[0], weight) for key, weight in all_slots(fitted).items()}


def tally(line):
    return Counter({piece: int(count) for count, piece in re.findall(r"(\d+) × ([^,]+?)(?:, |$)", line)})


def check_fitting_steps(what, found, now, then):
    """Take out, put in, and what is drawn and left over."""
    out, put, count = (next((s for s in found if s[0].startswith(words)), ["", [], False])
                       for words in ("Take out:", "Put in:", "A second person checks every slot"))
    holds, taken, fitted = carried_out(what, out[1], put[1], now)
    same(f"{what}: what the slots hold then", holds, wanted_slots(then))
    counts = dict(line.split(": ", 1) for line in count[1])
    same(f"{what}: drawn from stock", tally(counts.get("Drawn from stock", "")), fitted)
    same(f"{what}: left over", tally(counts.get("Left over and returned", "")), taken)


ZERO = "0° is at the larger tooth of the reference ring, number 1 of 34: find it by eye, the one tooth wider or higher than all others, and mark where it stands."


def check_opening(what, found, now):
    confirm, count = found[1][1], found[2][1]
    front, aft = "the front (ahead of the engine, looking aft)", "aft (behind the engine, looking forward)"
    same(f"{what}: numbering", confirm, [
        f"The rotor turns clockwise seen from {aft}.",
        ZERO,
        f"spinner: 10 slots, the numbers grow clockwise seen from {front}; slot 1 is at 20.0° with rotation, {blade_words(20)}.",
        f"tail cone: 12 slots, the numbers grow clockwise seen from {aft}; slot 1 is at 345.0° with rotation, {blade_words(345)} (written: 15 deg against rotation).",
        f"Blades: 22, the numbers grow counterclockwise seen from {aft}; blade 1 is at 6.0° with rotation."])
    listed = [f"{place_words(p, slot)}: {piece_words(p, held)}" for p in PLANES for slot, held in sorted(now[p].items())]
    same(f"{what}: what is fitted now", [line for line in count if " slot " in line and "every" not in line], listed)
    rest = [line for line in count if "every" in line]
    other = lambda plane: "every other slot" if now[plane] else "every slot"
    same(f"{what}: the other slots", rest, [f"spinner {other('spinner')}: its filler; leave alone unusable slot 6", f"tail cone {other('tail cone')}: open"])


ORDER = ["Make safe", "Confirm the numbering", "A second person counts", "Take out:", "Put in:", "A second person checks every slot", "Torque and lock",
         "Run at these speeds", "End the run at once", "Write down amplitude and phase"]


def check_order(what, found, last):
    for step, begin in zip(found, [*ORDER, last]):
        same(f"{what}: step begins", step[0][: len(begin)], begin)
    same(f"{what}: steps", len(found), len(ORDER) + 1)
    nothing_out = found[3][1] == ["nothing"]  # nobody signs for that
    same(f"{what}: steps to sign", [i for i, step in enumerate(found) if step[2]], [i for i in (0, 1, 2, 3, 4, 5, 6, 9) if i != 3 or not nothing_out])


def scatter(place, runs, then):
    """(± of the expected value, distance that differs) by least squares with noise that is known: the noise of each run's
    reading through the combination of readings that predicts; then that of the reading to come, and the tolerances of what
    is fitted (uniform errors). A distance of sqrt(8) standard deviations of a component: exp(-4), one sound reading in 55."""
    _, _, _, within, change, proportional = SENSORS[place[1]]
    row = lambda fitted: np.array([1.0, *[moment(p, fitted[p]) for p in PLANES]])
    of_reading = [within**2 + change**2 + (proportional * abs(reads(place, one)))**2 for one in runs]
    combination = row(then) @ np.linalg.inv(np.array([row(one) for one in runs]))
    model2 = float(np.abs(combination)**2 @ of_reading)
    errors = [sum(PLANES[p][4][weight]**2 for weight in then[p].values()) * (TOLERANCES[p][0]**2 + TOLERANCES[p][1]**2) / 3 for p in PLANES]
    fitting2 = sum(0.5 * abs(c)**2 * error for c, error in zip(EFFECT[place], errors))
    coming2 = within**2 + change**2 + (proportional * abs(reads(place, then)))**2
    return math.sqrt(model2), math.sqrt(8.0 * (model2 + coming2 + fitting2))


def close(what, printed, wanted, part=0.006):
    """A printed figure of three digits."""
    global compared
    compared += 1
    if not abs(float(printed) - wanted) <= part * abs(wanted):
        failures.append(f"{what}: found {printed}, wanted {wanted:.4g}")


def check_levels(what, text, now, then, runs):
    rows = table(text, "speed", "sensor", "now")
    same(f"{what}: places", [(row["speed"], row["sensor"]) for row in rows], [(AT[speed], sensor) for speed, sensor in FIRST])
    for row, place in zip(rows, FIRST):
        where = f"{what}: {place}"
        unit, limits, targets, *_ = SENSORS[place[1]]
        expected = reads(place, then)
        same(where + " now", row["now (fit)"], phasor(reads(place, now)))
        same(where + " expected", row["expected"], phasor(expected))
        same(where + " limit", float(row["limit"]), limits[band(place[0])])
        same(where + " target", float(row["target"]), targets[band(place[0])])
        same(where + " unit", row["unit"], unit)
        same(where + " result", row["result"], level(place, abs(expected)))
        sd, differs = scatter(place, runs, then)
        close(where + " ±", row["±"], sd)
        close(where + " differs by", row["differs by"], differs)
        low, high = (float(end) for end in row["9 in 10"].split("-"))
        same(where + " 9 in 10 in order", low < high, True)
    return rows


def check_compare(what, found, rows):
    """What is to be written down and compared, beside the table's rows."""
    lines = found[9][1]
    same(f"{what}: readings to compare", len(lines), len(rows))
    for line, row in zip(lines, rows):
        match = re.fullmatch(r"(.*), ([^,]+): read _+ ∠ _+ \(([^)]*)\); expected (\S+ ∠ \d+°); not as expected when the tips are more than (\S+) apart "
                             r"\(always so with an amplitude (?:below (\S+) or )?above (\S+)\)", line)
        if not match:
            failures.append(f"{what}: cannot be read: {line}")
            continue
        same(f"{what}: {line}", match.groups()[:5], (row["speed"], row["sensor"], row["unit"], row["expected"], row["differs by"]))
        size, away = float(row["expected"].split()[0]), float(row["differs by"])
        close(f"{what}: {line}: above", match[7], size + away, 0.01)
        same(f"{what}: {line}: a lower end", match[6] is not None, size > away)
        if match[6]:
            same(f"{what}: {line}: below", abs(float(match[6]) - (size - away)) < 0.01 * (size + away), True)


def check_change_table(what, rows, now, then):
    short = lambda plane, weight: weight or ("filler" if PLANES[plane][3] else "open")
    wanted = [(plane, str(slot), short(plane, now[plane].get(slot)), short(plane, then[plane].get(slot)),
               f"{angle(plane, slot):.1f}°", blade_words(angle(plane, slot)))
              for plane, about in PLANES.items() for slot in range(1, about[0] + 1) if now[plane].get(slot) != then[plane].get(slot)]
    same(f"{what}: table of changes", [tuple(row.values()) for row in rows], wanted)


def read_plan(folder):
    """A plan of weights that are chosen, so that it takes out, puts in and exchanges."""
    job = job_file(folder, "job.yaml", before_trim(), AS_FOUND)
    choice = folder / "fitted.json"
    choice.write_text(json.dumps({"trimwright": "fitted 1", "rotor": "technician's fan", "serial": "T1",
                                  "fitted": {p: {str(s): w for s, w in held.items()} for p, held in CHOSEN.items()}}))
    text = run("plan", job, "--fitted", str(choice))
    found = steps(text)
    check_order("plan", found, "If a reading differs, change nothing yet.")
    check_opening("plan", found, AS_FOUND)
    check_fitting_steps("plan", found, AS_FOUND, CHOSEN)
    check_change_table("plan", table(text, "plane", "slot", "take"), AS_FOUND, CHOSEN)
    rows = check_levels("plan", text, AS_FOUND, CHOSEN, [AS_FOUND, *TRIALS])
    check_compare("plan", found, rows)
    same("plan: run at", found[7][0].split(": ", 1)[-1], f"{AT[3000]}, {AT[4500]}.")
    same("plan: the table's column for stopping", "(limit)" in found[8][0], True)
    results = {row["result"] for row in rows}
    same("plan: the case shows all results", results, {"✕ ABOVE LIMIT", "▲ above target", "✓ below target"})


class Sheet(HTMLParser):
    """Of the page's sheet: table rows and the items of lists."""

    def __init__(self, page):
        super().__init__()
        self.rows, self.items, self.inside, self.text = [], [], False, None
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.inside |= tag == "section" and ("id", "sheet") in attributes
        if self.inside and tag == "tr":
            self.rows.append([])
        if self.inside and tag in ("td", "th", "li"):
            self.text = ""

    def handle_data(self, data):
        if self.text is not None:
            self.text += data

    def handle_endtag(self, tag):
        if self.text is not None and tag in ("td", "th", "li"):
            (self.items if tag == "li" else self.rows[-1]).append(self.text)
            self.text = None

    def table(self, *heading):
        """Rows below the heading."""
        at = next(i for i, row in enumerate(self.rows) if row[: len(heading)] == list(heading))
        width, rows = len(self.rows[at]), self.rows[at + 1:]
        return rows[: next((i for i, row in enumerate(rows) if len(row) != width or row[0] in ("role", "plane", "speed")), len(rows))]


def read_sheet(folder):
    """The page's sheet of the same plan, and its document."""
    job, choice = str(folder / "job.yaml"), str(folder / "fitted.json")
    sheet = Sheet(run("page", job, "--fitted", choice))
    holds = lambda plane, weight: piece_words(plane, weight) or "open"
    wanted, removed = [], []
    for plane, slot in all_slots(AS_FOUND):
        now, then = AS_FOUND[plane].get(slot), CHOSEN[plane].get(slot)
        if now != then:
            wanted.append([plane, str(slot), f"{angle(plane, slot):.1f}°", blade_words(angle(plane, slot)), *[words_of(holds(plane, one)) for one in (now, then)]])
            removed.append((plane, slot, now, then))
    found = [[*row[:4], words_of(row[4]), words_of(row[5])] for row in sheet.table("plane", "slot", "angle")]
    same("sheet: weights", found, wanted)
    levels = sheet.table("speed", "sensor", "unit")
    same("sheet: places", [row[:2] for row in levels], [[AT[speed], sensor] for speed, sensor in FIRST])
    for row, place in zip(levels, FIRST):
        _, _, unit, first, now, expected, differs, read, limit, target, _ = row
        at = band(place[0])
        same(f"sheet: {place}", [unit, first, now, expected, read, float(limit), float(target)],
             [SENSORS[place[1]][0], *[phasor(reads(place, one)) for one in (AS_FOUND, AS_FOUND, CHOSEN)], "", SENSORS[place[1]][1][at], SENSORS[place[1]][2][at]])
        close(f"sheet: {place} differs by", differs, scatter(place, [AS_FOUND, *TRIALS], CHOSEN)[1])
    then = [item for item in sheet.items if item.startswith(("spinner: ", "tail cone: ")) and "slots, the numbers" not in item]
    same("sheet: what the planes hold then", [Counter(re.findall(r"slot (\d+) (\w+)", item)) for item in then],
         [Counter((str(slot), weight) for slot, weight in CHOSEN[plane].items()) for plane in PLANES])
    document = json.loads(run("plan", job, "--fitted", choice, "--format", "json"))
    same("document: slots", [(one["plane"], one["slot"], one["remove"], one["fit"]) for one in document["slots"]], removed)
    for one, place in zip(document["predicted"], FIRST, strict=True):
        before, after = reads(place, AS_FOUND), reads(place, CHOSEN)
        same(f"document: {place}", [abs(one[key] - size) < 1e-6 * size for key, size in (("before", abs(before)), ("after", abs(after)),
             ("limit", SENSORS[place[1]][1][band(place[0])]), ("target", SENSORS[place[1]][2][band(place[0])]))], [True] * 4)
        same(f"document: {place} turned", [abs(cmath.rect(1, math.radians(-one[key])) - x / abs(x)) < 1e-5
             for key, x in (("before_phase_deg", before), ("after_phase_deg", after))], [True] * 2)


def words_of(piece):
    """The first word of what a slot holds: the weight, or that it is empty."""
    return re.split(r"[ (]", piece.removeprefix("the ").removeprefix("its "))[0]


def read_own_plan(folder):
    """The plan that the program makes: what is printed must be the best of all there is to fit, and be what it says."""
    job = job_file(folder, "job.yaml", before_trim(), AS_FOUND, "max_changes: 2, objective: worst ratio")
    text = run("plan", job, "--best", "3")
    changes = table(text, "plane", "slot", "take")
    then = {plane: dict(held) for plane, held in AS_FOUND.items()}
    for row in changes:
        then[row["plane"]].pop(int(row["slot"]), None)
        if row["put in"] not in ("filler", "open"):
            then[row["plane"]][int(row["slot"])] = row["put in"]
    check_change_table("own plan", changes, AS_FOUND, then)
    check_levels("own plan", text, AS_FOUND, then, [AS_FOUND, *TRIALS])
    check_fitting_steps("own plan", steps(text), AS_FOUND, then)
    ratio = lambda fitted: max(abs(reads(place, fitted)) / SENSORS[place[1]][1][band(place[0])] for place in FIRST)
    lines = re.findall(r"\n +\d+\. largest / limit ([\d.]+), root of squares [\d.]+: ([^.]*)(?=\n +\d+\.|\n +Each is)", text)
    same("own plan: alternatives", len(lines), 3)
    for printed, words in lines:
        own = {plane: dict(held) for plane, held in AS_FOUND.items()}
        for plane, slot, put, out in re.findall(r"(spinner|tail cone) (\d+): (\S+) for ([^,\s]+)", " ".join(words.split())):
            empty = "filler" if PLANES[plane][3] else "open"
            same(f"own plan: {plane} {slot} holds {out}", own[plane].pop(int(slot), empty), out)
            if put != empty:
                own[plane][int(slot)] = put
        same(f"own plan: {words} gives {printed}", f"{ratio(own):.3f}", printed)


def read_moments(folder):
    """With as many readings as planes the moments cancel everything: worked out here by solving for them."""
    places = [(4500, "intake"), (4500, "rear")]
    runs = [[line for line in one if "speed: 3000" not in line] for one in before_trim()]
    text = run("plan", job_file(folder, "one.yaml", runs, AS_FOUND))
    wanted = np.linalg.solve(np.array([EFFECT[place] for place in places]), [-reads(place, AS_FOUND) for place in places])
    rows = table(text, "plane", "moment", "to", "add")
    same("moments: planes", [row["plane"] for row in rows], list(PLANES))
    for row, u in zip(rows, wanted):
        degrees = math.degrees(cmath.phase(u)) % 360
        close(f"moments: {row['plane']}", row["moment to add"].split()[0], abs(u), 0.003)
        same(f"moments: angle in {row['plane']}", abs((float(row["angle"][:-1]) - degrees + 180) % 360 - 180) < 0.2, True)
        same(f"moments: blades in {row['plane']}", row["blades"], blade_words(float(row["angle"][:-1])))


def read_trial(folder):
    """A trial run of a weight that is named: stop levels, what was read last, what it may do."""
    text = run("trial", job_file(folder, "first.yaml", before_trim()[:1], AS_FOUND), "--plane", "tail cone", "--slot", "7", "--weight", "e")
    found = steps(text)
    then = {**AS_FOUND, "tail cone": {3: "d", 7: "e"}}
    check_order("trial", found, "A trial weight may raise the vibration")
    check_opening("trial", found, AS_FOUND)
    check_change_table("trial", table(text, "plane", "slot", "take"), AS_FOUND, then)
    above = {speed for speed, sensor in FIRST if level((speed, sensor), abs(reads((speed, sensor), AS_FOUND))) == "✕ ABOVE LIMIT"}
    to_run = [place for place in FIRST if place[0] not in above]  # a speed with a level above its limit is not run
    rows = table(text, "speed", "sensor", "last", "read")
    same("trial: places", len(rows), len(to_run))
    for row, place in zip(rows, to_run):
        same(f"trial: {place} stop above", float(row["stop above"]), SENSORS[place[1]][1][band(place[0])])
        same(f"trial: {place} last read", row["last read"], amplitude(abs(reads(place, AS_FOUND))))
    force = 400e-6 * (2 * math.pi * 4500 / 60) ** 2
    same("trial: it pulls with", [line for line in found[4][1] if "It pulls" in line],
         [f"It pulls with {force:.0f} N at {AT[4500]}, {100 * force / (200 * 9.80665):.1f} % of the rotor's weight."])
    squeezed = " ".join(text.split())
    for speed in {speed for speed, _ in FIRST}:
        words = f"At {AT[speed]} a level is above its limit without the trial weight: do not run there"
        same(f"trial: {words}", words in squeezed, speed in above)
    same("trial: the case has a speed above its limit, and one that is run", (len(above), len(to_run) > 0), (1, True))


def read_informed_trial(folder):
    """With all planes known: the columns of what was weighed are what JSON calls by their names."""
    job = job_file(folder, "job.yaml", before_trim(), AS_FOUND)
    text, document = run("trial", job, "--slot", "7", "--plane", "tail cone"), json.loads(run("trial", job, "--slot", "7", "--plane", "tail cone", "--format", "json"))
    percent = lambda p: "> 99 %" if p > 0.995 else "< 1 %" if p < 0.005 else f"{100 * p:.0f} %"
    rows = table(text, "plane", "slot", "weight")
    same("informed trial: candidates", len(rows), len(document["candidates"]))
    same("informed trial: some", len(rows) > 1, True)
    for row, one in zip(rows, document["candidates"]):
        for column, key in (("uncertainty left", "variance_left"), ("above a limit", "exceeds_limit"), ("targets met after", "meets_targets")):
            same(f"informed trial: {column}", row[column], percent(one[key]))
        same("informed trial: weight", row["weight"], one["fit"])


def read_check(folder):
    """The verdict on a run with the chosen weights, one of them left out."""
    for what, really in (("check", CHOSEN), ("check without e", {**CHOSEN, "tail cone": {}})):
        job = job_file(folder, "after.yaml", [*before_trim(), run_lines("after", CHOSEN, really)], CHOSEN)
        text = run("check", job)
        rows = table(text, "speed", "sensor", "first")
        same(f"{what}: readings", [(row["speed"], row["sensor"]) for row in rows], [(AT[speed], sensor) for speed, sensor in FIRST])
        for row, place in zip(rows, FIRST):
            where = f"{what}: {place}"
            same(where + " first", row["first"], amplitude(abs(reads(place, AS_FOUND))))
            same(where + " now", row["now"], amplitude(abs(reads(place, really))))
            same(where + " limit", (float(row["limit"]), float(row["target"])), tuple(SENSORS[place[1]][i][band(place[0])] for i in (1, 2)))
            same(where + " result", row["result"], level(place, abs(reads(place, really))))
        rows = table(text, "speed", "sensor", "read")
        same(f"{what}: rows", len(rows), len(FIRST))
        for row, place in zip(rows, FIRST):
            where = f"{what}: {place} beside the prediction"
            read, expected = reads(place, really), reads(place, CHOSEN)
            same(where + " read", row["read"], phasor(read))
            same(where + " expected", row["expected"], phasor(expected))
            _, differs = scatter(place, [AS_FOUND, *TRIALS], CHOSEN)
            close(where + " differs by", row["differs by"], differs)
            if really is not CHOSEN:
                close(where + " away", row["away"].split()[0], abs(read - expected))
            same(where + " differs", row["result"] == "differs", abs(read - expected) > differs)
        same(f"{what}: verdict", re.search(r"^(NOT ACCEPTED|ACCEPTED)", text, re.M)[1], "NOT ACCEPTED")
        same(f"{what}: a next trim", "THE NEXT TRIM" in text, really is CHOSEN)
        if really is CHOSEN:
            for row in table(text.split("THE NEXT TRIM", 1)[-1], "plane", "slot", "take"):
                held = CHOSEN[row["plane"]].get(int(row["slot"]))
                same(f"{what}: next trim takes out of {row}", row["take out"], held or ("filler" if PLANES[row["plane"]][3] else "open"))
                same(f"{what}: next trim changes {row}", row["put in"] != row["take out"], True)
    return text


with tempfile.TemporaryDirectory(prefix="trimwright-technician-") as name:
    for read in (read_plan, read_sheet, read_own_plan, read_moments, read_trial, read_informed_trial, read_check):
        read(Path(name))
for failure in failures[:20]:
    print("FAIL", failure)
print(f"{compared} comparisons, {len(failures)} failed")
sys.exit(1 if failures or compared < 250 else 0)
