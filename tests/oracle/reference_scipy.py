#!/usr/bin/python3
"""An independent reading of the recordings that reference_export writes, by other means.

    reference_scipy.py PATH_OF_reference_export

Tooth passages: the analytic signal (scipy.signal.hilbert) of the tooth channel, band-passed about the tooth rate. The
speed being steady, its strongest line (the frequency that maximises its periodogram) gives the tooth rate and that line's
phase the passages; the phase is not unwrapped, because missing teeth in noise make that slip. The larger tooth: envelope of the same signal, averaged over
the turns at every shaft angle. Vibration: numpy.linalg.lstsq with three harmonics, constant and drift over the whole
dwell at once. Nothing is shared with the C++ code. Exit status 1 when they disagree by more than 5 of the library's own
standard deviations plus 0.05 % of the amplitude, or 0.05 deg plus 5 standard deviations in phase.
"""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy.io import wavfile
from scipy.optimize import minimize_scalar
from scipy.signal import butter, hilbert, sosfiltfilt


def shaft_angle(tooth, rate, teeth):
    spectrum = np.abs(np.fft.rfft(tooth * np.hanning(len(tooth))))
    tooth_hz = np.argmax(spectrum) * rate / len(tooth)
    band = butter(4, [0.6 * tooth_hz, 1.4 * tooth_hz], btype="band", fs=rate, output="sos")
    analytic = hilbert(sosfiltfilt(band, tooth))
    index = np.arange(len(tooth))
    inner = slice(int(0.05 * len(tooth)), int(0.95 * len(tooth)))

    def line(hz):
        return np.mean(analytic[inner] * np.exp(-2j * np.pi * hz / rate * index[inner]))

    resolution = rate / len(tooth)
    best = minimize_scalar(lambda hz: -abs(line(hz)), bounds=(tooth_hz - resolution, tooth_hz + resolution),
                           method="bounded", options={"xatol": 1e-9})
    rate_rad, start = 2 * np.pi * best.x / rate, np.angle(line(best.x))
    # falling zero crossing at the tooth centre: the signal is cos(phase), its phase +pi/2 there
    tooth_angle = rate_rad * index + start - np.pi / 2
    envelope = np.abs(analytic)
    place = np.round(tooth_angle / (2 * np.pi)).astype(int) % teeth
    near = np.abs(tooth_angle / (2 * np.pi) - np.round(tooth_angle / (2 * np.pi))) < 0.25
    sizes = np.array([np.median(envelope[near & (place == p)]) for p in range(teeth)])
    return (tooth_angle - 2 * np.pi * np.argmax(sizes)) / teeth


def reading(shake, angle, rows):
    columns = [np.ones(rows.stop - rows.start), np.linspace(-1, 1, rows.stop - rows.start)]
    for h in (1, 2, 3):
        columns += [np.cos(h * angle[rows]), -np.sin(h * angle[rows])]
    solution, *_ = np.linalg.lstsq(np.column_stack(columns), shake[rows], rcond=None)
    return complex(solution[2], solution[3])


def main():
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.argv[1], folder], check=True)
        return compare(pathlib.Path(folder))


def compare(folder):
    worst = 0
    for case in json.loads((folder / "cases.json").read_text()):
        rate, samples = wavfile.read(folder / case["file"])
        samples = samples.astype(float)
        angle = shaft_angle(samples[:, 0], rate, case["teeth"])
        rows = slice(int(np.ceil(case["begin_s"] * rate)), int(np.ceil(case["end_s"] * rate)))
        here = reading(samples[:, 1], angle, rows)
        library = complex(case["real"], case["imag"])
        truth = complex(case["true_real"], case["true_imag"])
        amplitude = abs(library) / abs(here) - 1
        phase = np.degrees(np.angle(library / here))
        sd_deg = np.degrees(case["sd"] / abs(library))
        agrees = (case["trusted"] and abs(amplitude) < 5e-4 + 5 * case["sd"] / abs(library)
                  and abs(phase) < 0.05 + 5 * sd_deg)
        worst += not agrees
        print(f"{case['file']:>16}: library over SciPy {100 * amplitude:+.4f} %, {phase:+.4f} deg (sd {sd_deg:.4f} deg); "
              f"library over truth {100 * (abs(library) / abs(truth) - 1):+.4f} %, "
              f"{np.degrees(np.angle(library / truth)):+.4f} deg  {'ok' if agrees else 'DISAGREES'}")
    return 1 if worst else 0


if __name__ == "__main__":
    sys.exit(main())
