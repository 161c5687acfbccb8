#!/usr/bin/env python3
"""Readings filed without a trim, and what they tell between trims, through the built program.

    trend_cli.py PROGRAM PROJECT [--only WORD]

Readings are worked out here: those of the check run of the shipped example, what is added to them, and scatter.
"""

import cmath
import csv
import html
import html.parser
import io
import json
import math
import random
import re
import sys
from datetime import date, timedelta
from pathlib import Path

from record_cli import Bench, check, run_cases

SERIAL = "LKM-417"
ROTOR = "configs/larkmere-fan.yaml"
SCATTER = {"front": 0.008, "turbine": 0.03}  # per real component, below what the rotor file states


def places_of(bench: Bench) -> dict:
    """What the check run of the example read: (speed, sensor) to a phasor whose argument is the lag."""
    places = {}
    for row in csv.DictReader((bench.folder / "examples/quillhaven/after.csv").open(encoding="utf-8")):
        if row["component"] == "once-per-rev":
            places[float(row["speed"].split()[0]), row["sensor"]] = cmath.rect(
                float(row["amplitude"].split()[0]), math.radians(float(row["phase"].split()[0])))
    return places


def drum_effect(bench: Bench, moment: float, degrees: float) -> dict:
    """What a moment in the drum plane changes, by the coefficients that the example's runs settle, as lag."""
    document = json.loads(bench.run("influence", bench.folder / "examples/quillhaven/after.yaml", "--format", "json"))
    check(document["phase_convention"] == "lag", "the example's phases")
    effect = {}
    for one in document["coefficients"]:
        if one["plane"] == "drum":
            effect[round(one["speed_rpm"]), one["sensor"]] = cmath.rect(
                one["amplitude"] * moment, math.radians(one["phase_deg"] - degrees))
    check(effect, f"no coefficients of the drum in {list(document)}")
    return effect


def nearest(effect: dict, speed: float, sensor: str) -> complex:
    key = min((key for key in effect if key[1] == sensor), key=lambda key: abs(key[0] - speed))
    check(abs(key[0] - speed) < 60, f"no coefficient near {speed}")
    return effect[key]


def table(path: Path, places: dict, changed, days=30, first=date(2031, 5, 14), seed=3, notes=None) -> Path:
    """A wide table: `changed(day, speed, sensor, x)` is what is read but for scatter."""
    draws = random.Random(seed)
    speeds = sorted({speed for speed, _ in places})
    lines = ["date,speed,front [in/s peak],front [deg],turbine [mil pp],turbine [deg],note"]
    for day in range(days):
        for speed in speeds:
            cells = [str(first + timedelta(days=day)), f"{speed:.0f} rpm"]
            for sensor in ("front", "turbine"):
                x = changed(day, speed, sensor, places[speed, sensor])
                x += complex(draws.gauss(0, SCATTER[sensor]), draws.gauss(0, SCATTER[sensor]))
                cells += [f"{abs(x):.4f}", f"{math.degrees(cmath.phase(x)) % 360:.1f}"]
            lines.append(",".join(cells + [(notes or {}).get(day, "")]))
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def as_it_was(day, speed, sensor, x):
    return x


def readings(bench: Bench, path: Path, *words, archive, status=0, serial=SERIAL, dated=None) -> str:
    if dated is None:
        dated = max((line.split(",")[0] for line in path.read_text("utf-8").splitlines()[1:]), default="")
    return bench.run("record", "readings", path, "--rotor", bench.folder / ROTOR, "--serial", serial, "--archive", archive,
                     "--by", "L. Marsh", *(["--dated", dated] if dated else []), *words, status=status)


def trend(bench: Bench, archive, *words, serial=SERIAL) -> dict:
    return bench.valid(bench.run("record", "trend", serial, "--archive", archive, "--format", "json", *words))


def one_spell(document: dict) -> dict:
    check(len(document["spells"]) == 1, f"{len(document['spells'])} spells")
    return document["spells"][0]


