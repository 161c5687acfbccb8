#!/usr/bin/env python3
"""One physical rotor stated in every convention: conventions_oracle.py PROGRAM PROJECT [STRIDE].
Leaves with status 1 when anything differs.

The physical rotor is held apart from any file: holes at angles counterclockwise seen from the front, motion of the
case outward in metres. Each statement of it (lag or lead; numbers either way, seen from either end, from any hole
on; rotation seen from either end; angles in every sense; blades numbered either way; sensors positive inward or
outward; phase of displacement, velocity or acceleration; units and detectors) must bring the same weights to the
same holes and the same motion, ties included. STRIDE 1 tries all 2304 statements of conventions for each rotor; the
default tries every 31st, a step that shares no factor with any of the choices but visits each of them.
"""
import itertools
import sys
import tempfile

import numpy as np

import trim_reference as ref

ANGLE_WORDS = ["with rotation", "against rotation"] + [f"{s} from {e}" for s in ref.SENSES for e in ref.ENDS]
UNITS = ["in/s peak", "mm/s rms", "mil pp", "um pp", "g peak", "m/s2 rms", "in/s rms"]
CHOICES = [("lag", "lead"), ref.SENSES, ref.ENDS, ref.ENDS, ANGLE_WORDS, ref.SENSES, ref.ENDS, ("inward", "outward"),
           (0, 1, 2)]  # phase; slots' sense, end; rotation's end; angles; blades' sense, end; positive; phase of


# --- the physical rotor -------------------------------------------------------------------------------------------

class Physical:
    """`turn`: +1 when the rotor turns counterclockwise seen from the front. `planes`: (holes, angle of hole 0 [deg,
    counterclockwise seen from the front], catalogue {id: g mm}, filler g mm). Motion outward in m at `speeds` [rpm]:
    d0 + sum c U, per speed and sensor, U = sum m r e^{j angle ahead of the tooth, with rotation}."""

    def __init__(self, turn, planes, speeds, d0, c, limit_m, blades=20, blade_0=3.0):
        self.turn, self.planes, self.speeds, self.d0, self.c, self.limit_m = turn, planes, speeds, d0, c, limit_m
        self.blades, self.blade_0 = blades, blade_0

    def hole_phi(self, p, hole):
        return self.planes[p][1] + 360.0 * hole / self.planes[p][0]

    def unbalance(self, content, shop):
        """`content[p]`: {hole: g mm}; `shop`: [(plane, physical blade, g mm)]."""
        u = np.zeros(len(self.planes), complex)
        for p, (holes, _, _, filler) in enumerate(self.planes):
            for hole in range(holes):
                moment = content[p].get(hole, filler)
                u[p] += moment * ref.unit_vector(self.turn * self.hole_phi(p, hole))
        for p, blade, moment in shop:
            u[p] += moment * ref.unit_vector(self.turn * (self.blade_0 + 360.0 * blade / self.blades))
        return u

    def motion(self, content, shop):
        return self.d0 + self.c @ self.unbalance(content, shop)


class Runs:
    """Physical runs: (name, [{hole: id}] per plane, shop changes); trial pieces are of the catalogue."""

    def __init__(self, runs, now, trim):
        self.runs, self.now, self.trim = runs, now, trim


def invented_rotor(seed, tied=False):
    rng = np.random.default_rng(seed)
    turn = 1 if rng.random() < 0.5 else -1
    weights = {"A": 400.0, "B": 650.0, "C": 900.0}
    if tied:  # a hole at the tooth, motion that asks for a weight midway between two holes, and twins of a weight
        planes = [(8, 0.0, {"A": 500.0, "B": 800.0, "twin": 800.0}, 0.0)]
    else:
        planes = [(12, 17.0, weights, 120.0), (8, -31.0, {"A": 500.0, "B": 800.0}, 0.0)]
    speeds = np.array([2500.0, 3600.0, 4700.0])[: 1 if tied else 3]
    sensors = 1 if tied else 2
    size = 4e-5 * (3000.0 / speeds)[:, None] * np.ones((1, sensors))  # limits [m]
    c = size[:, :, None] / 1200.0 * ref.complex_normal(rng, (len(speeds), sensors, len(planes)))
    d0 = size * ref.complex_normal(rng, (len(speeds), sensors))
    if tied:
        d0 = -c[:, :, 0] * 900.0 * ref.unit_vector(22.5 + 45.0 * int(rng.integers(0, 8)))
    physical = Physical(turn, planes, speeds, d0, c, size)
    if tied:
        runs = [("as found", [{}], []), ("trial", [{2: "A"}], [])]
    else:
        runs = [("as found", [{1: "A"}, {}], []), ("trial 1", [{1: "A", 5: "C"}, {}], []),
                ("blade exchanged", [{1: "A"}, {3: "B"}], [(0, 6, 250.0)]),
                ("trial 2", [{2: "B"}, {3: "B"}], [])]
    return physical, Runs(runs, runs[0][1], {"objective": "worst ratio", "max_changes": 3})


