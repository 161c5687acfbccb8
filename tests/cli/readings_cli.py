#!/usr/bin/env python3
"""trimwright readings, from recordings made here with NumPy to numbers that a job accepts.

    readings_cli.py PROGRAM PROJECT

Every recording is synthesised from its definition: shaft angle theta(t), tooth k of the ring passing at
theta = 2 pi k / teeth, the pickup's signal the time derivative of a flux that is greatest with a tooth's centre
under it, and vibration x(t) = Re(X e^{j theta}). What must come out is worked out by hand from X.
"""

import cmath
import csv
import io
import json
import math
import re
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import numpy as np

PROGRAM = Path(sys.argv[1])
RATE = 16000.0
RNG = np.random.default_rng(20310512)
failures = []


def check(what: str, holds: bool, seen="") -> None:
    if not holds:
        failures.append(f"{what}: {seen}")
        print(f"FAILED  {what}: {seen}")


# --- signals ----------------------------------------------------------------------------------------------------


def shaft_angle(rpm: np.ndarray, rate: float = RATE, start: float = 0.4) -> np.ndarray:
    """Angle [rad] at every sample, by the trapezoidal rule (exact where the speed is linear in time)."""
    omega = rpm * math.pi / 30.0
    return start + np.concatenate([[0.0], np.cumsum(0.5 * (omega[1:] + omega[:-1]) / rate)])


def tooth_signal(theta, rpm, teeth=34, larger=1.3, rising=False, noise=0.02, pulse=True):
    """Volts. The flux falls off from each tooth's centre as a cosine over the pitch, so its derivative crosses
    zero at the centre: falling, since the flux is greatest there, unless the winding is turned round."""
    place = theta * teeth / (2 * math.pi)
    tooth = np.round(place).astype(int) % teeth
    height = np.where(tooth == 0, larger, 1.0) * pulse
    signal = -height * np.sin(2 * math.pi * place) * rpm / 5000.0
    signal = signal + noise * RNG.standard_normal(len(theta)) * rpm / 5000.0
    return 3.0 * (-signal if rising else signal)


def vibration(theta, x: complex, noise=0.0, harmonic=0.2):
    """Re(X e^{j theta}), with a second harmonic and an offset that must not matter."""
    once = (x * np.exp(1j * theta)).real
    return once + harmonic * abs(x) * np.cos(2 * theta + 1.0) + 0.1 * abs(x) + noise * RNG.standard_normal(len(theta))


def delayed(signal, seconds: float, rate: float = RATE):
    """The signal as a chain that is late by `seconds` shows it (linear phase, by FFT of a long record)."""
    spectrum = np.fft.rfft(signal)
    hz = np.fft.rfftfreq(len(signal), 1.0 / rate)
    return np.fft.irfft(spectrum * np.exp(-2j * math.pi * hz * seconds), len(signal))


