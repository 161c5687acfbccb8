#!/usr/bin/env python3
"""What trimwright says to files, runs and command lines that are wrong.

    bad_input.py PROGRAM PROJECT [--only WORD] [--fuzz N] [--seed N]

Every case changes one thing in the shipped example (configs/larkmere-fan.yaml and examples/quillhaven)
and says which words the message must hold. The message is one line on standard error, it starts with
"trimwright: ", it names the file and the line that was changed, and it says what was expected; nothing is on
standard output, no file is left behind, and the exit status is 1 (2: the command line, 3: the answer could not
be written). The line is never typed in: it is where the changed text stands.
Then the files are damaged at random, from a fixed seed: whatever comes of it, the program ends by itself, soon,
and never gives an answer with a number that is none.
"""

import argparse
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # Cs: also what stands for broken UTF-8
HANG_S = 60  # a loaded machine, or a sanitizer build; a hang is a hang however long one waits
MEMORY = 3 << 30
ROTOR, JOB, TABLE = "rotor.yaml", "job.yaml", "readings.csv"
INFLUENCE = ("influence", JOB)
TRIAL = ("trial", JOB, "--plane", "spinner", "--time-limit", "0.2")


@dataclass
class Case:
    """One thing wrong. `edits` are (old, new) in `file`; the line expected is that of `mark`, by default of
    the last new text; an empty mark: the complaint is not about a line. `content` replaces the whole file."""

    name: str
    file: str
    edits: list = field(default_factory=list)
    words: list = field(default_factory=list)
    mark: str | None = None
    content: bytes | None = None
    command: tuple = INFLUENCE
    status: int = 1
    says_expected: bool = True
    other_edits: list = field(default_factory=list)  # (file, old, new): makes ready, is not the fault


# --- the good files -------------------------------------------------------------------------------------------


class Example:
    def __init__(self, project: Path):
        self.files = {
            ROTOR: (project / "configs/larkmere-fan.yaml").read_text("utf-8"),
            JOB: (project / "examples/quillhaven/job.yaml").read_text("utf-8"),
            TABLE: (project / "examples/quillhaven/readings.csv").read_text("utf-8"),
        }
        self.files[JOB] = replaced(self.files[JOB], "../../configs/larkmere-fan.yaml", ROTOR)

    def lay_out(self, folder: Path):
        for name, text in self.files.items():
            (folder / name).write_text(text, "utf-8", newline="")


def replaced(text: str, old: str, new: str) -> str:
    if text.count(old) < 1:
        raise SystemExit(f"this test is out of date: the example no longer holds {old!r}")
    return text.replace(old, new, 1)


# --- running --------------------------------------------------------------------------------------------------


@dataclass
class Outcome:
    status: int
    out: bytes
    err: str
    hung: bool = False


class Program:
    def __init__(self, path: Path):
        self.path = path
        self.sanitized = b"__asan_init" in path.read_bytes()

    def run(self, arguments, folder: Path, **options) -> Outcome:
        options.setdefault("stdout", subprocess.PIPE)
        options.setdefault("stdin", subprocess.DEVNULL)
        before = options.pop("before", None)

        def limits():
            if not self.sanitized:  # its shadow memory is larger than any limit
                resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            if before:
                before()

        program = options.pop("program", self.path)
        try:
            done = subprocess.run([str(program), *arguments], cwd=folder, stderr=subprocess.PIPE,
                                  timeout=HANG_S, preexec_fn=limits, check=False, **options)
        except subprocess.TimeoutExpired:
            return Outcome(0, b"", "", hung=True)
        return Outcome(done.returncode, done.stdout or b"", done.stderr.decode("utf-8", "surrogateescape"))


def died(outcome: Outcome) -> list:
    """What may never happen, whatever the input."""
    if outcome.hung:
        return [f"does not end within {HANG_S} s"]
    if outcome.status < 0:
        return [f"killed by {signal.Signals(-outcome.status).name}"]
    for sign in ("Sanitizer", "runtime error", "terminate called", "failure of the program itself"):
        if sign in outcome.err:
            return [f"fails inside: {outcome.err.strip()[:300]}"]
    if outcome.status not in (0, 1, 2, 3):
        return [f"exit status {outcome.status}, which is none of 0, 1, 2, 3"]
    return []


def complaints(outcome: Outcome, status: int, words, place: str = "", says_expected: bool = True) -> list:
    """How far a refusal is from a good one; empty: it is good."""
    wrong = died(outcome)
    if wrong:
        return wrong
    if outcome.status != status:
        wrong.append(f"exit status {outcome.status}, not {status}")
    if outcome.out and "no plan: the search was stopped too early" not in outcome.err:  # what is known stands there
        wrong.append("something on standard output: " + repr(outcome.out[:60]))
    if not outcome.err.startswith("trimwright: "):
        wrong.append('the message does not start with "trimwright: "')
    if outcome.err.count("\n") != 1 or not outcome.err.endswith("\n"):
        wrong.append(f"the message has {outcome.err.count(chr(10))} lines, not one")
    if any(unicodedata.category(c) in UNSEEN and c != "\n" for c in outcome.err):
        wrong.append("the message holds control characters or broken UTF-8")
    if len(outcome.err) > 1000:
        wrong.append(f"the message has {len(outcome.err)} characters")
    if place and not outcome.err.startswith(f"trimwright: {place}: "):
        wrong.append(f"the message does not start with the place {place}")
    for word in words:
        if word not in outcome.err:
            wrong.append(f"the message lacks {word!r}")
    if says_expected and "expected " not in outcome.err:
        wrong.append("the message does not say what was expected")
    return wrong


def left_behind(folder: Path, known: set) -> list:
    extra = sorted(set(p.name for p in folder.iterdir()) - known)
    return [f"leaves behind {extra}"] if extra else []


MAY_BE_NULL = {"planes_condition", "last_read", "fit_nothing_yet", "unsettled_from", "off_by_sd",
               "sd", "after_sd", "reading_low", "reading_high", "below_limit", "below_target", "probability",
               "noise", "fleet", "earlier_jobs", "lack_of_fit", "correction_without_suspects", "studentised", "degrees_of_freedom", "limit", "target", "differs_by", "remove", "fit"}

NOT_PREDICTED = ("amplitude", "phase_deg", "differs_by")


def no_numbers(document: bytes) -> list:
    """NaN and infinities, which the program's JSON writer turns to null, and anything that is not JSON."""

    def refuse(word):
        raise ValueError(f"{word} in the JSON")

    def walk(value, key):
        if isinstance(value, dict):
            unknown = key == "expected" and [value[k] for k in NOT_PREDICTED] == [None] * 3  # told as such, not a NaN
            for k, v in value.items():
                if not (unknown and k in NOT_PREDICTED):
                    yield from walk(v, k)
        elif isinstance(value, list):
            for v in value:
                yield from walk(v, key)
        elif value is None and key not in allowed:
            yield f"{key} is null in the JSON: a number that is none"

    allowed = set(MAY_BE_NULL)
    try:
        found = json.loads(document.decode("utf-8"), parse_constant=refuse)
        if found.get("trimwright") == "trial 1":
            # Nothing is expected before the first trial.
            allowed |= {"amplitude", "phase_deg", "correction_at_once", "expected_runs", "force_share", "headroom_share",
                        "variance_left", "exceeds_limit", "meets_targets"}
        return sorted(set(walk(found, "")))
    except (ValueError, RecursionError) as fault:
        return [f"status 0 but the answer is not sound JSON: {fault}"]


# --- wrong rotor files ----------------------------------------------------------------------------------------

K2 = "{id: K2, mass: 2.2 g, radius: 188 mm, stock: 10}"


def weight(text):
    return (K2, text)


def rule(text):
    """Of the spinner."""
    return ("    max_total_moment: 6000 g.mm", "    " + text + "\n    max_total_moment: 6000 g.mm")