# --- a statement of it --------------------------------------------------------------------------------------------

class Statement:
    """Files that state a physical rotor in one set of conventions, and the way back."""

    def __init__(self, physical, choice, first_holes, first_blade, units, moment_unit):
        (self.phase, self.numbered, self.seen, self.rotation_end, self.words, self.blades_numbered, self.blades_seen,
         self.positive, self.phase_of) = choice
        self.physical, self.first_holes, self.first_blade = physical, first_holes, first_blade
        self.units, self.moment_unit = units, moment_unit
        self.lag = self.phase == "lag"

    def angle(self, phi):
        """A physical angle in the statement's words."""
        if self.words.endswith("rotation"):
            value = phi * self.physical.turn * (1 if self.words == "with rotation" else -1)
        else:
            sense, _, end = self.words.split(" ")
            value = phi * ref.turning(sense, end)
        return f"{value % 360.0:.12g} deg {self.words}"

    def moment(self, g_mm):
        return f"{g_mm / ref.MOMENT[self.moment_unit]:.13g} {self.moment_unit}"

    def number(self, first, step_sense, count, hole):
        """Number, from 1, of physical place `hole` when place `first` is number 1."""
        return (step_sense * (hole - first)) % count + 1

    def slot(self, p, hole):
        return self.number(self.first_holes[p], ref.turning(self.numbered, self.seen), self.physical.planes[p][0], hole)

    def hole(self, p, slot):
        return (self.first_holes[p] + ref.turning(self.numbered, self.seen) * (slot - 1)) % self.physical.planes[p][0]

    def amplitude(self, metres, i, rpm):
        """Text of an outward motion amplitude in sensor i's unit."""
        order, si, detector = ref.motion_unit(self.units[i])
        return f"{metres * (2 * np.pi * rpm / 60) ** order / si * detector:.12g} {self.units[i]}"

    def phase_text(self, d):
        """Outward displacement phasor to what the instrument shows."""
        lead = np.degrees(np.angle(d)) + 90.0 * self.phase_of + (180.0 if self.positive == "inward" else 0.0)
        return f"{(-lead if self.lag else lead) % 360.0:.13g} deg"

    def metres(self, i, shown, rpm):
        order, si, detector = ref.motion_unit(self.units[i])
        return shown / detector * si / (2 * np.pi * rpm / 60) ** order

    def displacement(self, i, shown, phase_deg, rpm):
        lead = (-phase_deg if self.lag else phase_deg) - 90.0 * self.phase_of - 180.0 * (self.positive == "inward")
        return self.metres(i, shown, rpm) * ref.unit_vector(lead)

    def rotor(self):
        f = self.physical
        sense = "counterclockwise" if f.turn == ref.turning("counterclockwise", self.rotation_end) else "clockwise"
        planes = []
        for p, (holes, _, catalogue, filler) in enumerate(f.planes):
            planes.append({"name": f"plane {p + 1}",
                           "slots": {"count": holes, "slot_1_at": self.angle(f.hole_phi(p, self.first_holes[p])),
                                     "numbered": self.numbered, "seen_from": self.seen},
                           "filler": {"moment": self.moment(filler)},
                           "weights": [{"id": id_, "moment": f"{m} g.mm" if id_ == "twin" else self.moment(m)}
                                       for id_, m in catalogue.items()]})
        sensors = []
        for i in range(f.d0.shape[1]):
            bands = [{"up_to": f"{rpm + 50:.9g} rpm", "limit": self.amplitude(f.limit_m[s, i], i, rpm)}
                     for s, rpm in enumerate(f.speeds)]
            sensors.append({"name": f"s{i + 1}", "measures": ref.QUANTITIES[ref.motion_unit(self.units[i])[0]],
                            "unit": self.units[i], "phase_of": ref.QUANTITIES[self.phase_of],
                            "direction": {"positive": self.positive}, "limits": bands})
        blade_phi = f.blade_0 + 360.0 * self.first_blade / f.blades
        return {"name": "one rotor", "rotation": {"sense": sense, "seen_from": self.rotation_end}, "phase": self.phase,
                "speed_tolerance": "5 rpm", "reference": {"teeth": 1, "larger_tooth": 1, "polarity": "falling"},
                "blades": {"count": f.blades, "blade_1_at": self.angle(blade_phi), "numbered": self.blades_numbered,
                           "seen_from": self.blades_seen},
                "planes": planes, "sensors": sensors}

    def content(self, holes):
        return {f"plane {p + 1}": {str(self.slot(p, h)): id_ for h, id_ in one.items()}
                for p, one in enumerate(holes) if one} or "none"

    def job(self, runs):
        f, written, shop = self.physical, [], []
        for name, holes, changes in runs.runs:
            shop = shop + changes
            d = f.motion([{h: f.planes[p][2][i] for h, i in one.items()} for p, one in enumerate(holes)], shop)
            readings = [{"speed": f"{rpm:.9g} rpm", "sensor": f"s{i + 1}", "component": "once-per-rev",
                         "amplitude": self.amplitude(abs(d[s, i]), i, rpm), "phase": self.phase_text(d[s, i])}
                        for s, rpm in enumerate(f.speeds) for i in range(d.shape[1])]
            run = {"name": name, "fitted": self.content(holes), "readings": readings}
            if changes:
                step = ref.turning(self.blades_numbered, self.blades_seen)
                run["changes"] = [{"plane": f"plane {p + 1}", "moment": self.moment(m),
                                   "blade": self.number(self.first_blade, step, f.blades, blade)}
                                  for p, blade, m in changes]
            written.append(run)
        return {"runs": written, "fitted_now": self.content(runs.now), "trim": runs.trim}

    # --- the way back

    def physical_changes(self, changes):
        return sorted((one["plane"], self.hole(int(one["plane"][6:]) - 1, one["slot"]), str(one["remove"]),
                       str(one["fit"])) for one in changes)

    def physical_plan(self, document):
        """What the plan means on the rotor: weights in holes by row, moments, motion before and after."""
        f = self.physical
        rows = [(row["pieces_changed"], self.physical_changes(row["slots"])) for row in document["trade_off"]]
        moments = [one["moment_to_add_g_mm"] * ref.unit_vector(f.turn * one["angle_deg"])
                   for one in document["correction"]]
        motion = [[self.displacement(int(one["sensor"][1:]) - 1, one[word], one[word + "_phase_deg"], one["speed_rpm"])
                   for one in document["predicted"]] for word in ("before", "after")]
        ratios = [row["worst_ratio"] for row in document["trade_off"]]
        return rows, np.array(moments), np.array(motion), np.array(ratios), self.physical_changes(document["slots"])


