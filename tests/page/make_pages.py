"""make_pages.py PROGRAM PROJECT FOLDER: the pages that are checked in the browser.

example.html   the shipped example
after.html     the same with a check run that fitted the plan's weights
hostile.html   names, notes and serials that try to break out: strings of the OWASP XSS Filter Evasion Cheat Sheet and
               of the "Big List of Naughty Strings" (chosen from memory), each in every text a job or rotor file can hold
large.html     6 planes of 64 slots, 64 rows
trial.html     after a baseline alone; begin.html: before any run
"""
import json
import shutil
import subprocess
import sys
from pathlib import Path

program, project, folder = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
HOSTILE = [
    "<script>window.pwned=1</script>",
    "</script><script>window.pwned=1</script>",
    "</title><script>window.pwned=1</script>",
    "</style><script>window.pwned=1</script>",
    "\"><img src=x onerror=window.pwned=1>",
    "'><svg onload=window.pwned=1>",
    "<!--<script>window.pwned=1",
    "]]><script>window.pwned=1</script>",
    "&lt;script&gt;window.pwned=1&lt;/script&gt;",
    "&#x3C;script&#x3E;window.pwned=1&#x3C;/script&#x3E;",
    "javascript:window.pwned=1",
    "\\u003cscript\\u003ewindow.pwned=1",
    "${window.pwned=1} {{7*7}} `window.pwned=1`",
    "a\" autofocus onfocus=\"window.pwned=1",
    "' \" & < > \u00e9\u4e2d\u05e9",
]


def page(job, out, *more):
    subprocess.run([program, "page", str(job), "-o", str(folder / out), *more], check=True)


def yaml(text):
    return json.dumps(text, ensure_ascii=False)


def hostile_job(where, text):
    """The example with `text` wherever it is free text."""
    where.mkdir(exist_ok=True)
    shutil.copy(project / "examples/quillhaven/readings.csv", where / "readings.csv")
    rotor = (project / "configs/larkmere-fan.yaml").read_text()
    for old, new in [("name: Larkmere demonstrator fan", "name: " + yaml(text)),
                     ("name: spinner", "name: " + yaml("s" + text)), ("name: drum\n    access", "name: " + yaml("r" + text) + "\n    access"),
                     ("mounted: top of the fan case", "mounted: " + yaml(text)), ("id: K7,", "id: " + yaml(text) + ","),
                     ("larger_tooth: 1,", "larger_tooth: 1, mark: " + yaml(text) + ",")]:
        assert old in rotor, old
        rotor = rotor.replace(old, new)
    (where / "rotor.yaml").write_text(rotor)
    job = (project / "examples/quillhaven/job.yaml").read_text()
    for old, new in [("../../configs/larkmere-fan.yaml", "rotor.yaml"), ("serial: LKM-417", "serial: " + yaml(text)),
                     ("title: Fan vibration above target at high speed", "title: " + yaml(text)),
                     ("station: Quillhaven test stand", "station: " + yaml(text)), ("{spinner:", "{" + yaml("s" + text) + ":"),
                     ("drum: {", yaml("r" + text) + ": {"), ("warm_up: 5 min at idle", yaml(text[:60]) + ": " + yaml(text)),
                     ("set_aside: the wind turned and gusted above 20 kt, no readings kept", "set_aside: " + yaml(text))]:
        assert old in job, old
        job = job.replace(old, new)
    (where / "job.yaml").write_text(job)
    return where / "job.yaml"


def check_run_job(where):
    """The example with one more run: the plan's weights, readings as expected but for a small difference."""
    where.mkdir(exist_ok=True)
    example = project / "examples/quillhaven/job.yaml"
    plan = json.loads(subprocess.run([program, "plan", str(example), "--format", "json"], check=True, capture_output=True).stdout)
    shutil.copy(project / "configs/larkmere-fan.yaml", where / "rotor.yaml")
    readings = (project / "examples/quillhaven/readings.csv").read_text().rstrip("\n") + "\n"
    (where / "readings.csv").write_text(readings)
    fitted = {"spinner": {"4": "K3", "19": "K2"}, "drum": {}}  # the example's fitted_now
    for one in plan["slots"]:
        if one["fit"] is None:
            del fitted[one["plane"]][str(one["slot"])]
        else:
            fitted[one["plane"]][str(one["slot"])] = one["fit"]
    in_words = ", ".join(f"{plane}: {{" + ", ".join(f"{n}: {w}" for n, w in held.items()) + "}" for plane, held in fitted.items())
    run = ["  - name: check run", f"    fitted: {{{in_words}}}", "    readings:"]
    for one in plan["expected"]:
        if one['amplitude'] is None:
            continue  # nothing predicts it
        run.append(f"      - {{speed: {one['speed_rpm']} rpm, sensor: {one['sensor']}, amplitude: {1.1 * one['amplitude']:.4f} "
                   f"{one['unit']}, phase: {(one['phase_deg'] + 8) % 360:.1f} deg, component: once-per-rev}}")
    job = example.read_text().replace("../../configs/larkmere-fan.yaml", "rotor.yaml")
    job = job.replace("\nfitted_now:", "\n".join(run) + "\n\nfitted_now:")
    (where / "job.yaml").write_text(job)
    choice = {"trimwright": "fitted 1", "rotor": plan["rotor"], "serial": plan["serial"], "fitted": fitted}
    (where / "fitted.json").write_text(json.dumps(choice))
    return where / "job.yaml"


page(project / "examples/quillhaven/job.yaml", "example.html")
page(check_run_job(folder / "after"), "after.html", "--fitted", str(folder / "after/fitted.json"))
for number, text in enumerate(HOSTILE):
    page(hostile_job(folder / "hostile", text), f"hostile-{number}.html")
page(project / "examples/quillhaven/first-visit.yaml", "trial.html")
(folder / "begin.yaml").write_text(f"trimwright: job 1\ntitle: Before any run\nrotor: {project.resolve()}/configs/larkmere-fan.yaml\n"
                                   "serial: LKM-417\nspeeds: [{at: 80 %}, {at: 96 %}]\n")
page(folder / "begin.yaml", "begin.html")
(folder / "large").mkdir(exist_ok=True)
subprocess.run([sys.executable, str(Path(__file__).parent / "large_job.py"), str(folder / "large")], check=True)
page(folder / "large/job.yaml", "large.html", "--time-limit", "60")  # a plan, however busy the machine is