ROTOR_CASES = [
    # units and numbers
    Case("mass without unit", ROTOR, [("260 kg", "260")], ["mass: ", '"260"', "no unit", "kg"]),
    Case("weight mass without unit", ROTOR, [weight("{id: K2, mass: 2.2, radius: 188 mm}")],
         ["planes[0].weights[0].mass", '"2.2"', "no unit"]),
    Case("radius without unit", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188}")], ["radius", '"188"', "no unit"]),
    Case("moment without unit", ROTOR, [("moment: 430 g.mm", "moment: 430")], ["moment", '"430"', "no unit"]),
    Case("speed_100 without unit", ROTOR, [("5120 rpm", "5120")], ["speed_100", '"5120"', "rpm"]),
    Case("tolerance without unit", ROTOR, [("0.6 %", "0.6")], ["speed_tolerance", '"0.6"', "rpm or %"]),
    Case("limit without unit", ROTOR, [("limit: 0.8 in/s", "limit: 0.8")],
         ["sensors[0].limits[0].limit", '"0.8"', "no unit"]),
    Case("repeatability without unit", ROTOR, [("0.012 in/s", "0.012")], ["repeatability", "no unit"]),
    Case("unit without detector", ROTOR, [("in/s peak", "in/s")], ["sensors[0].unit", '"in/s"', "detector"]),
    Case("unknown mass unit", ROTOR, [("260 kg", "260 kgf")], ["mass", '"kgf"', "not known"]),
    Case("unknown vibration unit", ROTOR, [("in/s peak", "furlong/s peak")], ["unit", "furlong/s peak", "in/s"]),
    Case("unknown speed unit", ROTOR, [("5120 rpm", "5120 Hz")], ["speed_100", "5120 Hz", "rpm"]),
    Case("mass NaN", ROTOR, [("260 kg", "nan kg")], ["mass", "nan kg", "finite"]),
    Case("mass .nan", ROTOR, [("260 kg", ".nan kg")], ["mass", ".nan kg", "number"]),
    Case("mass infinite", ROTOR, [("260 kg", "inf kg")], ["mass", "inf kg", "finite"]),
    Case("mass beyond a double", ROTOR, [("260 kg", "1e400 kg")], ["mass", "1e400 kg"]),
    Case("mass overflows in grams", ROTOR, [("260 kg", "1e308 kg")], ["mass", "1e308 kg"]),
    Case("moment overflows", ROTOR, [weight("{id: K2, mass: 1e200 g, radius: 1e200 mm}")], ["weights[0]"],
         command=TRIAL),
    Case("negative rotor mass", ROTOR, [("260 kg", "-260 kg")], ["mass", "above zero"]),
    Case("negative weight", ROTOR, [weight("{id: K2, mass: -2.2 g, radius: 188 mm}")], ["mass", "-2.2 g", "negative"]),
    Case("negative radius", ROTOR, [weight("{id: K2, mass: 2 g, radius: -188 mm}")], ["radius", "-188 mm", "negative"]),
    Case("negative filler", ROTOR, [("{mass: 0.9 g, radius: 188 mm}", "{mass: -0.9 g, radius: 188 mm}")],
         ["filler.mass", "-0.9 g", "negative"]),
    Case("a weight of nothing", ROTOR, [weight("{id: K2, mass: 0 g, radius: 188 mm}")], ["weights[0]", "no moment"]),
    Case("two signs", ROTOR, [("260 kg", "+-260 kg")], ["mass", "+-260 kg", "number"]),
    Case("decimal comma in YAML", ROTOR, [("260 kg", "260,5 kg")], ["mass", "260,5 kg", "decimal point"]),
    Case("thousands mark", ROTOR, [("5120 rpm", "5,120 rpm")], ["speed_100", "5,120 rpm"]),
    Case("hexadecimal", ROTOR, [("count: 40", "count: 0x28")], ["count", "0x28", "whole number"]),
    Case("hexadecimal quantity", ROTOR, [("260 kg", "0x104 kg")], ["mass", "x104 kg"]),
    Case("exponent for a count", ROTOR, [("count: 40", "count: 40e0")], ["count", "40e0", "whole number"]),
    Case("broken count", ROTOR, [("count: 40", "count: 40.5")], ["slots.count", "40.5", "whole number"]),
    Case("count beyond an int", ROTOR, [("count: 40", "count: 99999999999")], ["slots.count", "99999999999"]),
    Case("no slot at all", ROTOR, [("count: 40", "count: 0")], ["slots.count", '"0"']),
    Case("negative stock", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188 mm, stock: -1}")], ["stock", '"-1"']),
    Case("yes for a number", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188 mm, stock: yes}")], ["stock", '"yes"']),
    Case("a date for a mass", ROTOR, [("260 kg", "2031-05-12")], ["mass", "-05-12", "unit"]),
    Case("nothing for a mass", ROTOR, [("260 kg", "~")], ["mass", "no value"]),
    Case("nothing for a name", ROTOR, [("name: Larkmere demonstrator fan", "name:")], ["name", "no value"]),
    # keys
    Case("unknown key", ROTOR, [("mass: 260 kg", "mas: 260 kg")], ["mas: ", "not known", "mass"]),
    Case("unknown key in a slot ring", ROTOR, [("      numbered: clockwise\n      seen_from: front\n      unus",
         "      numbered: clockwise\n      seen_from: front\n      colour: red\n      unus")],
         ["slots.colour", "not known"], mark="colour"),
    Case("duplicate key", ROTOR, [("mass: 260 kg", "mass: 260 kg\nmass: 261 kg")], ['"mass"', "twice"], mark="mass: 261"),
    Case("duplicate key, quoted", ROTOR, [("mass: 260 kg", 'mass: 260 kg\n"mass": 261 kg')], ['"mass"', "twice"],
         mark='"mass": 261'),
    Case("duplicate key in one line", ROTOR, [weight("{id: K2, mass: 2 g, mass: 3 g, radius: 188 mm}")],
         ['"mass"', "twice"]),
    Case("missing key", ROTOR, [("phase: lag\n", "")], ['"phase"', "missing"], mark="trimwright: rotor 1"),
    Case("missing key in a sensor", ROTOR, [("    unit: mil pp\n", "")], ["sensors[1]", '"unit"', "missing"],
         mark="name: turbine\n    measures"),
    Case("no kind", ROTOR, [("trimwright: rotor 1\n", "")], ["does not say what it is", "trimwright: rotor 1"],
         mark="name: Larkmere"),
    Case("kind not first", ROTOR, [("trimwright: rotor 1\n", ""), ("phase: lag", "trimwright: rotor 1\nphase: lag")],
         ["trimwright: rotor 1"], mark="name: Larkmere"),
    Case("another version", ROTOR, [("rotor 1", "rotor 2")], ['"rotor 2"', '"rotor 1"']),
    Case("a job where a rotor belongs", JOB, [("rotor: rotor.yaml", "rotor: job.yaml")], ['"job 1"', '"rotor 1"'],
         mark="trimwright: job 1"),
    Case("a list where a map belongs", ROTOR, [("{sense: clockwise, seen_from: aft}", "[clockwise, aft]")],
         ["rotation", "not a map"]),
    Case("a map where a list belongs", ROTOR, [("[11, 12, 31]", "{11: true}")], ["unusable", "not a list"]),
    Case("a map where a text belongs", ROTOR, [("phase: lag", "phase: {is: lag}")], ["phase", "map"]),
    Case("a merge key", ROTOR, [("mass: 260 kg", "<<: {mass: 260 kg}")], ["<<", "not known"]),
    Case("empty name", ROTOR, [("name: Larkmere demonstrator fan", 'name: ""')], ["name"]),
    Case("empty plane name", ROTOR, [("- name: spinner", '- name: ""')], ["planes[0].name"]),
    Case("empty weight id", ROTOR, [weight('{id: "", mass: 2 g, radius: 188 mm}')], ["weights[0].id"]),
    # conventions
    Case("angle without sense", ROTOR, [("4 deg with rotation", "4 deg")], ["slot_1_at", '"4 deg"', "sense"]),
    Case("angle without unit", ROTOR, [("4 deg with rotation", "4 with rotation")], ["slot_1_at", "not an angle"]),
    Case("angle in radians", ROTOR, [("4 deg with rotation", "0.1 rad with rotation")], ["slot_1_at", "rad"]),
    Case("angle clockwise without an end", ROTOR, [("4 deg with rotation", "4 deg clockwise")],
         ["slot_1_at", "clockwise", "from front"]),
    Case("angle seen from nowhere", ROTOR, [("4 deg with rotation", "4 deg clockwise from left")],
         ["slot_1_at", "clockwise from left"]),
    Case("angle beyond a turn", ROTOR, [("4 deg with rotation", "4000 deg with rotation")], ["slot_1_at", "4000 deg"]),
    Case("blade angle without sense", ROTOR, [("blade_1_at: 0 deg", "blade_1_at: 8.18 deg")],
         ["blades.blade_1_at", "8.18 deg", "sense"]),
    Case("rotation without an end", ROTOR, [("{sense: clockwise, seen_from: aft}", "{sense: clockwise}")],
         ["rotation", '"seen_from"', "missing"]),
    Case("anticlockwise", ROTOR, [("sense: clockwise", "sense: leftwards")],
         ["rotation.sense", '"leftwards"', "clockwise or counterclockwise"]),
    Case("phase neither lag nor lead", ROTOR, [("phase: lag", "phase: behind")], ["phase", '"behind"', "lag or lead or unknown"]),
    Case("recordings without polarity", JOB, [("readings: readings.csv", "readings: readings.csv\nrecording: {}")],
         ["recording", "polarity"], mark="recording: {}", other_edits=[(ROTOR, ", polarity: falling", "")]),
    Case("a comma for a decimal point", ROTOR, [("limit: 0.8 in/s", "limit: 0,8 in/s")], ["limit", '"0.8 in/s"', "decimal point"]),
    Case("a comma for a decimal point, outside brackets", ROTOR, [("repeatability: 0.012 in/s", "repeatability: 0,012 in/s")],
         ["repeatability", '"0,012 in/s"', "decimal point", '"0.012 in/s"']),
    Case("a colon without its blank", JOB, [("{spinner: {4: K3, 19: K2, 30: K5}}", "{spinner: {4:K3, 19: K2, 30: K5}}")],
         ['"4:K3"', "blank", '"4: K3"']),
    Case("assumed values", JOB, [], ["to_confirm", "slots", "ready"], mark="", command=("plan", JOB),
         other_edits=[(ROTOR, "phase: lag", "phase: lag\nto_confirm: [slots]")]),
    Case("polarity unknown", ROTOR, [("polarity: falling", "polarity: sideways")], ["polarity", "falling or rising"]),
    Case("larger tooth beyond the teeth", ROTOR, [("larger_tooth: 1", "larger_tooth: 45")], ["larger_tooth", '"45"', "44"]),
    Case("measures and unit disagree", ROTOR, [("measures: velocity", "measures: displacement")],
         ["sensors[0].unit", "velocity", "displacement"], mark="unit: in/s peak"),
    Case("unknown measures", ROTOR, [("measures: velocity", "measures: noise")], ["measures", '"noise"', "velocity"]),
    Case("phase_of of a display unit", ROTOR, [("measures: velocity\n    unit: in/s peak",
         "measures: as shown\n    unit: units")], ["sensors[0].phase_of", "display unit"], mark="phase_of: velocity"),
    Case("unknown phase_of", ROTOR, [("phase_of: velocity", "phase_of: speed")], ["phase_of", '"speed"', "velocity"]),
    Case("limit of another quantity", ROTOR, [("limit: 0.8 in/s", "limit: 5 mil pp")],
         ["limits[0].limit", "displacement"]),
    Case("target above limit", ROTOR, [("target: 0.2 in/s", "target: 0.9 in/s")],
         ["limits[0].target", "above the limit"]),
    Case("limit of zero", ROTOR, [("limit: 0.8 in/s", "limit: 0 in/s")], ["limits[0].limit", "0 in/s", "above zero"]),
    Case("negative limit", ROTOR, [("limit: 0.8 in/s", "limit: -0.8 in/s")], ["limits[0].limit", "negative"]),
    Case("limit NaN", ROTOR, [("limit: 0.8 in/s", "limit: nan in/s")], ["limits[0].limit", "nan in/s"]),
    Case("bands that fall", ROTOR, [("up_to: 70 %, limit: 0.8 in/s", "up_to: 110 %, limit: 0.8 in/s")],
         ["limits[1]", "rising"], mark="{up_to: 105 %, limit: 1.0 in/s"),
    Case("no band", ROTOR, [("""    limits:
      - {up_to: 70 %, limit: 5 mil, target: 1.5 mil}
      - {up_to: 105 %, limit: 5 mil, target: 1.2 mil}
""", "    limits: []\n")], ["sensors[1]", "no limit"], mark="name: turbine\n    measures"),
    Case("run-to-run change without unit", ROTOR, [("repeatability: 0.012 in/s", "repeatability: 0.012 in/s\n    run_to_run: 0.02")], ["run_to_run", "no unit"], mark="run_to_run: 0.02"),
    Case("proportional part above half", ROTOR, [("repeatability: 0.012 in/s", "repeatability: 0.012 in/s\n    proportional: 60 %")], ["proportional", "60 %", "0 % to 50 %"], mark="proportional: 60 %"),
    Case("proportional part without %", ROTOR, [("repeatability: 0.012 in/s", "repeatability: 0.012 in/s\n    proportional: 0.01")], ["proportional", "0 % to 50 %"], mark="proportional: 0.01"),
    Case("weight tolerance negative", ROTOR, [("  - name: spinner", "  - name: spinner\n    weight_tolerance: -1 %")], ["weight_tolerance", "-1 %"], mark="weight_tolerance: -1 %"),
    Case("slot tolerance without unit", ROTOR, [("  - name: spinner", "  - name: spinner\n    slot_tolerance: 1")], ["slot_tolerance", "0 deg to 10 deg"], mark="slot_tolerance: 1"),
    Case("repeatability of zero", ROTOR, [("0.012 in/s", "0 in/s")], ["repeatability", "above zero"]),
    Case("percent without 100 %", ROTOR, [("speed_100: 5120 rpm\n", "")], ["speed_tolerance", "speed_100"],
         mark="speed_tolerance"),
    Case("speed of zero", ROTOR, [("5120 rpm", "0 rpm")], ["speed_100", "0 rpm", "above zero"]),
    Case("speed tolerance wider than speeds", ROTOR, [("0.6 %", "100 %")], ["speed_tolerance", "100 %"]),
    Case("a slot no weight may have", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188 mm, only_in: [3, 41]}")],
         ["weights[0].only_in[1]", '"41"', "40"]),
    Case("only_in that is no list", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188 mm, only_in: 3}")],
         ["only_in", "list of slot numbers"]),
    Case("a stack of none", ROTOR, [rule("stack: 0")], ["planes[0].stack", '"0"']),
    Case("stacks without number", ROTOR, [rule("stack: 10")], ["planes[0].stack", "2000", "lower stacks"]),
    Case("a plus in an id beside stacks", ROTOR, [weight("{id: K+2, mass: 2 g, radius: 188 mm}"), rule("stack: 2")],
         ["stack", "K+2", "without +"]),
    Case("an unknown rule", ROTOR, [rule("rules: {max_piece: 3}")], ["rules.max_piece", "not known", "max_pieces"]),
    Case("a negative number of pieces", ROTOR, [rule("rules: {max_pieces: -3}")], ["rules.max_pieces", '"-3"']),
    Case("a mass limit of nothing", ROTOR, [rule("rules: {max_mass: 0 g}")], ["rules.max_mass", "above zero"]),
    Case("a mass limit in millimetres", ROTOR, [rule("rules: {max_slot_mass: 3 mm}")], ["rules.max_slot_mass", '"mm"']),
    Case("a slot moment of zero", ROTOR, [rule("rules: {max_slot_moment: 0 g.mm}")],
         ["rules.max_slot_moment", "above zero"]),
    Case("a mass limit where a weight has no mass", ROTOR, [weight("{id: K2, moment: 400 g.mm}"),
         rule("rules: {max_mass: 30 g}")], ["rules.max_mass", '"K2"', "mass and radius of every weight"]),
    Case("a mass limit where the filler has no mass", ROTOR, [("filler: {mass: 0.9 g, radius: 188 mm}",
         "filler: {moment: 176 g.mm}"), rule("rules: {max_mass: 30 g}")], ["rules.max_mass", "filler"]),
    Case("neighbours for opposite", ROTOR, [rule("rules: {together: neighbours}")],
         ["rules.together", '"neighbours"', "opposite"]),
    Case("a pair of three", ROTOR, [rule("rules: {apart: [[1, 2, 3]]}")], ["rules.apart[0]", "two slots"]),
    Case("a pair of one slot", ROTOR, [rule("rules: {alike: [[4, 4]]}")], ["rules.alike[0]", "same"]),
    Case("a pair out of range", ROTOR, [rule("rules: {apart: [[1, 41]]}")], ["rules.apart[0][1]", '"41"', "40"]),
    Case("opposite slots of an odd ring", ROTOR, [("slots: {count: 25, slot_1_at: 0 deg",
         "rules: {together: opposite}\n    slots: {count: 25, slot_1_at: 0 deg")],
         ["rules.together", "25 slots", "opposite"], mark="together: opposite"),
    Case("total moment of zero", ROTOR, [("6000 g.mm", "0 g.mm")], ["max_total_moment", "above zero"]),
    Case("total moment without unit", ROTOR, [("6000 g.mm", "6000")], ["max_total_moment", '"6000"', "no unit"]),
    # pieces and places
    Case("unusable slot out of range", ROTOR, [("[11, 12, 31]", "[11, 12, 41]")], ["unusable[2]", '"41"', "40"]),
    Case("moment and mass", ROTOR, [weight("{id: K2, mass: 2 g, radius: 188 mm, moment: 400 g.mm}")],
         ["weights[0]", "either moment, or mass and radius"]),
    Case("mass without radius", ROTOR, [weight("{id: K2, mass: 2 g}")], ["weights[0]", "mass and radius"]),
    Case("two weights of one id", ROTOR, [("{id: K3,", "{id: K2,")], ["weights[1]", '"K2"', "twice"]),
    Case("two planes of one name", ROTOR, [("- name: drum\n    access", "- name: spinner\n    access")],
         ["planes[1]", '"spinner"', "twice"], mark="name: spinner\n    access: hard"),
    Case("two sensors of one name", ROTOR, [("- name: turbine\n    measures", "- name: front\n    measures")],
         ["sensors[1]", '"front"', "twice"], mark="name: front\n    measures: displacement"),
    Case("weights but no slots", ROTOR,
         [("    slots: {count: 25, slot_1_at: 0 deg, numbered: counterclockwise, seen_from: aft}\n", "")],
         ["planes[1]", '"drum"', "no slots"], mark="name: drum\n    access"),
    Case("no planes", ROTOR, content=b"""trimwright: rotor 1
name: bare
rotation: {sense: clockwise, seen_from: aft}
phase: lag
speed_tolerance: 20 rpm
reference: {teeth: 44, larger_tooth: 1, polarity: falling}
planes: []
sensors: []
""", words=["planes", "plane", "at least one"], mark="planes:"),
]