def plan(program, statement, runs, *arguments):
    with tempfile.TemporaryDirectory() as folder:
        path = ref.write_job(folder, statement.rotor(), statement.job(runs))
        return program.json("plan", path, "--time-limit", 60, *arguments)


def compare(checks, name, found, wanted):
    checks.ok(found[0] == wanted[0], f"{name}: {found[0]} and not {wanted[0]}")
    checks.ok(found[4] == wanted[4], f"{name}: recommends {found[4]} and not {wanted[4]}")
    for k, what in ((1, "moments to add"), (2, "motion"), (3, "ratios")):
        if found[k].shape != wanted[k].shape:
            checks.ok(False, f"{name}: {what}, {found[k].shape} and not {wanted[k].shape}")
            continue
        checks.close(np.max(np.abs(found[k] - wanted[k])) / np.max(np.abs(wanted[k])), 1e-6 if k == 1 else 1e-8,
                     f"{name}: {what}")


def statements(program, checks, stride, tied, seeds):
    checks.begin(f"the same holes whatever the convention{', ties included' if tied else ''}, {len(seeds)} rotors")
    every = list(itertools.product(*CHOICES))
    for n, seed in enumerate(seeds):
        physical, runs = invented_rotor(seed, tied)
        rng, wanted = np.random.default_rng(seed), None
        for choice in every[n::stride]:
            first = [int(rng.integers(plane[0])) for plane in physical.planes]
            statement = Statement(physical, choice, first, int(rng.integers(physical.blades)),
                                  [ref.pick(rng, UNITS) for _ in range(physical.d0.shape[1])],
                                  ref.pick(rng, list(ref.MOMENT)))
            found = statement.physical_plan(plan(program, statement, runs))
            if wanted is None:
                wanted = found
                content = [{h: physical.planes[p][2][i] for h, i in one.items()} for p, one in enumerate(runs.now)]
                shop = [change for _, _, changes in runs.runs for change in changes]
                checks.close(np.max(np.abs(found[2][0] - physical.motion(content, shop).ravel())) / 4e-5, 1e-9,
                             f"rotor {seed}: motion now")
                checks.ok(not tied or len(found[0][1][1]) == 1, f"rotor {seed}: no choice of one hole of two alike")
            compare(checks, f"rotor {seed}, {choice}", found, wanted)
    checks.end()


