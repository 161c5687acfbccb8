#!/usr/bin/env python3
"""What README shows of the example's plan is what the program prints: readme_cli.py PROGRAM PROJECT [--write].

A block of README that begins with a heading of the plan (a line in capitals) is compared line by line with the plan's
part of that heading, and a blank line in a block parts two headings. --write puts the program's lines in instead.
"""
import difflib
import re
import subprocess
import sys
from pathlib import Path

program, project = sys.argv[1], Path(sys.argv[2])
readme = project / "README.md"
text = readme.read_text("utf-8")
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
    wrong.extend(f"README shows \"{one}\", which the plan has not" for one in headings if one not in parts)
    return "```\n" + "\n\n".join(parts.get(one, one) for one in headings) + "\n```"


today = re.sub(r"^```(\w*)\n(.*?)\n```$", printed, text, flags=re.S | re.M)
if "--write" in sys.argv:
    readme.write_text(today, "utf-8")
else:
    wrong += difflib.unified_diff(text.splitlines(), today.splitlines(), "README.md", "as printed", n=0, lineterm="")
if shown < 3:
    wrong.append(f"README shows {shown} parts of the plan, not what changes, what to expect and the trade-off")
print("\n".join(wrong) or f"README shows {shown} parts of the plan as they are printed")
sys.exit(1 if wrong else 0)