def archive_with_trim(bench: Bench, name: str) -> Path:
    archive = bench.folder / name
    bench.file(bench.folder / "examples/quillhaven/after.yaml", archive=archive)
    return archive


def changed_from(bench: Bench, name: str, changed, **how) -> tuple:
    archive = archive_with_trim(bench, f"{name}.db")
    readings(bench, table(bench.folder / f"{name}.csv", places_of(bench), changed, **how), archive=archive)
    return archive, one_spell(trend(bench, archive))


# --- what is right ------------------------------------------------------------------------------------------------


def sound(bench: Bench):
    archive, spell = changed_from(bench, "sound", as_it_was, days=60)
    check(spell["changes"] == [] and spell["foretold"], f"{spell['changes']}")
    check("record 1" in spell["trim"] and spell["since"] == "2031-05-13 10:05", f"{spell['trim']} {spell['since']}")
    text = bench.run("record", "trend", SERIAL, "--archive", archive)
    check("Nothing changed" in text and "follow the manual" in " ".join(text.split()), text[:600])
    check(max(len(line) for line in text.splitlines()) <= 80, "wider than 80 columns")
    for place in spell["places"]:
        check(len(place["readings"]) == 60 and all(one["expected"] and one["sd"] > 0 for one in place["readings"]), "expected")


def lost_moment(bench: Bench):
    """900 g mm at 140 degrees appear in the drum between two dates."""
    effect = drum_effect(bench, 900.0, 140.0)
    archive, spell = changed_from(bench, "moment", lambda day, speed, sensor, x:
                                  x + (nearest(effect, speed, sensor) if day >= 20 else 0))
    check(len(spell["changes"]) == 1, f"{[one['words'] for one in spell['changes']]}")
    one = spell["changes"][0]
    check((one["kind"], one["before"], one["first"]) == ("step", "2031-06-02", "2031-06-03"), one["words"])
    check(one["found"] <= "2031-06-05", f"found on {one['found']}")
    check(one["cause"] == "rotor_changed" and one["probability"] > 0.9, one["words"])
    said = re.search(r"drum, about (\d+) g mm at (\d+)°", one["what"])
    check(said and abs(int(said[1]) - 900) < 90 and abs(int(said[2]) - 140) < 8, one["what"])
    check("the rotor, not the sensor" in one["words"], one["words"])
    largest = max(abs(nearest(effect, speed, sensor)) / (5 if sensor == "turbine" else 0.8 if speed < 3580 else 1.0)
                  for speed, sensor in places_of(bench))
    check(abs(one["largest_share_of_limit"] - largest) < 0.03, f"{one['largest_share_of_limit']}, not {largest}")
    check(one["significant"] == (one["largest_share_of_limit"] > 0.25), "significant")


def turned(bench: Bench):
    def changed(day, speed, sensor, x):
        return x * cmath.rect(1, math.radians(34)) if day >= 12 else x

    archive, spell = changed_from(bench, "turned", changed)
    one = spell["changes"][0]
    check(one["first"] == "2031-05-26" and one["cause"] == "reference_shifted", one["words"])
    said = re.search(r"phases read 3[345]° ± ([\d.]+)° more", one["what"])
    check(said, one["what"])
    # As unsure as the difference of two means is, of 12 dates and of 18, or of 2.
    brief = changed_from(bench, "turned for two days", changed, days=14)[1]["changes"][0]["what"]
    ratio = float(said[1]) / float(re.search(r"± ([\d.]+)° more", brief)[1])
    check(abs(ratio / math.sqrt((1 / 12 + 1 / 18) / (1 / 12 + 1 / 2)) - 1) < 0.15, f"{one['what']} and {brief}")
    check("what measures, not the rotor" in one["words"], one["words"])
    said = " ".join(bench.run("record", "trend", SERIAL, "--archive", archive).split())
    check("at its first run since: before: [{reference: moved}]" in said, "no line for the next job")


