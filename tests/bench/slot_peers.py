"""The slot search beside mixed-integer solvers, on the same instances.

    slot_peers.py run EXPORT_PROGRAM RESULTS.jsonl [SECONDS]    appends one line an instance, until SECONDS are over
    slot_peers.py table RESULTS.jsonl                           prints the table

Peers: SciPy's `milp` (HiGHS) and CBC (Debian's coinor-cbc, driven through an LP file). Both solve

    min t   over binary z (option of a slot), free U (moment of a plane), t
    U_p = sum of change * z;  sum of z <= 1 per slot, <= m in all;  stock, budgets and pairs
    Re(e^{-j phi_k} (residual_i + sum_p response_ip U_p)) <= t    phi_k = 2 pi k / 32

to a gap of 1 % within 60 s. The polygon lies inside the circle's values by at most cos(pi / 32): 0.5 %.
Two things must hold whoever stops first: the peer's choice, judged by the circle, is not better than the
search's proved bound; and the search's choice is not better than the peer's proved bound.
Times are processor times, each on one thread, so that other work on the machine does not count.
"""

import json
import math
import os
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

SIDES = 32
GAP = 0.01
LIMIT_S = 60.0
CBC_PRINTS = 6e-4  # its lower bound is told to three decimals

# planes, slots, weights, rows, changes, fitted, stock, rule at its edge
RULES = {0: "", 1: "pieces", 2: "pieces of a plane", 3: "mass of a plane", 5: "neighbours apart", 6: "two by two alike"}
FAMILIES = [
    (1, 36, 6, 12, 2, 0, 0, 0), (1, 36, 6, 12, 4, 0, 0, 0), (1, 36, 6, 12, 3, 1, 1, 0), (2, 36, 6, 12, 2, 0, 0, 0),
    (1, 36, 6, 12, 6, 0, 0, 0), (1, 72, 12, 12, 3, 0, 0, 0), (2, 36, 6, 12, 4, 0, 0, 0), (2, 36, 6, 12, 4, 1, 1, 0),
    (1, 36, 6, 36, 4, 0, 0, 0), (2, 36, 6, 12, 6, 0, 0, 0),
    (2, 36, 6, 12, 4, 0, 0, 1), (2, 36, 6, 12, 4, 1, 1, 2), (2, 36, 6, 12, 4, 0, 0, 3), (2, 36, 6, 12, 4, 0, 0, 5),
    (2, 36, 6, 12, 4, 0, 0, 6),
]


def columns(problem):
    """(slot, option, plane, change, pieces taken) of every binary."""
    return [(s, o, slot["plane"], complex(*option["change"]), option["pieces"])
            for s, slot in enumerate(problem["slots"]) for o, option in enumerate(slot["options"] or [])]


def rules(problem, cols, upper, equal):
    """Rows of budgets and pairs. Pairs alike hold the same now; so they stay alike when they change alike."""
    of_slot = {}
    for c, (s, o, _, _, pieces) in enumerate(cols):
        of_slot.setdefault(s, []).append((c, o, tuple(sorted(pieces))))
    for budget in problem["budgets"]:
        row = {c: term["options"][o] - term["now"] for term in budget["terms"] for c, o, _ in of_slot.get(term["slot"], [])}
        upper.append((row, budget["limit"] - sum(term["now"] for term in budget["terms"])))
    for pair in problem["pairs"]:
        first, second = of_slot.get(pair["first"], []), of_slot.get(pair["second"], [])
        if pair["alike"]:
            for content in {held for _, _, held in first + second}:
                row = {c: 1.0 for c, _, held in first if held == content}
                row.update({c: -1.0 for c, _, held in second if held == content})
                equal.append((row, 0.0))
            continue
        row, most = {}, 1.0
        for slot, options in ((pair["first"], first), (pair["second"], second)):
            holds = 1.0 if problem["slots"][slot]["holds"] else 0.0
            most -= holds
            row.update({c: (1.0 if held else 0.0) - holds for c, _, held in options})
        upper.append((row, most))


