"""large_job.py FOLDER: a job of 6 planes of 64 slots and 64 rows (8 sensors, 8 speeds), random from a fixed seed."""
import cmath
import math
import random
import sys
from pathlib import Path

folder = Path(sys.argv[1])
draw = random.Random(7)
rotor = ["trimwright: rotor 1", "name: large test rotor", "rotation: {sense: clockwise, seen_from: aft}", "phase: lag",
         "speed_100: 5000 rpm", "speed_tolerance: 0.5 %", "reference: {teeth: 44, larger_tooth: 1, polarity: falling}",
         "blades: {count: 29, blade_1_at: 0 deg, numbered: clockwise, seen_from: front}", "planes:"]
for p in range(6):
    rotor += [f"  - name: plane {p + 1}",
              "    slots: {count: 64, slot_1_at: 3 deg with rotation, numbered: clockwise, seen_from: front}",
              "    filler: {moment: 90 g.mm}",
              "    weights: [" + ", ".join(f"{{id: W{w}, moment: {200 * w} g.mm, stock: 20}}" for w in range(1, 7)) + "]"]
rotor.append("sensors:")
for s in range(8):
    rotor += [f"  - name: sensor {s + 1}", "    measures: velocity", "    unit: mm/s rms", "    phase_of: velocity",
              "    limits: [{up_to: 105 %, limit: 30 mm/s, target: 8 mm/s}]", "    repeatability: 0.3 mm/s"]
(folder / "rotor.yaml").write_text("\n".join(rotor) + "\n")

job = ["trimwright: job 1", "rotor: rotor.yaml", "readings: readings.csv", "runs:", "  - {name: baseline, fitted: none}"]
job += [f"  - {{name: trial {p + 1}, fitted: {{plane {p + 1}: {{{8 * p + 1}: W6}}}}}}" for p in range(6)]
job += ["fitted_now: none", "trim: {max_changes: 2}"]
(folder / "job.yaml").write_text("\n".join(job) + "\n")

# Each reading is X0 + C U and a little noise; X0 is what an unbalance of the planes makes and a rest.
def complex_of(size):
    return cmath.rect(draw.uniform(0.3, 1.0) * size, draw.uniform(0.0, 2.0 * cmath.pi))


hidden = [complex_of(2500.0) for p in range(6)]
rows = ["run,speed,sensor,amplitude,phase,component"]
for speed in range(8):
    for s in range(8):
        coefficients = [complex_of(0.004) for p in range(6)]
        at_rest = sum(c * u for c, u in zip(coefficients, hidden)) + complex_of(1.0)
        for run in range(7):
            x = at_rest + complex_of(0.2)
            if run > 0:  # W6 in slot 8 p + 1, its filler out; lag, so a weight further on turns the phase back
                p = run - 1
                x += coefficients[p] * cmath.rect(1200.0 - 90.0, math.radians(3.0 - 360.0 / 64.0 * 8 * p))
            rows.append(f"{'baseline' if run == 0 else f'trial {run}'},{40 + 8 * speed} %,sensor {s + 1},{abs(x):.3f} mm/s rms,"
                        f"{math.degrees(-cmath.phase(x)) % 360.0:.1f} deg,once-per-rev")
(folder / "readings.csv").write_text("\n".join(rows) + "\n")