def turned(program, checks, seeds):
    """Readings' phases and the pieces' holes turned by whole pitches: the answer turns with them."""
    checks.begin("turned by whole slot pitches, the answer turns")
    for seed in seeds:
        physical, runs = invented_rotor(seed)
        # An odd number of holes: with an even one, taking a piece out ties with one more piece opposite to it.
        physical.planes = [(15, 17.0, *physical.planes[0][2:]), (30, 17.0, *physical.planes[1][2:])]
        choice = ("lag", "clockwise", "front", "aft", "with rotation", "clockwise", "front", "outward", 1)
        plain = [run[:2] + ([],) for run in runs.runs]
        wanted = None
        for step in (0, 1, 5, 11):  # pitches of the first plane; twice as many of the second
            move = lambda holes: [{(h + k * step) % physical.planes[p][0]: i for h, i in holes[p].items()}
                                  for p, k in ((0, 1), (1, 2))]
            turn = physical.turn * 24.0 * step
            moved = Physical(physical.turn, physical.planes, physical.speeds, physical.d0 * ref.unit_vector(turn),
                             physical.c, physical.limit_m)
            here = Runs([(n, move(h), s) for n, h, s in plain], move(runs.now), runs.trim)
            statement = Statement(moved, choice, [0, 0], 0, ["mm/s rms", "mil pp"], "g.mm")
            rows, moments, motion, ratios, _ = statement.physical_plan(plan(program, statement, here))
            back = [(m, sorted((p, (h - step * (1 if p == "plane 1" else 2)) % (15 if p == "plane 1" else 30), *rest)
                               for p, h, *rest in changes)) for m, changes in rows]
            # Moments are about the physical angle here, so they turn by 24 deg a step.
            found = back, moments * ref.unit_vector(-24.0 * step), motion * ref.unit_vector(-turn), ratios, None
            wanted = wanted or found
            compare(checks, f"rotor {seed}, {step} pitches", found, wanted)
    checks.end()


def fitted_plan_is_enough(program, checks, seeds):
    """The best of all choices fitted, the next plan has nothing to change."""
    checks.begin("a fitted correction makes the next plan empty")
    for seed in seeds:
        physical, runs = invented_rotor(seed)
        physical.planes = [(5, 17.0, {"A": 400.0, "B": 700.0}, 50.0), (4, -31.0, {"A": 500.0}, 0.0)]
        runs.runs = [("as found", [{1: "A"}, {}], []), ("trial 1", [{1: "A", 3: "B"}, {}], []),
                     ("trial 2", [{1: "A"}, {3: "A"}], [])]
        runs.trim = {"objective": ("worst ratio", "least squares")[seed % 2], "max_changes": 9}
        runs.now = runs.runs[0][1]
        choice = ("lead", "counterclockwise", "aft", "front", "against rotation", "clockwise", "aft", "inward", 0)
        statement = Statement(physical, choice, [2, 1], 0, ["in/s peak", "um pp"], "oz.in")
        first = plan(program, statement, runs)
        fitted = [dict(one) for one in runs.now]
        checks.ok(first["trade_off"][-1]["proved_optimal"], f"rotor {seed}: not proved")
        for plane, hole, _, fit in statement.physical_changes(first["trade_off"][-1]["slots"]):
            fitted[int(plane[6:]) - 1].pop(hole, None)
            if fit != "None":
                fitted[int(plane[6:]) - 1][hole] = fit
        checks.ok(first["trade_off"][-1]["pieces_changed"] > 0, f"rotor {seed}: nothing to do at first")
        after = Runs(runs.runs + [("check run", fitted, [])], fitted, runs.trim)
        second = plan(program, statement, after)
        checks.ok(second["slots"] == [] and len(second["trade_off"]) == 1,
                  f"rotor {seed}: changes {second['trade_off']}")
        checks.close(abs(second["trade_off"][0]["objective"] / first["trade_off"][-1]["objective"] - 1), 1e-8,
                     f"rotor {seed}: objective")
    checks.end()


