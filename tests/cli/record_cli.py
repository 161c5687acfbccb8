#!/usr/bin/env python3
"""The verdict, the archive and its faults, through the built program alone.

    record_cli.py PROGRAM PROJECT [--only WORD]

Read from outside by Python's csv and sqlite3, SQLite's own command-line shell, and jsonschema with the schemas of
docs/schemas. The faults are real ones: processes that file at the same time, processes killed while they file, a full
disk, a folder that cannot be written, an archive of a newer version, bytes changed, records cut off the end.
"""

import argparse
import csv
import io
import json
import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import jsonschema

KILLS = 40
NOBODY = 65534


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
                     "examples/quillhaven/after.csv", "examples/quillhaven/first-visit.yaml"):
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

    def file(self, job: Path, *words, status=0, archive=None, **how) -> str:
        return self.record("file", job, "--by", "L. Marsh", *words, status=status, archive=archive, **how)

    def proof(self, archive=None, *words) -> dict:
        return json.loads(self.record("prove", "--format", "json", *words, archive=archive))

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
    check("ACCEPTED" in text and "manual holds" in text, "no verdict or no caution in the text")
    check(max(len(line) for line in text.splitlines()) <= 100, "wider than 100 columns")
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
    bench.valid(bench.record("prove", "--format", "json"))
    history = bench.record("compare", "LKM-417")
    check("serial LKM-417" in history and "manual holds" in history and history.count("2031-05-13") > 9, history)


