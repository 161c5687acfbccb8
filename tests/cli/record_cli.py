#!/usr/bin/env python3
"""The verdict, the archive and its faults, through the built program alone.

    record_cli.py PROGRAM PROJECT [--only WORD]

Read from outside by Python's csv and sqlite3, SQLite's own command-line shell, and jsonschema with the schemas of
docs/schemas. The faults are real ones: processes that file at the same time, processes killed while they file, a full
disk, a folder that cannot be written, an archive of a newer version, bytes changed, records cut off the end.
"""

import argparse
import csv
import hashlib
import io
import json
import math
import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import jsonschema

KILLS = 40
NOBODY = 65534
MADE = "2031-05-13"  # the example's check run, years ahead of those who try this


class Wrong(Exception):
    pass


def check(truth, what):
    if not truth:
        raise Wrong(what)


class Bench:
    """A folder with a trim that is ready to be filed, and the program."""

    def __init__(self, program: Path, project: Path, folder: Path):
        self.program, self.project, self.folder = program, project, folder
        for name in ("configs/larkmere-fan.yaml", "examples/quillhaven/after.yaml", "examples/quillhaven/readings.csv",
                     "examples/quillhaven/after.csv", "examples/quillhaven/run-up.csv", "examples/quillhaven/after-run-up.csv",
                     "examples/quillhaven/first-visit.yaml"):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(project / name, folder / name)
        self.text = (folder / "examples/quillhaven/after.yaml").read_text("utf-8")
        self.archive = folder / "trims.db"

    def job(self, name: str, serial: str, **changes) -> Path:
        """The shipped job under another serial; `changes` are old=new texts."""
        text = self.text.replace("serial: LKM-417", f"serial: {serial}")
        check(serial in text, "no serial in the example")
        for old, new in changes.items():
            check(old in text, f"{old} is not in the example")
            text = text.replace(old, new)
        path = self.folder / "examples/quillhaven" / name
        path.write_text(text, "utf-8")
        return path

    def command(self, *words):
        return [str(self.program), *map(str, words)]

    def run(self, *words, status=0, **how) -> str:
        done = subprocess.run(self.command(*words), capture_output=True, text=True, timeout=600, **how)
        check(done.returncode == status, f"{' '.join(map(str, words))}: status {done.returncode}, {done.stderr}")
        if status == 0:
            return done.stdout
        check(done.stderr.startswith("trimwright: ") and done.stderr.count("\n") == 1, f"not one line: {done.stderr!r}")
        check(len(done.stderr) < 2000, "an endless message")
        return done.stderr

    def record(self, verb, *words, status=0, archive=None, **how) -> str:
        return self.run("record", verb, "--archive", archive or self.archive, *words, status=status, **how)

    def filing(self, job: Path, archive, *words, dated=MADE) -> list:
        return self.command("record", "file", job, "--by", "L. Marsh", "--archive", archive,
                            *(["--dated", dated] if dated else []), *words)

    def file(self, job: Path, *words, status=0, archive=None, dated=MADE, **how) -> str:
        return self.run(*self.filing(job, archive or self.archive, *words, dated=dated)[1:], status=status, **how)

    def filing_said(self, job: Path, *words, archive=None, dated=MADE) -> str:
        """What is said on standard error of a trim that is filed."""
        done = subprocess.run(self.filing(job, archive or self.archive, *words, dated=dated), capture_output=True, text=True)
        check(done.returncode == 0, done.stderr)
        return done.stderr

    def proof(self, archive=None, *words) -> dict:
        return json.loads(self.record("prove", "--format", "json", *words, archive=archive))

    def proof_of_faults(self, archive) -> str:
        done = subprocess.run(self.command("record", "prove", "--archive", archive), capture_output=True, text=True)
        check(done.returncode == 1, f"it proves: {done}")
        return done.stdout

    def schema(self, name: str) -> dict:
        """A schema with the others it names put in."""
        def whole(part):
            if isinstance(part, dict):
                return self.schema(part["$ref"]) if "$ref" in part else {key: whole(one) for key, one in part.items()}
            return [whole(one) for one in part] if isinstance(part, list) else part

        return whole(json.loads((self.project / "docs/schemas" / name).read_text("utf-8")))

    def valid(self, document: str) -> dict:
        value = json.loads(document)
        kind = value["trimwright"].replace(" ", "-")
        schema = self.schema(f"{kind}.json")
        jsonschema.Draft7Validator.check_schema(schema)
        jsonschema.Draft7Validator(schema).validate(value)
        return value


# --- what is right ----------------------------------------------------------------------------------------------


def verdict(bench: Bench):
    after = bench.folder / "examples/quillhaven/after.yaml"
    document = bench.valid(bench.run("check", after, "--format", "json"))
    check(document["verdict"] == "accepted" and document["as_predicted"], f"the example is {document['verdict']}")
    check(document["run"] == "check", "not the last run")
    text = bench.run("check", after)
    check("ACCEPTED" in text and "follow the manual" in " ".join(text.split()), "no verdict or no caution in the text")
    check(max(len(line) for line in text.splitlines()) <= 80, "wider than 80 columns")
    mirrored = bench.job("mirrored.yaml", "LKM-417", **{"{4: K3, 19: K2, 37: K7, 40: K7}": "{4: K3, 19: K2, 5: K7, 2: K7}"})
    document = bench.valid(bench.run("check", mirrored, "--format", "json"))
    check(not document["as_predicted"] and document["advice"] == "look_first", "weights elsewhere are not noticed")
    check(document["next_trim"] is None and document["refined"] is None, "a trim is planned on a mistake")
    check(abs(sum(one["probability"] for one in document["mistakes"]) - 1.0) < 1e-9, "probabilities")


def filed_and_found(bench: Bench):
    bench.file(bench.job("a.yaml", "LKM-417"), "--entry", "torque: 25 N·m, \"twice\"", "--entry", "bench: no, not 3")
    bench.file(bench.job("b.yaml", "LKM-418"))
    again = bench.file(bench.job("c.yaml", "LKM-417"), status=1)  # another file's name, the same job
    check("filed already" in again and "record 1" in again, again)
    found = bench.valid(bench.record("find", "--serial", "lkm-417", "--format", "json"))
    check([one["number"] for one in found["records"]] == [1], f"found {found['records']}")
    for words in (["--rotor", "larkmere"], ["--station", "Quillhaven"], ["--person", "orrin"], ["--verdict", "accepted"],
                  ["--from", "2031-05-12", "--to", "2031-05-14"], ["--level-below", "1"]):
        check(len(json.loads(bench.record("find", *words, "--format", "json"))["records"]) == 2, f"{words}")
    for words in (["--person", "%"], ["--person", "' OR 1=1 --"], ["--station", "*"], ["--rotor", "\"_\""],
                  ["--verdict", "not_accepted"], ["--to", "2030-01-01"], ["--level-above", "1"]):
        check(json.loads(bench.record("find", *words, "--format", "json"))["records"] == [], f"{words}")
    record = bench.valid(bench.record("show", 1, "--format", "json"))
    check(record["entries"]["torque"] == "25 N·m, \"twice\"", "the entry")
    check({one["slot"] for one in record["weights"]["fitted"]} == {37, 40, 8}, "weights fitted")
    bench.valid(bench.record("compare", "LKM-417", "--format", "json"))
    bench.valid(bench.record("export", "--format", "json"))
    proof = bench.valid(bench.record("prove", "--format", "json"))
    check(bench.proof(None, "--since", proof["tree_head"])["whole"], "it does not go on from its own head")
    history = bench.record("compare", "LKM-417")
    check("serial LKM-417" in history and "follow the manual" in " ".join(history.split()) and history.count("2031-05-13") > 9, history)