# --- the mirror ---------------------------------------------------------------------------------------------------

def simple_rotor(seed, planes):
    """Planes without slots would do; slots keep the statements the same. One trial a plane, alone."""
    physical, _ = invented_rotor(seed)
    if planes == 1:
        physical.planes, physical.c = physical.planes[:1], physical.c[:, :, :1]
    physical.planes = [(h, a, catalogue, 0.0) for h, a, catalogue, _ in physical.planes]
    none = [{} for _ in physical.planes]
    runs = [("as found", none, [])]
    for p in range(planes):
        runs.append((f"trial {p + 1}", [{4 + p: "B"} if q == p else {} for q in range(planes)], []))
    return physical, Runs(runs, none, {"objective": "least squares", "max_changes": 1})


def statement_of(physical, phase, phase_of=1, positive="inward"):
    choice = (phase, "clockwise", "front", "aft", "with rotation", "clockwise", "front", positive, phase_of)
    return Statement(physical, choice, [0] * len(physical.planes), 0, ["mm/s rms", "mil pp"], "g.mm")


def declared_wrongly(statement, runs):
    """The files of `statement` with lag called lead, or lead lag."""
    rotor, job = statement.rotor(), statement.job(runs)
    return dict(rotor, phase="lead" if statement.lag else "lag"), job


def run_on(program, rotor, job, command, *arguments):
    with tempfile.TemporaryDirectory() as folder:
        return program.run(command, ref.write_job(folder, rotor, job), "--format", "json", *arguments)


def document_of(program, rotor, job, command, *arguments):
    with tempfile.TemporaryDirectory() as folder:
        return program.json(command, ref.write_job(folder, rotor, job), *arguments)


def mirror_image(program, checks, seeds):
    """One trial a plane, lag for lead: a perfect fit, and every moment mirrored about its trial's direction."""
    checks.begin("lag called lead, one trial a plane: the mirror image, and no way to tell")
    for seed in seeds:
        for planes, phase in itertools.product((1, 2), ("lag", "lead")):
            physical, runs = simple_rotor(seed, planes)
            statement = statement_of(physical, phase, phase_of=0, positive="outward")
            right = plan(program, statement, runs)["correction"]
            rotor, job = declared_wrongly(statement, runs)
            wrong = document_of(program, rotor, job, "plan")["correction"]
            outcome = document_of(program, rotor, job, "influence")["mirror_test"]["outcome"]
            checks.ok(outcome == "cannot_tell", f"rotor {seed}, {planes} planes: {outcome}")
            for p, (one, other) in enumerate(zip(right, wrong, strict=True)):
                trial = physical.turn * physical.hole_phi(p, 4 + p)
                off = (one["angle_deg"] + other["angle_deg"] - 2 * trial + 180) % 360 - 180
                checks.close(abs(off), 1e-6, f"rotor {seed}, plane {p + 1} of {planes}: angle from the mirror image")
                checks.close(abs(other["moment_to_add_g_mm"] / one["moment_to_add_g_mm"] - 1), 1e-8,
                             f"rotor {seed}, plane {p + 1} of {planes}: moment")
            checks.ok(any(abs((one["angle_deg"] - other["angle_deg"] + 180) % 360 - 180) > 1
                          for one, other in zip(right, wrong)), f"rotor {seed}: the mirror changed nothing")
    checks.end()


def with_another_trial(runs, hole):
    """One more run in plane 1, whose first trial was in hole 4 of 12: hole 10 is in line with it, hole 7 is not."""
    holes = [dict(one) for one in runs.runs[1][1]]
    holes[0] = {hole: "C"}
    return Runs(runs.runs + [("one more trial", holes, [])], runs.now, runs.trim)


