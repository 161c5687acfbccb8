"""Recordings made from the physics of an inductive pickup, each with the truth about it.

Written by an engineer who had the program's documents and never saw the reader's source.

Model. A tooth of half width h passes a pole face of half width p. An edge of the tooth carries flux that rises as
1/2 + atan(x/e)/pi (fringing over a length e that grows with the gap), so the flux density under the pole is
T(x) = [atan((x+h)/e) - atan((x-h)/e)]/pi, the flux its mean over the pole face, and the voltage -/+ its derivative in time:
V = Omega A(theta) sum_k a_k [T_k(x+p) - T_k(x-p)]/2p + Omega A'(theta) (flux + base). A falls exponentially with the gap; run-out
makes it A = 1 + r cos(theta - theta_r). The recorder's anti-alias filter is a brick wall (the Fourier series is cut).
Angles count from the centre of the reference tooth 0; teeth pass in the order of their numbers.
"""
import wave

import numpy as np
from scipy.io import wavfile

FAMILIES = ["worn", "worn_width_too", "worn_runout", "larger_broken", "larger_broken_another", "other_broken", "bent", "runout",
            "dropouts", "contact", "hum", "clipped", "drift", "gap_step", "wander", "ramp", "two_elements"]
G, INCH = 9.80665, 0.0254
# name: (quantity, unit shown, SI units in it, shown over peak, sensitivity text, volts per SI unit, is acceleration)
SENSORS = {
    "vane": ("velocity", "in/s peak", INCH, 1.0, "100 mV per in/s", 0.1 / INCH, False),
    "casing": ("velocity", "mm/s rms", 1e-3, 2 ** -0.5, "10 mV per g", 0.01 / G, True),
    "shaft": ("displacement", "mil pp", INCH / 1000, 2.0, "8 V per mm", 8000.0, False),
}


def swing(ring, width):
    """The flux of a tooth of this width (of the ring's usual one) in the middle of the pole, at the usual gap."""
    x, h, e = np.linspace(-1, 1, 201) * ring["pole"] / 2, ring["tooth"] * width / 2, ring["fringe"]
    return np.mean(np.arctan((x + h) / e) - np.arctan((x - h) / e)) / np.pi


def make_ring(rng):
    """A sound ring: sizes (flux swing), widths and places (pitches) of its teeth, tooth 0 larger; pole and fringe in pitches."""
    n = int(np.round(np.exp(rng.uniform(np.log(10), np.log(120)))))
    ring = dict(n=n, size=1 + rng.normal(0, rng.uniform(0.003, 0.015), n), width=1 + rng.normal(0, rng.uniform(0.003, 0.015), n),
                place=rng.normal(0, rng.uniform(0.002, 0.01), n), tooth=rng.uniform(0.30, 0.46), pole=rng.uniform(0.15, 0.35),
                fringe=rng.uniform(0.04, 0.14), runout=rng.uniform(0, 0.03), runout_at=rng.uniform(0, 2 * np.pi))
    ring["width"][0] = min(0.62 / ring["tooth"], rng.uniform(1.15, 1.6)) if rng.random() < 0.6 else 1 + rng.normal(0, 0.005)
    # a wider tooth has more flux at the same height already; the larger one is never the lower one
    ring["size"][0] = max(rng.uniform(1.10, 1.60), 1.10 * swing(ring, ring["width"][0]) / swing(ring, 1))
    ring["place"][0] = 0.0
    return ring


def damage(ring, family, rng):
    """The ring as it is after it was first recorded, and what was done to it."""
    ring = {k: v.copy() if isinstance(v, np.ndarray) else v for k, v in ring.items()}
    other, did = int(rng.integers(1, ring["n"])), {}
    size, width = ring["size"], ring["width"]
    if family.startswith("worn") or family == "larger_broken_another":
        size[0], size[other] = rng.uniform(0.90, 1.05), rng.uniform(1.10, 1.40)
        width[other] = rng.uniform(1.0, 1.25) if rng.random() < 0.5 else width[other]
        did = dict(other=other, other_size=size[other], other_width=width[other])
        if family == "worn_width_too":
            width[0] = rng.uniform(0.97, 1.03)
    if family.startswith("larger_broken"):
        size[0] = rng.uniform(0, 0.06)
    if family == "other_broken":
        size[other], did = rng.uniform(0, 0.06), dict(other=other)
    if family == "bent":
        did = dict(other=other, bend=rng.uniform(0.08, 0.30) * rng.choice([-1, 1]))
        ring["place"][other] += did["bend"]
    if family in ("runout", "worn_runout"):
        did["runout"] = ring["runout"] = rng.uniform(0.10, 0.60 if family == "runout" else 0.40)
    return ring, did