def fleet_of(bench: Bench, fleet: Path) -> list:
    """The job files of five trims of one rotor type. Each rotor is more or less lively at a sensor, in all its runs alike:
    what one rotor shows stays linear in its weights."""
    table = (bench.project / "examples/quillhaven/readings.csv").read_text("utf-8").splitlines()
    draws, jobs = random.Random(11), []
    for number in (417, 418, 419, 420, 421):
        folder = fleet / f"job{number}"
        folder.mkdir(parents=True)
        changed, lively = table[:1], {sensor: 1 + draws.gauss(0, 0.05) for sensor in ("front", "turbine")}
        for line in table[1:]:
            cells = line.split(",")
            if " " in cells[3]:
                amplitude, unit = cells[3].split(" ", 1)
                cells[3] = f"{float(amplitude) * lively[cells[2]]:.4f} {unit}"
            changed.append(",".join(cells))
        (folder / "readings.csv").write_text("\n".join(changed) + "\n", "utf-8")
        for name in ("after.csv", "run-up.csv", "after-run-up.csv"):
            shutil.copy(bench.project / "examples/quillhaven" / name, folder)
        text = bench.text.replace("LKM-417", f"LKM-{number}").replace("../../configs", str(bench.project / "configs"))
        (folder / "job.yaml").write_text(text, "utf-8")
        jobs.append(folder / "job.yaml")
    return jobs


def learned_from(bench: Bench):
    """A prior learned from an archive is the one learned from the jobs that were filed in it, corrected ones left out."""
    fleet, archive = bench.folder / "fleet", bench.folder / "fleet.db"
    for job in fleet_of(bench, fleet):
        bench.file(job, archive=archive)
    text = (fleet / "job421/job.yaml").read_text("utf-8").replace("30: K5}", "30: K4}")  # the last, so that the order is the same
    (fleet / "job421/job.yaml").write_text(text, "utf-8")
    bench.file(fleet / "job421/job.yaml", "--corrects", 5, "--reason", "it was K4", archive=archive)
    from_folder = bench.run("influence", "--learn", fleet)
    from_archive = bench.run("influence", "--learn", archive, "--rotor", "Larkmere demonstrator fan")
    # A job that does not belong to the others is left out of both, by the name that each has for it.
    of_both = [re.sub(r'\{job: ".*", why', '{job: "", why', text) for text in (from_folder, from_archive)]
    check(of_both[0] == of_both[1] and re.search("^jobs: [45]$", from_folder, re.M), f"{from_folder[:900]} but {from_archive[:900]}")
    other = bench.run("influence", "--learn", archive, "--rotor", "Larkmere", status=1)
    check("Larkmere demonstrator fan" in other, other)
    from_baseline_alone(bench, from_folder)
    check("not an archive" in bench.run("influence", "--learn", bench.folder / "configs/larkmere-fan.yaml", status=1), "a file")


def from_baseline_alone(bench: Bench, prior: str):
    """With a prior a job without trial runs can be planned, checked and filed; without it the check says why not."""
    folder, archive = bench.folder / "fleet/job417", bench.folder / "baseline.db"
    (folder / "prior.yaml").write_text(prior, "utf-8")
    text = (folder / "job.yaml").read_text("utf-8")
    for trial in ("30: K5}}", "drum: {7: D12}}"):
        check(text.count(trial) == 1, f"one run with {trial}")
        text = text.replace(trial, f"{trial}\n    set_aside: as if never made")
    (folder / "without.yaml").write_text(text, "utf-8")
    check("predict nothing" in bench.run("check", folder / "without.yaml", status=1), "checked from a baseline alone")
    job = folder / "baseline.yaml"
    job.write_text(text.replace("serial:", "prior: prior.yaml\nserial:", 1), "utf-8")
    check("trims of the rotor's fleet" in " ".join(bench.run("plan", job).split()), "planned without the prior")
    verdict = json.loads(bench.run("check", job, "--format", "json"))
    check(all(one["expected"] is not None for one in verdict["readings"] if one["component"] == "once-per-rev"),
          f"nothing expected: {verdict['readings']}")
    bench.file(job, archive=archive)
    again = bench.folder / "baseline"
    record = json.loads(bench.record("show", 1, "--files", again, "--format", "json", archive=archive))
    check("prior.yaml" in {Path(one["name"]).name for one in record["files"]}, "the record keeps no prior")
    check(record["check"] == verdict, "another verdict in the record")


def done_again(bench: Bench):
    """The files in a record give the same verdict, number for number."""
    folder = bench.folder / "again"
    record = json.loads(bench.record("show", 1, "--files", folder, "--format", "json"))
    names = {one["name"] for one in record["files"]}
    job = next(folder / name for name in names if name.endswith("a.yaml"))
    check(json.loads(bench.run("check", job, "--format", "json")) == record["check"], "another verdict")
    bench.record("show", 1, "--files", folder, status=3)


def tables(bench: Bench):
    raw = subprocess.run(bench.command("record", "export", "--archive", bench.archive), capture_output=True).stdout
    rows = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    check(raw.count(b"\r\n") == len(rows) and len({len(row) for row in rows}) == 1, "the export is not RFC 4180")
    readings = [row for row in rows[1:] if row[0] == "1"]
    whole = json.loads(bench.record("show", 1, "--format", "json"))
    check(len(readings) == len(whole["check"]["readings"]), "a reading is missing in the export")
    for row, one in zip(readings, whole["check"]["readings"], strict=True):
        cells = dict(zip(rows[0], row, strict=True))
        for column, key in (("before", "first"), ("after", "amplitude"), ("expected", "expected"), ("limit", "limit"), ("target", "target")):
            check(not cells[column] if one[key] is None else abs(float(cells[column]) - one[key]) <= 1e-5 * one[key], f"another {column}")
    history = json.loads(bench.record("compare", whole["serial"], "--format", "json"))
    filed = {(level["speed_rpm"], level["sensor"]): reading for level in history["levels"] for reading in level["readings"]
             if reading["record"] == 1}
    for one in whole["check"]["readings"]:
        if one["component"] == "once-per-rev":
            its = filed[one["speed_rpm"], one["sensor"]]
            check([its[key] for key in ("before", "after", "limit", "target")]
                  == [one[key] for key in ("first", "amplitude", "limit", "target")], f"another history: {its}")
    raw = subprocess.run(bench.command("record", "sheet", 1, "--archive", bench.archive, "--format", "csv"),
                         capture_output=True).stdout
    sheet = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    check(len({len(row) for row in sheet}) == 1, "the sheet is not RFC 4180")
    check(["entry", "torque", "25 N·m, \"twice\""] in [row[:3] for row in sheet], "the entry on the sheet")
    grouped = " ".join(re.findall("....", whole["digest"]))
    check(["particular", "Digest", grouped] in [row[:3] for row in sheet], "the digest on the sheet")
    page = bench.record("sheet", 1)
    check(whole["digest"] in page.replace(" ", "").replace("\n", ""), "the digest in the text")
    check(max(len(line) for line in page.splitlines()) <= 80, "the sheet is wider than 80 columns")
    levels = [dict(zip(sheet[[row[0] for row in sheet].index("level heading")], row)) for row in sheet if row[0] == "level"]
    for row, one in zip(levels, whole["check"]["readings"], strict=True):
        for name, key in (("expected", "expected"), ("measured after", "amplitude"), ("limit", "limit"), ("target", "target")):
            shown = row[name].split(" ")[0]
            check(shown in ("–", "not", "") if one[key] is None else abs(float(shown) - one[key]) <= 0.006 * one[key], f"not {one[key]}: {row}")
        check(row["as found"].split(" ")[0][:3] == f"{one['first']:.4f}"[:3], f"not as found: {row}, {one['first']}")
    signed = [row[1] for row in sheet if row[0] == "signature"]
    check(all(role in page for role in signed) and len(signed) == 4, f"signed by {signed}")
    web = bench.run("page", bench.folder / "examples/quillhaven/after.yaml", "--check-run")
    roles = re.search("<caption>Signatures</caption>.*?</table>", web, re.S).group()
    check(re.findall('<th scope="row">(.*?)</th>', roles) == signed, f"another's sheet is signed by others: {roles}")
    for words in ("Released by", "follow the manual", "Levels (amplitude", "Weights: what changes", "What the planes hold", "torque", "locking",
                  "manual and revision", "tools accounted for", "pieces accounted for", "Before you trust this", "Fan vibration above target", "warm_up 5 min at idle", "trial spinner", "+ spinner 30", "filler", "°"):
        check(words in " ".join(page.split()), f"no {words} on the sheet")