def one_sensor(bench: Bench):
    _, spell = changed_from(bench, "sensor", lambda day, speed, sensor, x:
                            1.6 * x if day >= 12 and sensor == "turbine" else x)
    one = spell["changes"][0]
    check(one["first"] == "2031-05-26" and one["cause"] == "sensor_changed", one["words"])
    check("sensor turbine reads 1.6" in one["what"], one["what"])


def one_date(bench: Bench):
    off = lambda day, speed, sensor, x: x + 0.15 if day == 12 and sensor == "front" else x
    archive, spell = changed_from(bench, "date", off)
    check([(one["kind"], one["first"], one["last"]) for one in spell["changes"]] == [("lone", "2031-05-26", "2031-05-26")],
          f"{[one['words'] for one in spell['changes']]}")
    archive, spell = changed_from(bench, "last", off, days=13)
    check([one["kind"] for one in spell["changes"]] == ["last_alone"], f"{[one['words'] for one in spell['changes']]}")
    check("read once more" in " ".join(bench.run("record", "trend", SERIAL, "--archive", archive).split()), "what to do")


def without_a_trim(bench: Bench):
    archive, places = bench.folder / "alone.db", places_of(bench)
    step = lambda day, speed, sensor, x: x + 0.1j if day >= 15 and sensor == "front" else x
    readings(bench, table(bench.folder / "alone.csv", places, step), archive=archive)
    spell = one_spell(trend(bench, archive))
    check(spell["trim"] is None and not spell["foretold"], "a trim")
    check([(one["kind"], one["first"]) for one in spell["changes"]] == [("step", "2031-05-29")],
          f"{[one['words'] for one in spell['changes']]}")
    first = spell["places"][0]["readings"][0]
    check(first["expected"] is None and spell["places"][0]["readings"][1]["expected"], "the first tells the second")
    check(trend(bench, archive, "--from", "2031-05-29")["spells"][0]["changes"] == [], "--from")


def approaches(bench: Bench):
    """Readings on the way up and on the way down are places of their own; what the trim did not read so is said."""
    places = places_of(bench)
    up = table(bench.folder / "up.csv", places, as_it_was, days=40, seed=11).read_text("utf-8").splitlines()
    down = table(bench.folder / "down.csv", places, lambda day, speed, sensor, x: x + 0.3, days=40, seed=12).read_text("utf-8").splitlines()
    path = bench.folder / "both.csv"
    path.write_text("\n".join([up[0] + ",approach", *(line + ",up" for line in up[1:]), *(line + ",down" for line in down[1:])]) + "\n", "utf-8")
    archive = bench.folder / "both.db"
    readings(bench, path, archive=archive)
    spell = one_spell(trend(bench, archive))
    check(len(spell["places"]) == 2 * len(places) and spell["changes"] == [], f"{[one['words'] for one in spell['changes']]}")
    words = bench.run("record", "trend", SERIAL, "--archive", archive)
    check("on the way up" in words and "on the way down" in words, "places without their approach")
    part = bench.folder / "part.csv"
    part.write_text("\n".join([up[0] + ",approach", *(line + "," for line in up[1:]), *(line + ",down" for line in down[1:])]) + "\n", "utf-8")
    archive = archive_with_trim(bench, "part.db")
    readings(bench, part, archive=archive)
    spell = one_spell(trend(bench, archive))
    left_out = [note for note in spell["notes"] if note.startswith("Not judged") and "on the way down" in note]
    check(spell["foretold"] and len(left_out) == len(places) and spell["changes"] == [], f"{spell['notes']}")


