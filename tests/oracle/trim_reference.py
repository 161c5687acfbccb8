"""A small model of a rotor, its runs and its trim, for checking the program from outside.

Written from the conventions of the project's documentation and from nothing in its C++. A job is held as it is
written in its files (plain dicts and strings), so that the same text is what the program reads and what this model
interprets.

Physical angle `phi` [deg]: fixed to the rotor, zero at the reference tooth, counterclockwise seen from the front.
Rotor angle `theta` [deg]: zero at the reference tooth, positive with rotation. Phasor X: x(t) = Re(X e^{jwt}), peak
in the sensor's unit, positive outward, of the quantity the sensor measures.
"""
import csv
import io
import json
import os
import re
import subprocess

import numpy as np

INCH, FREE_FALL, OUNCE, POUND = 25.4, 9.80665, 28.349523125, 453.59237  # mm, m/s^2, g, g
# Order of derivative of displacement, and m, m/s or m/s^2 per unit.
MOTION = {"mil": (0, 1e-6 * INCH), "um": (0, 1e-6), "µm": (0, 1e-6), "mm": (0, 1e-3), "in": (0, 1e-3 * INCH),
          "in/s": (1, 1e-3 * INCH), "mm/s": (1, 1e-3), "m/s": (1, 1.0), "g": (2, FREE_FALL), "m/s2": (2, 1.0)}
QUANTITIES = ["displacement", "velocity", "acceleration"]
SHOWN_PER_PEAK = {"peak": 1.0, "pp": 2.0, "rms": np.sqrt(0.5)}  # of a sine
MASS = {"g": 1.0, "kg": 1e3, "mg": 1e-3, "oz": OUNCE, "lb": POUND}
LENGTH = {"mm": 1.0, "cm": 10.0, "m": 1e3, "in": INCH}
MOMENT = {"g.mm": 1.0, "g.cm": 10.0, "kg.mm": 1e3, "oz.in": OUNCE * INCH}


# --- written values ---------------------------------------------------------------------------------------------

def quantity(text):
    """(number, unit) of "4.2 g"."""
    number, unit = re.match(r"\s*([-+0-9.eE]+)\s*(.*?)\s*$", str(text)).groups()
    return float(number), unit


def measured(text, factors):
    number, unit = quantity(text)
    return number * factors[unit]


def moment_of(entry):
    """g mm of {moment: M} or {mass: M, radius: R}."""
    if "moment" in entry:
        return measured(entry["moment"], MOMENT)
    return measured(entry["mass"], MASS) * measured(entry["radius"], LENGTH)


def motion_unit(text):
    symbol, detector = text.split(" ")
    order, si = MOTION[symbol]
    return order, si, SHOWN_PER_PEAK[detector]


def turning(sense, end):
    """+1 when the turning is counterclockwise seen from the front."""
    return (1 if sense == "counterclockwise" else -1) * (1 if end == "front" else -1)


def unit_vector(degrees):
    return np.exp(1j * np.radians(degrees))


class Ring:
    """Numbered places around a plane: slots or blades."""

    def __init__(self, written, first_key, rotor):
        self.count = written["count"]
        self.first = rotor.theta(written[first_key])
        self.step = turning(written["numbered"], written["seen_from"]) * rotor.turn * 360.0 / self.count
        self.unusable = set(written.get("unusable", []))

    def theta(self, number):
        return self.first + self.step * (number - 1)

    def usable(self):
        return [n for n in range(1, self.count + 1) if n not in self.unusable]