def read_by_others(bench: Bench):
    shell = subprocess.run(["sqlite3", bench.archive, "PRAGMA integrity_check; SELECT count(*) FROM record;"],
                           capture_output=True, text=True)
    check(shell.stdout.split() == ["ok", "2"], f"SQLite's shell says {shell.stdout} {shell.stderr}")


def corrected(bench: Bench):
    text = bench.text.replace("serial: LKM-417", "serial: LKM-418").replace("station: Quillhaven", "station: Quillhaven north")
    job = bench.folder / "examples/quillhaven/d.yaml"
    job.write_text(text, "utf-8")
    check("reason" in bench.file(job, "--corrects", 2, status=1), "a correction without a reason")
    check("of serial" in bench.file(job, "--corrects", 1, "--reason", "x", status=1), "another rotor's record corrected")
    bench.file(job, "--corrects", 2, "--reason", "the station was wrong")
    check(json.loads(bench.record("show", 2, "--format", "json"))["corrected_by"] == 3, "not told on the old record")
    check("Corrected by" in bench.record("sheet", 2) and "Corrects" in bench.record("sheet", 3), "nor on the sheets")


def expected_digest(bench: Bench):
    digest = json.loads(bench.record("show", 2, "--format", "json"))["digest"]
    grouped = " ".join(re.findall("....", digest))
    check(bench.proof(None, "--expect", grouped)["expected_at"] == 2, "the sheet's digest is not found")
    other = ("1" if digest[0] == "0" else "0") + digest[1:]
    check("not as it was filed" in bench.record("prove", "--expect", other, status=1), "a digest of no record")
    bench.record("prove", "--expect", "12", status=2)
    bench.record("prove", "--expect", "", status=2)


# --- faults -----------------------------------------------------------------------------------------------------


def at_once(bench: Bench):
    archive = bench.folder / "at-once.db"
    jobs = [bench.job(f"p{i}.yaml", f"P-{i}") for i in range(12)]
    filing = [subprocess.Popen(bench.filing(job, archive),
                               stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) for job in jobs]
    for one in filing:
        _, complaint = one.communicate(timeout=600)
        check(one.returncode == 0, f"one of twelve was not filed: {complaint}")
    proof = bench.proof(archive)
    check(proof["records"] == 12 and proof["whole"], f"{proof}")


def killed(bench: Bench):
    """SIGKILL at any moment: what was acknowledged is there, what is there is whole."""
    archive = bench.folder / "killed.db"
    rng = random.Random(4)
    begin = time.monotonic()
    bench.file(bench.job("k.yaml", "K-0"), archive=archive)
    usual = time.monotonic() - begin
    acknowledged, ended = 1, 0
    for i in range(1, KILLS + 1):
        job = bench.job("k.yaml", f"K-{i}")
        filing = subprocess.Popen(bench.filing(job, archive),
                                  stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        time.sleep(usual * rng.uniform(0.3, 1.1))
        filing.send_signal(signal.SIGKILL)
        said, _ = filing.communicate()
        if filing.returncode == -signal.SIGKILL:
            ended += 1
        else:
            usual *= 0.9  # the machine was busy when that was measured
        acknowledged += b"is filed" in said
        proof = bench.proof(archive)
        check(proof["whole"] and proof["records"] >= acknowledged, f"after kill {i}: {proof}, {acknowledged} acknowledged")
    check(ended >= KILLS // 4, f"only {ended} of {KILLS} were killed while they worked")
    bench.file(bench.job("k.yaml", "K-last"), archive=archive)


def killed_in_the_transaction(bench: Bench):
    """What power lost in mid-write leaves: a half-written archive beside its journal. SQLite's shell makes one: it
    kills itself inside a transaction whose pages are already in the file."""
    archive = bench.folder / "torn.db"
    bench.file(bench.job("t.yaml", "T-1"), archive=archive)
    before = bench.proof(archive)
    script = (f"import os, signal, sqlite3\ndb = sqlite3.connect({str(archive)!r}, isolation_level=None)\n"
              "db.execute('PRAGMA cache_size = 1')\ndb.execute('PRAGMA cache_spill = 1')\ndb.execute('BEGIN IMMEDIATE')\n"
              "for n in range(2, 60):\n"
              "    db.execute('INSERT INTO record SELECT ?, previous, digest, inputs, rotor, serial, station, date, person,'\n"
              "               ' verdict, level, filed_at, filed_by, software, corrects, reason, content, NULL FROM record'\n"
              "               ' WHERE number = 1', (n,))\nos.kill(os.getpid(), signal.SIGKILL)\n")
    torn = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    check(torn.returncode == -signal.SIGKILL, f"the writer was not killed: {torn.stderr}")
    check(Path(f"{archive}-journal").stat().st_size > 0, "no journal is left, so nothing was half-written")
    check(archive.stat().st_size > 100_000, "the half-written pages are not in the file")
    check(bench.proof(archive) == before, "the archive is not as it was")


def full_disk(bench: Bench):
    archive = bench.folder / "full.db"
    bench.file(bench.job("f.yaml", "F-1"), archive=archive)
    before = archive.read_bytes()

    def no_room():
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before), len(before)))

    message = bench.file(bench.job("f.yaml", "F-2"), archive=archive, status=1, preexec_fn=no_room, restore_signals=False)
    check("full" in message and "nothing was filed" in message, message)
    check(bench.proof(archive)["records"] == 1, "the archive changed")
    new = bench.folder / "never.db"

    def nothing_at_all():
        resource.setrlimit(resource.RLIMIT_FSIZE, (8000, 8000))  # the job is read, the archive is larger

    bench.file(bench.job("f.yaml", "F-2"), archive=new, status=1, preexec_fn=nothing_at_all, restore_signals=False)
    bench.file(bench.job("f.yaml", "F-3"), archive=new)  # the attempt left nothing in the way
    check(bench.proof(new)["records"] == 1, "a new archive after a full disk")
    tmpfs(bench)


def tmpfs(bench: Bench):
    """The same on a file system that is really full, where this user may mount one."""
    mount = bench.folder / "small"
    mount.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "none", str(mount)], capture_output=True).returncode != 0:
        print("  (no small file system could be mounted: RLIMIT_FSIZE alone)")
        return
    try:
        filed = 0
        while filed < 50:
            done = subprocess.run(bench.filing(bench.job("s.yaml", f"S-{filed}"), mount / "a.db"), capture_output=True, text=True)
            if done.returncode != 0:
                break
            filed += 1
        check(done.returncode == 1 and "full" in done.stderr, f"{done.returncode}: {done.stderr}")
        check(bench.proof(mount / "a.db")["records"] == filed, "not what was filed before the disk was full")
    finally:
        subprocess.run(["umount", str(mount)], check=True)