def wav(path: Path, channels, rate=RATE, volts=10.0, bits=24) -> None:
    """Signed integer samples; full scale is `volts`."""
    top = 2 ** (bits - 1) - 1
    samples = np.clip(np.round(np.column_stack(channels) / volts * top), -top - 1, top).astype("<i4")
    raw = samples.view(np.uint8).reshape(*samples.shape, 4)[:, :, : bits // 8]
    with wave.open(str(path), "wb") as file:
        file.setnchannels(samples.shape[1])
        file.setsampwidth(bits // 8)
        file.setframerate(int(rate))
        file.writeframes(raw.tobytes())


def csv_file(path: Path, names, columns) -> None:
    with open(path, "w", encoding="utf-8") as file:
        file.write(",".join(names) + "\n")
        np.savetxt(file, np.column_stack(columns), delimiter=",", fmt="%.9g")


# --- rotor and job ------------------------------------------------------------------------------------------------

SENSORS = {
    "front": "{name: front, measures: velocity, unit: in/s peak, phase_of: velocity, limits: [{up_to: 110 %, "
             "limit: 1 in/s}], repeatability: 0.01 in/s}",
    "turbine": "{name: turbine, measures: displacement, unit: mil pp, phase_of: displacement, direction: "
            "{positive: inward, mounted: left}, limits: [{up_to: 110 %, limit: 5 mil}]}",
    "case": "{name: case, measures: velocity, unit: mm/s rms, phase_of: velocity, limits: [{up_to: 110 %, limit: 20 "
            "mm/s}]}",
}


def rotor(phase="lag", polarity="falling", teeth=34) -> str:
    return f"""trimwright: rotor 1
name: test fan
rotation: {{sense: clockwise, seen_from: aft}}
phase: {phase}
speed_100: 5000 rpm
speed_tolerance: 1 %
reference: {{teeth: {teeth}, larger_tooth: 1, polarity: {polarity}}}
planes:
  - {{name: fan}}
sensors:
""" + "".join(f"  - {text}\n" for text in SENSORS.values())


RECORDING = """recording:
  reference:
    - {channel: 1, volts_full_scale: 10 V}
  vibration:
    - {channel: 2, sensor: front, volts_full_scale: 10 V, sensitivity: 100 mV per in/s}
  speeds: {from: 10 %, to: 110 %}
"""


def job(recording=RECORDING, tables="") -> str:
    return ("trimwright: job 1\nrotor: rotor.yaml\n" + recording + (f"readings: {tables}\n" if tables else "") +
            "runs:\n  - {name: as found, fitted: none}\n"
            "  - {name: trial, fitted: {fan: [{at: 30 deg with rotation, moment: 500 g.mm}]}}\n")


class Work:
    def __init__(self):
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name)
        self.write()

    def write(self, rotor_text=None, job_text=None):
        (self.path / "rotor.yaml").write_text(rotor_text or rotor())
        (self.path / "job.yaml").write_text(job_text or job())

    def run(self, *arguments):
        done = subprocess.run([str(PROGRAM), *arguments], cwd=self.path, capture_output=True, text=True, timeout=300,
                              check=False)
        for sign in ("Sanitizer", "runtime error", "failure of the program"):
            check(" ".join(arguments), sign not in done.stderr, done.stderr[-400:])
        check("status of " + " ".join(arguments), done.returncode in (0, 1, 2, 3), done.returncode)
        return done

    def readings(self, *recordings, run="as found", more=()):
        return self.run("readings", *recordings, "--job", "job.yaml", "--run", run, *more)


def rows(text: str):
    return list(csv.DictReader(io.StringIO(text)))


def number(cell: str) -> float:
    return float(cell.split()[0])


def degrees_between(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def expect(what: str, row, amplitude: float, lead_deg: float, convention: str, phase_within=0.1) -> None:
    phase = lead_deg if convention == "lead" else -lead_deg
    check(f"{what}: amplitude", abs(number(row["amplitude"]) / amplitude - 1) < 2e-3, f"{row['amplitude']} for {amplitude}")
    off = degrees_between(number(row["phase"]), phase) if row["phase"] else 999
    check(f"{what}: phase", off < phase_within, f"{row['phase']} for {phase % 360:.2f}")


# --- good recordings ----------------------------------------------------------------------------------------------


def steady(rpm=3000.0, seconds=8.0, rate=RATE):
    speed = np.full(int(seconds * rate), rpm)
    return speed, shaft_angle(speed, rate)


def known_amplitude_and_phase(work: Work) -> None:
    """Either polarity, either convention, outward and inward, delay, phase shift, and the CSV back through a job."""
    truth = cmath.rect(0.4, math.radians(70.0))  # in/s peak, lead
    rpm, theta = steady()
    omega = 3000.0 * math.pi / 30.0
    turbine = cmath.rect(1.5, math.radians(-40.0))  # mil peak, outward
    case = cmath.rect(6.0, math.radians(160.0))  # mm/s peak
    # What the case's accelerometer shows: the derivative, m/s2 from mm/s, 25 us late and 5 deg lag in its filter.
    case_volts = delayed(vibration(theta, 1j * omega * case * 1e-3 * cmath.exp(-1j * math.radians(5))), 25e-6) * 0.05
    recording = """recording:
  reference: [{channel: 1, volts_full_scale: 10 V}]
  vibration:
    - {channel: 2, sensor: front, volts_full_scale: 10 V, sensitivity: 100 mV per in/s, delay: 300 us}
    - {channel: 3, sensor: turbine, volts_full_scale: 10 V, sensitivity: -200 mV per mil}
    - {channel: 4, sensor: case, volts_full_scale: 10 V, sensitivity: 50 mV per m/s2, delay: 25 us, phase_shift: 5 deg lag}
  speeds: {from: 10 %, to: 110 %}
"""
    front_volts = delayed(vibration(theta, truth), 300e-6) * 0.1
    # The turbine sensor is positive inward; besides, its wires are exchanged, which the negative sensitivity says.
    turbine_volts = -(-vibration(theta, turbine)) * 0.2
    keep = slice(int(RATE), -int(RATE))  # the FFT's delay wraps round at the ends
    for polarity in ("falling", "rising"):
        teeth = tooth_signal(theta, rpm, rising=polarity == "rising")
        wav(work.path / f"{polarity}.wav", [c[keep] for c in (teeth, front_volts, turbine_volts, case_volts)])
        for convention in ("lag", "lead"):
            what = f"{polarity}, {convention}"
            work.write(rotor(convention, polarity), job(recording))
            done = work.readings(f"{polarity}.wav", more=("--format", "csv", "-o", "found.csv"))
            check(what, done.returncode == 0 and done.stdout == "" and done.stderr == "", done.stderr)
            found = {row["sensor"]: row for row in rows((work.path / "found.csv").read_text())}
            check(what + ": sensors", set(found) == set(SENSORS), found)
            check(what + ": speed", found["front"]["speed"] == "3000.0 rpm", found["front"]["speed"])
            check(what + ": run", found["front"]["run"] == "as found")
            expect(what + ", front", found["front"], 0.4, 70.0, convention)
            # Inward: the instrument's phase is that of the signal it shows, positive inward, turned by 180 deg.
            expect(what + ", turbine", found["turbine"], 3.0, -40.0 + 180.0, convention)
            expect(what + ", case", found["case"], 6.0 / math.sqrt(2), 160.0, convention)
    accepted_by_a_job(work, recording, truth, turbine)


def accepted_by_a_job(work: Work, recording: str, truth: complex, turbine: complex) -> None:
    """The as-found table and that of a trial run with another known X: C = (X_trial - X_found) / U."""
    rpm, theta = steady()
    added = {"front": truth + cmath.rect(0.25, math.radians(-20)), "turbine": turbine + cmath.rect(0.5, math.radians(10))}
    channels = [tooth_signal(theta, rpm, rising=True), 0.1 * vibration(theta, added["front"]),
                0.2 * vibration(theta, added["turbine"])]
    two = "\n".join(line for line in recording.replace(", delay: 300 us", "").splitlines() if "case" not in line) + "\n"
    wav(work.path / "trial.wav", channels)
    work.write(rotor("lead", "rising"), job(two, "[found.csv, trial.csv]"))
    done = work.readings("trial.wav", run="trial", more=("--format", "csv", "-o", "trial.csv"))
    check("a job whose tables are yet to be made", done.returncode == 0, done.stderr)
    done = work.run("influence", "job.yaml", "--format", "json")
    check("the job accepts both tables", done.returncode == 0, done.stderr)
    if done.returncode != 0:
        return
    coefficients = [one for one in json.loads(done.stdout)["coefficients"] if one["sensor"] != "case"]
    check("coefficients of both sensors", {one["sensor"] for one in coefficients} == {"front", "turbine"}, coefficients)
    for one in coefficients:
        x0, x1, factor = (truth, added["front"], 1.0) if one["sensor"] == "front" else (turbine, added["turbine"], 2.0)
        c = (x1 - x0) / (500.0 * cmath.exp(1j * math.radians(30.0)))
        # Documents show a sensor's own phase: that of the turbine one turned by 180 deg.
        turn = 180.0 if one["sensor"] == "turbine" else 0.0
        off = degrees_between(one["phase_deg"], math.degrees(cmath.phase(c)) + turn)
        check(f"coefficient of {one['sensor']}", abs(one["amplitude"] / (factor * abs(c)) - 1) < 0.01 and off < 0.5,
              (one, factor * abs(c), math.degrees(cmath.phase(c))))


def dwells_and_run_up(work: Work) -> None:
    """Two dwells with a run-up between; text, JSON, given dwells, the run-up table; several recordings."""
    ramp = np.linspace(2000.0, 4000.0, int(10 * RATE))
    rpm = np.concatenate([np.full(int(6 * RATE), 2000.0), ramp, np.full(int(6 * RATE), 4000.0)])
    theta = shaft_angle(rpm)
    x = cmath.rect(0.3, math.radians(25.0))
    wav(work.path / "up.wav", [tooth_signal(theta, rpm), 0.1 * vibration(theta, x, noise=0.02)])
    work.write()
    found = rows(work.readings("up.wav", more=("--format", "csv")).stdout)
    check("two dwells", [round(number(row["speed"])) for row in found] == [2000, 4000], found)
    for row in found:
        expect("a dwell beside a run-up", row, 0.3, 25.0, "lag", 0.5)
        check("sd of a reading holds the sensor's repeatability", 0.01 <= number(row["sd"]) < 0.0101, row["sd"])
    document = json.loads(work.readings("up.wav", more=("--format", "json", "--sweep")).stdout)
    recording = document["recordings"][0]
    check("json", document["trimwright"] == "readings 1" and len(recording["dwells"]) == 2, document)
    reading = recording["dwells"][0]["readings"][0]
    # White noise alone: sd of a component is noise sqrt(2 / samples), about 0.02 sqrt(2 / 76800) = 1.0e-4.
    check("json: sd", 0.5e-4 < reading["sd"] < 2e-4, reading["sd"])
    check("json: nothing wrong with a good reference", [f["kind"] for f in recording["findings"]] == ["taken_at_its_word"],
          recording["findings"])
    check("json: larger tooth", abs(recording["reference"]["larger_over_second"] - 1.3) < 0.02, recording["reference"])
    inside = [p for p in recording["sweep"] if 2100 < p["speed_rpm"] < 3900]
    check("run-up table", len(inside) > 20 and all(p["trend"] == "run_up" for p in inside), len(inside))
    check("run-up table: values", all(abs(p["amplitude"] - 0.3) < 0.02 and degrees_between(p["phase_deg"], -25) < 4
                                      for p in inside), [(p["amplitude"], p["phase_deg"]) for p in inside])
    given = rows(work.readings("up.wav", more=("--format", "csv", "--dwell", "1 s to 3 s", "--dwell", "18 s to 21 s")).stdout)
    check("given dwells", [row["speed"] for row in given] == ["2000.0 rpm", "4000.0 rpm"], given)
    text = work.readings("up.wav", more=("--sweep",)).stdout
    for words in ("2000 rpm (40 %)", "∠ 335.0°", "Larger tooth: 1.3", "in run-ups and run-downs", "CAUTION", "lag"):
        check("text", words in text, words + "\n" + text)
    check("text: width", max(map(len, text.splitlines())) <= 110, max(text.splitlines(), key=len))
    both = rows(work.readings("up.wav", "up.wav", more=("--format", "csv")).stdout)
    check("two recordings, one after another", len(both) == 4, both)
    check("--dwell with two", work.readings("up.wav", "up.wav", more=("--dwell", "1 s to 3 s")).returncode == 2)
    swept = rows(work.readings("up.wav", more=("--format", "csv", "--sweep")).stdout)
    check("run-up table as csv", len(swept) > 20 and swept[3]["note"] == "run-up", len(swept))


def from_csv(work: Work) -> None:
    """A CSV recording by headings, with a column of times, in engineering units."""
    rpm, theta = steady(seconds=4.0, rate=12800.0)
    x = cmath.rect(0.5, math.radians(-100.0))
    time = np.arange(len(rpm)) / 12800.0
    csv_file(work.path / "run.csv", ["t", "teeth", "front vib"],
             [time, tooth_signal(theta, rpm), vibration(theta, x)])
    by_name = """recording:
  time_column: t
  reference: [{channel: teeth}]
  vibration: [{channel: front vib, sensor: front, unit: in/s}]
  speeds: {from: 500 rpm, to: 3300 rpm}
"""
    work.write(job_text=job(by_name))
    found = rows(work.readings("run.csv", more=("--format", "csv")).stdout)
    check("csv recording", len(found) == 1, found)
    expect("csv recording", found[0], 0.5, -100.0, "lag")
    lines = (work.path / "run.csv").read_text().splitlines()
    lines[5000] = lines[5000].rsplit(",", 1)[0] + ",nan"
    (work.path / "nan.csv").write_text("\n".join(lines) + "\n")
    refused(work, "a NaN in a CSV recording", ["nan.csv"], ["nan.csv:5001", "nan", "finite number"])
    refused(work, "headings for a WAV", ["falling.wav"], ["falling.wav", "column \"teeth\"", "channel number"])
    work.write(job_text=job(by_name.replace("front vib, ", "back vib, ")))
    refused(work, "a column that is not there", ["run.csv"], ["back vib", "front vib"])
    work.write(job_text=job(by_name.replace("  time_column: t\n", "")))
    refused(work, "a CSV without rate or times", ["run.csv"], ["sample rate"])


# --- bad recordings -----------------------------------------------------------------------------------------------


def refused(work: Work, what: str, recordings, words, status=1, more=(), answer=False):
    done = work.readings(*recordings, more=more)
    check(f"{what}: status", done.returncode == status, (done.returncode, done.stderr))
    check(f"{what}: one line", done.stderr.startswith("trimwright: ") and done.stderr.count("\n") == 1, done.stderr)
    if not answer:
        check(f"{what}: nothing on standard output", done.stdout == "", done.stdout[:200])
    for word in words:
        check(f"{what}: says {word!r}", word in done.stderr, done.stderr)
    return done


def bad_files(work: Work) -> None:
    rpm, theta = steady()
    wav(work.path / "good.wav", [tooth_signal(theta, rpm), 0.1 * vibration(theta, 0.4 + 0j)])
    whole = (work.path / "good.wav").read_bytes()
    (work.path / "short.wav").write_bytes(whole[: len(whole) * 6 // 10])
    (work.path / "empty.wav").write_bytes(b"")
    (work.path / "header.wav").write_bytes(whole[:44])
    (work.path / "text.wav").write_text("not a recording at all\n")
    wav(work.path / "none.wav", [np.zeros(0), np.zeros(0)])
    work.write()
    refused(work, "a truncated WAV", ["short.wav"], ["short.wav", "cut short", "missing"])
    done = work.readings("short.wav", more=("--accept-truncated", "--format", "csv"))
    check("a truncated WAV, accepted", done.returncode == 0 and len(rows(done.stdout)) == 1, done.stderr)
    for name, words in (("empty.wav", ["empty"]), ("header.wav", ["header.wav"]), ("text.wav", ["text.wav"]),
                        ("none.wav", ["no samples"]), ("absent.wav", ["absent.wav", "cannot be opened"])):
        refused(work, name, [name], words)
    refused(work, "no such run", ["good.wav", "--run"], ["run"], status=2)
    done = work.run("readings", "good.wav", "--job", "job.yaml", "--run", "third")
    check("no such run", done.returncode == 1 and "\"as found\" or \"trial\"" in done.stderr, done.stderr)
    for dwell in ("40 s to 10 s", "1 to 3", "-1 s to 3 s", "nonsense"):
        check(f"--dwell {dwell}", work.readings("good.wav", more=(f"--dwell={dwell}",)).returncode == 2)
    check("-o over a recording", work.readings("good.wav", more=("-o", "good.wav")).returncode == 3)
    work.write(job_text=job(""))
    refused(work, "a job without recording", ["good.wav"], ["job.yaml", "recording"])
    work.write(job_text=job(RECORDING.replace("channel: 2", "channel: 3")))
    refused(work, "a channel that is not there", ["good.wav"], ["number 3", "has 2"])
    work.write(job_text=job(RECORDING.replace("front, volts_full_scale: 10 V", "front")))
    refused(work, "a WAV without full scale", ["good.wav"], ["volts_full_scale"])
    work.write(rotor(phase="unknown"))
    refused(work, "an unknown phase convention", ["good.wav"], ["phase: unknown", "lag or lead"])


def bad_signals(work: Work) -> None:
    rpm, theta = steady()
    x = cmath.rect(0.4, 1.0)
    good = 0.1 * vibration(theta, x)
    teeth = tooth_signal(theta, rpm)
    work.write()

    wav(work.path / "silent.wav", [teeth, 0 * good])
    done = refused(work, "a silent vibration channel", ["silent.wav"], ["silent"], more=("--format", "csv"), answer=True)
    row = rows(done.stdout)[0]
    check("a silent channel is a missing reading", row["amplitude"] == "missing" and "silent" in row["note"], row)

    wav(work.path / "clipped.wav", [teeth, np.clip(0.1 * vibration(theta, x, noise=0.01), -0.025, 0.025)])
    done = work.readings("clipped.wav", more=("--format", "csv"))
    row = rows(done.stdout)[0]
    check("a clipped channel is found and its amplitude not used", row["amplitude"] == "missing" and "clipped" in row["note"], row)
    findings = json.loads(work.readings("clipped.wav", more=("--format", "json")).stdout)["recordings"][0]["findings"]
    check("clipping is said", any(f["kind"] == "channel_clipped" and "channel 2" in f["what"] for f in findings), findings)

    wav(work.path / "silent-teeth.wav", [0 * teeth, good])
    refused(work, "a silent tooth channel", ["silent-teeth.wav"], ["channel 1 never changes"], answer=True)
    refused(work, "nothing to put into a table", ["silent-teeth.wav"], ["nothing could be read"], more=("--format", "csv"))

    still = 0.01 * RNG.standard_normal(len(theta))
    wav(work.path / "stopped.wav", [still, still[::-1]])
    refused(work, "a stopped rotor", ["stopped.wav"], ["stopped.wav", "nothing could be read"], more=("--format", "csv"))

    work.write(rotor(teeth=34))
    other = tooth_signal(theta, rpm, teeth=32)
    wav(work.path / "ring32.wav", [other, good])
    refused(work, "a wrong ring size", ["ring32.wav"], ["every 32 teeth", "34 teeth are declared"], answer=True)

    flat = tooth_signal(theta, rpm, larger=1.0)
    wav(work.path / "flat.wav", [flat, good])
    done = refused(work, "no larger tooth", ["flat.wav"], ["no phase", "No tooth stands out"], more=("--format", "csv"),
                   answer=True)
    row = rows(done.stdout)[0]
    check("amplitude without phase", row["phase"] == "" and "no larger tooth" in row["note"], row)
    check("amplitude without phase: amplitude", abs(number(row["amplitude"]) / 0.4 - 1) < 0.01, row)
    (work.path / "flat.csv").write_text(done.stdout)
    work.write(job_text=job(tables="flat.csv"))
    done = work.run("influence", "job.yaml")
    check("a job reads a table without phases", "flat.csv" not in done.stderr, done.stderr)

    work.write(rotor(polarity="rising"))
    refused(work, "the wrong polarity", ["good.wav"], ["other polarity"], answer=True)

    work.write(job_text=job(RECORDING.replace("to: 110 %", "to: 50 %")))
    refused(work, "a speed out of range", ["good.wav"], ["500 to 2500 rpm", "3000 rpm"], answer=True)
    slow, slow_theta = steady(rate=4000.0)
    wav(work.path / "slow.wav", [tooth_signal(slow_theta, slow), 0.1 * vibration(slow_theta, x)], rate=4000.0)
    work.write()
    refused(work, "too low a sample rate", ["slow.wav"], ["slow.wav", "4000 Hz", "samples per tooth", "at least"])


def several_elements(work: Work) -> None:
    """Two elements agree; a third one, on another ring position, does not, and it is said."""
    rpm, theta = steady()
    turned = tooth_signal(theta - 0.6 * 2 * math.pi / 34, rpm)
    wav(work.path / "three.wav", [tooth_signal(theta, rpm), tooth_signal(theta, rpm), turned, 0.1 * vibration(theta, 0.4 + 0j)])
    three = RECORDING.replace("    - {channel: 1, volts_full_scale: 10 V}\n", "    - {channel: 1}\n    - {channel: 2}\n    - {channel: 3}\n")
    work.write(job_text=job(three.replace("{channel: 2, sensor", "{channel: 4, sensor")))
    document = json.loads(work.readings("three.wav", more=("--format", "json")).stdout)["recordings"][0]
    pairs = {(p["beside"], p["element"]): p for p in document["reference"]["elements"]}
    check("elements agree", abs(pairs["channel 1", "channel 2"]["ahead_deg"]) < 0.1, pairs)
    check("an element apart is said", any(f["kind"] == "elements_disagree" for f in document["findings"]), document["findings"])


def elements_that_fail(work: Work) -> None:
    """A dead first element is passed over; two that say different teeth give no phase, unless they sit apart."""
    rpm, theta = steady()
    good = 0.1 * vibration(theta, cmath.rect(0.4, 1.0))
    two = RECORDING.replace("    - {channel: 1, volts_full_scale: 10 V}\n", "    - {channel: 1}\n    - {channel: 3}\n")
    work.write(job_text=job(two))
    dead = 0.001 * RNG.standard_normal(len(theta))
    wav(work.path / "dead.wav", [dead, good, tooth_signal(theta, rpm)])
    done = work.readings("dead.wav", more=("--format", "csv"))
    check("the second element is read where the first is dead", done.returncode == 0, done.stderr)
    row = rows(done.stdout)[0]
    expect("by the second element", row, 0.4, math.degrees(1.0), "lag")
    check("and the table says so", "taken from element 'channel 3'" in row["note"], row["note"])
    (work.path / "dead.csv").write_text(done.stdout)
    wav(work.path / "dead-trial.wav", [dead, 0.1 * vibration(theta, cmath.rect(0.3, 0.5)), tooth_signal(theta, rpm)])
    (work.path / "trial.csv").write_text(work.readings("dead-trial.wav", run="trial", more=("--format", "csv")).stdout)
    work.write(job_text=job(two, "[dead.csv, trial.csv]"))
    told = work.run("influence", "job.yaml").stdout
    work.write(job_text=job(two))
    check("and so does what is made of the table", "channel 3" in told, told[:600])
    # The second element stands two pitches further on: it sees each tooth later by so much.
    wav(work.path / "apart.wav", [tooth_signal(theta, rpm), good, tooth_signal(theta - math.radians(720 / 34), rpm)])
    done = work.readings("apart.wav", more=("--format", "csv"))
    row = rows(done.stdout)[0]
    check("elements two teeth apart: no phase", done.returncode == 1 and row["phase"] == "", done.stdout + done.stderr)
    work.write(job_text=job(two.replace("{channel: 3}", "{channel: 3, at: 21.1765 deg with rotation}")))
    done = work.readings("apart.wav", more=("--format", "csv"))
    check("elements said to be apart agree", done.returncode == 0, done.stderr)
    expect("elements apart", rows(done.stdout)[0], 0.4, math.degrees(1.0), "lag")


def uneven_ring(theta, rpm, worn=None):
    """Teeth of slightly different sizes and places; `worn`: sizes of teeth 0 and 11."""
    random = np.random.default_rng(5)
    size, place = 1.0 + 0.01 * random.standard_normal(34), 0.004 * random.standard_normal(34)
    size[0] = 1.3
    if worn:
        size[0], size[11] = worn
    pitches = theta * 34 / (2 * math.pi)
    tooth = np.round(pitches).astype(int) % 34
    off = (pitches - np.round(pitches) - place[tooth]) / 0.8
    wave = np.where(np.abs(off) < 0.5, -np.sin(2 * math.pi * off), 0.0)
    return 3.0 * (size[tooth] * wave + 0.005 * RNG.standard_normal(len(theta))) * rpm / 5000.0


def rings_compared(work: Work) -> None:
    """A ring file from a sound recording gives the phase of one whose larger tooth is worn while another is damaged."""
    rpm, theta = steady()
    x = cmath.rect(0.4, 1.0)
    wav(work.path / "sound.wav", [uneven_ring(theta, rpm), 0.1 * vibration(theta, x)])
    wav(work.path / "worn.wav", [uneven_ring(theta, rpm, (1.0, 1.3)), 0.1 * vibration(theta, x)])
    work.write()
    done = work.readings("sound.wav", more=("--ring-to", "ring.yaml"))
    check("a ring file is written", done.returncode == 0 and (work.path / "ring.yaml").exists(), done.stderr)
    check("taken at its word", "taken at its word" in done.stdout, done.stdout)
    # Tooth 0 itself passes a little off the even place.
    place = math.degrees(0.004 * np.random.default_rng(5).standard_normal(68)[34] * 2 * math.pi / 34)
    done = work.readings("worn.wav", more=("--ring", "ring.yaml", "--format", "csv"))
    check("worn, known", done.returncode == 0, done.stderr)
    expect("worn, known", rows(done.stdout)[0], 0.4, math.degrees(1.0) + place, "lag", 0.2)
    check("the wear is in the note", "larger tooth gives 1.0" in rows(done.stdout)[0]["note"], rows(done.stdout)[0])
    words = work.readings("sound.wav", "worn.wav").stdout
    for sentence in ("Same ring? Yes: 32 of 34 teeth", "Larger tooth the same one? Yes", "Signal as strong?", "Is zero where it was"):
        check("compared in words", sentence in words, sentence + "\n" + words)
    work.write(job_text=job(RECORDING + "  ring: of-job.yaml\n"))
    check("the job's ring file is begun", work.readings("sound.wav").returncode == 0 and (work.path / "of-job.yaml").exists())
    check("and later runs are compared with it", "Same ring? Yes" in work.readings("worn.wav", run="trial").stdout)
    text = (work.path / "ring.yaml").read_text()
    work.write()
    for old, new, words in (("rotor: \"test fan\"", "rotor: other", "other"), ("polarity: falling", "polarity: up", "polarity"),
                            ("pulses:", "pulse:", "pulse"), ("spacing: ", "spacing: x", "spacing")):
        (work.path / "bad.yaml").write_text(text.replace(old, new, 1))
        refused(work, "a ring file: " + new, ["worn.wav", "--ring", "bad.yaml"], ["bad.yaml:", words])


def other_mistakes(work: Work) -> None:
    """Channels exchanged, a once-per-turn pulse, a decimal comma, a header never completed, a stream, a page."""
    rpm, theta = steady()
    x = cmath.rect(0.4, 1.0)
    teeth, good = tooth_signal(theta, rpm), 0.1 * vibration(theta, x)
    work.write()
    wav(work.path / "swapped.wav", [good, teeth])
    refused(work, "exchanged channels", ["swapped.wav"], ["teeth are on channel 2"], answer=True)
    once = np.where(np.abs((theta / (2 * math.pi) + 0.5) % 1.0 - 0.5) < 0.05, 3.0 * np.sin(-20 * math.pi * ((theta / (2 * math.pi) + 0.5) % 1.0 - 0.5)), 0.0)
    wav(work.path / "once.wav", [once + 0.01 * RNG.standard_normal(len(once)), good])
    refused(work, "a pulse once per turn", ["once.wav"], ["one pulse per turn"], answer=True)
    raw = bytearray((work.path / "good.wav").read_bytes())
    raw[4:8] = raw[40:44] = b"\0\0\0\0"
    (work.path / "unfinished.wav").write_bytes(raw)
    done = work.readings("unfinished.wav", more=("--format", "csv"))
    whole = work.readings("good.wav", more=("--format", "csv"))
    check("a header never completed", done.stdout == whole.stdout and done.returncode == 0, done.stderr)
    piped = subprocess.run(f"cat good.wav | '{PROGRAM}' readings - --job job.yaml --run 'as found' --format csv", shell=True,
                           cwd=work.path, capture_output=True, text=True, timeout=300, check=False)
    check("a stream", piped.stdout == whole.stdout, piped.stderr)
    done = work.readings("good.wav", more=("--page", "page.html"))
    page = (work.path / "page.html").read_text() if done.returncode == 0 else ""
    check("a page", "<svg" in page and "Size of the teeth" in page and "http" not in page.replace("http-equiv", "").replace("http://www.w3.org", ""), done.stderr)
    slow, slow_theta = steady(seconds=4.0, rate=12800.0)
    columns = np.column_stack([tooth_signal(slow_theta, slow), vibration(slow_theta, x)])
    with open(work.path / "comma.csv", "w", encoding="utf-8") as file:
        file.write("teeth;front vib\n")
        file.writelines(";".join(f"{value:.6f}".replace(".", ",") for value in line) + "\n" for line in columns)
    work.write(job_text=job("""recording:
  sample_rate: 12800 Hz
  reference: [{channel: teeth}]
  vibration: [{channel: front vib, sensor: front, unit: in/s}]
  speeds: {from: 500 rpm, to: 3300 rpm}
"""))
    done = work.readings("comma.csv", more=("--format", "csv"))
    check("semicolons and decimal commas", done.returncode == 0, done.stderr)
    if done.returncode == 0:
        expect("semicolons and decimal commas", rows(done.stdout)[0], 0.4, math.degrees(1.0), "lag", 0.3)


def bad_descriptions(work: Work) -> None:
    for old, new, words in (
            ("100 mV per in/s", "100 mV", ["sensitivity"]),
            ("100 mV per in/s", "0 mV per in/s", ["sensitivity"]),
            ("100 mV per in/s", "100 mV per furlong", ["furlong"]),
            ("sensor: front", "sensor: middle", ["middle", "front or turbine"]),
            ("channel: 2", "channel: 1", ["channel 1 is taken twice"]),
            ("channel: 2", "channel: 0", ["\"0\""]),
            ("from: 10 %", "from: 120 %", ["range"]),
            ("to: 110 %", "to: 110", ["speed"]),
            ("per in/s}", "per in/s, delay: 12}", ["delay"]),
            ("per in/s}", "per in/s, phase_shift: 12 deg}", ["lead or lag"]),
            ("per in/s}", "per in/s, unit: in/s}", ["either sensitivity"]),
            ("per in/s}", "per in/s, colour: red}", ["colour"])):
        work.write(job_text=job(RECORDING.replace(old, new)))
        line = job(RECORDING.replace(old, new)).splitlines()
        place = next(i for i, text in enumerate(line, 1) if new in text)
        done = refused(work, new, ["good.wav"], words)
        named = int(re.search(r"job.yaml:(\d+):", done.stderr).group(1)) if "job.yaml:" in done.stderr else 0
        check(f"{new}: line", named in (place, place - 2, 4), done.stderr)


def main() -> int:
    work = Work()
    for part in (known_amplitude_and_phase, dwells_and_run_up, from_csv, bad_files, bad_signals, several_elements,
                 elements_that_fail, rings_compared, other_mistakes,
                 bad_descriptions):
        before = len(failures)
        part(work)
        print(f"{part.__name__}: {'ok' if len(failures) == before else 'FAILED'}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