class Sensor:
    def __init__(self, written, rotor):
        self.name = written["name"]
        self.unit = written["unit"]
        self.order, self.si, self.detector = motion_unit(self.unit)
        self.phase_of = written["phase_of"]
        self.inward = written.get("direction", {}).get("positive") == "inward"
        self.bands = [(rotor.rpm(b["up_to"]), self.peak(b["limit"]),
                       self.peak(b["target"]) if "target" in b else None) for b in written["limits"]]
        self.repeatability = self.peak(written["repeatability"]) if "repeatability" in written else None

    def peak(self, text, rpm=None):
        """Peak amplitude in the sensor's unit; a bare "0.8 in/s" has the sensor's detector when the units agree."""
        number, unit = quantity(text)
        if unit == self.unit.split(" ")[0]:
            return number / self.detector
        order, si, detector = motion_unit(unit)
        factor = 1.0 if order == self.order else (2 * np.pi * rpm / 60) ** (self.order - order)
        return number / detector * si * factor / self.si

    def limit(self, rpm):
        return next(limit for up_to, limit, _ in self.bands if rpm <= up_to)

    def phasor(self, amplitude, phase, phase_of, rpm, lag):
        """X of a written amplitude, phase [deg] and the quantity the phase belongs to."""
        lead = -phase if lag else phase
        lead += 90.0 * (self.order - QUANTITIES.index(phase_of or self.phase_of)) + (180.0 if self.inward else 0.0)
        return self.peak(amplitude, rpm) * unit_vector(lead)

    def shown(self, x, lag):
        """(amplitude in the sensor's unit and detector, phase [deg] as its readings are written)."""
        turned = x / unit_vector(90.0 * (self.order - QUANTITIES.index(self.phase_of)) + 180.0 * self.inward)
        lead = np.degrees(np.angle(turned))
        return abs(x) * self.detector, (-lead if lag else lead) % 360.0

    def written(self, x, rpm, lag, unit=None, phase_of=None):
        """(amplitude text, phase text) that say X, in `unit` and of `phase_of` if given."""
        unit, phase_of = unit or self.unit, phase_of or self.phase_of
        order, si, detector = motion_unit(unit)
        shown = abs(x) * self.si * (2 * np.pi * rpm / 60) ** (order - self.order) / si * detector
        lead = np.degrees(np.angle(x)) + 90.0 * (QUANTITIES.index(phase_of) - self.order) + 180.0 * self.inward
        return f"{shown:.12g} {unit}", f"{(-lead if lag else lead) % 360.0:.13g} deg"


class Rotor:
    def __init__(self, written):
        self.turn = turning(written["rotation"]["sense"], written["rotation"]["seen_from"])
        self.lag = written["phase"] == "lag"
        self.speed_100 = quantity(written["speed_100"])[0] if "speed_100" in written else None
        self.tolerance = self.rpm(written["speed_tolerance"])
        self.blades = Ring(written["blades"], "blade_1_at", self) if "blades" in written else None
        self.planes = written["planes"]
        self.plane_names = [p["name"] for p in self.planes]
        self.rings = [Ring(p["slots"], "slot_1_at", self) if "slots" in p else None for p in self.planes]
        self.fillers = [moment_of(p["filler"]) if "filler" in p else 0.0 for p in self.planes]
        self.catalogue = [{w["id"]: moment_of(w) for w in p.get("weights", [])} for p in self.planes]
        self.stock = [{w["id"]: w["stock"] for w in p.get("weights", []) if "stock" in w} for p in self.planes]
        self.sensors = [Sensor(s, self) for s in written["sensors"]]

    def rpm(self, text):
        number, unit = quantity(text)
        return number if unit == "rpm" else number / 100.0 * self.speed_100

    def theta(self, text):
        """Rotor angle of "30 deg with rotation", "30 deg clockwise from front", ..."""
        number, words = quantity(text)
        if number == 0.0:
            return 0.0
        words = words.removeprefix("deg ")
        if words.endswith("rotation"):
            return number if words == "with rotation" else -number
        sense, _, end = words.split(" ")
        return number * turning(sense, end) * self.turn

    def sensor(self, name):
        return next(i for i, s in enumerate(self.sensors) if s.name == name)


# --- runs -------------------------------------------------------------------------------------------------------

