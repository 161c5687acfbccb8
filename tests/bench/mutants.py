"""Which one-line mistakes do the tests notice?

    python3 tests/bench/mutants.py [NAME...] [--folder F] [--shard 1/2] [--jobs N] [--named] [--list]

Each mutant of `mutant_table.py` changes one line of src or include where a wrong answer would hurt. All are built into one
copy of the tree, each behind a switch that the environment variable TRIMWRIGHT_MUTANT names, so that one build serves them
all; with none named the copy is the tree as it is. Each is then tried alone: first the tests its entry names, then all
others, the quickest first, until one fails. Every test must pass with no mutant before its failure counts.

Left out: `package`, which builds again; `shared_cli`, unless an entry names it (a server of its own); and `readme_cli`,
which notices any change of what README shows but takes the program's word for what is right.

NAME: names, or parts of names, of mutants to try. A mutant whose text does not stand in its file exactly once, or that does
not build, ends the whole: mend its entry. The tree is not touched. Exits with 1 when one is not noticed.
"""
import argparse
import collections
import concurrent.futures
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time

sys.dont_write_bytecode = True
from mutant_table import MUTANTS  # noqa: E402

SOURCE = pathlib.Path(__file__).resolve().parents[2]
LEFT_OUT = {"package", "shared_cli", "readme_cli"}
SWITCH = """#pragma once
#include <cstdlib>
#include <cstring>
/// Whether this mutant is the one to be tried.
inline bool mutant_is_on(const char* name) {
  static const char* const on = std::getenv("TRIMWRIGHT_MUTANT");
  return on != nullptr && std::strcmp(on, name) == 0;
}
"""


def switched(original, variants):
    """The original text with its replacements, [(name, text)], behind their switches."""
    if match := re.fullmatch(r"((?:inline )?)constexpr (.* = )(.*);", original):
        value = match[3]
        for name, text in variants:
            value = f'mutant_is_on("{name}") ? ({text}) : ({value})'
        return f"{match[1]}const {match[2]}{value};"
    code = original
    for name, text in variants:
        if original.endswith(";"):
            code = f'if (mutant_is_on("{name}")) {{ {text} }} else {{ {code} }}'
        else:
            code = f'(mutant_is_on("{name}") ? ({text}) : ({code}))'
    return code


def place_of(text, original, where):
    """Where it stands, however the lines are broken; it must stand there once."""
    pattern = r"\s*".join(re.escape(part) for part in original.split())
    found = list(re.finditer(pattern, text))
    if len(found) != 1:
        raise SystemExit(f"{where}: found {len(found)} times, expected once: {original}")
    return found[0].span()


def mutated(mutants):
    """The files with the mutants in them, by their paths."""
    by_file = {}
    for name, file, original, replacement, _ in mutants:
        by_file.setdefault(file, {}).setdefault(original, []).append((name, replacement))
    files = {"include/mutant_switch.hpp": SWITCH}
    for file, changes in by_file.items():
        text = (SOURCE / file).read_text()
        places = sorted((place_of(text, original, f"{file}, {variants[0][0]}"), variants)
                        for original, variants in changes.items())
        for (one, _), (other, variants) in zip(places, places[1:]):
            if one[1] > other[0]:
                raise SystemExit(f"{file}, {variants[0][0]}: overlaps another mutant")
        for (begin, end), variants in reversed(places):
            text = text[:begin] + switched(text[begin:end], variants) + text[end:]
        files[file] = '#include "mutant_switch.hpp"\n' + text
    return files


def write_copy(folder, changed):
    """The tree with `changed` files; one that is there already stays untouched, so that little is built again."""
    listed = subprocess.run(["git", "ls-files", "-co", "--exclude-standard", "-z"], cwd=SOURCE, check=True,
                            capture_output=True, text=True).stdout
    for file in {*filter(None, listed.split("\0")), *changed}:
        if file not in changed and not (SOURCE / file).is_file():
            continue
        content = changed[file].encode() if file in changed else (SOURCE / file).read_bytes()
        path = folder / file
        if path.is_file() and path.read_bytes() == content:
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        if file not in changed:
            shutil.copymode(SOURCE / file, path)


def build(folder, jobs):
    options = ["-DCMAKE_CXX_FLAGS=-O1 -DEIGEN_NO_DEBUG"]
    if shutil.which("ccache"):
        options.append("-DCMAKE_CXX_COMPILER_LAUNCHER=ccache")
    if shutil.which("ld.lld"):
        options.append("-DCMAKE_EXE_LINKER_FLAGS=-fuse-ld=lld")
    environment = dict(os.environ, CCACHE_BASEDIR=str(folder), CCACHE_NOHASHDIR="1")
    for command in (["cmake", "--preset", "dev", *options], ["cmake", "--build", "--preset", "dev", f"-j{jobs}", "--", "-k", "0"]):
        done = subprocess.run(command, cwd=folder / ".presets", env=environment, capture_output=True, text=True)
        if done.returncode != 0:
            errors = [line for line in done.stdout.splitlines() if "error" in line.lower()]
            raise SystemExit("did not build:\n" + "\n".join(errors[:40] or done.stdout.splitlines()[-20:]) + done.stderr[-3000:])


