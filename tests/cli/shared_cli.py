#!/usr/bin/env python3
"""One archive for many stations, on a real PostgreSQL server that this program starts and ends.

    shared_cli.py PROGRAM PROJECT [--only WORD] [--stations N] [--seconds S]

The server is Debian's, in a folder of its own, reached by a socket in it, run by another user where this is root.
Faults are real: clients and the server killed with SIGKILL while stations file, records changed by SQL past every
trigger, bytes flipped in the server's files, a disk that is full.
"""

import argparse
import csv
import io
import json
import os
import pwd
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from record_cli import Bench, Wrong, check, fleet_of, root_of

SERVERS = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


class Server:
    """A PostgreSQL server with an archive that is set up, a station's user and one who only reads."""

    def __init__(self, bench: Bench, folder: Path):
        check(SERVERS, "no PostgreSQL server is installed (.ci/install-packages test)")
        self.bench, self.folder, self.data = bench, folder, folder / "data"
        self.user = pwd.getpwuid(os.getuid()).pw_name if os.getuid() else "postgres"
        folder.mkdir(exist_ok=True)
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        self.command("initdb", "-D", self.data, "-A", "trust", "-U", "keeper", "--no-sync")
        with open(self.data / "postgresql.conf", "a") as settings:
            settings.write(f"listen_addresses = ''\nunix_socket_directories = '{folder}'\nmax_connections = 200\n"
                           "shared_buffers = 32MB\nautovacuum = off\nmax_wal_size = 64MB\nrestart_after_crash = on\n")
        self.start()
        self.sql("CREATE DATABASE trims", database="postgres")
        self.bench.run("record", "setup", self.url("keeper"))
        self.sql("CREATE ROLE station LOGIN; GRANT trimwright_station TO station; CREATE ROLE reader LOGIN;"
                 "GRANT USAGE ON SCHEMA trimwright TO reader; GRANT SELECT ON ALL TABLES IN SCHEMA trimwright TO reader")

    def command(self, name, *words):
        own = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        done = subprocess.run([*own, str(SERVERS[-1] / name), *map(str, words)], capture_output=True, text=True, cwd="/",
                              timeout=300)
        check(done.returncode == 0, f"{name}: {done.stdout} {done.stderr}")

    def processes(self):
        """Those that work in the server's folder; one that has ended and was not waited for is no process any more."""
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                if os.readlink(entry / "cwd") == str(self.data):
                    yield int(entry.name)
            except OSError:  # it ended meanwhile, or is not ours
                pass

    def start(self):
        """Again after a kill, too, as an operator does: a lock file goes only when its process is gone."""
        for attempt in range(5):
            try:
                return self.command("pg_ctl", "start", "-D", self.data, "-w", "-t", 120, "-l", self.folder / "log")
            except Wrong as wrong:
                said = wrong
                time.sleep(1.0)
            if not list(self.processes()):
                for lock in (self.data / "postmaster.pid", *self.folder.glob(".s.PGSQL.*")):
                    lock.unlink(missing_ok=True)
        raise Wrong(f"{said} {(self.folder / 'log').read_text()[-2000:]}")

    def stop(self):
        self.command("pg_ctl", "stop", "-D", self.data, "-w", "-t", 250, "-m", "fast")

    def kill(self):
        """As when the machine's power goes: nothing is told to anyone. The first process goes first, so none is started after."""
        first = int((self.data / "postmaster.pid").read_text().splitlines()[0])
        while alive := sorted(self.processes(), key=lambda process: process != first):
            for process in alive:
                try:
                    os.kill(process, signal.SIGKILL)
                except ProcessLookupError:
                    pass
            time.sleep(0.05)

    def url(self, user="station"):
        return f"postgresql://{user}@/trims?host={self.folder}"

    def sql(self, text, user="keeper", database="trims", status=0):
        done = subprocess.run(["psql", "-qAtX", "-v", "ON_ERROR_STOP=1", "-h", self.folder, "-U", user, database, "-c", text],
                              capture_output=True, text=True)
        check((done.returncode == 0) == (status == 0), f"{text}: {done.stdout} {done.stderr}")
        return done.stdout.strip() if status == 0 else done.stderr

    def tamper(self, text):
        """What one does who owns the tables: triggers off, a change, triggers on."""
        self.sql("SET search_path = trimwright; ALTER TABLE record DISABLE TRIGGER ALL; ALTER TABLE leaf DISABLE TRIGGER ALL;"
                 f"{text}; ALTER TABLE record ENABLE TRIGGER ALL; ALTER TABLE leaf ENABLE TRIGGER ALL", user="keeper")


