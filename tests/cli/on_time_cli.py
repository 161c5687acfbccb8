#!/usr/bin/env python3
"""The built program and time: a limit that is over, an interruption, progress on a terminal, and too little memory.

Nothing is timed: what is checked is what the program answers. The job's search has no end within anybody's patience.
"""
import os
import pty
import resource
import select
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import large_job  # noqa: E402

PROGRAM = str(Path(sys.argv[1]).resolve())
failed = 0


def check(what, holds, seen=""):
    global failed
    if not holds:
        failed += 1
        print(f"FAILED: {what}: {seen!r}")


signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in the background of a shell, and handed on


def on_a_terminal(arguments, signals):
    """Status, standard output, and what a terminal showed; `signals` are sent once progress is shown."""
    ours, theirs = pty.openpty()
    with tempfile.TemporaryFile("w+") as answer:
        process = subprocess.Popen([PROGRAM, *arguments], stdout=answer, stderr=theirs)
        os.close(theirs)
        shown, sent = b"", False
        while process.poll() is None:
            if select.select([ours], [], [], 0.2)[0]:
                try:
                    shown += os.read(ours, 4096)
                except OSError:  # the program has closed it
                    process.wait()
            if b"Ctrl-C" in shown and not sent:
                sent = True
                for one in signals:
                    process.send_signal(one)
        os.close(ours)
        answer.seek(0)
        return process.returncode, answer.read(), shown.decode()


def one_message(text, *words):
    return text.startswith("trimwright: ") and text.count("\n") == 1 and all(word in text for word in words)


with tempfile.TemporaryDirectory() as folder:
    job = f"{folder}/endless/job.yaml"
    large_job.make(f"{folder}/endless", sensors=3, speeds=2, runs=8, slots=60, weights=12, max_changes=12)

    # An interruption is answered with the best so far; what a terminal shows before stands on standard error.
    for one in (signal.SIGINT, signal.SIGTERM):
        status, out, shown = on_a_terminal(["plan", job, "--time-limit", "3600"], [one])
        check("progress is shown", "trimwright plan: " in shown and "of 3600" in shown, shown)
        check("an interrupted plan is a plan", "WHAT CHANGES" in out and "You ended the search" in out, out[:2000])
        check("status of an interrupted plan", status == (1 if "Fit nothing yet" in out else 0), status)

    # A second one ends at once. The program sees the first before the other, whichever it is.
    status, out, shown = on_a_terminal(["plan", job, "--time-limit", "3600"], [signal.SIGINT, signal.SIGTERM])
    check("a second interruption", out == "" and status in (-signal.SIGINT, -signal.SIGTERM), (status, out[:200]))

    # Nothing of it in a pipe, and no file half written.
    page = f"{folder}/page.html"
    done = subprocess.run([PROGRAM, "page", job, "--time-limit", "4", "-o", page], capture_output=True, text=True, check=False)
    check("a limit in a pipe", done.stderr == "" or one_message(done.stderr, "--time-limit"), done.stderr)
    check("a page or none", Path(page).exists() == ("found nothing" not in done.stderr), done.stderr)
    check("no file in passing", not list(Path(folder).glob(".trimwright-*")), list(Path(folder).iterdir()))

    # A limit that is over before the runs are fitted: no answer, and what to do.
    large_job.make(f"{folder}/large", sensors=100, speeds=5, runs=100)
    large = f"{folder}/large/job.yaml"
    for command in ("plan", "check", "trial", "page"):
        done = subprocess.run([PROGRAM, command, large, "--time-limit", "0.001"], capture_output=True, text=True, check=False)
        check(f"{command}: no time at all", done.returncode == 1 and done.stdout == "" and
              one_message(done.stderr, "0.001 s", "--time-limit 60"), (done.returncode, done.stderr, done.stdout[:200]))

    # What may have gone wrong in so many runs is not weighed to its end: what is ready, or not, is told all the same.
    large_job.make(f"{folder}/many", run=0.01)
    done = subprocess.run([PROGRAM, "ready", f"{folder}/many/job.yaml", "--time-limit", "20"], capture_output=True, text=True,
                          check=False)
    check("ready: a large job", done.returncode == 0 and done.stdout.startswith("Ready for a trim?"), (done.returncode, done.stderr, done.stdout[:200]))

    # Too little memory is told in one sentence.
    def little_memory():
        resource.setrlimit(resource.RLIMIT_AS, (160 << 20, 160 << 20))

    done = subprocess.run([PROGRAM, "influence", large], capture_output=True, text=True, check=False, preexec_fn=little_memory)
    check("too little memory", done.returncode == 1 and done.stdout == "" and one_message(done.stderr, "memory"),
          (done.returncode, done.stderr))

    # What cannot be done is refused with the limit.
    large_job.make(f"{folder}/planes", planes=40, sensors=20, speeds=5, runs=45)
    done = subprocess.run([PROGRAM, "plan", f"{folder}/planes/job.yaml"], capture_output=True, text=True, check=False)
    check("40 planes", done.returncode == 1 and one_message(done.stderr, "at most 3000"), done.stderr)

print("on time: " + (f"{failed} failed" if failed else "all as it should be"))
sys.exit(1 if failed else 0)