def scatters_more(bench: Bench):
    """Scatter above what is stated is told, and raises no alarm."""
    archive, draws = bench.folder / "scatter.db", random.Random(5)
    wide = lambda day, speed, sensor, x: x + 3 * complex(draws.gauss(0, 1), draws.gauss(0, 1)) * SCATTER[sensor]
    readings(bench, table(bench.folder / "scatter.csv", places_of(bench), wide, days=80), archive=archive)
    spell = one_spell(trend(bench, archive))
    check(spell["changes"] == [], f"{[one['words'] for one in spell['changes']]}")
    times = {one["sensor"]: one["times_stated"] for one in spell["scatter"]}
    for sensor, stated in (("front", 0.012), ("turbine", 0.04 / 2)):  # stated peak; the table's mil are peak to peak
        really = SCATTER[sensor] * math.sqrt(10) / (1 if sensor == "front" else 2)
        check(0.75 < times.get(sensor, 1.0) * stated / really < 1.3, f"{sensor}: {times} of {stated}, really {really}")


def filed(bench: Bench):
    """A record like any other: found, shown, exported, proved, corrected, and not filed twice."""
    archive, places = archive_with_trim(bench, "filed.db"), places_of(bench)
    path = table(bench.folder / "filed.csv", places, as_it_was, days=12, notes={3: "blades inspected"})
    said = readings(bench, path, archive=archive)
    check("Record 2 is filed" in said and "record trend" in said, said)
    again = readings(bench, path, archive=archive, status=1)
    check("filed already as record 2" in again, again)
    found = json.loads(bench.record("find", "--verdict", "readings", "--format", "json", archive=archive))["records"]
    check([one["number"] for one in found] == [2] and found[0]["date"] == "2031-05-25", f"{found}")
    shown = bench.record("show", 2, archive=archive)
    check("Readings without a trim" in shown and "2031-05-14" in shown and "front" in shown, shown[:500])
    bench.valid(bench.record("show", 2, "--format", "json", archive=archive))
    bench.valid(bench.record("export", "--format", "json", archive=archive))
    rows = list(csv.DictReader(io.StringIO(bench.record("export", archive=archive))))
    mine = [row for row in rows if row["record"] == "2"]
    check(len(mine) == 12 * len(places) and mine[0]["date"] == "2031-05-14" and mine[0]["limit"] == "", f"{len(mine)}")
    check(bench.proof(archive)["whole"], "it does not prove")
    check("holds readings without a trim" in bench.record("sheet", 2, "--format", "csv", archive=archive, status=1), "a sheet")
    compared = json.loads(bench.record("compare", SERIAL, "--format", "json", archive=archive))
    check({one["record"] for row in compared["levels"] for one in row["readings"]} == {1}, "compared with no trim")
    folder = bench.folder / "filed-files"
    bench.record("show", 2, "--files", folder, archive=archive)
    check({one.name for one in folder.rglob("*.*")} == {"larkmere-fan.yaml", "filed.csv"}, "its files")
    # An overlapping table: each date counts once.
    longer = table(bench.folder / "longer.csv", places, as_it_was, days=20)
    readings(bench, longer, archive=archive)
    spell = one_spell(trend(bench, archive))
    check(len(spell["dates"]) == 20 and spell["dates"][3]["note"] == "blades inspected", f"{len(spell['dates'])}")
    check(all(len(place["readings"]) == 20 for place in spell["places"]), "twice")
    right = table(bench.folder / "right.csv", places, as_it_was, days=20, seed=4)
    readings(bench, right, "--corrects", 3, "--reason", "the wrong printout", archive=archive)
    spell = one_spell(trend(bench, archive))
    check(len(spell["dates"]) == 20 and not spell["changes"], "the corrected one counts")
    refused = readings(bench, table(bench.folder / "other.csv", places, as_it_was, seed=9), "--corrects", 1, "--reason", "x",
                       archive=archive, status=1)
    check("is of a trim" in refused, refused)


