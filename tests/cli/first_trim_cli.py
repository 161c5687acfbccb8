#!/usr/bin/env python3
"""The worked day of docs/first-trim.md, done as it says: first_trim_cli.py PROGRAM PROJECT [--write].

Its sh blocks are run, its csv blocks are the table of readings from then on and its yaml blocks the runs of the job; what it
shows of an answer (a block without a language: parts by their first line) is what the program prints. --write puts today's in.
"""
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

program, page = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve() / "docs/first-trim.md"
text, wrong, said, parts = page.read_text("utf-8"), [], "", 0

with tempfile.TemporaryDirectory() as scratch:
    day = Path(scratch) / "day"

    def followed(block):
        global said, parts
        language, content = block.group(1), block.group(2)
        if language == "sh":
            for line in content.splitlines():
                words = shlex.split(line)[1:]
                patience = ["--time-limit", "3600"] if words[0] in ("plan", "trial", "check") else []  # on a busy machine too
                done = subprocess.run([program, *words, *patience], cwd=scratch, capture_output=True, text=True, stdin=subprocess.DEVNULL)
                said = done.stdout
                if done.returncode:
                    wrong.append(f"{line}: {done.stderr}")
        elif language == "csv":
            (day / "readings.csv").write_text(content, "utf-8")
        elif language == "yaml":
            job = (day / "job.yaml").read_text("utf-8")
            (day / "job.yaml").write_text(job[: job.index("runs:")] + content, "utf-8")
        else:
            headings = [part.split("\n", 1)[0] for part in content.rstrip("\n").split("\n\n")]
            found = {one: part.rstrip("\n") for one in headings for part in said.split("\n\n") if part.startswith(one)}
            wrong.extend(f"the answer has no part \"{one}\"" for one in headings if one not in found)
            parts += len(headings)
            return "```\n" + "\n\n".join(found.get(one, one) for one in headings) + "\n```"
        return block.group(0)

    today = re.sub(r"^```(\w*)\n(.*?)^```$", followed, text, flags=re.S | re.M)
if "--write" in sys.argv:
    page.write_text(today, "utf-8")
elif today != text:
    wrong.append("the page does not show what the program prints (--write puts it in)")
if parts < 6 or "ACCEPTED" not in today:
    wrong.append(f"{parts} parts of answers are shown, or the day does not end well")
print("\n".join(wrong) or f"the day goes as it is told, with {parts} parts of answers")
sys.exit(1 if wrong else 0)