def same_commands(bench, server):
    """Every command answers as with an archive in a file."""
    url, local = server.url(), bench.folder / "same.db"
    for serial in ("PG-1", "PG-2"):
        for archive in (local, url):
            bench.file(bench.job("p.yaml", serial), archive=archive)
    for words in (["find", "--serial", "pg-1"], ["find", "--station", "quillhaven", "--from", "2031-05-01", "--level-below", "1"],
                  ["find", "--person", "%"], ["compare", "PG-1"], ["export"], ["find", "--serial", "PG"]):
        mine, other = (bench.record(*words, archive=archive) for archive in (local, url))
        if words == ["export"]:  # filed at another second, so with another digest
            mine, other = ([{name: cell for name, cell in row.items() if name not in ("filed_at", "filed_by", "digest")}
                            for row in csv.DictReader(io.StringIO(text))] for text in (mine, other))
        check(mine == other, f"{words}: {mine} but {other}")
    check("Signatures" in bench.record("sheet", 1, archive=url), "no sheet")
    bench.valid(bench.record("show", 1, "--format", "json", archive=url))
    check("filed already as record 1" in bench.file(bench.job("p.yaml", "PG-1"), archive=url, status=1), "filed twice")
    head = bench.proof(url)["tree_head"]
    job = bench.job("p.yaml", "PG-1", **{"station: Quillhaven test stand": "station: Quillhaven north"})
    bench.file(job, "--corrects", 1, "--reason", "the station", archive=url)
    proof = bench.valid(bench.record("prove", "--since", head, "--format", "json", archive=url))
    check(proof["whole"] and proof["records"] == 3 and proof["since"], f"{proof}")
    lines = [json.loads(line) for line in bench.record("export", "--format", "lines", archive=url).splitlines()]
    check(proof["tree_head"] == f"3-{root_of([bytes.fromhex(one['digest']) for one in lines]).hex()}", "another root")
    check(lines[2]["previous"] == "0" * 64 and lines[1]["previous"] == lines[0]["digest"], "not a chain for each station")
    check("the server's own tools" in bench.record("backup", bench.folder / "x.db", archive=url, status=3), "backup")


def by_rights(bench, server):
    """A station's user may add and read; who may only read can prove."""
    for text in ("UPDATE trimwright.record SET level = 0", "DELETE FROM trimwright.record", "TRUNCATE trimwright.record CASCADE",
                 "DROP TABLE trimwright.leaf", "DELETE FROM trimwright.leaf", "ALTER TABLE trimwright.record DISABLE TRIGGER ALL",
                 "CREATE TABLE trimwright.other (x int)", "SELECT setval('trimwright.record_number', 1)"):
        said = server.sql(text, user="station", status=1)
        check("permission denied" in said or "must be owner" in said, said)
    for text in ("UPDATE trimwright.record SET level = 0", "DELETE FROM trimwright.leaf", "TRUNCATE trimwright.record CASCADE"):
        check("never changed" in server.sql(text, status=1), text)
    check("may not do that" in bench.file(bench.job("p.yaml", "R-1"), archive=server.url("reader"), status=1), "the reader filed")
    check(bench.proof(server.url("reader"))["whole"], "the reader cannot prove")
    message = bench.record("find", archive=server.url("nobody").replace("nobody@", "nobody:secret@"), status=1)
    check("cannot be reached" in message and "secret" not in message, message)
    check("holds no archive" in bench.record("find", archive=server.url().replace("/trims", "/postgres"), status=1), "no archive")
    check("holds an archive already" in bench.run("record", "setup", server.url("keeper"), status=1), "set up twice")