def read_only(bench: Bench):
    folder = bench.folder / "read-only"
    folder.mkdir()
    archive = folder / "a.db"
    bench.file(bench.job("r.yaml", "R-1"), archive=archive)
    os.chmod(archive, 0o444)
    os.chmod(folder, 0o555)
    other = (lambda: os.setuid(NOBODY)) if os.getuid() == 0 else None
    job = bench.job("r.yaml", "R-2")
    before = archive.read_bytes()
    message = bench.file(job, archive=archive, status=1, preexec_fn=other)
    check("read-only" in message, message)
    check("cannot be opened" in bench.file(job, archive=folder / "new.db", status=1, preexec_fn=other), "a new archive")
    found = subprocess.run(bench.command("record", "find", "--archive", archive), capture_output=True, text=True, preexec_fn=other)
    check(found.returncode == 0 and "R-1" in found.stdout, f"reading needs no writing: {found.stderr}")
    check(archive.read_bytes() == before and list(folder.iterdir()) == [archive], "something changed")
    os.chmod(folder, 0o755)


def newer(bench: Bench):
    archive = bench.folder / "newer.db"
    bench.file(bench.job("n.yaml", "N-1"), archive=archive)
    with sqlite3.connect(archive) as db:
        db.execute("PRAGMA user_version = 3")
    before = archive.read_bytes()
    for message in (bench.file(bench.job("n.yaml", "N-2"), archive=archive, status=1),
                    bench.record("find", archive=archive, status=1), bench.record("prove", archive=archive, status=1)):
        check("newer" in message, message)
    check(archive.read_bytes() == before, "it was touched")


def tampered(db, *statements):
    """What someone does who can write the file: takes the triggers out, changes records, puts the triggers back."""
    triggers = db.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        db.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        db.execute(statement)
    for _, sql in triggers:
        db.execute(sql)