# --- wrong job files ------------------------------------------------------------------------------------------

ONCE = "component: once-per-rev"
INLINE = ("readings: readings.csv\n", "")
FIRST_FITTED = "    fitted: {spinner: {4: K3, 19: K2}}        #"


def reading(name: str, text: str, *words):
    """The table left out and one reading in the first run of the job instead."""
    return Case(name, JOB, [INLINE, (FIRST_FITTED, f"    readings:\n      - {text}\n{FIRST_FITTED}")],
                list(words), mark=text)


TRIAL_SPINNER = "{spinner: {4: K3, 19: K2, 30: K5}}"
TRIAL_DRUM = "{spinner: {4: K3, 19: K2}, drum: {7: D12}}"

JOB_CASES = [
    Case("prior that is not there", JOB, [("serial: LKM-417", "serial: LKM-417\nprior: nowhere.yaml")], ["prior", "nowhere.yaml", "no such file"], mark="prior: nowhere.yaml"),
    Case("prior that is a rotor", JOB, [("serial: LKM-417", "serial: LKM-417\nprior: rotor.yaml")], ['"rotor 1"', '"prior 1"'], mark=""),
    Case("a condition that no run states", JOB,
         [("serial: LKM-417", "serial: LKM-417\nconditions_that_matter: [moon]")], ['"moon"', "conditions"],
         mark="conditions_that_matter: [moon]"),
    Case("residual of another kind", JOB, [("serial: LKM-417", "serial: LKM-417\nresidual: tiny")], ['"tiny"', "any or small"], mark="residual: tiny"),
    Case("stock exceeded", JOB, [(TRIAL_SPINNER, "{spinner: {1: K7, 2: K7, 3: K7, 4: K7, 5: K7}}")],
         ["fitted.spinner", '"K7"', "5", "stock is 4"]),
    Case("stock exceeded by what is fitted now", JOB, [("fitted_now: same as as found",
         "fitted_now: {drum: {1: D12, 2: D12, 3: D12, 4: D12, 5: D12}}")], ["fitted_now.drum", '"D12"', "stock is 4"]),
    Case("slot out of range", JOB, [(TRIAL_SPINNER, "{spinner: {41: K5}}")], ["fitted.spinner.41", "no slot 41", "1 to 40"]),
    Case("slot zero", JOB, [(TRIAL_SPINNER, "{spinner: {0: K5}}")], ["fitted.spinner.0", "no slot 0", "1 to 40"]),
    Case("negative slot", JOB, [(TRIAL_SPINNER, "{spinner: {-4: K5}}")], ["no slot -4", "1 to 40"]),
    Case("half a slot", JOB, [(TRIAL_SPINNER, "{spinner: {4.5: K5}}")], ["4.5", "slot number"]),
    Case("a slot beyond an int", JOB, [(TRIAL_SPINNER, "{spinner: {1e300: K5}}")], ["1e300"]),
    Case("slot unusable", JOB, [(TRIAL_SPINNER, "{spinner: {11: K5}}")], ["slot 11", '"spinner"', "unusable"]),
    Case("slot filled twice", JOB, [(TRIAL_SPINNER, "{spinner: {4: K3, 04: K5}}")], ["slot 4", "twice"]),
    Case("slot filled twice in a list", JOB,
         [(TRIAL_SPINNER, "{spinner: [{slot: 4, weight: K3}, {slot: 4, weight: K5}]}")], ["slot 4", "twice"]),
    Case("slot and angle", JOB, [(TRIAL_SPINNER, "{spinner: [{slot: 4, at: 0 deg, moment: 800 g.mm}]}")],
         ["spinner[0]", "either slot or at"]),
    Case("weight at an angle", JOB, [(TRIAL_SPINNER, "{spinner: [{at: 30 deg with rotation, weight: K5}]}")],
         ["spinner[0]", "catalogue weight", "slot"]),
    Case("moment without unit in a slot", JOB, [(TRIAL_SPINNER, "{spinner: [{slot: 4, moment: 800}]}")],
         ["spinner[0].moment", '"800"', "no unit"]),
    Case("angle of a piece without sense", JOB, [(TRIAL_SPINNER, "{spinner: [{at: 30 deg, moment: 800 g.mm}]}")],
         ["spinner[0].at", "30 deg", "sense"]),
    Case("unknown weight", JOB, [(TRIAL_SPINNER, "{spinner: {30: K9}}")], ["spinner.30", '"K9"', "K2, K3, K4, K5, K7"]),
    Case("a weight of another plane", JOB, [(TRIAL_SPINNER, "{spinner: {30: D4}}")], ["spinner.30", '"D4"', "K2, K3"]),
    Case("unknown plane", JOB, [(TRIAL_SPINNER, "{spiner: {30: K5}}")], ["fitted.spiner", '"spiner"', "spinner or drum"]),
    Case("what was added instead of what was fitted", JOB, [(TRIAL_SPINNER, "added 30: K5")], ["YAML"],
         mark="added 30"),
    Case("words for what was fitted", JOB, [(TRIAL_SPINNER, "one K5 at 30")], ["fitted", "one K5 at 30", "all that was fitted"]),
    Case("same as a later run", JOB, [("fitted: same as as found\n  - name: trial spinner",
         "fitted: same as trial drum\n  - name: trial spinner")], ["fitted", '"trial drum"', "run above"],
         mark="fitted: same as trial drum"),
    Case("same as itself", JOB, [("fitted: same as as found\n  - name: trial spinner",
         "fitted: same as repeat\n  - name: trial spinner")], ['"repeat"'], mark="fitted: same as repeat"),
    Case("fitted_now of no run", JOB, [("fitted_now: same as as found", "fitted_now: same as asfound")],
         ["fitted_now", '"asfound"']),
    Case("two runs with one name", JOB, [("- name: trial drum", "- name: repeat")], ["runs[4].name", '"repeat"'],
         mark="- name: repeat\n    when: 2031-05-12 14:20"),
    Case("empty run name", JOB, [("- name: repeat", '- name: ""')], ["runs[2].name"]),
    Case("run without name", JOB, [("  - name: repeat\n    when", "  - when")], ["runs[2]", '"name"', "missing"]),
    Case("run without fitted", JOB, [("    fitted: same as as found\n  - name: trial spinner", "  - name: trial spinner")],
         ["runs[2]", '"fitted"', "missing"], mark="name: repeat"),
    Case("no runs", JOB, content=b"trimwright: job 1\nrotor: rotor.yaml\nruns: []\n", words=["runs", "no run", "baseline"],
         mark="runs:"),
    Case("runs is a text", JOB, content=b"trimwright: job 1\nrotor: rotor.yaml\nruns: none\n",
         words=["runs", "not a list"], mark="runs:"),
    Case("unknown key in a run", JOB, [("    conditions: {warm_up: 5 min at idle, dwell: 60 s, wind: 6 kt on the nose}\n",
         "    condition: {warm_up: 5 min}\n")], ["runs[2].condition", "not known", "conditions"]),
    Case("unknown key in trim", JOB, [("  max_changes: 6", "  max_change: 6")], ["trim.max_change", "not known", "max_changes"]),
    Case("negative pieces", JOB, [("max_changes: 6", "max_pieces: -6")], ["trim.max_pieces", '"-6"']),
    Case("pieces that are no number", JOB, [("max_changes: 6", "max_pieces: few")], ["trim.max_pieces", '"few"']),
    Case("negative changes", JOB, [("max_changes: 6", "max_changes: -6")], ["trim.max_changes", '"-6"']),
    Case("a long key", JOB, [("  max_changes: 6", "  " + "k" * 1000 + ": 6")], ["trim.kkkk", "not known"]),
    Case("a long accented key", JOB, [("  max_changes: 6", "  " + "é" * 400 + ": 6")], ["trim.é", "not known"]),
    Case("a key with a newline", JOB, [("  max_changes: 6", '  "max\\nchanges": 6')], ["trim.max", "not seen"]),
    Case("a key with an escape sequence", JOB, [("  max_changes: 6", '  "max\\e[31mchanges": 6')], ["trim.max", "not seen"]),
    Case("unknown objective", JOB, [("worst ratio", "lowest cost")], ["trim.objective", "lowest cost", "worst ratio or least squares"]),
    Case("trim with an unknown plane", JOB, [("planes: easy first", "planes: [spinner, tail]")],
         ["trim.planes[1]", '"tail"', "spinner or drum"]),
    Case("trim with a plane twice", JOB, [("planes: easy first", "planes: [drum, drum]")], ["trim.planes", "twice"]),
    Case("trim with no plane", JOB, [("planes: easy first", "planes: []")], ["trim.planes", "empty"]),
    Case("speed weight at no speed", JOB, [("max_changes: 6", "speed_weights: [{speed: 50 %, weight: 2}]")],
         ["speed_weights[0].speed", "50 %"]),
    Case("speed weight infinite", JOB, [("max_changes: 6", "speed_weights: [{speed: 96 %, weight: inf}]")],
         ["speed_weights[0].weight", "inf"]),
    Case("penalty NaN", JOB, [("max_changes: 6", "penalty: .nan")], ["trim.penalty", ".nan"]),
    Case("change without place", JOB, [("    fitted: same as as found\n  - name: trial spinner",
         "    fitted: same as as found\n    changes: [{plane: spinner, moment: 5 g.mm}]\n  - name: trial spinner")],
         ["changes[0]", "either blade or at"], mark="changes: [{"),
    Case("change of a blade that is not there", JOB, [("    fitted: same as as found\n  - name: trial spinner",
         "    fitted: same as as found\n    changes: [{plane: spinner, blade: 30, moment: 5 g.mm}]\n  - name: trial spinner")],
         ["changes[0].blade", '"30"', "29"], mark="changes: [{"),
    # files named by the job
    Case("missing rotor file", JOB, [("rotor: rotor.yaml", "rotor: nowhere.yaml")],
         ["nowhere.yaml", "rotor", "no such file"]),
    Case("rotor path out of the folder", JOB, [("rotor: rotor.yaml", "rotor: ../../../../../../nowhere.yaml")],
         ["nowhere.yaml", "no such file"]),
    Case("rotor is a folder", JOB, [("rotor: rotor.yaml", "rotor: .")], ["rotor", "this is a folder"]),
    Case("rotor is a device", JOB, [("rotor: rotor.yaml", "rotor: /dev/zero")], ["/dev/zero", "not a regular file"]),
    Case("rotor is a file of the system", JOB, [("rotor: rotor.yaml", "rotor: /etc/passwd")], ["/etc/passwd"], mark=""),
    Case("rotor path empty", JOB, [("rotor: rotor.yaml", 'rotor: ""')], ["rotor"]),
    Case("rotor path with a newline", JOB, [("rotor: rotor.yaml", 'rotor: "no\\nwhere.yaml"')],
         ["rotor: ", "no\\nwhere.yaml", "not seen"]),
    Case("rotor not named", JOB, [("rotor: rotor.yaml\n", "")], ['"rotor"', "missing"], mark="trimwright: job 1"),
    Case("missing table", JOB, [("readings: readings.csv", "readings: nowhere.csv")], ["nowhere.csv", "readings", "no such file"]),
    Case("a rotor where a job belongs", JOB, content=b"trimwright: rotor 1\nname: x\n", words=['"rotor 1"', '"job 1"'],
         mark="trimwright"),
    # readings in the job
    reading("reading without unit", "{speed: 80 %, sensor: front, amplitude: 0.6, phase: 20 deg, " + ONCE + "}",
            "readings[0].amplitude", '"0.6"', "no unit"),
    reading("reading without phase and component", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak}",
            "readings[0].component", "no phase", "once-per-rev"),
    reading("overall level with a phase", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: 20 deg, component: overall}",
            "readings[0].phase", "overall", "no phase"),
    reading("overall level in another quantity", "{speed: 80 %, sensor: front, amplitude: 3 mil pp, component: overall}",
            "readings[0].amplitude", "overall", "once-per-rev"),
    reading("lead in a lag rotor", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: 20 deg lead, " + ONCE + "}",
            "readings[0].phase", "20 deg lead", "contradicts", "lag"),
    reading("phase in radians", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: 2 rad, " + ONCE + "}",
            "readings[0].phase", '"2 rad"', "deg"),
    reading("phase beyond a turn", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: 420 deg, " + ONCE + "}",
            "readings[0].phase", "420 deg", "range"),
    reading("phase infinite", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: inf deg, " + ONCE + "}",
            "readings[0].phase", "inf deg"),
    reading("unknown phase_of in a reading", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase: 20 deg, phase_of: speed, " + ONCE + "}",
            "readings[0].phase_of", '"speed"'),
    reading("phase_of without a phase", "{speed: 80 %, sensor: front, amplitude: 0.6 in/s peak, phase_of: banana, " + ONCE + "}",
            "readings[0].phase_of", '"banana"'),
    reading("unknown sensor in a reading", "{speed: 80 %, sensor: middle, amplitude: 0.6 in/s peak, phase: 20 deg, " + ONCE + "}",
            "readings[0].sensor", '"middle"', "front or turbine"),
    reading("reading above the limits' speeds", "{speed: 106 %, sensor: front, amplitude: 0.6 in/s peak, phase: 20 deg, " + ONCE + "}",
            "readings[0].speed", "5427 rpm", "limit"),
    reading("no amplitude", "{speed: 80 %, sensor: front, phase: 20 deg, " + ONCE + "}",
            "readings[0]", '"amplitude"', "missing"),
]