def foreign(bench, server):
    """Triggers, rules and views of others are refused by name."""
    ignoring = "CREATE FUNCTION public.no() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END';"
    for make, undo, named in (
            (ignoring + "CREATE TRIGGER no BEFORE INSERT ON trimwright.record FOR EACH ROW EXECUTE FUNCTION public.no()",
             "DROP TRIGGER no ON trimwright.record; DROP FUNCTION public.no()", "trigger no"),
            ("CREATE RULE away AS ON INSERT TO trimwright.record DO INSTEAD NOTHING", "DROP RULE away ON trimwright.record", "rule away"),
            ("CREATE VIEW trimwright.v AS SELECT 1", "DROP VIEW trimwright.v", "view v"),
            ("ALTER TABLE trimwright.record DISABLE TRIGGER record_is_never_changed",
             "ALTER TABLE trimwright.record ENABLE TRIGGER record_is_never_changed", "trigger record_is_never_changed"),
            ("DROP INDEX trimwright.record_once", "CREATE UNIQUE INDEX record_once ON trimwright.record (inputs, coalesce(corrects, 0))",
             "index record_once")):
        server.sql(make)
        message = bench.file(bench.job("p.yaml", "F-1"), archive=server.url(), status=1)
        check(named in message, message)
        server.sql(undo)
    check(bench.proof(server.url())["whole"], "it does not prove any more")