class Page(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.ids, self.links, self.svgs = [], [], 0
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        values = dict(attributes)
        self.svgs += tag == "svg"
        if "id" in values:
            self.ids.append(values["id"])
        self.links += [values[name] for name in ("src", "href") if name in values]


def page(bench: Bench):
    effect = drum_effect(bench, 900.0, 140.0)
    archive, spell = changed_from(bench, "page", lambda day, speed, sensor, x:
                                  x + (nearest(effect, speed, sensor) if day >= 20 else 0), notes={10: "<b>blades</b> & roots"})
    path = bench.folder / "trend.html"
    bench.run("record", "trend", SERIAL, "--archive", archive, "--page", path)
    text = path.read_text("utf-8")
    found = Page(text)
    check(len(found.ids) == len(set(found.ids)), "an id stands twice")
    check(all(link.startswith("#") for link in found.links) and "default-src 'none'" in html.unescape(text), f"{found.links}")
    check(found.svgs >= 3 * len(spell["places"]), f"{found.svgs} drawings")
    check("<b>blades</b>" not in text and "&lt;b&gt;blades" in text, "a note is markup")
    check(spell["changes"][0]["words"] in html.unescape(text), "the change")
    check("follow the manual" in text, "no caution")
    check("one file" in bench.run("record", "trend", SERIAL, "--archive", archive, "--page", path, "-o", path, status=1), "one file")


def bad_input(bench: Bench):
    archive, places = bench.folder / "bad.db", places_of(bench)
    good = table(bench.folder / "bad.csv", places, as_it_was, days=3).read_text("utf-8")
    bad = bench.folder / "bad.csv"
    for old, new, words in [
        ("date,speed", "day,speed", ["bad.csv:1", 'column "date" is missing', "date, speed"]),
        ("2031-05-15", "15 May 2031", ["bad.csv:7", "date", '"15 May 2031" is no date', "2031-05-12"]),
        ("2031-05-15", "2031-02-30", ["bad.csv:7", '"2031-02-30" is no date']),
        ("2031-05-15", "2031-05-15 25:00", ['"2031-05-15 25:00" is no date']),
        ("2031-05-15", "", ["bad.csv:7", "the date is empty"]),
        ("2869 rpm", "6869 rpm", ["bad.csv:2", "has no limit at 6869 rpm"]),
        ("front [in/s peak]", "rear [in/s peak]", ["front", "amplitudes"]),
        ("2869 rpm", "fast", ["bad.csv:2", '"fast"']),
    ]:
        check(old in good, old)
        text = good.replace(old, new) if old.startswith(("date", "front")) else good.replace(old, new, 1)
        bad.write_text(text, "utf-8")
        said = readings(bench, bad, archive=archive, status=1, dated="2031-05-16")
        for word in words:
            check(word in said, f"{old} to {new}: {said}")
        check(len(said.splitlines()) == 1 and not archive.exists(), f"{said}")
    bad.write_text(good.splitlines()[0] + "\n", "utf-8")
    check("the table has no reading" in readings(bench, bad, archive=archive, status=1, dated="2031-05-16"), "no rows")
    bad.write_text(good, "utf-8")
    check("today is" in readings(bench, bad, archive=archive, status=1, dated=""), "a date yet to come")
    rotor = bench.folder / ROTOR
    text = rotor.read_text("utf-8")
    rotor.write_text(re.sub(r"(?m)^phase: lag", "phase: unknown", text), "utf-8")
    check("lag or lead" in readings(bench, bad, archive=archive, status=1), "phase unknown")
    rotor.write_text(text, "utf-8")
    check(not archive.exists(), "an archive was made")
    archive = archive_with_trim(bench, "bad2.db")
    said = bench.run("record", "trend", SERIAL, "--archive", archive, status=1)
    check("no reading without a trim" in said and "record readings" in said, said)
    check("has no record of serial" in bench.run("record", "trend", "X-1", "--archive", archive, status=1), "no such serial")
    readings(bench, bad, archive=archive)
    said = bench.run("record", "trend", SERIAL, "--archive", archive, "--from", "2032-01-01", status=1)
    check("2032-01-01" in said, said)


CASES = [sound, lost_moment, turned, one_sensor, one_date, without_a_trim, approaches, scatters_more, filed, page, bad_input]


if __name__ == "__main__":
    sys.exit(run_cases(CASES))
