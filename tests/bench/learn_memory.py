#!/usr/bin/env python3
"""What exporting and learning take of an archive's real records: learn_memory.py PROGRAM PROJECT [RECORDS].

Files RECORDS times (200) the shipped job, each time of another rotor: its readings are changed at random by 2 %. Then
prints time and largest memory of `record export` in its three forms and of `influence --learn`, for a fifth of the
records and for all of them. The figures of docs/records.md.
"""
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROGRAM, PROJECT = (str(Path(one).resolve()) for one in sys.argv[1:3])
RECORDS = int(sys.argv[3]) if len(sys.argv) > 3 else 200


def measured(*words):
    """Seconds, and the largest memory [MB] as GNU time tells it."""
    begin = time.monotonic()
    done = subprocess.run(["/usr/bin/time", "-f", "%M", PROGRAM, *map(str, words)], stdout=subprocess.DEVNULL,
                          stderr=subprocess.PIPE, text=True, check=False)
    return done.returncode, time.monotonic() - begin, int(done.stderr.splitlines()[-1]) / 1024


def filed(folder, archive, number, draw):
    example = folder / "examples/quillhaven"
    for name in ("readings.csv", "after.csv"):
        text = (Path(PROJECT) / "examples/quillhaven" / name).read_text("utf-8")
        shaken = re.sub(r"\b0\.\d+|\b\d+\.\d+\b", lambda found: f"{float(found[0]) * draw.gauss(1, 0.02):.4f}", text)
        (example / name).write_text(shaken, "utf-8")
    job = (Path(PROJECT) / "examples/quillhaven/after.yaml").read_text("utf-8").replace("LKM-417", f"LKM-{number}")
    (example / "after.yaml").write_text(job, "utf-8")
    subprocess.run([PROGRAM, "record", "file", example / "after.yaml", "--archive", archive, "--by", "L. Marsh", "--dated",
                    "2031-05-13", "--run", "check"], check=True, stdout=subprocess.DEVNULL)


with tempfile.TemporaryDirectory() as scratch:
    folder = Path(scratch)
    shutil.copytree(Path(PROJECT) / "configs", folder / "configs")
    shutil.copytree(Path(PROJECT) / "examples/quillhaven", folder / "examples/quillhaven")
    archive, draw = folder / "trims.db", random.Random(18)
    for number in range(1, RECORDS + 1):
        filed(folder, archive, number, draw)
        if number not in (RECORDS // 5, RECORDS):
            continue
        size = archive.stat().st_size / 1e6
        for words in (["record", "export", "--archive", archive], ["record", "export", "--format", "json", "--archive", archive],
                      ["record", "export", "--format", "lines", "--archive", archive], ["influence", "--learn", archive]):
            status, seconds, memory = measured(*words)
            print(f"{number} records, {size:.0f} MB: {' '.join(map(str, words[:4]))}: status {status}, {seconds:.1f} s, {memory:.0f} MB",
                  flush=True)
