#!/usr/bin/env python3
"""What README and docs/plan.md show of the example's plan is what the program prints: readme_cli.py PROGRAM PROJECT [--write].

A block of these that begins with a heading of the plan (a line in capitals) is compared line by line with the plan's
part of that heading, and a blank line in a block parts two headings. --write puts the program's lines in instead.
"""
import difflib
import re
import subprocess
import sys
from pathlib import Path

program, project = sys.argv[1], Path(sys.argv[2])
pages = [project / "README.md", project / "docs/plan.md"]
plan = subprocess.run([program, "plan", project / "examples/quillhaven/job.yaml"], capture_output=True, text=True, check=True)
parts = {part.split("\n", 1)[0]: part.rstrip("\n") for part in plan.stdout.split("\n\n")}
shown, wrong = 0, []


def printed(block):
    """A block of README as the program prints it today."""
    global shown
    headings = [part.split("\n", 1)[0] for part in block.group(2).split("\n\n")]
    if block.group(1) or not headings[0][:4].isupper():
        return block.group(0)
    shown += len(headings)
    wrong.extend(f"a page shows \"{one}\", which the plan has not" for one in headings if one not in parts)
    return "```\n" + "\n\n".join(parts.get(one, one) for one in headings) + "\n```"


for page in pages:
    text = page.read_text("utf-8")
    today = re.sub(r"^```(\w*)\n(.*?)\n```$", printed, text, flags=re.S | re.M)
    if "--write" in sys.argv:
        page.write_text(today, "utf-8")
    else:
        wrong += difflib.unified_diff(text.splitlines(), today.splitlines(), page.name, "as printed", n=0, lineterm="")
lines = pages[0].read_text("utf-8").count("\n")
if lines >= 120:
    wrong.append(f"README has {lines} lines, not fewer than 120")
if shown < 4:
    wrong.append(f"{shown} parts of the plan are shown, not what changes (twice), what to expect and the trade-off")
print("\n".join(wrong) or f"{shown} parts of the plan are shown as they are printed")
sys.exit(1 if wrong else 0)