def mirror_detected(program, checks, seeds):
    checks.begin("mixed conventions are detected where the runs allow, and `unknown` is settled or refused")
    for seed in seeds:
        for planes, phase, phase_of in itertools.product((1, 2), ("lag", "lead"), (0, 1)):
            physical, few = simple_rotor(seed, planes)
            more, statement = with_another_trial(few, 7), statement_of(physical, phase, phase_of)
            name = f"rotor {seed}, {planes} planes, {phase} of {ref.QUANTITIES[phase_of]}"
            right = plan(program, statement, more)
            rotor, job = declared_wrongly(statement, more)
            status, _, error = run_on(program, rotor, job, "plan")
            checks.ok(status == 1 and "contradict" in error, f"{name}: wrong convention gives {status} {error}")
            outcome = document_of(program, rotor, job, "influence")["mirror_test"]["outcome"]
            checks.ok(outcome == "contradicts", f"{name}: wrong convention {outcome}")
            right_files = statement.rotor(), statement.job(more)
            outcome = document_of(program, *right_files, "influence")["mirror_test"]["outcome"]
            checks.ok(outcome == "supports_given", f"{name}: right convention {outcome}")
            numbered = statement_of(physical, phase, phase_of).rotor()
            for plane in numbered["planes"]:  # slots told the wrong way round: the same mistake in the angles
                plane["slots"]["numbered"] = "counterclockwise"
            status, _, error = run_on(program, numbered, job, "plan")
            checks.ok(status == 1 and "contradict" in error, f"{name}: wrong numbering gives {status} {error}")
            unknown = dict(right_files[0], phase="unknown")
            settled = document_of(program, unknown, right_files[1], "plan")
            checks.ok(settled["phase_convention"] == phase, f"{name}: unknown settled as {settled['phase_convention']}")
            compare(checks, f"{name}, unknown", statement.physical_plan(settled), statement.physical_plan(right))
            for job in (statement.job(few), statement.job(with_another_trial(few, 10))):
                status, _, error = run_on(program, unknown, job, "plan")
                checks.ok(status == 1 and "unknown" in error,
                          f"{name}: unknown with trials in line gives {status} {error}")
                outcome = document_of(program, right_files[0], job, "influence")["mirror_test"]["outcome"]
                checks.ok(outcome == "cannot_tell", f"{name}: trials in line, {outcome}")
    checks.end()


def lag_of_a_waveform(checks):
    """The conventions themselves: a heavy spot passing a stiff probe, and the positive peak after the tooth."""
    checks.begin("lag is the rotation from the tooth to the next positive peak; a mass ahead of the tooth comes earlier")
    turn = np.linspace(0.0, 360.0, 360001)  # degrees turned since the tooth passed the probe
    for theta in (10.0, 95.0, 250.0):  # the mass stands theta ahead of the tooth, so it comes 360 - theta later
        wave = np.cos(np.radians(turn + theta))
        peak = turn[np.argmax(wave)] % 360.0
        sensor = ref.Sensor({"name": "s", "unit": "mil pp", "phase_of": "displacement", "limits": []}, None)
        x = sensor.phasor("2 mil pp", peak, None, 3000.0, lag=True)
        checks.close(abs(x - ref.unit_vector(theta)), 1e-4, f"{theta} deg ahead")
        velocity = -np.sin(np.radians(turn + theta))  # d/dt, over the speed
        late = turn[np.argmax(velocity)] % 360.0
        x = sensor.phasor("2 mil pp", late, "velocity", 3000.0, lag=True)
        checks.close(abs(x - ref.unit_vector(theta)), 1e-4, f"{theta} deg ahead, phase of velocity")
    checks.end()


def main():
    program, checks = ref.Program(sys.argv[1]), ref.Checks()
    stride = int(sys.argv[3]) if len(sys.argv) > 3 else 31
    return ref.verdict(checks, [lambda: lag_of_a_waveform(checks),
                                lambda: statements(program, checks, stride, False, [1, 2]),
                                lambda: statements(program, checks, stride, True, [3, 4, 5]),
                                lambda: turned(program, checks, range(6)),
                                lambda: fitted_plan_is_enough(program, checks, range(8)),
                                lambda: mirror_image(program, checks, [0, 2, 3]),
                                lambda: mirror_detected(program, checks, range(3))])


if __name__ == "__main__":
    sys.exit(main())