class Tests:
    """The tests of the copy, by their names in ctest."""

    def __init__(self, folder):
        shown = subprocess.run(["ctest", "--preset", "dev", "--show-only=json-v1"], cwd=folder / ".presets",
                               check=True, capture_output=True, text=True).stdout
        self.commands = {test["name"]: test["command"] for test in json.loads(shown)["tests"]}
        self.program = str(folder / "build" / "dev" / "bin" / "trimwright_tests")
        self.seconds, self.unsound = {}, set()  # without a mutant
        self.locks = collections.defaultdict(threading.Lock)

    def run(self, name, mutant, seconds):
        """What fails; nothing when the test passes."""
        command = self.commands.get(name) or [self.program, f"--source-file=*/tests/{name}.cpp"]
        if command[0] == self.program:
            command = [*command, "--abort-after=1"]
        environment = {key: value for key, value in os.environ.items() if key != "TRIMWRIGHT_MUTANT"}
        if mutant:
            environment["TRIMWRIGHT_MUTANT"] = mutant
        with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                              errors="replace", start_new_session=True) as test:
            try:
                output, _ = test.communicate(timeout=seconds)
            except subprocess.TimeoutExpired:
                os.killpg(test.pid, 9)
                return "does not end"
        if test.returncode == 0:
            return ""
        cases = re.findall(r"TEST CASE:\s+(.*)", output)
        lines = [line.strip() for line in output.splitlines() if line.strip()]
        told = [*cases, *(line for line in lines if line.startswith("FAIL")), *lines[-1:], f"ends with {test.returncode}"]
        return told[0][:120]

    def is_sound(self, name):
        """Whether it passes with no mutant; told once when not."""
        with self.locks[name]:
            if name not in self.seconds and name not in self.unsound:
                begin = time.monotonic()
                if failed := self.run(name, None, 3600):
                    print(f"{name} fails without any mutant and counts for none: {failed}", flush=True)
                    self.unsound.add(name)
                else:
                    self.seconds[name] = time.monotonic() - begin
            return name not in self.unsound

    def who_notices(self, mutant, first, only_first):
        """(test, what failed) of the first that does, or nothing."""
        others = [] if only_first else sorted(set(self.commands) - set(first) - LEFT_OUT, key=lambda name: self.seconds.get(name, 1e9))
        for name in [*first, *others]:
            if name not in self.commands and not (SOURCE / "tests" / f"{name}.cpp").is_file():
                raise SystemExit(f"{mutant}: there is no test {name}")
            if not self.is_sound(name):
                continue
            if failed := self.run(name, mutant, 60 + 10 * self.seconds[name]):
                return name, failed
        return None


def chosen(options):
    mutants = [m for m in MUTANTS if not options.names or any(name in m[0] for name in options.names)]
    if not mutants:
        raise SystemExit("no mutant of that name")
    names = [m[0] for m in MUTANTS]
    if len(set(names)) != len(names):
        raise SystemExit("two mutants of one name")
    part, parts = (int(number) for number in options.shard.split("/"))
    return mutants[part - 1::parts]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--folder", help="of the copy, which then stays (default: a temporary one)")
    parser.add_argument("--shard", default="1/1", help="I/N: every Nth mutant from the Ith on")
    parser.add_argument("--jobs", type=int, default=1, help="compilers, then mutants tried, at a time")
    parser.add_argument("--named", action="store_true", help="only the tests that the mutants' entries name")
    parser.add_argument("--list", action="store_true", help="only the names")
    options = parser.parse_args()
    if options.list:
        print(*(m[0] for m in MUTANTS), sep="\n")
        return 0
    mutants = chosen(options)
    folder = pathlib.Path(options.folder or tempfile.mkdtemp(prefix="trimwright_mutants_")).resolve()
    if folder == SOURCE or SOURCE in folder.parents:
        raise SystemExit("the copy cannot be inside the tree")
    try:
        begin = time.monotonic()
        write_copy(folder, mutated(MUTANTS))
        build(folder, options.jobs)
        tests = Tests(folder)
        print(f"built in {time.monotonic() - begin:.0f} s", flush=True)

        def tried(mutant):
            name, file, _, _, first = mutant
            begin = time.monotonic()
            seen = tests.who_notices(name, first.split(), options.named)
            words = f"{seen[0]}: {seen[1]}" if seen else "NOT NOTICED"
            print(f"{name:44} {file:36} {time.monotonic() - begin:5.0f} s  {words}", flush=True)
            return bool(seen)

        with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
            noticed = list(pool.map(tried, mutants))
    finally:
        if not options.folder:
            shutil.rmtree(folder, ignore_errors=True)
    print(f"{sum(noticed)} of {len(noticed)} noticed")
    return 0 if all(noticed) and not tests.unsound else 1


if __name__ == "__main__":
    sys.exit(main())