class Job:
    """A rotor and the written job, interpreted. `contents[run][plane]`: ({slot: (id or None, g mm)}, free U)."""

    def __init__(self, rotor_written, written):
        self.rotor, self.written = Rotor(rotor_written), written
        self.contents = []
        for run in written["runs"]:
            self.contents.append(self.fitted(run["fitted"]))
        self.now = self.fitted(written["fitted_now"]) if "fitted_now" in written else self.contents[-1]
        self.shop = np.zeros((len(self.contents) + 1, len(self.rotor.planes)), complex)
        for r, run in enumerate(written["runs"]):
            self.shop[r + 1] = self.shop[r]
            for change in run.get("changes", []):
                self.shop[r + 1, self.rotor.plane_names.index(change["plane"])] += self.known_change(change)

    def fitted(self, written):
        if written == "none":
            return [({}, 0.0) for _ in self.rotor.planes]
        if isinstance(written, str):
            names = [run["name"] for run in self.written["runs"]]
            return self.contents[names.index(written.removeprefix("same as "))]
        return [self.fitted_plane(p, written.get(name, {})) for p, name in enumerate(self.rotor.plane_names)]

    def fitted_plane(self, p, written):
        if isinstance(written, dict):
            return {int(slot): (id_, self.rotor.catalogue[p][id_]) for slot, id_ in written.items()}, 0.0
        slots, free = {}, 0.0
        for item in written:
            if "at" in item:
                free += moment_of(item) * unit_vector(self.rotor.theta(item["at"]))
            elif "weight" in item:
                slots[item["slot"]] = (item["weight"], self.rotor.catalogue[p][item["weight"]])
            else:
                slots[item["slot"]] = (None, moment_of(item))
        return slots, free

    def known_change(self, change):
        if "moment" in change:
            moment = measured(change["moment"], MOMENT)
        else:
            moment = measured(change["moment_after"], MOMENT) - measured(change["moment_before"], MOMENT)
        theta = (self.rotor.blades.theta(change["blade"]) if "blade" in change
                 else self.rotor.theta(change["at"]))
        return moment * unit_vector(theta)

    def plane_moment(self, p, content):
        """Total moment of what the usable slots hold, fillers included, and of free pieces."""
        slots, free = content
        total = complex(free)
        if self.rotor.rings[p]:
            for n in self.rotor.rings[p].usable():
                held = slots[n][1] if n in slots else self.rotor.fillers[p]
                total += held * unit_vector(self.rotor.rings[p].theta(n))
        return total

    def unbalance(self, contents, runs_made):
        """U per plane with `contents` fitted after `runs_made` runs' known changes."""
        return np.array([self.plane_moment(p, c) for p, c in enumerate(contents)]) + self.shop[runs_made]

    def run_unbalance(self, r):
        return self.unbalance(self.contents[r], r + 1)

    def unbalance_now(self):
        return self.unbalance(self.now, len(self.contents))

    def used_runs(self):
        return [r for r, run in enumerate(self.written["runs"]) if "set_aside" not in run]

    def moved_planes(self):
        u = np.array([self.run_unbalance(r) for r in self.used_runs()])
        return [p for p in range(u.shape[1]) if np.ptp(u[:, p].real) + np.ptp(u[:, p].imag) > 1e-6]


# --- influence --------------------------------------------------------------------------------------------------

def usable_readings(job, speeds):
    """{(speed index, sensor index): [(run, X, rpm)]} of once-per-rev readings with a phase."""
    rows = {}
    for r in job.used_runs():
        for reading in job.written["runs"][r].get("readings", []):
            if reading["component"] != "once-per-rev" or not reading.get("phase"):
                continue
            rpm = job.rotor.rpm(reading["speed"])
            s = int(np.argmin([abs(rpm - one) for one in speeds]))
            i = job.rotor.sensor(reading["sensor"])
            x = job.rotor.sensors[i].phasor(reading["amplitude"], quantity(reading["phase"])[0],
                                            reading.get("phase_of"), rpm, job.rotor.lag)
            rows.setdefault((s, i), []).append((r, x, rpm))
    return rows