def model(problem):
    """Rows A x <= b with binaries first, then U_re, U_im per plane, then t; and equalities."""
    cols = columns(problem)
    planes = len(problem["response"][0])
    n = len(cols) + 2 * planes + 1
    upper, equal = [], []
    for s in range(len(problem["slots"])):
        upper.append(({c: 1.0 for c, col in enumerate(cols) if col[0] == s}, 1.0))
    upper.append(({c: 1.0 for c in range(len(cols))}, float(problem["max_changes"])))
    for piece, stock in enumerate(problem["stock"]):
        if stock is None:
            continue
        row = {}
        for c, (s, _, _, _, pieces) in enumerate(cols):
            net = pieces.count(piece) - (problem["slots"][s]["holds"] or []).count(piece)
            if net:
                row[c] = float(net)
        upper.append((row, float(stock)))
    rules(problem, cols, upper, equal)
    for p in range(planes):
        for part in (0, 1):
            row = {c: (col[3].real, col[3].imag)[part] for c, col in enumerate(cols) if col[2] == p}
            row[len(cols) + 2 * p + part] = -1.0
            equal.append((row, 0.0))
    for i, residual in enumerate(problem["residual"]):
        x0 = complex(*residual)
        for k in range(SIDES):
            turn = complex(math.cos(2 * math.pi * k / SIDES), -math.sin(2 * math.pi * k / SIDES))
            row = {n - 1: -1.0}
            for p in range(planes):
                a = turn * complex(*problem["response"][i][p])
                row[len(cols) + 2 * p] = a.real
                row[len(cols) + 2 * p + 1] = -a.imag
            upper.append((row, -(turn * x0).real))
    return cols, n, upper, equal


def judged(problem, cols, chosen):
    """Worst |x_i| of a choice of binaries."""
    x = np.array([complex(*r) for r in problem["residual"]])
    response = np.array([[complex(*a) for a in row] for row in problem["response"]])
    for c in chosen:
        x = x + response[:, cols[c][2]] * cols[c][3]
    return float(np.abs(x).max())


def by_milp(problem):
    cols, n, upper, equal = model(problem)
    rows = upper + equal
    matrix = lil_matrix((len(rows), n))
    for r, (row, _) in enumerate(rows):
        for c, value in row.items():
            matrix[r, c] = value
    high = np.array([b for _, b in rows])
    low = np.array([-np.inf] * len(upper) + [b for _, b in equal])
    integrality = np.zeros(n)
    integrality[:len(cols)] = 1
    lower = np.full(n, -np.inf)
    lower[:len(cols)] = 0
    lower[n - 1] = 0
    top = np.full(n, np.inf)
    top[:len(cols)] = 1
    cost = np.zeros(n)
    cost[n - 1] = 1
    start = time.process_time()
    found = milp(cost, integrality=integrality, bounds=Bounds(lower, top),
                 constraints=LinearConstraint(matrix.tocsr(), low, high),
                 options={"time_limit": LIMIT_S, "mip_rel_gap": GAP})
    seconds = time.process_time() - start
    result = {"seconds": seconds, "finished": found.status == 0, "bound": found.mip_dual_bound}
    if found.x is not None:
        result["objective"] = judged(problem, cols, np.flatnonzero(found.x[:len(cols)] > 0.5))
    return result


def lp_text(problem):
    cols, n, upper, equal = model(problem)
    names = [f"z{c}" for c in range(len(cols))] + [f"u{c}" for c in range(n - len(cols) - 1)] + ["t"]

    def line(row):
        return " ".join(f"{value:+.15g} {names[c]}" for c, value in sorted(row.items()))

    text = ["Minimize", " obj: t", "Subject To"]
    text += [f" r{i}: {line(row)} <= {b:.15g}" for i, (row, b) in enumerate(upper) if row]
    text += [f" e{i}: {line(row)} = {b:.15g}" for i, (row, b) in enumerate(equal)]
    text += ["Bounds"] + [f" {name} free" for name in names[len(cols):-1]]
    text += ["Binaries"] + [" " + name for name in names[:len(cols)]] + ["End"]
    return "\n".join(text) + "\n"