def learned_from(bench: Bench):
    """A prior learned from an archive is the one learned from the jobs that were filed in it, corrected ones left out."""
    fleet, archive = bench.folder / "fleet", bench.folder / "fleet.db"
    table = (bench.project / "examples/quillhaven/readings.csv").read_text("utf-8").splitlines()
    draws = random.Random(11)
    for number in (417, 418, 419, 420, 421):
        folder = fleet / f"job{number}"
        folder.mkdir(parents=True)
        changed = table[:1]
        for line in table[1:]:
            cells = line.split(",")
            if " " in cells[3]:
                amplitude, unit = cells[3].split(" ", 1)
                cells[3] = f"{float(amplitude) * (1 + draws.gauss(0, 0.05)):.4f} {unit}"
            changed.append(",".join(cells))
        (folder / "readings.csv").write_text("\n".join(changed) + "\n", "utf-8")
        shutil.copy(bench.project / "examples/quillhaven/after.csv", folder)
        text = bench.text.replace("LKM-417", f"LKM-{number}").replace("../../configs", str(bench.project / "configs"))
        (folder / "job.yaml").write_text(text, "utf-8")
        bench.file(folder / "job.yaml", archive=archive)
    text = (fleet / "job421/job.yaml").read_text("utf-8").replace("30: K5}", "30: K4}")  # the last, so that the order is the same
    (fleet / "job421/job.yaml").write_text(text, "utf-8")
    bench.file(fleet / "job421/job.yaml", "--corrects", 5, "--reason", "it was K4", archive=archive)
    from_folder = bench.run("influence", "--learn", fleet)
    from_archive = bench.run("influence", "--learn", archive, "--rotor", "Larkmere demonstrator fan")
    check(from_folder == from_archive and "jobs: 5" in from_folder, f"{from_folder[:300]} but {from_archive[:300]}")
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
    check("prior of the rotor" in bench.run("plan", job), "planned without the prior")
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
    for row, one in zip(readings, whole["check"]["readings"]):
        check(abs(float(row[14]) - one["amplitude"]) <= 1e-5 * one["amplitude"], "another amplitude")
    raw = subprocess.run(bench.command("record", "sheet", 1, "--archive", bench.archive, "--format", "csv"),
                         capture_output=True).stdout
    sheet = list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    check({len(row) for row in sheet} == {10}, "the sheet is not RFC 4180")
    check(["entry", "torque", "25 N·m, \"twice\""] in [row[:3] for row in sheet], "the entry on the sheet")
    check(["digest", whole["digest"]] in [row[:2] for row in sheet], "the digest on the sheet")
    page = bench.record("sheet", 1)
    check(whole["digest"] in page.replace(" ", "").replace("\n", ""), "the digest in the text")
    levels = page.split("LEVELS\n")[1].split("\n\n")[0].splitlines()[1:]
    for line, one in zip(levels, whole["check"]["readings"], strict=True):
        cells = line.split()[3:7]
        decimals = {"in/s peak": 3, "mil pp": 2}[one["unit"]]
        for cell, key in zip(cells, ("first", "amplitude", "limit", "target"), strict=True):
            check(abs(float(cell) - one[key]) <= 0.5 * 10**-decimals, f"not {one[key]}: {line}")
        check(all(len(cell.partition(".")[2]) == decimals for cell in cells), f"levels not alike: {line}")
    signed = [line.split(":")[0].strip() for line in page.split("SIGNATURES\n")[1].split("\n\n")[0].splitlines()]
    check(signed == [row[1] for row in sheet if row[0] == "signature"], f"signed by {signed}")
    web = bench.run("page", bench.folder / "examples/quillhaven/after.yaml")
    roles = re.search("<caption>Signatures</caption>.*?</table>", web, re.S).group()
    check(re.findall('<th scope="row">(.*?)</th>', roles) == signed, f"another's sheet is signed by others: {roles}")
    for words in ("Released by", "manual holds", "LEVELS", "WEIGHTS REMOVED", "WEIGHTS FITTED", "torque", "locking"):
        check(words in page, f"no {words} on the sheet")


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
    check("corrected by" in bench.record("sheet", 2) and "corrects" in bench.record("sheet", 3), "nor on the sheets")


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
    filing = [subprocess.Popen(bench.command("record", "file", job, "--by", "L. Marsh", "--archive", archive),
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
        filing = subprocess.Popen(bench.command("record", "file", job, "--by", "L. Marsh", "--archive", archive),
                                  stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        time.sleep(usual * rng.uniform(0.3, 1.1))
        filing.send_signal(signal.SIGKILL)
        said, _ = filing.communicate()
        ended += filing.returncode == -signal.SIGKILL
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
              "               ' verdict, level, filed_at, filed_by, software, corrects, reason, content FROM record'\n"
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
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

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
            done = subprocess.run(bench.command("record", "file", bench.job("s.yaml", f"S-{filed}"), "--by", "L. Marsh",
                                                "--archive", mount / "a.db"), capture_output=True, text=True)
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
        db.execute("PRAGMA user_version = 2")
    before = archive.read_bytes()
    for message in (bench.file(bench.job("n.yaml", "N-2"), archive=archive, status=1),
                    bench.record("find", archive=archive, status=1), bench.record("prove", archive=archive, status=1)):
        check("newer" in message, message)
    check(archive.read_bytes() == before, "it was touched")


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
        db.execute("DROP TRIGGER record_is_never_removed")
        db.execute("DELETE FROM record WHERE number = 3")
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
    bench.file(trial, "--run", "trial drum", archive=archive)
    archive.unlink()
    for serial in ('"LKM\\x1b[31m"', '"LKM\\n417"', '"LKM\\u202e714"', '"LKM\\u200b417"', '" LKM"', "L" * (1 << 20)):
        refused(bench.job("e.yaml", serial), "serial")
    refused(bench.job("e.yaml", "X-1", **{"station: Quillhaven test stand": "station: " + "Q" * (1 << 20)}), "station")
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
    for command, names in (("record", "file find show sheet export compare prove backup"), ("rehearse", "new run truth")):
        done = subprocess.run(bench.command(command), capture_output=True, text=True)
        message, *listed = done.stderr.splitlines()
        check(done.returncode == 2 and not done.stdout, f"{command}: status {done.returncode}, {done.stdout}")
        check(message.startswith(f"trimwright: {command}: no subcommand"), message)
        check([line.split()[0] for line in listed] == names.split(), f"{listed}")


CASES = [verdict, filed_and_found, learned_from, done_again, tables, read_by_others, corrected, expected_digest, at_once,
         killed, killed_in_the_transaction, full_disk, read_only, newer, damaged, backed_up, bad_input,
         no_subcommand, whole_trim]


def main():
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
        for case in CASES:
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
    sys.exit(main())