def same_trim_at_once(bench, server):
    """Eight stations file the same trim at the same time: one does, the others are told its number."""
    jobs = [bench.job(f"at-once-{i}.yaml", "ONCE", **{"station: Quillhaven test stand": f"station: S{i}"}) for i in range(8)]
    filing = [subprocess.Popen(bench.filing(job, server.url()), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
              for job in jobs]
    said = [one.communicate(timeout=300) for one in filing]
    check(sorted(one.returncode for one in filing) == [0] + [1] * 7, f"{said}")
    check(all("filed already as record" in error for out, error in said if not out), f"{said}")


def sent_over(bench, server):
    local = bench.folder / "offline.db"
    for serial in ("OFF-1", "OFF-2", "ONCE"):
        bench.file(bench.job("p.yaml", serial), archive=local)
    for expected in ("2 sent, 1 there already", "0 sent, 3 there already"):
        said = bench.run("record", "send", local, server.url())
        check(expected in said, said)
    digest = json.loads(bench.record("show", 2, "--format", "json", archive=local))["digest"]
    check(bench.proof(server.url(), "--expect", digest)["expected_at"], "the station's sheet does not prove")
    for i in range(6):  # killed while it sends: all or nothing, and the next time all
        bench.file(bench.job("p.yaml", f"OFF-{10 + i}"), archive=local)
        sending = subprocess.Popen(bench.command("record", "send", local, server.url()), stdout=subprocess.PIPE)
        time.sleep(random.Random(i).uniform(0.0, 0.1))
        sending.kill()
        sending.communicate()
    check("0 not sent" in bench.run("record", "send", local, server.url()), "not sent after kills")
    check(bench.proof(server.url())["whole"], "it does not prove any more")


def learned(bench, server):
    """The archive on the server teaches what the station's own does: both hold the example and a fleet of five."""
    local = bench.folder / "offline.db"
    for job in fleet_of(bench, bench.folder / "fleet"):
        bench.file(job, archive=local)
    bench.run("record", "send", local, server.url())
    said = [bench.run("influence", "--learn", archive, "--rotor", "Larkmere demonstrator fan") for archive in
            (server.url(), local)]
    check(all("trimwright: prior 1" in one and "\njobs: 6\n" in one for one in said), f"{said}")
    told = [one[one.index("coefficients:"):] for one in said]
    check(told[0] == told[1], f"{told[0][:500]} but {told[1][:500]}")


def tampering(bench, server):
    """Each change by one who owns the tables is found by `prove`, with a head kept elsewhere where it must be."""
    proof = bench.proof(server.url())
    serial = server.sql("SELECT min(number) FROM trimwright.record WHERE station = 'Quillhaven test stand'")
    last = server.sql("SELECT max(number) FROM trimwright.record")
    found = 0
    changes = [f"UPDATE record SET level = level / 2 WHERE number = {serial}",
               f"UPDATE record SET serial = serial || ' ' WHERE number = {serial}",
               f"UPDATE record SET content = content || ' ' WHERE number = {serial}",
               f"UPDATE record SET previous = '\\x00' WHERE number = {serial}",
               f"UPDATE record SET corrects = 0 WHERE number = {serial}",
               f"UPDATE record SET origin = '\\x00' WHERE number = {last}",
               f"UPDATE record SET digest = inputs WHERE number = {last}",
               f"UPDATE record SET number = number + 100 WHERE number = {last}",
               f"UPDATE record SET station = 'elsewhere' WHERE number = {serial}",
               f"DELETE FROM leaf WHERE number = {last}; DELETE FROM record WHERE number = {last}",
               f"DELETE FROM record WHERE number = {last}",
               "UPDATE leaf SET place = -place; UPDATE leaf SET place = place + 1 + (SELECT count(*) FROM leaf)"]
    for change in changes:
        server.command("pg_dump", "-h", server.folder, "-U", "keeper", "-Fc", "-f", server.folder / "kept.dump", "trims")
        server.tamper(change)
        done = subprocess.run(bench.command("record", "prove", "--archive", server.url(), "--since", proof["tree_head"]),
                              capture_output=True, text=True)
        check(done.returncode == 1 and "not as it was filed" in done.stderr, f"{change}: {done}")
        found += 1
        server.sql("DROP DATABASE trims", database="postgres")
        server.command("pg_restore", "-h", server.folder, "-U", "keeper", "-C", "-d", "postgres", server.folder / "kept.dump")
    check(bench.proof(server.url(), "--since", proof["tree_head"])["whole"], "the restored copy does not prove")
    print(f"  {found} of {len(changes)} changes by SQL found")


def flipped(bench, server, flips=16):
    """Bytes flipped in the files of a stopped server: found, refused, or nothing of a record changed."""
    head = bench.proof(server.url())["tree_head"]
    exported = bench.record("export", "--format", "lines", archive=server.url())
    paths = server.sql("SELECT pg_relation_filepath('trimwright.record'); SELECT pg_relation_filepath(reltoastrelid) "
                       "FROM pg_class WHERE oid = 'trimwright.record'::regclass").split()
    rng, found, harmless = random.Random(18), 0, 0
    server.stop()
    for i in range(flips):
        path = server.data / paths[i % 2]
        good = path.read_bytes()
        at = next(at for at in (rng.randrange(len(good)) for _ in range(10000)) if good[at])
        with open(path, "r+b") as file:
            file.seek(at)
            file.write(bytes([good[at] ^ 1 << rng.randrange(8)]))
        server.start()
        done = subprocess.run(bench.command("record", "prove", "--archive", server.url(), "--since", head), capture_output=True,
                              text=True)
        if done.returncode != 0:
            found += 1
        else:
            check(bench.record("export", "--format", "lines", archive=server.url()) == exported, f"byte {at} of {path}")
            harmless += 1
        server.stop()
        with open(path, "r+b") as file:  # in place: the file stays the server's
            file.write(good)
            file.truncate()
    server.start()
    check(found > flips // 2, f"only {found} of {flips} found")
    print(f"  {flips} bytes flipped: {found} found, {harmless} changed nothing of a record")


def campaign(bench, server, stations=8, seconds=12.0):
    """Stations file at once while clients and the server are killed: what was acknowledged is there, once, and whole."""
    rng, lock = random.Random(7), threading.Lock()
    acknowledged, running, counts = [], {}, {"clients killed": 0, "servers killed": 0, "refused": 0}
    begin = time.monotonic()

    def going_on():  # on a busy machine until something was acknowledged
        passed = time.monotonic() - begin
        return passed < seconds or (len(acknowledged) < 10 and passed < 20 * seconds)

    def station(s):
        serial = 0
        while going_on():
            serial += 1
            job = bench.job(f"station-{s}.yaml", f"C{s}-{serial}", **{"station: Quillhaven test stand": f"station: Stand {s}"})
            filing = subprocess.Popen(bench.filing(job, server.url(), "--format", "json"), stdout=subprocess.PIPE,
                                      stderr=subprocess.DEVNULL)
            with lock:
                running[s] = filing
            said, _ = filing.communicate()
            with lock:
                running.pop(s)
                if filing.returncode == 0:
                    acknowledged.append(json.loads(said)["records"][0])
                else:
                    counts["refused"] += filing.returncode > 0

    threads = [threading.Thread(target=station, args=(s,)) for s in range(stations)]
    for thread in threads:
        thread.start()
    next_server = time.monotonic() + seconds / 4
    while going_on():
        time.sleep(rng.uniform(0.05, 0.3))
        with lock:
            victim = running[rng.choice(sorted(running))] if running and rng.random() < 0.2 else None
        if victim is not None:
            victim.kill()
            counts["clients killed"] += 1
        if time.monotonic() > next_server:
            server.kill()
            server.start()
            counts["servers killed"] += 1
            next_server = time.monotonic() + seconds / 4
    for thread in threads:
        thread.join()
    lines = [json.loads(line) for line in bench.record("export", "--format", "lines", archive=server.url()).splitlines()]
    there = {one["number"]: one["digest"] for one in lines}
    lost = [one["number"] for one in acknowledged if there.get(one["number"]) != one["digest"]]
    twice = len(lines) - len({one["inputs"] for one in lines if one["corrects"] is None}) - sum(one["corrects"] is not None for one in lines)
    check(not lost and not twice, f"lost {lost}, twice {twice}")
    proof = bench.proof(server.url())
    check(proof["whole"], f"{proof}")
    check(acknowledged and counts["clients killed"] and counts["servers killed"], f"nothing was tried: {counts}")
    print(f"  {stations} stations, {seconds:.0f} s: {len(acknowledged)} acknowledged, {counts}, 0 lost, 0 twice, chains whole")


def full_disk(bench, server):
    """A server whose disk is full acknowledges nothing that is not there when there is room again."""
    mount = bench.folder / "small"
    mount.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=90m,mode=0777", "none", str(mount)], capture_output=True, text=True)
    if done.returncode != 0:
        print(f"  NOT TRIED: this user may not mount a small file system ({done.stderr.strip()})")
        return
    small = None
    try:
        small = Server(bench, mount / "server")
        (mount / "ballast").write_bytes(b"\1" * max(0, shutil.disk_usage(mount).free - (1 << 20)))
        acknowledged = 0
        for i in range(400):
            done = subprocess.run(bench.filing(bench.job("full.yaml", f"FULL-{i}"), small.url()), capture_output=True, text=True)
            if done.returncode != 0:
                break
            acknowledged += 1
        check(done.returncode == 1 and done.stderr.startswith("trimwright: "), f"{done}")
        (mount / "ballast").unlink()
        small.kill() if (small.data / "postmaster.pid").exists() else None
        small.start()
        proof = bench.proof(small.url())
        check(proof["whole"] and proof["records"] >= acknowledged, f"{acknowledged} acknowledged, {proof}")
        print(f"  full after {acknowledged} records ({done.stderr.strip()[-160:]}): all there")
    finally:
        if small:
            subprocess.run([*(["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []), SERVERS[-1] / "pg_ctl", "stop", "-D",
                            small.data, "-m", "immediate"], capture_output=True, cwd="/")
        for _ in range(60):  # the last of the server's processes may still end
            if subprocess.run(["umount", str(mount)], capture_output=True).returncode == 0:
                break
            time.sleep(0.5)


CASES = [same_commands, by_rights, foreign, same_trim_at_once, sent_over, learned, tampering, flipped, campaign, full_disk]


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("program", type=Path)
    arguments.add_argument("project", type=Path)
    arguments.add_argument("--only", default="")
    arguments.add_argument("--stations", type=int, default=8)
    arguments.add_argument("--seconds", type=float, default=12.0)
    options = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="tw-") as scratch:
        os.chmod(scratch, 0o755)
        program = Path(scratch) / "trimwright"
        shutil.copy(options.program.resolve(), program)
        bench = Bench(program, options.project.resolve(), Path(scratch))
        server = None
        try:
            server = Server(bench, Path(scratch) / "server")
            for case in CASES:
                if options.only and options.only not in case.__name__:
                    continue
                if case is campaign:
                    campaign(bench, server, options.stations, options.seconds)
                else:
                    case(bench, server)
                print(f"{case.__name__}: ok", flush=True)
        except Wrong as wrong:
            print(f"{wrong}")
            return 1
        finally:
            if server:
                server.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
