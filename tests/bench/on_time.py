#!/usr/bin/env python3
"""How long after its --time-limit each command ends: on_time.py PROGRAM [LARGEST_READINGS=50000]

For invented jobs (tests/large_job.py) of growing size and one whose slot search has no end: wall-clock seconds beyond the
limit (below zero: it was done before), exit status, and whether an answer stood on standard output. Run it on a quiet
machine: other work on it counts.
"""
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import large_job  # noqa: E402

PROGRAM = str(Path(sys.argv[1]).resolve())
LARGEST = int(sys.argv[2]) if len(sys.argv) > 2 else 50000
SIZES = [
    ("endless slots", {"sensors": 3, "speeds": 2, "runs": 8, "slots": 60, "weights": 12, "max_changes": 12}),
    ("1,000 readings", {"run": 0.01}),
    ("6 planes, 600 readings", {"planes": 6, "sensors": 20, "speeds": 1, "runs": 30, "run": 0.01}),
    ("16 planes, 1,200 readings", {"planes": 16, "runs": 60, "run": 0.01}),
    ("10,000 readings", {"runs": 500, "run": 0.01}),
    ("50,000 readings", {"sensors": 100, "runs": 100, "run": 0.01}),
]
COMMANDS = ("ready", "influence", "plan", "plan --objective probability", "trial", "check", "page")

print("| job | T [s] | " + " | ".join(COMMANDS) + " |\n|---|---|" + "---|" * len(COMMANDS))
worst = 0.0
with tempfile.TemporaryDirectory() as folder:
    for name, size in SIZES:
        whole = {**large_job.DEFAULTS, **size}
        if whole["sensors"] * whole["speeds"] * whole["runs"] > LARGEST:
            continue
        home = Path(folder) / name.replace(" ", "-")
        large_job.make(str(home), **size)
        for limit in (0.3, 1.0, 5.0):
            cells = []
            for command in COMMANDS:
                words = command.split()
                start = time.monotonic()
                done = subprocess.run([PROGRAM, words[0], str(home / "job.yaml"), *words[1:], "--time-limit", str(limit)],
                                      capture_output=True, check=False)
                beyond = time.monotonic() - start - limit
                worst = max(worst, beyond)
                cells.append(f"{beyond:+.1f} ({done.returncode}{'' if done.stdout else ', no answer'})")
            print(f"| {name} | {limit:g} | " + " | ".join(cells) + " |", flush=True)
print(f"\nlatest end: {worst:.2f} s after the limit")