class Row:
    """X = x0 + c . U[planes] of one speed and sensor, by least squares."""

    def __init__(self, job, planes, readings):
        u = np.array([job.run_unbalance(r)[planes] for r, _, _ in readings])
        x = np.array([x for _, x, _ in readings])
        centred = u - u.mean(axis=0)
        scale = np.maximum(np.linalg.norm(centred, axis=0), 1e-300)
        design = np.hstack([np.ones((len(x), 1)), centred / scale])
        solution, _, rank, _ = np.linalg.lstsq(design, x, rcond=1e-9)
        self.settled = rank == design.shape[1]
        self.c = solution[1:] / scale
        self.x0 = solution[0] - u.mean(axis=0) @ self.c
        self.size = np.max(np.abs(x))
        self.residual2 = np.sum(np.abs(x - design @ solution) ** 2)
        self.spare = len(x) - design.shape[1]
        self.readings = len(x)
        if self.settled:
            covariance = np.linalg.inv(design.conj().T @ design)
            self.unit_sd = np.sqrt(np.diag(covariance).real[1:]) / scale

    def at(self, u):
        return self.x0 + self.c @ u


def influence(job, speeds):
    """(planes, {(speed index, sensor index): settled Row})."""
    planes = job.moved_planes()
    rows = {key: Row(job, planes, readings) for key, readings in usable_readings(job, speeds).items()
            if len(readings) >= 1 + len(planes)}
    return planes, {key: row for key, row in sorted(rows.items()) if row.settled}


# --- files and the program --------------------------------------------------------------------------------------

def yaml_lines(value, indent):
    """Block style down to what fits on a line, which is written in flow style (JSON is YAML)."""
    flow = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, (dict, list)) or not value or len(flow) + indent <= 100:
        return [flow]
    lines = []
    for key, part in value.items() if isinstance(value, dict) else ((None, part) for part in value):
        below = yaml_lines(part, indent + 2)
        head = "-" if key is None else f"{json.dumps(key, ensure_ascii=False)}:"
        fits = below == [json.dumps(part, ensure_ascii=False)]
        lines += [f"{head} {below[0]}"] if fits else [head] + ["  " + line for line in below]
    return lines


def yaml_text(kind, written):
    return "\n".join([f"trimwright: {kind} 1"] + yaml_lines(written, 0)) + "\n"