def by_cbc(problem):
    cols = columns(problem)
    with tempfile.TemporaryDirectory() as folder:
        path, out = os.path.join(folder, "slots.lp"), os.path.join(folder, "slots.txt")
        with open(path, "w") as file:
            file.write(lp_text(problem))
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        log = subprocess.run(["cbc", path, "-threads", "1", "-timeMode", "elapsed", "-sec", str(LIMIT_S), "-ratio",
                              str(GAP), "-solve", "-solution", out], capture_output=True, text=True).stdout
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        solution = open(out).read() if os.path.exists(out) else ""
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    result = {"seconds": seconds, "finished": "Result - Optimal" in log}
    bound = re.search(r"Lower bound:\s+([-0-9.e]+)", log)
    objective = re.search(r"Objective value:\s+([-0-9.e]+)", log)
    if bound:
        result["bound"] = float(bound.group(1))
    elif result["finished"] and objective:
        result["bound"] = float(objective.group(1)) * (1 - GAP)
    chosen = [int(m.group(1)) for m in re.finditer(r"z(\d+)\s+([-0-9.e]+)", solution) if float(m.group(2)) > 0.5]
    if solution and not solution.startswith("Infeasible"):
        result["objective"] = judged(problem, cols, chosen)
    return result


def disagreements(own, peer, tolerance=1e-6):
    """What contradicts what is proved, in words."""
    said = []
    if "objective" in peer and peer["objective"] < own["bound"] - tolerance:
        said.append("the peer's choice is below the search's bound")
    if peer.get("bound") is not None and own["objective"] < peer["bound"] - tolerance:
        said.append("the search's choice is below the peer's bound")
    return said


def run(export, path, seconds):
    start = time.monotonic()
    done = {tuple(json.loads(line)["case"]) for line in open(path)} if os.path.exists(path) else set()
    seed = int(os.environ.get("FIRST_SEED", "1000"))
    while True:
        for family in FAMILIES:
            case = family + (seed,)
            if case in done:
                continue
            if time.monotonic() - start > seconds:
                return
            problem = json.loads(subprocess.run([export, *map(str, case)], capture_output=True, check=True).stdout)
            own, highs, cbc = problem["answer"], by_milp(problem), by_cbc(problem)
            line = {"case": case, "search": own, "milp": highs, "cbc": cbc,
                    "wrong": disagreements(own, highs) + disagreements(own, cbc, CBC_PRINTS)}
            with open(path, "a") as file:
                file.write(json.dumps(line) + "\n")
        seed += 1


def family_name(case):
    planes, slots, weights, rows, changes, fitted, stock, rule = case
    return (f"{planes} x {slots} slots, {weights} weights, {rows} rows, m = {changes}"
            + (", fitted, stock" if fitted else "") + (f", {RULES[rule]}" if rule else ""))


def table(path):
    lines = [json.loads(line) for line in open(path)]
    print(f"{len(lines)} instances; contradictions: {sum(len(line['wrong']) for line in lines)}\n")
    print("| family | instances | search ms: median, worst | milp s: median, worst | finished | times slower: median |"
          " CBC s: median, worst | finished | times slower: median |")
    print("|---|---|---|---|---|---|---|---|---|")
    groups = {family: [line for line in lines if tuple(line["case"][:8]) == family] for family in FAMILIES}
    for family, group in list(groups.items()) + [(None, lines)]:
        if not group:
            continue
        own = [line["search"]["seconds"] for line in group]
        cells = [family_name(family) if family else "all", str(len(group)),
                 f"{1e3 * statistics.median(own):.1f}, {1e3 * max(own):.1f}"]
        for peer in ("milp", "cbc"):
            times = [line[peer]["seconds"] for line in group]
            ratios = [line[peer]["seconds"] / max(line["search"]["seconds"], 1e-4) for line in group
                      if line[peer]["finished"]]
            cells += [f"{statistics.median(times):.1f}, {max(times):.1f}", f"{len(ratios)}",
                      f"{statistics.median(ratios):.0f}" if ratios else "-"]
        print("| " + " | ".join(cells) + " |")
    for peer in ("milp", "cbc"):
        ratios = [line[peer]["seconds"] / max(line["search"]["seconds"], 1e-4) for line in lines
                  if line[peer]["finished"] and line[peer]["seconds"] > 0.1]
        if ratios:
            print(f"\n{peer}, where it needs more than 0.1 s and finishes: {len(ratios)} instances, slower by"
                  f" {statistics.median(ratios):.0f} at the median")


if __name__ == "__main__":
    if sys.argv[1] == "run":
        run(sys.argv[2], sys.argv[3], float(sys.argv[4]) if len(sys.argv) > 4 else 1e9)
    else:
        table(sys.argv[2])