def damaged(bench: Bench):
    archive = bench.folder / "damaged.db"
    for i in range(3):
        bench.file(bench.job("x.yaml", f"X-{i}"), archive=archive)
    head = bench.proof(archive)["head"]
    good = archive.read_bytes()
    rng = random.Random(8)
    with sqlite3.connect(archive) as db:
        contents = [row[0].encode() for row in db.execute("SELECT content FROM record ORDER BY number")]
    changed, tried = bench.folder / "changed.db", 0
    while tried < 60:  # a bit anywhere in a record's text; where a page ends within the 32 bytes they are not found
        content = rng.choice(contents)
        part = rng.randrange(len(content) - 32)
        at = good.find(content[part:part + 32])
        if at < 0:
            continue
        tried += 1
        at += rng.randrange(32)
        changed.write_bytes(good[:at] + bytes([good[at] ^ (1 << rng.randrange(8))]) + good[at + 1:])
        bench.record("prove", "--expect", head, archive=changed, status=1)
    for size in (0, 50, 100, 4096, len(good) // 2, len(good) - 4096):
        changed.write_bytes(good[:size])
        bench.record("prove", "--expect", head, archive=changed, status=1)
    changed.write_bytes(good)
    with sqlite3.connect(changed) as db:
        tampered(db, "DELETE FROM record WHERE number = 3")
    check(bench.proof(changed)["whole"], "a chain alone cannot know how long it was")
    check("not as it was filed" in bench.record("prove", "--expect", head, archive=changed, status=1), "the tail cut off")


def backed_up(bench: Bench):
    archive = bench.folder / "busy.db"
    bench.file(bench.job("u.yaml", "U-0"), archive=archive)
    stop = threading.Event()
    failures = []

    def file_on():
        i = 0
        while not stop.is_set():
            i += 1
            try:
                bench.file(bench.job("u.yaml", f"U-{i}"), archive=archive)
            except Wrong as wrong:
                failures.append(str(wrong))

    filing = threading.Thread(target=file_on)
    filing.start()
    try:
        for i in range(8):
            copy = bench.folder / f"copy-{i}.db"
            bench.record("backup", copy, archive=archive)
            check(bench.proof(copy)["whole"], f"copy {i}")
    finally:
        stop.set()
        filing.join()
    check(not failures, f"{failures[:1]}")
    check(bench.proof(archive)["records"] > 1, "nothing was filed meanwhile")
    bench.record("backup", bench.folder / "copy-0.db", archive=archive, status=3)


# --- bad input --------------------------------------------------------------------------------------------------


def bad_input(bench: Bench):
    archive = bench.folder / "bad.db"

    def refused(job, words, *more):
        message = bench.file(job, *more, archive=archive, status=1)
        check(words in message, f"not {words!r}: {message}")
        check(not archive.exists(), f"an archive was made for nothing: {message}")

    refused(bench.folder / "examples/quillhaven/first-visit.yaml", "first run")
    refused(bench.job("e.yaml", "X", **{"serial: X\n": ""}), "serial")
    refused(bench.job("e.yaml", "''"), "serial")
    check_run = bench.text[bench.text.index("  - name: check"):bench.text.index("\ntrim:")]
    trial = bench.job("trial.yaml", "X", **{check_run: "", ", after.csv": ""})
    refused(trial, 'or --run "trial drum"')
    taken_out = bench.job("e.yaml", "X", **{"\ntrim:": "\nfitted_now: same as as found\n\ntrim:"})
    refused(taken_out, "fitted_now has other weights")
    bench.file(taken_out, "--run", "check", archive=archive)
    bench.file(trial, "--run", "trial drum", archive=archive, dated="2031-05-12")
    archive.unlink()
    for serial in ('"LKM\\x1b[31m"', '"LKM\\n417"', '"LKM\\u202e714"', '"LKM\\u200b417"', '" LKM"', "L" * (1 << 20)):
        refused(bench.job("e.yaml", serial), "at most 1024" if len(serial) > 1024 else "serial")
    refused(bench.job("e.yaml", "X-1", **{"station: Quillhaven test stand": "station: " + "Q" * (1 << 20)}), "at most 1024")
    refused(bench.job("e.yaml", "X-1", **{"title: Fan vibration": 'title: \u2066Fan\u2069 vibration'}), "title")
    refused(bench.job("e.yaml", "X-1"), "entry", "--entry", "torque: \x1b[2J")
    for words in (["--entry", "torque"], ["--entry", ": 3"], ["--entry", "a: 1", "--entry", "a: 2"], ["--corrects", "0"],
                  ["--reason", "x"]):
        bench.file(bench.job("e.yaml", "X-1"), *words, archive=archive, status=2)
    bench.file(bench.job("e.yaml", "\"X'; DROP TABLE record; --\""), archive=archive)
    check(bench.proof(archive)["records"] == 1, "SQL in a serial")
    message = bench.file(bench.folder / "examples/quillhaven/e.yaml", archive=archive, status=1)
    check("filed already" in message and "record 1" in message, message)
    bench.record("show", 2, archive=archive, status=1)
    bench.record("show", 0, archive=archive, status=2)
    check("record find --serial" in bench.record("show", "LKM-417", archive=archive, status=2), "a serial for a number")
    check("there is no folder" in bench.record("find", archive=bench.folder / "nowhere/a.db", status=1), "a missing folder")
    (bench.folder / "one-job").mkdir()
    shutil.copy(bench.folder / "examples/quillhaven/after.yaml", bench.folder / "one-job")
    message = bench.file(bench.folder / "one-job", archive=archive, status=1)
    check("this is a folder" in message and "after.yaml" in message, message)
    (bench.folder / "empty.db").touch()
    check("this file is empty" in bench.record("find", archive=bench.folder / "empty.db", status=1), "an empty file")
    bench.record("compare", "X-2", archive=archive, status=1)
    bench.record("find", "--from", "yesterday", archive=archive, status=2)
    bench.record("find", archive=bench.folder / "none.db", status=1)
    check(not (bench.folder / "none.db").exists(), "looking made an archive")
    bench.record("export", "-o", archive, archive=archive, status=3)
    check(bench.proof(archive)["whole"], "the archive was written over")
    for run, words in (("as found", "first run"), ("first trial", "set aside"), ("nobody", "no run")):
        check(words in bench.run("check", bench.folder / "examples/quillhaven/after.yaml", "--run", run, status=1), run)


def whole_trim(bench: Bench):
    folder = bench.folder / "whole-trim"
    done = subprocess.run(["sh", bench.project / "examples/whole-trim", folder, "11"], capture_output=True, text=True,
                          env={**os.environ, "TRIMWRIGHT": str(bench.program)}, timeout=900)
    check(done.returncode == 0, done.stderr)
    for words in ("Verdict on the check run", "Trim balance: before and after", "each as it was filed"):
        check(words in done.stdout, f"no {words!r} in {done.stdout}")


def no_subcommand(bench: Bench):
    for command, names in (("record", "file readings find show sheet export compare trend prove backup send setup"), ("rehearse", "new run truth")):
        done = subprocess.run(bench.command(command), capture_output=True, text=True)
        message, *listed = done.stderr.splitlines()
        check(done.returncode == 2 and not done.stdout, f"{command}: status {done.returncode}, {done.stdout}")
        check(message.startswith(f"trimwright: {command}: no subcommand"), message)
        check([line.split()[0] for line in listed] == names.split(), f"{listed}")


# --- the right thing, once ---------------------------------------------------------------------------------------


def once(bench: Bench):
    """The same trim is recognised whatever else is written in its files; a correction says what it changes."""
    archive = bench.folder / "once.db"
    bench.file(bench.job("o.yaml", "O-1"), archive=archive)
    folder = bench.folder / "examples/quillhaven"
    shutil.copy(folder / "after.csv", folder / "renamed.csv")
    for changes in ({"trimwright: job 1": "trimwright: job 1\n# a comment"}, {"readings.csv, after.csv": "readings.csv, renamed.csv"},
                    {"who: R. Orrin\n    conditions: {warm_up: 5 min at idle, dwell: 60 s, wind: 3 kt on the nose}":
                     "who: N. Other"}, {"title: Fan vibration": "title: The fan's vibration"}):
        message = bench.file(bench.job("again.yaml", "O-1", **changes), archive=archive, status=1)
        check("filed already as record 1" in message, message)
    check("filed already as record 1" in bench.file(bench.job("again.yaml", "o-1"), archive=archive, status=1), "small letters")
    same = bench.job("o.yaml", "O-1")
    check("nothing differs" in bench.file(same, "--corrects", 1, "--reason", "x", archive=archive, status=1), "a correction of nothing")
    other = bench.job("again.yaml", "O-1", **{"station: Quillhaven test stand": "station: Quillhaven north"})
    said = bench.file(other, "--corrects", 1, "--reason", "the station", archive=archive)
    check("differs from it in: station, files" in said, said)
    last = bench.job("again.yaml", "O-1", **{"station: Quillhaven test stand": "station: Quillhaven south"})
    message = bench.file(last, "--corrects", 1, "--reason", "the station", archive=archive, status=1)
    check("corrected already, by record 2" in message, message)
    bench.file(last, "--corrects", 2, "--reason", "the station", archive=archive)
    check(bench.proof(archive)["records"] == 3, "not three records")


def trial_without_a_name(bench: Bench):
    """Runs called "run 2" and "run 3": a run that is the first to change a plane's weights is no finished trim."""
    archive = bench.folder / "trial.db"
    check_run = bench.text[bench.text.index("  - name: check"):bench.text.index("\ntrim:")]
    run_up = re.search(r"    run_up: run-up.csv.*\n", bench.text)[0]
    job = bench.job("runs.yaml", "T-9", **{check_run: "", ", after.csv": "", run_up: "", "name: trial spinner": "name: run 2",
                                          "name: trial drum": "name: run 3", "as found\n    when": "run 1\n    when",
                                          "same as as found": "same as run 1"})
    table = bench.folder / "examples/quillhaven/readings.csv"
    kept = table.read_text("utf-8")
    try:
        table.write_text(kept.replace("trial spinner", "run 2").replace("trial drum", "run 3").replace("as found", "run 1"), "utf-8")
        message = bench.file(job, archive=archive, status=1, dated="2031-05-12")
        check('looks like a trial run: no run before it changed the weights in plane "drum"' in message, message)
        bench.file(job, "--run", "run 3", archive=archive, dated="2031-05-12")
    finally:
        table.write_text(kept, "utf-8")


def dates(bench: Bench):
    archive = bench.folder / "dates.db"
    when = "when: 2031-05-13 10:05"
    for written, words in (("when: 13.05.2031", "begins with no date"), ("when: 2031-02-30 10:00", "there is no day"),
                           ("when: 9999-99-99", "there is no day"), ("wind: none", "does not say when")):
        changes = {when: written} if written.startswith("when") else {"    " + when + "\n": ""}
        for dated in (None, MADE):
            message = bench.file(bench.job("dated.yaml", "D-1", **changes), archive=archive, status=1, dated=dated)
            check(words in message, f"{written}: {message}")
    message = bench.file(bench.job("dated.yaml", "D-1"), archive=archive, status=1, dated=None)
    check("and today is" in message and "--dated 2031-05-13" in message, message)
    old = bench.job("dated.yaml", "D-1", **{"when: 2031-05-": "when: 1998-05-"})
    check("--dated 1998-05-13" in bench.file(old, archive=archive, status=1, dated=None), "a run years ago")
    check("--dated says 2031-05-13" in bench.file(old, archive=archive, status=1), "another date is said")
    check(not archive.exists(), "an archive was made for nothing")
    bench.file(old, archive=archive, dated="1998-05-13")
    yesterday, today = (time.strftime("%Y-%m-%d", time.gmtime(time.time() - ago)) for ago in (86400, 0))
    said = bench.filing_said(bench.job("dated.yaml", "D-1", **{"when: 2031-05-12": f"when: {yesterday}", when: f"when: {today} 10:05"}),
                             archive=archive, dated=None)
    check("every reading of the check run is that of record 1 (1998-05-13)" in said, f"a copy with other dates: {said}")
    message = bench.file(bench.job("dated.yaml", "D-2", **{when: "when: 2031-05-12 14:19"}), archive=archive, status=1, dated="2031-05-12")
    check('before run "trial drum", which was made at 2031-05-12 14:20' in message, message)
    bench.file(bench.job("dated.yaml", "D-2", **{when: "when: 2031-05-12"}), archive=archive, dated="2031-05-12")
    # The same check run with one reading more is no other trim.
    table = bench.folder / "examples/quillhaven/after.csv"
    kept = table.read_text("utf-8")
    try:
        more = re.sub(r",([0-9.]+) (in/s|mil)", lambda m: f",{float(m[1]) * 1.01:.4f} {m[2]}", kept.splitlines()[1])
        check(more != kept.splitlines()[1], f"the same reading: {more}")
        table.write_text(kept + more + "\n", "utf-8")
        message = bench.file(bench.job("dated.yaml", "D-2", **{when: "when: 2031-05-12"}), archive=archive, status=1, dated="2031-05-12")
        check("record 3 is of the same serial and of a check run made at the same time (2031-05-12)" in message, message)
        check("--corrects 3" in message, message)
    finally:
        table.write_text(kept, "utf-8")


def judged_is_filed(bench: Bench):
    """While another program writes a table over and over, a record's verdict is that of the files in the record."""
    archive = bench.folder / "judged.db"
    table = bench.folder / "examples/quillhaven/after.csv"
    kept = table.read_bytes()
    rows = kept.decode().splitlines()
    other = "\n".join(rows[:1] + [re.sub(r"([0-9.]+) (in/s|mil)", lambda m: f"{float(m[1]) * 1.5:.4f} {m[2]}", row)
                                  for row in rows[1:]]).encode() + b"\n"
    check(other != kept, "the tables are alike")
    stop = threading.Event()

    def write_over():
        while not stop.is_set():
            for text in (other, kept):
                (table.parent / "new.csv").write_bytes(text)
                os.replace(table.parent / "new.csv", table)

    writing = threading.Thread(target=write_over)
    writing.start()
    try:
        for i in range(12):
            bench.file(bench.job("j.yaml", f"J-{i}"), archive=archive)
    finally:
        stop.set()
        writing.join()
        table.write_bytes(kept)
    for i in range(12):
        folder = bench.folder / f"judged-{i}"
        record = json.loads(bench.record("show", i + 1, "--files", folder, "--format", "json", archive=archive))
        again = json.loads(bench.run("check", folder / record["files"][0]["name"], "--format", "json"))
        check(again == record["check"], f"record {i + 1} holds other files than those judged")


def spreadsheets(bench: Bench):
    """No cell of a table is run by a spreadsheet; numbers stay numbers."""
    archive = bench.folder / "cells.db"
    job = bench.job("cells.yaml", '"=cmd|x"', **{"station: Quillhaven test stand": 'station: "@SUM(1+1)"',
                                                 "who: R. Orrin": 'who: "+HYPERLINK(1)"'})
    bench.file(job, "--entry", "torque: -2+3", "--entry", "lift: -12.5", archive=archive)
    for words in (["export"], ["sheet", 1, "--format", "csv"]):
        cells = [cell for row in csv.reader(io.StringIO(bench.record(*words, archive=archive))) for cell in row]
        risky = [cell for cell in cells if len(cell) > 1 and cell[0] in "=+-@\t\r" and not re.fullmatch(r"[-+][0-9.eE+-]+", cell)]
        check(not risky, f"{words}: {risky}")
        check("'=cmd|x" in cells, f"{words}: no serial in {cells[:60]}")
    check("-12.5" in cells, "a number is no number any more")


def found_by_part(bench: Bench):
    said = bench.record("find", "--serial", "417")
    check("No record." in said and '"LKM-417"' in said and "whole serial" in said, said)
    check('"LKM-417"' in bench.record("compare", "417", status=1), "compare tells no whole serial")
    history = bench.record("compare", "LKM-418")
    check("target" in history and "corrected by record 3" in history, history)
    check(len(history.split("\n\n")) > 2, f"no readings: {history}")
    for block in history.split("\n\n")[1:-1]:
        decimals = {len(cell.partition(".")[2]) for line in block.splitlines()[2:]
                    for cell in re.findall(r"  +([0-9.]+)(?=  |$)", line)[2:]}
        check(len(decimals) == 1, f"decimals not alike: {block}")


def proved_by_others(bench: Bench):
    """The script of docs/records.md, with Python's hashlib alone, and RFC 9162's tree as its section 2.1 defines it."""
    lines = bench.folder / "lines.jsonl"
    bench.record("export", "--format", "lines", "-o", lines)
    text = (bench.project / "docs/records.md").read_text("utf-8")
    script = bench.folder / "prove.py"
    script.write_text(text.split("```python\n")[1].split("```")[0], "utf-8")
    check(len(script.read_text("utf-8").splitlines()) <= 25, "the script is long")

    def proved():
        return subprocess.run([sys.executable, str(script), str(lines)], capture_output=True, text=True)

    good = proved()
    check(good.returncode == 0 and bench.proof()["head"] in good.stdout, f"{good.stdout} {good.stderr}")
    kept = lines.read_text("utf-8")
    for old, new in (("Quillhaven north", "Quillhaven south"), ('"corrects":null', '"corrects":0'), ('"number":2', '"number":7')):
        check(old in kept, f"no {old}")
        lines.write_text(kept.replace(old, new, 1), "utf-8")
        check(proved().returncode != 0, f"{new} is not noticed")
    digests = [bytes.fromhex(json.loads(line)["digest"]) for line in kept.splitlines()]
    head = bench.proof()["tree_head"]
    check(head == f"{len(digests)}-{root_of(digests).hex()}", f"another head than RFC 9162's: {head}")


def root_of(leaves):
    if len(leaves) <= 1:
        return hashlib.sha256(b"\0" + leaves[0] if leaves else b"").digest()
    half = 1 << (len(leaves) - 1).bit_length() - 1
    return hashlib.sha256(b"\1" + root_of(leaves[:half]) + root_of(leaves[half:])).digest()


def older(bench: Bench):
    """An archive of version 1, made here from its description, is read, proved, added to and never files a trim twice."""
    archive, new = bench.folder / "older.db", bench.folder / "newest.db"
    bench.file(bench.job("v.yaml", "V-1"), archive=new)
    with sqlite3.connect(new) as db, sqlite3.connect(archive, isolation_level=None) as old:
        for name, sql in db.execute("SELECT name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite%' AND sql NOT NULL"):
            if name not in ("record_by_date", "record_by_origin"):
                old.execute(sql.replace(",\n  origin BLOB", ""))
        names = [row[1] for row in old.execute("PRAGMA table_info(record)")]
        row = dict(zip(names, db.execute(f"SELECT {', '.join(names)} FROM record").fetchone()))
        row["inputs"] = hashlib.sha256(b"the files").digest()
        digest = hashlib.sha256(b"trimwright record 1" + struct.pack("<Q", 1) + bytes(32))
        for name in ("rotor", "serial", "station", "date", "person", "verdict", "filed_at", "filed_by", "software", "reason"):
            digest.update(struct.pack("<Q", len(row[name].encode())) + row[name].encode())
        content = row["content"].encode()
        digest.update(struct.pack("<dQ", row["level"], 0) + row["inputs"] + struct.pack("<Q", len(content)) + content)
        row["digest"] = digest.digest()
        old.execute(f"INSERT INTO record VALUES ({', '.join('?' * len(names))})", [row[name] for name in names])
        old.execute("PRAGMA application_id = 0x54726d57")
        old.execute("PRAGMA user_version = 1")
    check(bench.proof(archive)["whole"], "an older archive does not prove")
    check("filed already as record 1" in bench.file(bench.job("v.yaml", "V-1"), archive=archive, status=1), "filed twice")
    bench.file(bench.job("v.yaml", "V-2"), archive=archive)
    check(bench.proof(archive)["whole"] and "V-2" in bench.record("find", archive=archive), "not filed")
    with sqlite3.connect(archive) as old:
        tampered(old, "UPDATE record SET corrects = 0 WHERE number = 1")
    check("does not fit" in bench.proof_of_faults(archive), "corrects 0 is not noticed in an older archive")


def no_exceptions(bench: Bench):
    """A record with a right digest and no document of ours, and names that are no text: one message each."""
    archive = bench.folder / "odd.db"
    bench.file(bench.job("odd.yaml", "ODD"), archive=archive)
    for content in ('{"check": 3}', '{"trimwright": "record 1"}', "[]", "no JSON", '{"files": [{"name": 7}]}'):
        odd = bench.folder / "odd-content.db"
        shutil.copy(archive, odd)
        line = json.loads(bench.record("export", "--format", "lines", archive=archive))
        digest = digest_by_rule(line | {"content": content})
        with sqlite3.connect(odd) as db:
            tampered(db, f"UPDATE record SET content = '{content}', digest = x'{digest}'")
        for words in (["sheet", 1], ["sheet", 1, "--format", "csv"], ["show", 1, "--format", "json"], ["compare", "ODD"],
                      ["show", 1, "--files", bench.folder / "nothing"]):
            message = bench.record(*words, archive=odd, status=1)
            check("no document that this program understands" in message, message)
    folder = os.fsencode(bench.folder / "examples/quillhaven")
    name = folder + b"/job-\xff.yaml"
    with open(name, "wb") as job:
        job.write(bench.text.replace("LKM-417", "ODD-2").encode())
    done = subprocess.run([os.fsencode(one) for one in bench.filing(Path("JOB"), archive)][:3] + [name] +
                          [os.fsencode(one) for one in bench.filing(Path("JOB"), archive)][4:], capture_output=True)
    check(done.returncode == 1 and done.stderr.startswith(b"trimwright: ") and b"json" not in done.stderr, f"{done.stderr}")


def digest_by_rule(line: dict) -> str:
    """The second rule of docs/records.md, for one exported line."""
    digest = hashlib.sha256(b"trimwright record 2" + struct.pack("<Q", line["number"]) + bytes.fromhex(line["previous"]))
    for key in ("rotor", "serial", "station", "date", "person", "verdict", "filed_at", "filed_by", "software", "reason"):
        digest.update(struct.pack("<Q", len(line[key].encode())) + line[key].encode())
    digest.update(struct.pack("<dQQ", line["worst_ratio"], line["corrects"] is not None, line["corrects"] or 0))
    digest.update(bytes.fromhex(line["inputs"]))
    for field in (bytes.fromhex(line["origin"] or ""), line["content"].encode()):
        digest.update(struct.pack("<Q", len(field)) + field)
    return digest.hexdigest()


def edited(bench: Bench):
    """What was edited in the file is told wherever it is shown, and nothing is filed after it."""
    archive = bench.folder / "edited.db"
    for i in range(2):
        bench.file(bench.job("q.yaml", f"Q-{i}"), archive=archive)
    with sqlite3.connect(archive) as db:
        tampered(db, "UPDATE record SET level = 0.01 WHERE number = 2")
    done = subprocess.run(bench.command("record", "find", "--archive", archive), capture_output=True, text=True)
    check(done.returncode == 1 and "NOT AS IT WAS FILED" in done.stdout and "not as it was filed" in done.stderr, f"{done}")
    for words in (["show", 2], ["sheet", 2], ["export"], ["compare", "Q-1"]):
        done = subprocess.run(bench.command("record", words[0], "--archive", archive, *words[1:]), capture_output=True, text=True)
        check(done.returncode == 1 and "not as it was filed" in done.stderr, f"{words}: {done}")
    check("nothing was filed" in bench.file(bench.job("q.yaml", "Q-2"), archive=archive, status=1), "filed after an edited record")
    done = subprocess.run(bench.command("record", "show", 1, "--archive", archive), capture_output=True, text=True)
    check(done.returncode == 1 and "Trim balance" in done.stdout and "not as it was filed" in done.stderr, f"a whole record of it: {done}")
    done = subprocess.run(bench.command("record", "show", 2, "--archive", archive), capture_output=True, text=True)
    check(done.stdout.startswith("RECORD 2 IS NOT AS IT WAS FILED") and "Signatures" not in done.stdout, f"{done.stdout[:500]}")
    check("worst_ratio says 0.01; when it was filed it said 0." in done.stdout, f"{done.stdout[:500]}")
    for name in (":memory:", "file:x.db", "file::memory:?cache=shared"):
        check("no name of a file" in bench.file(bench.job("q.yaml", "Q-3"), archive=name, status=1), f"filed in {name}")


def what_was_edited(bench: Bench):
    """What differs is named, what it said before where the record proves it; no sentence says more than is so."""
    archive, changed = bench.folder / "whole.db", bench.folder / "edited-one.db"
    for i in range(3):
        bench.file(bench.job("w.yaml", f"W-{i}"), archive=archive)
    digests = [json.loads(bench.record("show", i, "--format", "json", archive=archive))["digest"] for i in (1, 2, 3)]
    content = json.loads(bench.record("show", 1, "--format", "json", archive=archive))
    amplitude = content["check"]["readings"][0]["amplitude"]

    def after(*statements):
        shutil.copy(archive, changed)
        with sqlite3.connect(changed) as db:
            tampered(db, *statements)

    def proof(*words):
        done = subprocess.run(bench.command("record", "prove", *words, "--archive", changed), capture_output=True, text=True)
        check(done.returncode == 1, f"{done}")
        return " ".join(done.stdout.split())

    reading = f"UPDATE record SET content = replace(content, '\"amplitude\":{amplitude}', '\"amplitude\":0.123') WHERE number = 1"
    after(reading)
    for expected, words in ((digests[0], "Record 1 has the expected digest written beside it, but it is NOT what the sheet was printed from"),
                            (digests[1], "Record 2 has the expected digest and is what the sheet was printed from. That all before it is as it was filed is NOT so")):
        said = proof("--expect", expected)
        check(words in said and "those the sheet was printed from" not in said, said)
        check("Head of the archive" not in said and "Digest of the last" not in said, said)
    check(f"amplitude says 0.123; when it was filed it said {amplitude:.6g}" in said, said)
    check(json.loads(bench.run("record", "prove", "--archive", archive, "--expect", digests[1], "--format", "json"))["expected_holds"], "whole")
    for statement, words in (("UPDATE record SET serial = 'W-9' WHERE number = 1", 'serial says "W-9"; when it was filed it said "W-0"'),
                             ("UPDATE record SET content = replace(content, '\"serial\":\"W-0\"', '\"serial\":\"W-9\"') WHERE number = 1",
                              'serial says "W-9"; when it was filed it said "W-0"; check serial says'),
                             ("UPDATE record SET inputs = zeroblob(32) WHERE number = 1", "the mark by which the same trim is known again"),
                             ("UPDATE record SET digest = zeroblob(32) WHERE number = 1", "as record 2 shows, which holds the right one"),
                             ("DELETE FROM record WHERE number = 2", "stands where record 2 should: record 2 is missing"),
                             ("UPDATE record SET content = 'no JSON' WHERE number = 1", "compare it line by line with the signed sheet")):
        after(statement)
        said = proof()
        check(words in said, f"{statement}: {said}")
        check("nothing was filed" in bench.file(bench.job("w.yaml", "W-7"), archive=changed, status=1), f"filed after {statement}")
        for command in (["find", "--serial", "W-2"], ["compare", "W-2"], ["export"], ["sheet", 3]):
            done = subprocess.run(bench.command("record", command[0], "--archive", changed, *command[1:]), capture_output=True, text=True)
            check(done.returncode == 1 and "not as it was filed" in done.stderr, f"{statement}, {command}: {done}")


def second_visit(bench: Bench):
    """After "baseline: new" as found is what this visit found, in check, sheet, page, history and export."""
    folder = bench.folder / "second-visit"
    shutil.copytree(bench.folder / "examples/quillhaven", folder)
    text = bench.text.replace("LKM-417", "V-2").replace("../../configs", str(bench.folder / "configs"))
    text = text.replace("\ntrim:", """
  - name: relubricated
    when: 2032-04-07 09:00
    before: [{baseline: new}]
    fitted: {spinner: {4: K3, 19: K2, 37: K7, 40: K7}, drum: {8: D12}}
  - name: second check
    when: 2032-04-07 11:00
    fitted: {spinner: {4: K3, 19: K2, 37: K7}, drum: {8: D12}}

trim:""").replace("after.csv]", "after.csv, second.csv]")
    rows = list(csv.reader(io.StringIO((folder / "after.csv").read_text("utf-8"))))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(rows[0])
    for name, factor in (("relubricated", 1.25), ("second check", 1.1)):
        for row in rows[1:]:
            cells = [name if cell == "check" else cell for cell in row]
            at = next(c for c, cell in enumerate(cells) if re.fullmatch(r"[0-9.]+ (in/s|mil).*", cell))
            size, unit = cells[at].split(" ", 1)
            writer.writerow(cells[:at] + [f"{float(size) * factor:.4f} {unit}"] + cells[at + 1:])
    (folder / "second.csv").write_text(out.getvalue(), "utf-8")
    job = folder / "second.yaml"
    job.write_text(text, "utf-8")
    archive = bench.folder / "second.db"
    bench.file(job, archive=archive, dated="2032-04-07")
    record = bench.valid(bench.record("show", 1, "--format", "json", archive=archive))
    found = {(one["speed"], one["sensor"]): one for run in record["runs"] if run["run"] == "relubricated" for one in run["readings"]
             if one["component"] == "once-per-rev"}
    for one in record["check"]["readings"]:
        if one["component"] == "once-per-rev":
            its = found[one["speed"], one["sensor"]]["amplitude"]
            check(abs(one["first"] - its) < 1e-9, f"as found of another visit: {one}, not {its}")
    check([(one["plane"], one["slot"]) for one in record["weights"]["removed"]] == [("spinner", 40)], f"{record['weights']['removed']}")
    check(record["weights"]["fitted"] == [], f"put in what was in: {record['weights']['fitted']}")
    sheet = list(csv.reader(io.StringIO(bench.record("sheet", 1, "--format", "csv", archive=archive))))
    heading = next(row for row in sheet if row[0] == "level heading")
    for row in (dict(zip(heading, row)) for row in sheet if row[0] == "level"):
        if "overall" not in row["sensor"]:
            its = found[row["speed"], row["sensor"]]
            check(abs(float(row["as found"]) - its["amplitude"]) <= 0.006 * its["amplitude"], f"{row}, not {its}")
            check(int(row["as found phase"]) == math.floor(its["phase_deg"] + 0.5) % 360, f"{row}, not {its}")
    history = json.loads(bench.record("compare", "V-2", "--format", "json", archive=archive))
    exported = list(csv.DictReader(io.StringIO(bench.record("export", archive=archive))))
    firsts = sorted(round(one["first"], 9) for one in record["check"]["readings"] if one["component"] == "once-per-rev")
    check(sorted(round(one["before"], 9) for level in history["levels"] for one in level["readings"]) == firsts, f"{history['levels']}")
    for row in exported:
        check(row["taken_out"] == "spinner slot 40 K7" and row["put_in"] == "", f"{row}")
        check(row["component"] != "once-per-rev" or row["before_phase_deg"] != "", f"{row}")
    check("Levels, expectations and plan are those since run" in " ".join(bench.record("sheet", 1, archive=archive).split()), "no word of it")


def wrong_serial(bench: Bench):
    """A record filed under a wrong serial is corrected under the right one, and both histories say so."""
    archive = bench.folder / "serial.db"
    bench.file(bench.job("z.yaml", "Z-714"), "--entry", "aircraft: Q-ALM", archive=archive)
    right = bench.job("z.yaml", "Z-741")
    message = bench.file(right, "--corrects", 1, "--reason", "misread plate", archive=archive, status=1)
    check('--wrong-serial "Z-714"' in message, message)
    said = bench.file(right, "--corrects", 1, "--reason", "misread plate", "--wrong-serial", "Z-714", archive=archive)
    check("Verdict: ACCEPTED" in said and "differs from it in: serial" in said, said)
    old, new = (" ".join(bench.record("compare", serial, archive=archive).split()) for serial in ("Z-714", "Z-741"))
    check("corrected by record 2, which is of serial Z-741: the serial of this one was wrong" in old, old)
    check("corrects record 1, which was filed under serial Z-714 by mistake" in new, new)
    check("filed under serial Z-714, which was wrong" in " ".join(bench.record("sheet", 2, archive=archive).split()), "not on the sheet")
    check(bench.proof(archive)["whole"], "it does not prove")
    # A correction keeps the entries; records are found and exported by them.
    check(json.loads(bench.record("show", 2, "--format", "json", archive=archive))["entries"] == {"aircraft": "Q-ALM"}, "entries are lost")
    found = json.loads(bench.record("find", "--entry", "Aircraft: q-al", "--most", 1, "--format", "json", archive=archive))
    check([one["number"] for one in found["records"]] == [2], f"{found}")
    check("No record" in bench.record("find", "--entry", "aircraft: Q-BLM", archive=archive), "another aircraft")
    rows = list(csv.DictReader(io.StringIO(bench.record("export", archive=archive))))
    comma = list(csv.DictReader(io.StringIO(bench.record("export", "--format", "csv-comma", archive=archive)), delimiter=";"))
    check([row["after"].replace(",", ".") for row in comma] == [row["after"] for row in rows] and "," in comma[0]["after"], f"{comma[0]}")
    check({row["entries"] for row in rows} == {"aircraft: Q-ALM"} and {row["reason"] for row in rows} == {"", "misread plate"}, f"{rows[0]}")
    done = subprocess.run(bench.command("record", "export", "--archive", archive, "--serial", "Z-0"), capture_output=True, text=True)
    check(done.returncode == 0 and "no record is what was asked for" in done.stderr, f"{done}")
    bench.record("find", "--from", "2031-06-01", "--to", "2031-05-01", archive=archive, status=2)
    said = bench.filing_said(bench.job("z.yaml", "Z 741"), "--entry", "torqe: 25 N·m", archive=archive)
    check('records of serial "Z-741": is "Z 741" the same rotor?' in said and '"torqe" is almost "torque"' in said, said)
    shared = bench.folder / "serial-shared.db"
    check("3 sent" in bench.run("record", "send", archive, shared), "a correction of a serial is not sent")
    check(bench.proof(shared)["whole"], "what was sent does not prove")


def sent(bench: Bench):
    local, shared = bench.folder / "local.db", bench.folder / "shared.db"
    for i in range(2):
        bench.file(bench.job("l.yaml", f"L-{i}"), archive=local)
    bench.file(bench.job("l.yaml", "L-1"), archive=shared)
    said = bench.run("record", "send", local, shared)
    check("1 sent, 1 there already, 0 not sent" in said, said)
    check("0 sent, 2 there already, 0 not sent" in bench.run("record", "send", local, shared), "sent twice")
    digest = json.loads(bench.record("show", 1, "--format", "json", archive=local))["digest"]
    check(bench.proof(shared, "--expect", digest)["expected_at"] == 2, "the local sheet does not prove in the shared archive")
    for archive, number, station in ((local, 1, "north"), (shared, 2, "south")):
        job = bench.job("l.yaml", "L-0", **{"station: Quillhaven test stand": f"station: {station}"})
        bench.file(job, "--corrects", number, "--reason", "the station", archive=archive)
    done = subprocess.run(bench.command("record", "send", local, shared), capture_output=True, text=True)
    check(done.returncode == 1 and "Record 3 is NOT sent" in done.stdout and "record 3 corrects there" in done.stdout, f"{done}")


CASES = [verdict, filed_and_found, learned_from, done_again, tables, read_by_others, corrected, expected_digest, at_once,
         killed, killed_in_the_transaction, full_disk, read_only, newer, damaged, backed_up, bad_input,
         no_subcommand, whole_trim, once, trial_without_a_name, dates, judged_is_filed, spreadsheets, found_by_part,
         proved_by_others, older, no_exceptions, edited, what_was_edited, second_visit, wrong_serial, sent]


def run_cases(cases):
    """The exit status of a test: of `cases` one after the other, until one is wrong."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("program", type=Path)
    arguments.add_argument("project", type=Path)
    arguments.add_argument("--only", default="")
    options = arguments.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        os.chmod(scratch, 0o755)
        program = Path(scratch) / "trimwright"
        shutil.copy(options.program.resolve(), program)
        bench = Bench(program, options.project.resolve(), Path(scratch))
        for case in cases:
            if options.only and options.only not in case.__name__:
                continue
            try:
                case(bench)
            except Wrong as wrong:
                print(f"{case.__name__}: {wrong}")
                return 1
            print(f"{case.__name__}: ok", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(run_cases(CASES))