def csv_text(rows, delimiter=",", decimal_comma=False, speed_unit=None):
    """A readings table of (run name, reading), numbers with their units but for the speeds when `speed_unit`."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n" if decimal_comma else "\n")
    writer.writerow(["run", f"speed [{speed_unit}]" if speed_unit else "speed", "sensor", "amplitude", "phase",
                     "component", "phase_of", "note"])
    for run, reading in rows:
        speed, amplitude, phase = reading["speed"], reading["amplitude"], reading.get("phase", "")
        if speed_unit:
            speed = speed.removesuffix(" " + speed_unit)
        if decimal_comma:
            speed, amplitude, phase = (text.replace(".", ",", 1) for text in (speed, amplitude, phase))
        writer.writerow([run, speed, reading["sensor"], amplitude, phase, reading["component"],
                         reading.get("phase_of", ""), ""])
    return out.getvalue()


def write_job(folder, rotor_written, job_written, table=None):
    """Writes rotor.yaml, job.yaml and, for the runs named in `table` (csv_text's options), readings.csv."""
    job_written = dict(job_written, rotor="rotor.yaml")
    job_written["runs"] = [dict(run) for run in job_written["runs"]]
    if table:
        rows = []
        for run in job_written["runs"]:
            if run["name"] in table["runs"]:
                rows += [(run["name"], reading) for reading in run.pop("readings", [])]
        with open(os.path.join(folder, "readings.csv"), "w", encoding="utf-8", newline="") as file:
            file.write(csv_text(rows, **{k: v for k, v in table.items() if k != "runs"}))
        job_written["readings"] = "readings.csv"
    for kind, written in (("rotor", rotor_written), ("job", job_written)):
        with open(os.path.join(folder, kind + ".yaml"), "w", encoding="utf-8") as file:
            file.write(yaml_text(kind, written))
    return os.path.join(folder, "job.yaml")


class Program:
    def __init__(self, path):
        self.path = path

    def run(self, *arguments):
        done = subprocess.run([self.path, *map(str, arguments)], capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr.strip()

    def json(self, *arguments):
        """The JSON document; a failure of the program is a failure of the check."""
        status, out, err = self.run(*arguments, "--format", "json")
        if status != 0:
            raise AssertionError(f"{' '.join(map(str, arguments))}: exit status {status}: {err}")
        return json.loads(out)


class Checks:
    """Counts what was checked, and tells the first failures."""

    def __init__(self):
        self.failed = False
        self.begin("")

    def begin(self, title):
        self.title, self.count, self.failures, self.largest = title, 0, [], 0.0

    def ok(self, condition, message):
        self.count += 1
        if not condition:
            self.failures.append(message)

    def close(self, error, tolerance, message):
        """error <= tolerance; the largest error is told in the summary."""
        self.largest = max(self.largest, float(error)) if np.isfinite(error) else float("inf")
        self.ok(error <= tolerance, f"{message}: off by {error:.3g}, allowed {tolerance:.3g}")

    def end(self, detail=""):
        state = "FAILED" if self.failures or not self.count else "ok"
        self.failed = self.failed or state != "ok"
        largest = f", largest error {self.largest:.2g}" if self.largest else ""
        print(f"{state}: {self.title}: {self.count} checks{largest}{detail}", flush=True)
        for message in self.failures[:8]:
            print("    " + message, flush=True)
        if len(self.failures) > 8:
            print(f"    and {len(self.failures) - 8} more", flush=True)


def verdict(checks, parts):
    """Exit status after all `parts` (called without arguments); a plan refused where one was due is a failure."""
    for part in parts:
        try:
            part()
        except AssertionError as failure:
            checks.ok(False, str(failure))
            checks.end()
    return 1 if checks.failed else 0


# --- invented rotors and jobs -----------------------------------------------------------------------------------

ENDS, SENSES = ("front", "aft"), ("clockwise", "counterclockwise")
ORDINARY_LIMIT = {"in/s peak": 0.8, "mm/s rms": 15.0, "in/s rms": 0.6, "mil pp": 5.0, "um pp": 120.0, "mm peak": 0.07,
                  "g peak": 1.3, "m/s2 rms": 9.0}


def pick(rng, items):
    return items[int(rng.integers(len(items)))]


def angle_text(rng, low=0.0, high=360.0):
    sense = pick(rng, ["with rotation", "against rotation"] + [f"{s} from {e}" for s in SENSES for e in ENDS])
    return f"{rng.uniform(low, high):.10g} deg {sense}"


def moment_entry(rng, g_mm):
    """{moment} or {mass, radius} of about `g_mm`, in some unit."""
    if rng.random() < 0.5:
        unit = pick(rng, list(MOMENT))
        return {"moment": f"{g_mm / MOMENT[unit]:.9g} {unit}"}
    mass, length, radius = pick(rng, list(MASS)), pick(rng, list(LENGTH)), rng.uniform(150, 400)
    return {"mass": f"{g_mm / radius / MASS[mass]:.9g} {mass}", "radius": f"{radius / LENGTH[length]:.9g} {length}"}


def invent_plane(rng, name, slots, moments, filler=0.0, unusable=0, stock=None):
    """`slots` 0: a plane without slots."""
    plane = {"name": name}
    if slots:
        plane["slots"] = {"count": slots, "slot_1_at": angle_text(rng), "numbered": pick(rng, SENSES),
                          "seen_from": pick(rng, ENDS)}
        if unusable:
            plane["slots"]["unusable"] = [int(n) + 1 for n in rng.choice(slots, unusable, replace=False)]
        if filler:
            plane["filler"] = moment_entry(rng, filler)
        plane["weights"] = [{"id": f"w{i + 1}", **moment_entry(rng, m)} for i, m in enumerate(moments)]
        for weight in plane["weights"]:
            if stock is not None:
                weight["stock"] = int(stock)
    return plane


def invent_sensor(rng, name, repeatability=False):
    unit = pick(rng, list(ORDINARY_LIMIT))
    low, symbol = ORDINARY_LIMIT[unit] * rng.uniform(0.8, 1.2), unit.split(" ")[0]
    sensor = {"name": name, "measures": QUANTITIES[motion_unit(unit)[0]], "unit": unit,
              "phase_of": pick(rng, QUANTITIES), "direction": {"positive": pick(rng, ["inward", "outward"])},
              "limits": [{"up_to": "3000 rpm", "limit": f"{low:.6g} {symbol}"},
                         {"up_to": "9000 rpm", "limit": f"{1.3 * low:.6g} {unit}", "target": f"{low:.6g} {unit}"}]}
    if repeatability:
        sensor["repeatability"] = f"{0.01 * low:.6g} {unit}"
    sensor["run_to_run"] = f"0 {unit}"  # stated: all readings of a sensor count alike, as in plain least squares
    return sensor


def invent_rotor(rng, planes, sensors, phase=None):
    return {"name": "invented", "rotation": {"sense": pick(rng, SENSES), "seen_from": pick(rng, ENDS)},
            "phase": phase or pick(rng, ["lag", "lead"]), "speed_100": "5000 rpm", "speed_tolerance": "0.5 %",
            "reference": {"teeth": 40, "larger_tooth": 1, "polarity": "falling"},
            "blades": {"count": int(rng.integers(18, 27)), "blade_1_at": angle_text(rng),
                       "numbered": pick(rng, SENSES), "seen_from": pick(rng, ENDS)},
            "planes": planes, "sensors": sensors}


def complex_normal(rng, shape):
    return (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2)


class Truth:
    """A linear rotor: X = x0 + c . U per speed and sensor, about at its limits for U of `moment` [g mm]."""

    def __init__(self, rng, rotor_written, speeds, moment=1500.0):
        rotor = Rotor(rotor_written)
        n, planes = len(rotor.sensors), len(rotor.planes)
        limit = np.array([[s.limit(rpm) for s in rotor.sensors] for rpm in speeds])
        self.speeds, self.limit = speeds, limit
        self.x0 = limit * complex_normal(rng, (len(speeds), n))
        self.c = limit[:, :, None] / moment * complex_normal(rng, (len(speeds), n, planes))

    def readings(self, job, run_index, rng=None, noise=0.0, any_unit=False):
        """What a run of `job` reads; with `rng` a little off the speeds, noisy and, if wanted, in any unit."""
        written, u = [], job.run_unbalance(run_index)
        for s, rpm in enumerate(self.speeds):
            for i, sensor in enumerate(job.rotor.sensors):
                x = self.x0[s, i] + self.c[s, i] @ u
                reading = {"speed": f"{rpm:.10g} rpm", "sensor": sensor.name, "component": "once-per-rev"}
                unit = None
                if rng is not None:
                    x += noise * self.limit[s, i] * complex_normal(rng, ())
                    rpm_read = round(rpm + rng.uniform(-1, 1), 3) if run_index else rpm
                    reading["speed"] = pick(rng, [f"{rpm_read:.10g} rpm", f"{rpm_read / 50:.12g} %"])
                else:
                    rpm_read = rpm
                if any_unit and rng.random() < 0.4:
                    unit = pick(rng, list(ORDINARY_LIMIT))
                    reading["phase_of"] = pick(rng, QUANTITIES)
                reading["amplitude"], reading["phase"] = sensor.written(x, rpm_read, job.rotor.lag, unit,
                                                                        reading.get("phase_of"))
                written.append(reading)
        return written