# --- runs that cannot be solved -------------------------------------------------------------------------------

UNSOLVABLE = [
    Case("no change at all", JOB, [(TRIAL_SPINNER, "same as as found"), (TRIAL_DRUM, "same as as found")],
         ["no run changed a weight", "trial run", '"spinner"'], mark=""),
    Case("one plane never changed", JOB, [(TRIAL_DRUM, "same as as found"), ("planes: easy first", "planes: [spinner, drum]")],
         ['"drum"', "no run changed its weights", "trial run"], mark=""),
    Case("planes changed together", JOB,
         [(TRIAL_SPINNER, "{spinner: {4: K3, 19: K2, 30: K5}, drum: {7: D12}}"), (TRIAL_DRUM, "same as trial spinner")],
         ["cannot separate", '"spinner"', '"drum"', "alone"], mark=""),
    Case("all runs set aside", JOB,
         [(f"    fitted: {{spinner: {{4: K3, 19: K2}}}}  ", "    set_aside: no\n    fitted: {spinner: {4: K3, 19: K2}}  "),
          ("    fitted: same as as found\n  - name: trial spinner", "    set_aside: no\n    fitted: same as as found\n  - name: trial spinner"),
          ("    fitted: " + TRIAL_SPINNER, "    set_aside: no\n    fitted: " + TRIAL_SPINNER),
          ("    fitted: " + TRIAL_DRUM, "    set_aside: no\n    fitted: " + TRIAL_DRUM)],
         ["no run is left", "baseline"], mark=""),
    Case("lag or lead unknown and not to be told", ROTOR, [("phase: lag", "phase: unknown")],
         ["phase", "unknown", "lag from lead", "one more run"], mark=""),
    Case("no readings", JOB, [INLINE], ["reading", "once-per-rev"], mark=""),
    Case("only overall readings", TABLE, content=None, words=["once-per-rev", "phase"], mark=""),
    Case("no readings, a trial wanted", JOB, [INLINE], ["reading"], mark="", command=TRIAL),
    Case("one run only", JOB, content=b"""trimwright: job 1
rotor: rotor.yaml
runs:
  - name: as found
    fitted: none
    readings:
      - {speed: 80 %, sensor: front, amplitude: 0.641 in/s peak, phase: 20 deg, component: once-per-rev}
""", words=["no run changed a weight", "trial run"], mark="", command=("plan", JOB)),
]

# --- wrong tables ---------------------------------------------------------------------------------------------

HEADING = "run,speed,sensor,amplitude,phase,component,note"
ROW = "repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,"


def row(text, *words, **more):
    return Case(more.pop("name"), TABLE, [(ROW, text)], list(words), **more)


