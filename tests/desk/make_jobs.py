#!/usr/bin/env python3
"""make_jobs.py PROJECT FOLDER JOBS: the shipped example's jobs and JOBS random ones (those of figures_cli), a folder for each."""
import ast
import pathlib
import random
import shutil
import sys

project, folder, jobs = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), int(sys.argv[3])
# What makes a job in figures_cli.py, without what it then does with it.
source = ast.parse((project / "tests/cli/figures_cli.py").read_text())
wanted = {"UNITS", "rotor", "job"}
source.body = [node for node in source.body if isinstance(node, (ast.Import, ast.ImportFrom)) or getattr(node, "name", None) in wanted
               or isinstance(node, ast.Assign) and getattr(node.targets[0], "id", None) in wanted]
maker = {}
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "cli"))
exec(compile(source, "figures_cli.py", "exec"), maker)  # noqa: S102
example = project / "examples/quillhaven"
for name in ("job", "first-visit", "after", "misread"):
    place = folder / f"example {name}"
    place.mkdir(parents=True)
    (place / "job.yaml").write_text((example / f"{name}.yaml").read_text().replace("../../configs/larkmere-fan.yaml", "rotor.yaml"))
    shutil.copy(project / "configs/larkmere-fan.yaml", place / "rotor.yaml")
    for table in example.glob("*.csv"):
        shutil.copy(table, place)
for seed in range(jobs):
    place = folder / f"random {seed}"
    place.mkdir(parents=True)
    maker["job"](random.Random(seed), place)
    after = folder / f"random {seed} after"
    after.mkdir()
    shutil.copy(place / "rotor.yaml", after)
    shutil.move(place / "after.yaml", after / "job.yaml")
    (place / "fitted.json").unlink()