def pulse_table(ring, gap, harmonics):
    """dFlux/dtheta over one revolution (uniform grid from angle 0), a common tooth's flux being exp(-1.2 (gap - 1))."""
    n, m = ring["n"], 1 << int(np.ceil(np.log2(max(8192, ring["n"] * 256))))
    pitch, sum_ = 2 * np.pi / n, np.zeros(m)
    near = min(m // 2 - 1, int(8 * m / n))                      # each tooth is felt eight pitches away
    p = ring["pole"] / 2
    for k in range(n):
        centre = (k + ring["place"][k]) % n
        first = int(round(centre * m / n))
        index = np.arange(first - near, first + near + 1)
        x = index * n / m - centre                              # pitches
        h = ring["tooth"] * ring["width"][k] / 2
        e = ring["fringe"] * gap
        t = lambda u: (np.arctan((u + h) / e) - np.arctan((u - h) / e)) / np.pi
        np.add.at(sum_, index % m, ring["size"][k] / swing(ring, ring["width"][k]) * (t(x + p) - t(x - p)) / (2 * p) / pitch)
    angle = np.arange(m) * 2 * np.pi / m
    flux = np.cumsum(sum_ - sum_.mean()) * 2 * np.pi / m
    a = 1 + ring["runout"] * np.cos(angle - ring["runout_at"])
    slope = -ring["runout"] * np.sin(angle - ring["runout_at"])
    spectrum = np.fft.rfft(a * sum_ + slope * (flux - flux.mean() + 0.8))
    spectrum[0], spectrum[harmonics + 1:] = 0, 0
    return np.exp(-1.2 * (gap - 1)) * np.fft.irfft(spectrum, m)


def at_angle(table, theta):
    """The table at shaft angles theta (rad), linear between its points."""
    x = (theta / (2 * np.pi)) % 1.0 * len(table)
    i = x.astype(np.int64) % len(table)
    f = x - np.floor(x)
    return table[i] * (1 - f) + table[(i + 1) % len(table)] * f


def make_case(seed, index):
    """All that is drawn for one case, and its random stream."""
    rng = np.random.default_rng([seed, index])
    family = "ordinary" if index % 2 == 0 else FAMILIES[(index // 2) % len(FAMILIES)]
    ring = make_ring(rng)
    case = dict(seed=seed, index=index, family=family, teeth=ring["n"], larger=ring["size"][0], wider=ring["width"][0],
                polarity=str(rng.choice(["falling", "rising"])), phase=str(rng.choice(["lag", "lead"])),
                sensors=[str(s) for s in rng.permutation(list(SENSORS))[:int(rng.integers(1, 3))]])
    return case, ring, rng


class Recording:
    """Channels in volts with their full scales, what the job says of them, and the facts (speed, faults, truth)."""

    def __init__(self, rate, facts):
        self.rate, self.facts, self.channels, self.scales = rate, facts, [], []
        self.job = dict(reference=[], vibration=[])

    def add(self, kind, volts, full_scale, late, **keys):
        self.channels.append(volts)
        self.scales.append(full_scale)
        keys = dict(channel=len(self.channels), volts_full_scale=f"{full_scale:g} V", delay=late and f"{late * 1e6:.1f} us") | keys
        self.job[kind].append({k: v for k, v in keys.items() if v})

    def write_wav(self, path, bits):
        frames = np.stack([c / s for c, s in zip(self.channels, self.scales)], 1)
        if bits == 32:
            return wavfile.write(path, self.rate, frames.astype(np.float32))
        whole = np.round(np.clip(frames, -1, 1) * (2 ** (bits - 1) - 1)).astype("<i4")
        raw = whole.astype("<i2").tobytes() if bits == 16 else whole.reshape(-1, 1).view(np.uint8)[:, :3].tobytes()
        with wave.open(path, "wb") as file:
            file.setnchannels(frames.shape[1]), file.setsampwidth(bits // 8), file.setframerate(self.rate), file.writeframes(raw)

    def write_job(self, path, rotor):
        lines = lambda kind: "".join("    - {" + ", ".join(f"{k}: {v}" for k, v in c.items()) + "}\n" for c in self.job[kind])
        with open(path, "w") as file:
            file.write(f"trimwright: job 1\nrotor: {rotor}\nrecording:\n  reference:\n{lines('reference')}  vibration:\n"
                       f"{lines('vibration')}  speeds: {self.facts['speeds']}\nruns:\n  - {{name: as found, fitted: none}}\n")


def add_pickup(out, case, rng, family, table, t, theta, omega):
    """The channels of the sensing elements, with the family's faults."""
    n, seconds, facts = len(t), out.facts["seconds"], out.facts
    peak = np.abs(table).max() * omega.max()                    # of the largest pulse
    common = np.sort(np.abs(table))[-len(table) // 10] * omega.mean()
    polarity = 1 if case["polarity"] == "falling" else -1
    strength = np.ones(n)
    if family == "drift":
        facts["drift"] = rng.uniform(-0.6, 0.6)
        strength *= 1 + facts["drift"] * t / seconds
    if family == "gap_step":
        facts["step"] = rng.uniform(0.2, 0.4) * rng.choice([-1, 1])
        strength[t > rng.uniform(0.2, 0.8) * seconds] *= 1 + facts["step"]
    alive = np.ones(n, bool)
    if family == "dropouts":
        spans, begin = [], rng.uniform(0.0, 2.5) if rng.random() < 0.8 else 0.0
        for _ in range(int(rng.integers(1, 4))):
            end = begin + np.exp(rng.uniform(np.log(0.2), np.log(7)))
            if end < seconds - 1.5:
                spans.append((begin, end))
                begin = end + rng.uniform(0.3, 2)
        facts["lost"] = spans or [(1.0, 1.5)]
        for b, e in facts["lost"]:
            alive[(t >= b) & (t < e)] = False
    if family == "contact":
        facts["losses"] = int(rng.uniform(0.5, 4) * seconds)
        for b in rng.uniform(0, seconds, facts["losses"]):
            alive[(t >= b) & (t < b + rng.uniform(0.005, 0.05))] = False

    for element in range(2 if family == "two_elements" else 1):
        at = 0.0 if element == 0 else float(np.round(rng.uniform(0, 180), 2))
        late = float(np.round(rng.uniform(0, 40), 1)) * 1e-6 if rng.random() < 0.3 else 0.0
        signal = polarity * strength * omega * at_angle(table, theta - omega * late - np.radians(at))
        if family == "two_elements" and element == 0:
            facts["first_fails"] = int(rng.integers(0, 4))      # 0: sound, 1: dead, 2: dead from the middle, 3: weak and noisy
            signal *= [1, 0, (t < seconds / 2), 0.01][facts["first_fails"]]
        signal[~alive] = 0
        signal += common * 10 ** (-rng.uniform(35, 70) / 20) * rng.standard_normal(n)
        if family in ("dropouts", "contact"):
            facts["gap_noise"] = rng.uniform(0.003, 0.05)
            signal[~alive] += common * facts["gap_noise"] * rng.standard_normal((~alive).sum())
        if family == "hum" or rng.random() < 0.1:
            facts["hum"] = rng.uniform(0.03, 0.20) if family == "hum" else 0.02
            signal += common * facts["hum"] * np.sin(2 * np.pi * rng.choice([50, 60, 400]) * t + rng.uniform(0, 6))
        if family == "drift":
            signal += common * rng.uniform(-0.3, 0.3) * t / seconds
        if family == "clipped":
            facts["clip"] = rng.uniform(0.60, 0.90)
            signal = np.clip(signal, -facts["clip"] * peak, facts["clip"] * peak)
        volts = 10 * signal / peak / 1.6                        # the gain of the installation
        out.add("reference", volts, 10.0 if np.abs(volts).max() < 9.9 else 25.0, late, at=at and f"{at:.2f} deg with rotation")


def add_vibration(out, case, rng, family, theta, omega):
    """The vibration channels: a known once-per-revolution vector, harmonics, a subharmonic, noise, perhaps a neighbour."""
    n, facts = len(theta), out.facts
    facts["truth"], facts["vibration"] = {}, {}
    neighbour = rng.uniform(1.015, 1.10) if rng.random() < (0.15 if family == "ordinary" else 0.05) else 0
    facts["neighbour"] = neighbour
    for name in case["sensors"]:
        _, _, metres, shown, text, volts_per_si, acceleration = SENSORS[name]
        size = {"vane": 0.7, "casing": 12.0, "shaft": 3.0}[name] * rng.uniform(0.4, 2)      # peak, in the unit
        lag = rng.uniform(-np.pi, np.pi)
        late = float(np.round(rng.uniform(0, 200), 1)) * 1e-6 if rng.random() < 0.4 else 0.0
        shift = float(np.round(rng.uniform(-10, 10), 1)) if rng.random() < 0.3 else 0.0     # further lag, degrees
        # X exp(j theta) with X = size exp(-j lag); an acceleration is j omega times the velocity
        turn = theta - omega * late - lag - np.radians(shift) + (np.pi / 2 if acceleration else 0)
        amount = size * metres * (omega if acceleration else 1) * volts_per_si
        noise = rng.uniform(0.05, 0.6) * np.mean(amount)
        signal = amount * np.cos(turn) + noise * rng.standard_normal(n)
        for order, share in ((2, 0.5), (3, 0.3), (4, 0.15), (0.43, 0.2)):
            share = rng.uniform(0, share)
            signal += share * amount * np.cos(order * theta + rng.uniform(0, 6))
        facts["vibration"][name] = dict(noise=noise / np.mean(amount), subharmonic=share)
        if neighbour:
            signal += rng.uniform(0.2, 0.6) * amount * np.cos(neighbour * theta + rng.uniform(0, 6))
        out.add("vibration", signal, float(f"{1.3 * np.abs(signal).max():.2g}"), late, sensor=name, sensitivity=text,
                phase_shift=shift and f"{abs(shift):g} deg {'lag' if shift > 0 else 'lead'}")
        facts["truth"][name] = [size * shown, np.degrees(lag if case["phase"] == "lag" else -lag) % 360]


def make_recording(case, ring, rng, family):
    """One recording of `ring` with the faults of `family`."""
    rate = int(rng.choice([8000, 12800, 16000, 25600, 32000, 44100, 48000, 51200, 102400],
                          p=[.1, .12, .13, .25, .08, .08, .1, .1, .04]))
    fastest = min(5400 / 60, rate / 9 / ring["n"])
    rps = np.exp(rng.uniform(np.log(min(10, 0.8 * fastest)), np.log(fastest)))
    if family in ("hum", "ordinary") and abs(rps / 50 - 1) < 0.15:
        rps = min(40.0, fastest)
    seconds = max(rng.uniform(3, 7), 64 / rps + 0.5)
    if family in ("dropouts", "ramp", "wander", "contact"):
        seconds += rng.uniform(3, 7)
    seconds = min(seconds, 20.0)
    t = np.arange(int(seconds * rate)) / rate
    facts = dict(rate=rate, rpm=60 * rps, seconds=seconds, gap=0.0)
    speed = np.full(len(t), rps)
    if family == "ordinary":
        speed *= 1 + rng.uniform(0, 0.001) * np.sin(2 * np.pi * t / rng.uniform(2, 20) + rng.uniform(0, 6))
    elif family == "wander":
        facts["wander"] = rng.uniform(0.002, 0.02)
        speed *= 1 + facts["wander"] * np.sin(2 * np.pi * t / rng.uniform(3, 15) + rng.uniform(0, 6))
    elif family == "ramp":
        start, hold = rng.uniform(0.5, 0.85), max(3.0, 56 / rps) / seconds
        course = np.interp(t / seconds, [0, max(0.1, 1 - hold - 0.02), 1], [0, 1, 1])
        speed *= start + (1 - start) * (course if rng.random() < 0.6 else course[::-1])
    theta = rng.uniform(0, 2 * np.pi) + 2 * np.pi * np.cumsum(speed) / rate
    omega = 2 * np.pi * speed
    facts["gap"] = gap = rng.uniform(0.75, 1.35)
    table = pulse_table(ring, gap, int(0.46 * rate / speed.max()))
    out = Recording(rate, facts)
    add_pickup(out, case, rng, family, table, t, theta, omega)
    add_vibration(out, case, rng, family, theta, omega)
    facts["speeds"] = f"{{from: 200 rpm, to: {63 * speed.max():.0f} rpm}}"
    return out


def write_rotor(path, case, stated=None):
    ring = f"teeth: {case['teeth']}, larger_tooth: 1, polarity: {case['polarity']}" + "".join(
        f", {key}: {value}" for key, value in (stated or {}).items())
    sensors = "".join(f"  - {{name: {s}, measures: {SENSORS[s][0]}, unit: {SENSORS[s][1]}, phase_of: {SENSORS[s][0]}, "
                      f"direction: {{positive: outward, mounted: top}}, limits: [{{up_to: 6500 rpm, limit: "
                      f"90 {SENSORS[s][1].split()[0]}}}]}}\n" for s in case["sensors"])
    with open(path, "w") as file:
        file.write(f"trimwright: rotor 1\nname: Ring\nrotation: {{sense: clockwise, seen_from: aft}}\nphase: {case['phase']}\n"
                   f"speed_100: 5400 rpm\nspeed_tolerance: 0.6 %\nreference: {{{ring}}}\nplanes:\n  - name: hub\nsensors:\n{sensors}")