TABLE_CASES = [
    Case("wide table without phases", TABLE, content=b"run,speed,front [in/s peak]\nas found,80 %,0.6\n",
         words=["none of its phases", '"front [deg]"', "front overall"], mark="run,"),
    Case("wide table of phases alone", TABLE, content=b"run,speed,front [deg],turbine [mil pp],turbine [deg]\n",
         words=["none of its amplitudes", "front [in/s peak]"], mark="run,"),
    Case("wide table with a sensor twice", TABLE, content=b"run,speed,front [in/s peak],front (ips pk),front [deg]\n",
         words=['"front"', "twice"], mark="run,"),
    Case("wide table with a phase and no amplitude", TABLE,
         content=b"run,speed,front [in/s peak],front [deg]\nas found,80 %,,20\n", words=["front", "amplitude"], mark="as found"),
    Case("wide table of no sensor of this rotor", TABLE, content=b"run,speed,nose [in/s peak],nose [deg]\nas found,80 %,1,20\n",
         words=['"amplitude"', '"nose [in/s peak]"', "front [in/s peak]"], mark="run,"),
    Case("wrong heading", TABLE, [("amplitude", "ampl")], ['"ampl"', "not known", "amplitude"], mark="run,"),
    Case("missing column", TABLE, [("phase,component", "component")], ['"phase"', "missing"], mark="run,"),
    Case("column twice", TABLE, [("component,note", "component,phase")], ['"phase"', "twice"], mark="run,"),
    Case("no heading", TABLE, [(HEADING + "\n", "")], ['"as found"', "not known"], mark="as found,2876"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,,,", "more cells", name="too many cells"),
    row("repeat,3482 rpm,turbine,3,05 mil pp,17 deg,once-per-rev,", "more cells", name="decimal comma between commas"),
    row("repeat,3482 rpm,turbine", "cells", name="too few cells"),
    row("repeat,3482 rpm,turbine,,17 deg,once-per-rev,", "amplitude", name="amplitude left empty, phase given"),
    row("repaet,3482 rpm,turbine,missing,,once-per-rev,", '"repaet"', name="unknown run in a missing reading"),
    row("repeat,3482 rpm,turbnie,missing,,once-per-rev,", "sensor", '"turbnie"', name="unknown sensor in a missing reading"),
    row("repeat,fast,turbine,missing,,once-per-rev,", "speed", '"fast"', name="no speed in a missing reading"),
    row("repeat,3482 rpm,turbine,missing0.3 mil pp,,once-per-rev,", "amplitude", "missing0.3", name="missing and yet a value"),
    row('repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,"never closed', "quotation mark", name="unclosed quote"),
    row('repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,mid"dle', "quotation mark", name="quote in the middle"),
    row('repeat,"3482" rpm,turbine,3.05 mil pp,17 deg,once-per-rev,', "quotation mark", name="text behind a quote"),
    row("# a remark,,,,,,", "#", name="remark"),
    row("retry,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,", "run", '"retry"', name="run not in the job"),
    row(",3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,", "run", name="run left empty"),
    row("repeat,3482 rpm,tail,3.05 mil pp,17 deg,once-per-rev,", "sensor", '"tail"', "front or turbine", name="sensor not on the rotor"),
    row("repeat,3482 rpm,,3.05 mil pp,17 deg,once-per-rev,", "sensor", name="sensor left empty"),
    row("repeat,3482,turbine,3.05 mil pp,17 deg,once-per-rev,", "speed", '"3482"', "unit", name="speed without unit"),
    row("repeat,,turbine,3.05 mil pp,17 deg,once-per-rev,", "speed", name="speed left empty"),
    row("repeat,-3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,", "speed", "-3482 rpm", "above zero", name="negative speed"),
    row("repeat,9000 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,", "speed", "9000 rpm", "limit", name="speed beyond the limits"),
    row("repeat,1e308 %,turbine,3.05 mil pp,17 deg,once-per-rev,", "speed", "1e308", name="speed that overflows"),
    row("repeat,2900 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,", "2900.0 rpm", "tolerance", name="speed near two points",
        other_edits=[(TABLE, "as found,3482 rpm,front", "as found,2925 rpm,front")]),
    row("repeat,3482 rpm,turbine,3.05,17 deg,once-per-rev,", "amplitude", '"3.05"', "no unit", name="amplitude without unit"),
    row("repeat,3482 rpm,turbine,3.05 miles pp,17 deg,once-per-rev,", "amplitude", "miles", "not known", name="unknown amplitude unit"),
    row("repeat,3482 rpm,turbine,-3.05 mil pp,17 deg,once-per-rev,", "amplitude", "-3.05 mil pp", "negative", name="negative amplitude"),
    row("repeat,3482 rpm,turbine,NaN mil pp,17 deg,once-per-rev,", "amplitude", "NaN mil pp", "finite", name="amplitude NaN"),
    row("repeat,3482 rpm,turbine,#N/A,17 deg,once-per-rev,", "amplitude", "#N/A", name="amplitude is a spreadsheet error"),
    row("repeat,3482 rpm,turbine,1e200 mil pp,17 deg,once-per-rev,", "amplitude", "1e200", name="amplitude beyond sense"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,17 rad,once-per-rev,", "phase", '"17 rad"', "deg", name="phase in radians, table"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,17 deg lead,once-per-rev,", "phase", "17 deg lead", "lag", name="lead in a lag rotor, table"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,,,", "component", "once-per-rev", name="phase and component left empty"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,17 deg,twice-per-rev,", "component", "twice-per-rev", "overall", name="unknown component"),
    row("repeat,3482 rpm,turbine,3.05 mil pp,17 deg,overall,", "phase", "overall", "no phase", name="overall with a phase, table"),
    row("repeat,3482 rpm,turbine,0.4 in/s peak,,overall,", "amplitude", "overall", name="overall in another quantity, table"),
    Case("the line counts quoted newlines", TABLE,
         [('"unfiltered, for the record"', '"unfiltered,\nfor the\nrecord"'), (ROW, "repeat,3482 rpm,tail,3.05 mil pp,17 deg,once-per-rev,")],
         ["sensor", '"tail"']),
    Case("the line counts blank lines", TABLE, [(ROW, "\n\n\nrepeat,3482 rpm,tail,3.05 mil pp,17 deg,once-per-rev,")],
         ["sensor", '"tail"'], mark="repeat,3482 rpm,tail"),
    Case("only a heading", TABLE, content=HEADING.encode() + b"\n", words=["reading"], mark=""),
    Case("only commas", TABLE, content=b",,,,,\n", words=["run, speed, sensor"], mark=""),
    Case("only quotes", TABLE, content=b'""\n', words=["run, speed, sensor"], mark=""),
    Case("an open quote and nothing else", TABLE, content=b'"\n', words=["quot"], mark='"'),
    Case("a huge row", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev," + "x," * 200000)], ["more cells"]),
    Case("a huge cell", TABLE, [(ROW, "r" * 1000000 + ",3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,")], ["run", "rrrr"]),
    Case("a huge sensor name", TABLE, [(ROW, "repeat,3482 rpm," + "r" * 1000000 + ",3.05 mil pp,17 deg,once-per-rev,")],
         ["sensor", "rrrr"]),
    Case("a huge unit", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 " + "m" * 1000000 + ",17 deg,once-per-rev,")],
         ["amplitude", "mmmm"]),
    Case("a huge phase", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 " + "d" * 1000000 + ",once-per-rev,")],
         ["phase", "dddd"]),
    Case("a huge component", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 deg," + "c" * 1000000 + ",")],
         ["component", "cccc"]),
    Case("a quoted newline in a sensor name", TABLE, [(ROW, 'repeat,3482 rpm,"tur\nbine",3.05 mil pp,17 deg,once-per-rev,')],
         ["sensor"]),
    Case("a YAML file where a table belongs", JOB, [("readings: readings.csv", "readings: rotor.yaml")], ["column"],
         mark=""),
    Case("a run-up without a phase", JOB, [INLINE, (FIRST_FITTED, "    run_up: readings.csv\n" + FIRST_FITTED)],
         ["readings.csv:12", "run-up", "once-per-rev amplitude and phase"], mark=""),
    Case("one table as readings and as run-up", JOB, [(FIRST_FITTED, "    run_up: readings.csv\n" + FIRST_FITTED)], ["twice"],
         mark="    run_up"),
]

# --- files that are no text, or no YAML -----------------------------------------------------------------------

BOMB = b"a: &a [x, x, x, x, x, x, x, x, x]\n" + b"".join(
    b"%c: &%c [*%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c]\n" % (l, l, *[l - 1] * 8) for l in range(ord("b"), ord("z")))


def odd_files():
    """Each for the job, the rotor and the table where it applies."""
    for file in (JOB, ROTOR, TABLE):
        yield Case(f"{file} empty", file, content=b"", words=["empty"], mark="")
        yield Case(f"{file} blank", file, content=b" \r\n\t\n", words=["empty"], mark="")
        yield Case(f"{file} binary", file, content=bytes(range(256)) * 64, words=["not", "text"], mark="#1")
        yield Case(f"{file} a program", file, content=b"\x7fELF\x02\x01\x01" + bytes(5000), words=["not", "text"], mark="#1")
        yield Case(f"{file} UTF-16", file, content="trimwright: job 1\nrun,speed\n".encode("utf-16"), words=["UTF-8"], mark="#1")
        if file != TABLE:  # spreadsheets save tables in Latin-1
            yield Case(f"{file} Latin-1", file, content="# 5 °\n".encode("latin-1"), words=["UTF-8"], mark="#1")
            yield Case(f"{file} cut inside a character", file, content=b"# \n# \xc2", words=["UTF-8"], mark="#2")
        yield Case(f"{file} overlong UTF-8", file, content=b"# \n# \xe0\x80\x80\n", words=["UTF-8"], mark="#2")
        yield Case(f"{file} half a surrogate", file, content=b"# \n# \xed\xa0\x80\n", words=["UTF-8"], mark="#2")
        yield Case(f"{file} beyond Unicode", file, content=b"# \n# \xf4\x90\x80\x80\n", words=["UTF-8"], mark="#2")
        yield Case(f"{file} with a NUL", file, content=b"trimwright: job 1\nrotor: a\0b\n", words=["text"], mark="#2")
        yield Case(f"{file} of 100 MB", file, content=b"#" * (100 << 20), words=["100 MB", "16 MB"], mark="")
    for file in (JOB, ROTOR):
        kind = b"trimwright: " + file[:-5].encode() + b" 1\n"
        yield Case(f"{file} deeply nested list", file, content=kind + b"x: " + b"[" * 100000 + b"]" * 100000, words=["nested", "24"], mark="#2")
        yield Case(f"{file} deeply nested map", file, content=kind + b"x: " + b"{a: " * 100000, words=["nested", "24"], mark="#2")
        yield Case(f"{file} deeply nested dashes", file, content=kind + b"x:\n " + b"- " * 100000, words=["nested", "24"], mark="#3")
        yield Case(f"{file} deeply nested keys", file, content=kind + b"? " * 100000, words=[], mark=None)
        yield Case(f"{file} brackets never closed", file, content=kind + b"x: " + b"[" * 100000, words=[], mark="#2")
        yield Case(f"{file} a bracket never closed", file, content=kind + b"x: [[1\ny: 2\n", words=["never closed"], mark="#2")
        yield Case(f"{file} closing brackets", file, content=kind + b"x: " + b"]" * 100000, words=["YAML"], mark="#2")
        yield Case(f"{file} alias", file, content=kind + b"a: &x 1\nb: *x\n", words=["alias"], mark="#3")
        yield Case(f"{file} alias to nothing", file, content=kind + b"b: *x\n", words=[], mark="#2")
        yield Case(f"{file} alias to itself", file, content=kind + b"b: &x [*x]\n", words=["alias"], mark="#2")
        yield Case(f"{file} aliases without end", file, content=kind + BOMB, words=["alias"], mark="#3")
        yield Case(f"{file} anchor only", file, content=kind + b"a: &x 1\n", words=[], mark=None)
        yield Case(f"{file} two documents", file, content=kind + b"name: a\n---\n" + kind, words=["more than one"], mark="#3")
        yield Case(f"{file} only a remark", file, content=b"# nothing\n", words=["nothing", "YAML map"], mark="")
        yield Case(f"{file} a list", file, content=b"- a\n", words=["map", "trimwright: "], mark="#1")
        yield Case(f"{file} a scalar", file, content=b"hello\n", words=["map", "trimwright: "], mark="#1")
        yield Case(f"{file} a tab before a key", file, content=kind + b"x:\n\ty: 1\n", words=["YAML"], mark="#3")
        yield Case(f"{file} a key longer than YAML allows", file, content=kind + b"k" * 200000 + b": 1\n", words=["YAML"], mark="#2")
        yield Case(f"{file} a long value", file, content=b"trimwright: " + b"v" * 200000 + b"\n", words=["vvvv"], mark="#1")
        yield Case(f"{file} a long accented value", file, content="trimwright: {}\n".format("é" * 200).encode(),
                   words=["é"], mark="#1")
        yield Case(f"{file} a long accented value, odd", file, content="trimwright: x{}\n".format("é" * 200).encode(),
                   words=["é"], mark="#1")
        yield Case(f"{file} a kind with a newline", file, content=b'trimwright: "a\\nb"\n', words=[], mark="#1")
        yield Case(f"{file} a tag", file, content=kind + b"x: !!binary aGVsbG8=\n", words=[], mark=None)
        yield Case(f"{file} a directive", file, content=b"%YAML 9.9\n---\n" + kind, words=[], mark=None)
        yield Case(f"{file} unclosed quote", file, content=kind + b'x: "never closed\ny: 2\n', words=["quote"], mark="#2")
        yield Case(f"{file} an unknown escape", file, content=kind + b'x: "\\q"\n', words=["YAML"], mark="#2")
        yield Case(f"{file} a colon too many", file, content=kind + b"x: a: b\n", words=["YAML"], mark="#2")
        yield Case(f"{file} an empty key", file, content=kind + b": 1\n", words=[], mark=None)
        yield Case(f"{file} a map as key", file, content=kind + b"{a: b}: 1\n", words=["key"], mark="#2")


def heavy_files():
    """Within the size allowed and yet far more than a job can hold: refused without minutes and gigabytes."""
    yield Case("a list of five million", JOB, content=b"trimwright: job 1\nrotor: rotor.yaml\nruns: [" + b"a," * 5000000 + b"]\n",
               words=[], mark=None)
    lines = "".join(f"as found,{2000 + n * 0.02:.2f} rpm,front,0.4 in/s peak,68 deg,once-per-rev,\n" for n in range(120000))
    yield Case("a hundred thousand speeds", TABLE, content=(HEADING + "\n" + lines).encode(), words=[], mark=None,
               other_edits=[(ROTOR, "0.6 %", "0.001 rpm")])


CONTROL_NAMES = [  # names that would break the one-line message, or the terminal
    Case("a plane name with a newline", ROTOR, [("- name: drum\n    access", '- name: "dr\\num"\n    access')], ["name"],
         mark='"dr\\num"'),
    Case("a plane name with an escape sequence", ROTOR, [("- name: drum\n    access", '- name: "\\e[31mdrum"\n    access')],
         ["name", "\\u001b[31mdrum"], mark='"\\e[31mdrum"'),
    Case("a sensor name with a NUL", ROTOR, [("- name: turbine\n    measures", '- name: "tur\\0bine"\n    measures')], ["name"],
         mark='"tur\\0bine"'),
    Case("a weight id with a tab", ROTOR, [weight('{id: "K\\t2", mass: 2 g, radius: 188 mm}')], ["id"]),
    Case("a rotor name with a bell", ROTOR, [("Larkmere demonstrator fan", '"Lark\\amere"')], ["name"]),
    Case("a run name with a newline", JOB, [("- name: repeat", '- name: "re\\npeat"')], ["name"]),
    Case("a serial with an escape sequence", JOB, [("serial: LKM-417", 'serial: "\\e]0;x\\a"')], ["serial"]),
]

D12 = "{id: D12, moment: 1180 g.mm, stock: 4}"

LOOK_ALIKE = [  # names that print alike, or not at all
    Case("a plane's name with a blank behind", ROTOR, [("- name: drum\n    access", '- name: "spinner "\n    access')],
         ["planes[1].name", '"spinner "', "blank"], mark='"spinner "'),
    Case("a weight with a character without width", ROTOR, [(D12, D12.replace("D12", '"D7\\u200b"'))],
         ["planes[1].weights[2].id", "D7\\u200b", "U+200B"]),
    Case("a weight with a soft hyphen, not escaped", ROTOR, [(D12, D12.replace("D12", "D\u00ad7"))], ["weights[2].id", "U+00AD"]),
    Case("a weight with a Cyrillic letter", ROTOR, [("{id: K3,", "{id: \u041a2,")],
         ["planes[0].weights[1]", "looks like", "K2"]),
    Case("a rotor's name that turns about", ROTOR, [("Larkmere demonstrator fan", '"Larkmere\\u202e naf"')],
         ["name: ", "U+202E"]),
    Case("a sensor with a blank of another kind", ROTOR, [("- name: turbine\n    measures", '- name: "front\\u00a0"\n    measures')],
         ["sensors[1].name", "blank"], mark='"front\\u00a0"'),
    Case("two runs that differ in a blank of another kind", JOB, [("- name: repeat", '- name: "as\\u00a0found"')],
         ["runs[2].name", "as found", "twice"]),
    Case("a serial with a character without width", JOB, [("serial: LKM-417", 'serial: "LKM-417\\u200b"')],
         ["serial: ", "U+200B"]),
    Case("a station with a blank before", JOB, [("station: Quillhaven", 'station: " Quillhaven'), ("test stand\n", 'test stand"\n')],
         ["station: ", "blank"]),
    Case("a person who turns about", JOB, [("who: R. Orrin", 'who: "R. \\u202eOrrin"')], ["runs[0].who", "U+202E"]),
    Case("a title that turns about", JOB, [("title: Fan vibration above target at high speed", 'title: "Fan \\u2066vibration"')],
         ["title: ", "U+2066"]),
    Case("a key that hides something", JOB, [("wind: 4 kt on the nose", '"wi\\u200bnd": 4 kt on the nose')],
         ["runs[0].conditions", "wi\\u200bnd", "U+200B"]),
    row("repeat,3482 rpm,tur\u200bbine,3.05 mil pp,17 deg,once-per-rev,", "sensor", "U+200B", name="a hidden character in a table"),
    row('"repeat ",3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev,', "run", '"repeat "', name="a run with a blank behind, in a table"),
]

SLIPS = [  # of the hand, named as such
    Case("no blank behind a colon in a map", JOB, [("{spinner: {4: K3, 19: K2, 30: K5}}", "{spinner: {4:K3, 19: K2, 30: K5}}")],
         ['"4:K3"', "no blank", '"4: K3"']),
    Case("no blank between a colon and a bracket", JOB, [("{spinner: {4: K3, 19: K2, 30: K5}}", "{spinner:{4: K3, 19: K2, 30: K5}}")],
         ["colon has no blank"]),
    Case("a map in one word", ROTOR, [("rotation: {sense: clockwise, seen_from: aft}", "rotation: sense:clockwise")],
         ['"sense:clockwise"', "no blank", '"sense: clockwise"']),
    Case("a decimal comma in a map", ROTOR, [(D12, D12.replace("1180 g.mm", "1,18 kg.mm"))],
         ["].moment", "moment: 1,18 kg.mm", "decimal point", '"1.18 kg.mm"']),
    Case("a bracket left out", ROTOR, [(D12.replace("D12", "D4").replace("1180", "430").replace("4}", "6}"), "{id: D4, moment: 430 g.mm, stock: 6")],
         ["bracket that opens here", "}"]),
    Case("a key too far right", ROTOR, [("\nphase: lag", "\n phase: lag")], ["blanks before it"], mark=" phase: lag"),
    Case("a key too far left", ROTOR, [("\n    access: easy", "\n   access: easy")], ["blanks before it"], mark="   access: easy"),
    Case("a key without its colon", ROTOR, [("phase: lag", "phase lag")], ["once in a line"], mark="speed_100"),
    Case("no way that numbers grow", ROTOR, [("      numbered: clockwise", "      numbered: forwards")], ["with rotation", "clockwise"]),
    Case("no direction that there is", ROTOR, [("direction: {positive: outward, mounted: top", "direction: {positive: up, mounted: top")], ["outward or inward"]),
    Case("a tab for an indent", JOB, [("    who: R. Orrin", "\twho: R. Orrin")], ["begins with a tab", "blanks"]),
    Case("a day that there is not", JOB, [("when: 2031-05-12 09:40", "when: 2031-02-30 09:40")],
         ["runs[0].when", '"2031-02-30"', "2031-05-12"]),
    Case("another quantity, and no word what the phase belongs to", TABLE,
         [(ROW, "repeat,3482 rpm,turbine,0.52 in/s peak,19 deg,once-per-rev,")],
         ["phase_of", "0.52 in/s peak", "velocity", "displacement", "phase belongs to"]),
]

# --- command lines --------------------------------------------------------------------------------------------

WRONG_USAGE = [
    ([], ["no command"]),
    (["plann", JOB], ["plann"]),
    (["plan"], ["JOB"]),
    (["plan", JOB, "--format", "xml"], ["--format", "xml"]),
    (["plan", JOB, "--format"], ["--format"]),
    (["plan", JOB, "--nonsense"], ["--nonsense"]),
    (["plan", JOB, "two.yaml"], ["two.yaml"]),
    (["plan", JOB, "--changes", "-1"], ["--changes"]),
    (["plan", JOB, "--changes", "two"], ["--changes", "two"]),
    (["plan", JOB, "--changes", "1.5"], ["--changes", "1.5"]),
    (["plan", JOB, "--changes", "99999999999"], ["--changes", "99999999999"]),
    (["plan", JOB, "--time-limit", "0"], ["--time-limit"]),
    (["plan", JOB, "--time-limit", "nan"], ["--time-limit", "nan"]),
    (["plan", JOB, "--time-limit", "-inf"], ["--time-limit"]),
    (["plan", JOB, "--fitted", ""], ["--fitted"]),
    (["plan", JOB, "--fitted", "x.json", "--changes", "2"], ["--fitted", "--changes"]),
    (["page"], ["JOB"]),
    (["page", JOB, "--format", "json"], ["--format"]),
    (["plan", JOB, "--slot", "3"], ["--slot"]),
    (["trial", JOB, "--plane", "spinner", "--slot", "x"], ["--slot", "x"]),
    (["trial", JOB, "--plane", ""], ["--plane"]),
    (["rehearse", "new", "practice", "--day", "rainy"], ["--day", "rainy"]),
    (["trial", JOB, "--plane", "spinner", "--changes", "2"], ["--changes"]),
    (["plan", JOB, "--objective", "luck"], ["--objective", "luck", "probability"]),
    (["plan", JOB, "-o"], ["-o"]),
    (["plan", JOB, "-o", ""], ["-o"]),
    (["plan", ""], ["JOB"]),
    (["influence"], ["JOB", "--learn"]),
    (["influence", JOB, "--learn", "."], ["--learn"]),
    (["influence", "--learn", "", JOB], ["--learn"]),
    (["influence", "--learn", ".", "--format", "json"], ["--format", "YAML"]),
    (["tolerance", "fast"], ["RPM", "fast"]),
    (["tolerance", "-1"], ["-1"]),
    (["tolerance", "0"], ["RPM"]),
    (["tolerance", "nan"], ["RPM", "nan"]),
    (["tolerance", "inf"], ["RPM", "inf"]),
    (["tolerance", "1e-320"], ["RPM", "1e-320"]),
    (["tolerance", ""], ["RPM"]),
    (["x" * 100000], []),
    (["plan", "a\nb", "--nonsense"], ["--nonsense"]),
    (["record", "find", "--archive", "a.db", "--date", "2031-05-12"],
     ['"--date" is no option of trimwright record find; expected one of ', "--from", "--to", "trimwright record find --help"]),
    (["record", "find", "--archive", "a.db", "--from", "12.05.2031"],
     ['--from: "12.05.2031" is no date; expected a date as 2031-05-12; see trimwright record find --help']),
    (["record", "find", "--archive", "a.db", "--from"],
     ["--from stands without what belongs to it; expected a date as 2031-05-12 after it"]),
    (["record", "fnd"], ['"fnd" is no command of trimwright record; expected one of ', "find"]),
]

REFUSED_COMMANDS = [
    (["plan", "nowhere.yaml"], ["nowhere.yaml", "no such file", "expected"]),
    (["trial", JOB, "--earlier", "nowhere"], ["nowhere", "expected"]),
    (["plan", "."], ["this is a folder", "expected a file in it"]),
    (["plan", "/dev/null"], ["/dev/null", "expected"]),
    (["plan", "/proc/self/mem"], ["/proc/self/mem", "expected"]),
    (["plan", "no\nwhere.yaml"], ["no\\nwhere.yaml: ", "no such file", "expected"]),
    (["plan", "no\u202ewhere.yaml"], ["no\\u202ewhere.yaml: ", "no such file", "expected"]),
    (["plan", b"no\xffwhere.yaml"], ["no\\xffwhere.yaml: ", "no such file", "expected"]),
    (["trial", JOB, "--plane", "spinner\u200b"], ["--plane", "spinner\\u200b", "spinner or drum"]),
    (["influence", "--", "--help"], ["--help", "no such file", "expected"]),
    (["plan", "x" * 5000], ["xxxx", "expected"]),
    (["plan", ROTOR], [ROTOR + ":1: ", '"rotor 1"', '"job 1"']),
    (["plan", TABLE], [TABLE, "expected"]),
    (["trial", JOB, "--plane", "tail"], ["--plane", '"tail"', "spinner or drum"]),
    (["trial", JOB, "--slot", "3"], ["--slot", "plane"]),
    (["plan", JOB, "--objective", "probability", "--best", "2"], ["probability", "--best"]),
    (["trial", JOB, "--plane", "spinner", "--slot", "99"], ["--slot", "99", "expected"]),
    (["trial", JOB, "--plane", "spinner", "--slot", "11"], ["--slot", "11", "expected"]),
    (["trial", JOB, "--plane", "spinner", "--weight", "Q"], ["--weight", '"Q"', "K2, K3, K4, K5, K7"]),
    (["plan", JOB, "--changes", "99"], ["99", "expected"]),
    (["influence", "--learn", "nowhere"], ["nowhere", "expected"]),
    (["influence", "--learn", "."], ["1 job", "3 jobs", "expected"]),
]

# --- what people will write all the same ----------------------------------------------------------------------

LEGAL = [
    Case("quoted quantity", ROTOR, [("mass: 260 kg", 'mass: "260 kg"')]),
    Case("quoted count", ROTOR, [("count: 40", 'count: "40"')]),
    Case("no blank before a unit", ROTOR, [("260 kg", "260kg")]),
    Case("two blanks before a unit", ROTOR, [("260 kg", "260  kg")]),
    Case("no blank before %", ROTOR, [("0.6 %", "0.6%")]),
    Case("exponent", ROTOR, [("260 kg", "2.6e2 kg")]),
    Case("plus sign", ROTOR, [("260 kg", "+260 kg")]),
    Case("moment with a middle dot", ROTOR, [("430 g.mm", "430 g·mm")]),
    Case("moment with a star", ROTOR, [("430 g.mm", '"430 g*mm"')]),
    Case("moment in oz-in", ROTOR, [("430 g.mm", "0.597 oz-in")]),
    Case("pk for peak", ROTOR, [("in/s peak", "in/s pk")]),
    Case("peak-to-peak for pp", ROTOR, [("mil pp", "mil peak-to-peak")]),
    Case("p-p for pp", ROTOR, [("mil pp", "mil p-p")]),
    Case("in/sec for in/s", ROTOR, [("in/s peak", "in/sec peak")]),
    Case("degree sign", ROTOR, [("4 deg with rotation", "4° with rotation")]),
    Case("degree sign behind a blank", ROTOR, [("4 deg with rotation", "4 ° with rotation")]),
    Case("slot 1 at a negative angle", ROTOR, [("4 deg with rotation", "-4 deg with rotation")]),
    Case("a list of one line each", ROTOR, [("[11, 12, 31]", "\n        - 11\n        - 12\n        - 31\n     ")]),
    Case("carriage returns", ROTOR, content=b"CRLF"),
    Case("carriage returns, job", JOB, content=b"CRLF"),
    Case("carriage returns, table", TABLE, content=b"CRLF"),
    Case("byte order mark", ROTOR, content=b"BOM"),
    Case("byte order mark, job", JOB, content=b"BOM"),
    Case("byte order mark, table", TABLE, content=b"BOM"),
    Case("a document start", JOB, [("trimwright: job 1", "---\ntrimwright: job 1")]),
    Case("a document end", JOB, [("max_changes: 6", "max_changes: 6\n...")]),
    Case("a title in another script", JOB, [("Fan vibration above target", "Größere Schwingung → 振動")]),
    Case("a title of words YAML knows", JOB, [("title: Fan vibration above target at high speed", "title: yes")]),
    Case("an octal serial stays as it is", JOB, [("LKM-417", "0417")]),
    Case("quoted slot", JOB, [("{4: K3, 19: K2, 30: K5}", '{"4": K3, "19": K2, "30": K5}')]),
    Case("slots as a list", JOB, [(TRIAL_SPINNER, "{spinner: [{slot: 4, weight: K3}, {slot: 19, weight: K2}, {slot: 30, weight: K5}]}")]),
    Case("semicolons and decimal commas", TABLE, content=b"SEMICOLON"),
    Case("tabs", TABLE, content=b"TABS"),
    Case("tabs with decimal points", TABLE, content=b"TABS POINT"),
    Case("units in the heading", TABLE, content=b"UNITS"),
    Case("blank lines", TABLE, [(ROW, "\n\n" + ROW)]),
    Case("a row of empty cells", TABLE, [(ROW, ROW + "\n,,,,,,")]),
    Case("blanks around cells", TABLE, [(ROW, "repeat , 3482 rpm , turbine , 3.05 mil pp , 17 deg , once-per-rev ,")]),
    Case("all cells quoted", TABLE, [(ROW, '"repeat","3482 rpm","turbine","3.05 mil pp","17 deg","once-per-rev",""')]),
    Case("no newline at the end", TABLE, content=b"NO NEWLINE"),
    Case("degree sign in a table", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17°,once-per-rev,")]),
    Case("percent without blank in a table", TABLE, [(ROW, "repeat,68.01%,turbine,3.05 mil pp,17 deg,once-per-rev,")]),
    Case("lag said again", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 deg lag,once-per-rev,")]),
    Case("negative phase", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,-343 deg,once-per-rev,")]),
    Case("another unit of the same quantity", TABLE, [(ROW, "repeat,3482 rpm,turbine,77.5 µm pp,17 deg,once-per-rev,")]),
    Case("no trailing note", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 deg,once-per-rev")]),
    Case("heading with capitals", TABLE, [("run,speed,sensor", "Run,Speed,Sensor")]),
    Case("component with a capital", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,17 deg,Once-per-rev,")]),
    Case("RPM in capitals", TABLE, [(ROW, "repeat,3482 RPM,turbine,3.05 mil pp,17 deg,once-per-rev,")]),
    Case("a reading without phase is kept out, not refused", TABLE, [(ROW, "repeat,3482 rpm,turbine,3.05 mil pp,,once-per-rev,")]),
    Case("Missing with a capital", TABLE, [(ROW, "repeat,3482 rpm,turbine,Missing,,once-per-rev,")]),
]


def legal_content(case: Case, text: str) -> bytes:
    """The same good file in another guise."""
    if case.content == b"CRLF":
        return text.replace("\n", "\r\n").encode()
    if case.content == b"BOM":
        return b"\xef\xbb\xbf" + text.encode()
    if case.content == b"SEMICOLON":
        text = text.replace(",", ";").replace("unfiltered;", "unfiltered,")
        return re.sub(r"(\d)\.(\d)", r"\1,\2", text).encode()
    if case.content == b"TABS":
        text = text.replace(",", "\t").replace("unfiltered\t", "unfiltered,")
        return re.sub(r"(\d)\.(\d)", r"\1,\2", text).encode()
    if case.content == b"TABS POINT":
        return text.replace(",", "\t").replace("unfiltered\t", "unfiltered,").encode()
    if case.content == b"UNITS":
        text = text.replace("run,speed,", "run,speed [rpm],").replace("phase,", "phase [deg],")
        return text.replace(" rpm,", ",").replace(" deg,", ",").encode()
    if case.content == b"NO NEWLINE":
        return text.rstrip("\n").encode()
    return text.encode()


# --- the checks -----------------------------------------------------------------------------------------------


class Check:
    def __init__(self, program: Program, example: Example, only: str):
        self.program, self.example, self.only = program, example, only
        self.tried = 0
        self.failed = []

    def report(self, name: str, wrong: list, outcome: Outcome | None = None):
        self.tried += 1
        if not wrong:
            return
        self.failed.append(name)
        print(f"FAILED {name}")
        for one in wrong:
            print(f"    {one}")
        if outcome is not None:
            print(f"    said: {outcome.err[:300].rstrip()!r}")

    def wanted(self, name: str) -> bool:
        return self.only.lower() in name.lower()

    def prepared(self, case: Case, folder: Path) -> str:
        """Lays out the files of a case; returns the place its message must start with."""
        self.example.lay_out(folder)
        texts = dict(self.example.files)
        for file, old, new in case.other_edits:
            texts[file] = replaced(texts[file], old, new)
        at = 0
        for old, new in case.edits:
            at = texts[case.file].find(old) + len(new) - len(new.lstrip("\n"))
            texts[case.file] = replaced(texts[case.file], old, new)
        for file, text in texts.items():
            (folder / file).write_text(text, "utf-8", newline="")
        if case.content is not None:
            (folder / case.file).write_bytes(case.content)
        return self.place(case, texts[case.file], at)

    @staticmethod
    def place(case: Case, text: str, at: int) -> str:
        if case.mark is not None and case.mark.startswith("#") and case.mark[1:].isdigit():
            return f"{case.file}:{case.mark[1:]}"
        if case.mark == "" or (case.mark is None and (case.content is not None or not case.edits)):
            return ""
        if case.content is not None:
            text = case.content.decode("utf-8")
        if case.mark is not None:
            at = text.index(case.mark)
        return f"{case.file}:{text.count(chr(10), 0, at) + 1}"

    def refuse(self, case: Case):
        if not self.wanted(case.name):
            return
        with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as name:
            folder = Path(name)
            place = self.prepared(case, folder)
            known = set(p.name for p in folder.iterdir())
            outcome = self.program.run([*case.command, "-o", "answer.txt"], folder)
            wrong = complaints(outcome, case.status, case.words, place, case.says_expected)
            self.report(case.name, wrong + left_behind(folder, known), outcome)

    def accept(self, case: Case, reference: bytes):
        """A legal way to write the same job gives the same coefficients, to the digits written."""
        name = "legal: " + case.name
        if not self.wanted(name):
            return
        with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
            folder = Path(folder_name)
            content, case.content = case.content, None
            self.prepared(case, folder)
            case.content = content
            if content is not None:
                (folder / case.file).write_bytes(legal_content(case, self.example.files[case.file]))
            outcome = self.program.run([*INFLUENCE, "--format", "json"], folder)
            wrong = died(outcome)
            if not wrong and outcome.status != 0:
                wrong = [f"exit status {outcome.status}, not 0"]
            if not wrong:
                wrong = no_numbers(outcome.out)
            if not wrong and case.file == TABLE and content is not None:
                if json.loads(outcome.out)["coefficients"] != json.loads(reference)["coefficients"]:
                    wrong = ["other coefficients than the example itself"]
            self.report(name, wrong, outcome)

    def usage(self, arguments, words, status):
        name = "command line: " + " ".join(repr(a[:40]) for a in arguments)
        if not self.wanted(name):
            return
        with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
            folder = Path(folder_name)
            self.example.lay_out(folder)
            outcome = self.program.run(arguments, folder)
            wrong = complaints(outcome, status, words, says_expected=status == 1)
            self.report(name, wrong + left_behind(folder, set(self.example.files)), outcome)


def only_overall(text: str) -> str:
    return re.sub(r",\d+ deg,once-per-rev", ",,overall", text)


def check_tables(check: Check):
    for case in [*ROTOR_CASES, *JOB_CASES, *TABLE_CASES, *CONTROL_NAMES, *LOOK_ALIKE, *SLIPS]:
        check.refuse(case)
    for case in UNSOLVABLE:
        if case.name == "only overall readings":
            case.content = only_overall(check.example.files[TABLE]).encode()
        check.refuse(case)
    for case in [*odd_files(), *heavy_files()]:
        check.refuse(case)
    for arguments, words in WRONG_USAGE:
        check.usage(arguments, words, 2)
    for arguments, words in REFUSED_COMMANDS:
        check.usage(arguments, words, 1)


def check_legal(check: Check):
    with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as name:
        check.example.lay_out(Path(name))
        outcome = check.program.run([*INFLUENCE, "--format", "json"], Path(name))
    if outcome.status != 0:
        raise SystemExit("the example itself is refused: " + outcome.err)
    check.report("the example itself", no_numbers(outcome.out), outcome)
    for case in LEGAL:
        check.accept(case, outcome.out)


def check_untried_plane(check: Check):
    """No run changed the drum plane. A plan without it is right; a plan that does not say so is not."""
    name = "one plane never changed, nothing asked of it"
    if not check.wanted(name):
        return
    with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder:
        check.prepared(Case(name, JOB, [(TRIAL_DRUM, "same as as found")]), Path(folder))
        outcome = check.program.run(["plan", JOB, "--format", "json", "--time-limit", "0.2"], Path(folder))
    wrong = died(outcome)
    if not wrong and outcome.status == 0:
        answer = json.loads(outcome.out)
        if not any("drum" in one and "run" in one for one in answer["warnings"] + answer["notes"]):
            wrong = ["neither a warning nor a note says that no run tried the plane drum"]
    elif not wrong:
        wrong = complaints(outcome, 1, ['"drum"', "trial run"])
    check.report(name, wrong, outcome)


def check_output(check: Check):
    """Answers that cannot be written, and what an output file may not do."""

    def tried(name, arguments, wanted, extra=lambda folder: [], make_ready=lambda folder: None, **options):
        name = "output: " + name
        if not check.wanted(name):
            return
        with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
            folder = Path(folder_name)
            check.example.lay_out(folder)
            make_ready(folder)
            known = set(p.name for p in folder.iterdir())
            outcome = check.program.run(arguments, folder, **options)
            wrong = wanted(outcome) + extra(folder)
            check.report(name, wrong + left_behind(folder, known), outcome)

    def refused(*words):
        return lambda outcome: complaints(outcome, 3, words, says_expected=False)

    for command in (INFLUENCE, ("tolerance", "3000"), ("--help",), ("plan", "--help"), ("--version",)):
        with open("/dev/full", "wb") as full:
            tried("a full device, " + " ".join(command), command, refused("written", "(No space left"), stdout=full)
        tried("standard output closed, " + " ".join(command), command, refused("written", "(Bad file descriptor)"),
              stdout=subprocess.DEVNULL, before=lambda: os.close(1))
    tried("missing folder", (*INFLUENCE, "-o", "none/answer.txt"), refused("none/answer.txt"))
    tried("a folder", (*INFLUENCE, "-o", "."), refused("."))
    tried("a folder below a file", (*INFLUENCE, "-o", JOB + "/answer.txt"), refused(JOB))
    tried("a name too long", (*INFLUENCE, "-o", "n" * 300), refused("nnn"))
    tried("no room for a large file", (*INFLUENCE, "-o", "answer.txt"), refused("answer.txt"),
          before=lambda: (signal.signal(signal.SIGXFSZ, signal.SIG_IGN),
                          resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))))

    def unchanged(file):
        return lambda folder: [] if (folder / file).read_text("utf-8") == check.example.files[file] else [f"{file} is overwritten"]

    for file in (JOB, ROTOR, TABLE):
        tried(f"over the input {file}", (*INFLUENCE, "-o", file),
              lambda outcome: died(outcome) + ([] if outcome.status else ["status 0"]), unchanged(file))

    for file in (JOB, ROTOR, TABLE):
        tried(f"record file over its input {file}",
              ("record", "file", JOB, "--archive", "trims.db", "--by", "L. Marsh", "--run", "trial drum", "--dated", "2031-05-12", "-o", file),
              refused(file, "answer is made from"), unchanged(file))
    tried("a rehearsal below a file", ("rehearse", "new", JOB + "/practice"), refused(JOB + "/practice"))

    def pipe_stays(folder):
        return [] if (folder / "pipe").is_fifo() else ["the pipe was replaced by a file"]

    tried("something that is no file", (*INFLUENCE, "-o", "pipe"), refused("pipe"), pipe_stays,
          lambda folder: os.mkfifo(folder / "pipe"))

    def link_stays(folder):
        whole = (folder / "target.txt").read_text("utf-8") not in ("", "old")
        return ([] if (folder / "link").is_symlink() else ["the link was replaced by a file"]) + \
               ([] if whole else ["nothing was written to where the link points"])

    def make_link(folder):
        (folder / "target.txt").write_text("old")
        (folder / "link").symlink_to("target.txt")

    tried("a link to a file", (*INFLUENCE, "-o", "link"), died, link_stays, make_link)
    tried("a link to nothing yet", (*INFLUENCE, "-o", "link"), died,
          lambda folder: link_stays(folder) + ((folder / "target.txt").unlink() or []),
          lambda folder: (folder / "link").symlink_to("target.txt"))

    def stranger(folder):
        (folder / "answer.txt").write_text("old")
        (folder / "answer.txt").chmod(0o600)
        (folder / "answer.txt.part").write_text("a stranger's")

    def stranger_stays(folder):
        answer, part = folder / "answer.txt", folder / "answer.txt.part"
        return ([] if part.read_text() == "a stranger's" else ["a stranger's file was touched"]) + \
               ([] if answer.stat().st_mode & 0o777 == 0o600 else ["others may read what they could not"]) + \
               ([] if answer.read_text() != "old" else ["nothing was written"])

    tried("a file only its owner may read, beside a stranger's", (*INFLUENCE, "-o", "answer.txt"), died, stranger_stays, stranger)

    reading, writing = os.pipe()
    os.close(reading)
    tried("nobody reads", INFLUENCE, refused("written"), stdout=writing)
    os.close(writing)


def check_permissions(check: Check):
    """Files and folders the user may not touch; root may touch all, so it becomes nobody first."""
    if not check.wanted("permissions"):
        return
    with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
        folder = Path(folder_name)
        folder.chmod(0o755)
        check.example.lay_out(folder)
        program = folder / "program"
        shutil.copy(check.program.path, program)
        program.chmod(0o755)
        known = set(p.name for p in folder.iterdir()) | {"locked", "closed.yaml"}
        who = {"user": 65534, "group": 65534, "extra_groups": []} if os.getuid() == 0 else {}
        if check.program.run(["--version"], folder, program=program, **who).status != 0:
            print("skipped: nobody may run the program")
            return
        (folder / "closed.yaml").write_text(check.example.files[JOB])
        (folder / "closed.yaml").chmod(0)
        (folder / "locked").mkdir()
        shutil.copy(folder / JOB, folder / "locked" / JOB)
        (folder / "locked").chmod(0)
        folder.chmod(0o555)
        try:
            for name, arguments, status, words in (
                    ("unreadable file", ["influence", "closed.yaml"], 1, ["closed.yaml", "cannot be read", "Permission denied"]),
                    ("unreadable folder", ["influence", "locked/job.yaml"], 1, ["locked/job.yaml", "Permission denied"]),
                    ("read-only folder", [*INFLUENCE, "-o", "answer.txt"], 3, ["answer.txt", "Permission denied"])):
                outcome = check.program.run(arguments, folder, program=program, **who)
                wrong = complaints(outcome, status, words)
                check.report("permissions: " + name, wrong + left_behind(folder, known), outcome)
        finally:
            folder.chmod(0o755)
            (folder / "locked").chmod(0o755)


def check_soundness(check: Check):
    """Values a file may hold that make numbers which are none: refused, or answered with numbers."""
    extreme = [
        Case("tiny repeatability", ROTOR, [("0.012 in/s", "1e-200 in/s")]),
        Case("huge repeatability", ROTOR, [("0.012 in/s", "1e200 in/s")]),
        Case("tiny limit", ROTOR, [("limit: 1.0 in/s, target: 0.25 in/s", "limit: 1e-300 in/s")]),
        Case("huge limit", ROTOR, [("limit: 1.0 in/s, target: 0.25 in/s", "limit: 1e300 in/s")]),
        Case("huge trial weight", ROTOR, [("radius: 188.5 mm, stock: 6", "radius: 1e160 mm, stock: 6")]),
        Case("tiny trial weight", ROTOR, [("radius: 188.5 mm, stock: 6", "radius: 1e-300 mm, stock: 6")]),
        Case("infinite trial weight", ROTOR, [("mass: 5.3 g, radius: 188.5 mm", "mass: 1e300 g, radius: 1e300 mm")]),
        Case("infinite filler", ROTOR, [("{mass: 0.9 g, radius: 188 mm}", "{mass: 1e300 g, radius: 1e300 mm}")]),
        Case("infinite moment limit", ROTOR, [("6000 g.mm", "1e308 kg.mm")]),
        Case("huge speed", ROTOR, [("5120 rpm", "1e300 rpm")]),
        Case("tiny speed", ROTOR, [("5120 rpm", "1e-300 rpm")]),
        Case("tiny mass", ROTOR, [("260 kg", "1e-300 kg")]),
        Case("infinite mass", ROTOR, [("260 kg", "1e308 kg")]),
        Case("huge reading", TABLE, [(ROW, "repeat,3482 rpm,turbine,1e300 mil pp,17 deg,once-per-rev,")]),
        Case("infinite reading", TABLE, [(ROW, "repeat,3482 rpm,turbine,1e308 m rms,17 deg,once-per-rev,")]),
        Case("infinite converted reading", TABLE, [(ROW, "repeat,3482 rpm,turbine,1e307 m/s rms,17 deg,once-per-rev,")]),
        Case("tiny reading", TABLE, [(ROW, "repeat,3482 rpm,turbine,1e-300 mil pp,17 deg,once-per-rev,")]),
        Case("every reading zero", TABLE, content=b"ZERO"),
        Case("every reading the same", TABLE, content=b"SAME"),
        Case("one reading a run, two planes", TABLE, content=b"ONE"),
        Case("no unit of the rotor's own", ROTOR, [("    repeatability: 0.012 in/s\n", ""), ("    repeatability: 0.04 mil\n", "")]),
        Case("huge change", JOB, [("    fitted: " + TRIAL_DRUM, "    changes: [{plane: drum, at: 0 deg, moment: 1e308 kg.mm}]\n    fitted: " + TRIAL_DRUM)]),
        Case("change that cancels to nothing", JOB, [("    fitted: " + TRIAL_DRUM,
             "    changes: [{plane: drum, blade: 1, moment_before: 1e308 g.mm, moment_after: -1e308 g.mm}]\n    fitted: " + TRIAL_DRUM)]),
    ]
    commands = ([*INFLUENCE, "--format", "json"], ["plan", JOB, "--format", "json", "--time-limit", "0.2"],
                ["plan", JOB, "--despite-mirror", "--format", "json", "--time-limit", "0.2"],
                [*TRIAL, "--format", "json"])
    text = check.example.files[TABLE]
    guises = {
        b"ZERO": re.sub(r"(,(?:front|turbine)),[\d.]+", r"\1,0", text),
        b"SAME": re.sub(r"(,(?:front|turbine)),[\d.]+ ([a-z/ ]+),\d+ deg", r"\1,1.0 \2,10 deg", text),
        b"ONE": "\n".join(l for l in text.split("\n") if l.startswith("run,") or re.search(r",49\d\d rpm,front", l)) + "\n",
    }
    for case in extreme:
        for command in commands:
            name = f"sound: {case.name}, {' '.join(command)}"
            if not check.wanted(name):
                continue
            with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
                folder = Path(folder_name)
                guise = guises.get(case.content)
                check.prepared(Case(case.name, case.file, case.edits,
                                    content=guise.encode() if guise else None), folder)
                outcome = check.program.run(command, folder)
                check.report(name, sound(outcome), outcome)


def sound(outcome: Outcome) -> list:
    """Either a clean refusal or a sound answer."""
    wrong = died(outcome)
    if wrong:
        return wrong
    if outcome.status == 0:
        return no_numbers(outcome.out)
    return complaints(outcome, 1, [], says_expected=True)


# --- damage at random -----------------------------------------------------------------------------------------


def damaged(text: bytes, dice: random.Random) -> bytes:
    """One to three kinds of damage: flipped bits, cuts, lines moved, repeated or taken out, tokens swapped."""
    tokens = [b"nan", b"inf", b"-1", b"0", b"1e308", b"1e-308", b"{", b"}", b"[", b"]", b": ", b"- ", b"\n", b"\t", b'"',
              b"'", b"#", b"&a ", b"*a", b"|\n", b">", b"~", b"%", b",", b";", b"?", b"!!x ", b"\r", b"\xff", b"\0",
              b"---\n", b"99999999999", b"same as ", b"none", b"overall", b" rpm", b" deg", b"\xc2\xb0", b"<<"]
    for _ in range(dice.randint(1, 3)):
        if not text:
            break
        kind = dice.randrange(8)
        at = dice.randrange(len(text))
        if kind == 0:
            text = text[:at] + bytes([text[at] ^ (1 << dice.randrange(8))]) + text[at + 1:]
        elif kind == 1:
            text = text[:at]
        elif kind == 2:
            text = text[:at] + text[at + dice.randint(1, 40):]
        elif kind == 3:
            text = text[:at] + dice.choice(tokens) + text[at:]
        elif kind == 4:
            text = text[:at] + dice.choice(tokens) + text[at + dice.randint(1, 6):]
        elif kind == 5:
            lines = text.split(b"\n")
            a, b = dice.randrange(len(lines)), dice.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            text = b"\n".join(lines)
        elif kind == 6:
            lines = text.split(b"\n")
            line = lines.pop(dice.randrange(len(lines)))
            for _ in range(dice.choice((0, 0, 2, 3))):
                lines.insert(dice.randrange(len(lines) + 1), line)
            text = b"\n".join(lines)
        else:
            numbers = list(re.finditer(rb"\d+(\.\d+)?", text))
            if numbers:
                one = dice.choice(numbers)
                new = dice.choice((b"0", b"-1", b"1e9", b"1e-9", b"1e300", b"1e-300", b"nan", b"3", b"41", b"2147483648"))
                text = text[:one.start()] + new + text[one.end():]
    return text


def check_fuzz(check: Check, count: int, seed: int):
    if not check.wanted("fuzz"):
        return
    answered = 0
    with tempfile.TemporaryDirectory(prefix="trimwright-bad-") as folder_name:
        folder = Path(folder_name)
        for n in range(count):
            dice = random.Random(f"{seed} {n}")
            check.example.lay_out(folder)
            file = dice.choice((ROTOR, JOB, TABLE))
            (folder / file).write_bytes(damaged(check.example.files[file].encode(), dice))
            if dice.randrange(12) == 0:
                command = [*TRIAL, "--format", "json"]
            elif dice.randrange(40) == 0:
                command = ["plan", JOB, "--format", "json", "--time-limit", "0.05"]
            else:
                command = [*INFLUENCE, "--format", "json"]
            outcome = check.program.run(command, folder)
            answered += outcome.status == 0 and not outcome.hung
            check.report(f"fuzz {n} of seed {seed}, {file}, {' '.join(command)}", sound(outcome), outcome)
    print(f"damaged at random: {count} files, {answered} still answered")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("program", type=Path)
    parser.add_argument("project", type=Path)
    parser.add_argument("--only", default="", help="the cases whose name holds this")
    parser.add_argument("--fuzz", type=int, default=400, help="how many files to damage")
    parser.add_argument("--seed", type=int, default=20310512)
    options = parser.parse_args()
    check = Check(Program(options.program.resolve()), Example(options.project), options.only)
    check_legal(check)
    check_tables(check)
    check_untried_plane(check)
    check_output(check)
    check_permissions(check)
    check_soundness(check)
    check_fuzz(check, options.fuzz, options.seed)
    print(f"{check.tried} tried, {len(check.failed)} failed")
    return 1 if check.failed else 0


if __name__ == "__main__":
    sys.exit(main())
