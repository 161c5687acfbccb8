#!/usr/bin/python3
"""The algorithm of the reference room in vectorised NumPy/SciPy, timed on a recording written by reference_speed.

    reference_speed --write recording.raw && reference_numpy.py recording.raw

Four channels of 32-bit floats interleaved, 51.2 kHz, the tooth channel first; 34 teeth, falling. Steps as in the C++
library: turning points by prominence, baseline over three pitches, zero crossing of the signal smoothed by a Hann window
over a fifth of a pitch, flux swings folded over the ring, spacing errors, cubic interpolation of the shaft angle,
least squares with three harmonics, constant and drift over blocks of eight revolutions. One thread.
"""
import os
import sys
import time

os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
import numpy as np  # noqa: E402
from scipy.interpolate import CubicHermiteSpline  # noqa: E402
from scipy.signal import fftconvolve, find_peaks  # noqa: E402

RATE, TEETH, BLOCK, HARMONICS = 51200.0, 34, 8, 3


def tooth_times(x):
    height = 2 * np.percentile(np.abs(x), 95)
    tops, _ = find_peaks(x, prominence=0.45 * height)
    bottoms, _ = find_peaks(-x, prominence=0.45 * height)
    after = np.searchsorted(bottoms, tops)
    tops, after = tops[after < len(bottoms)], after[after < len(bottoms)]
    bottoms = bottoms[after]
    pitch = np.median(np.diff(tops))
    sums = np.concatenate([[0.0], np.cumsum(x, dtype=float)])
    three = int(round(3 * pitch)) | 1
    baseline = np.full(len(x), 0.0)
    half = three // 2
    baseline[half:len(x) - half] = (sums[three:] - sums[:-three]) / three
    half_hann = max(2, int(round(0.4 * np.median(bottoms - tops))))
    window = np.hanning(2 * half_hann + 1)
    smooth = fftconvolve(x - baseline, window / window.sum(), mode="same")
    middle = (tops + bottoms) // 2
    keep = (middle > 2 * three) & (middle < len(x) - 2 * three)
    middle = middle[keep]
    for _ in range(int(pitch // 4)):  # step to the sample just before the crossing
        before = smooth[middle] <= 0
        after = smooth[middle + 1] > 0
        if not (before.any() or after.any()):
            break
        middle = middle - before + (after & ~before)
    centre = middle + smooth[middle] / (smooth[middle] - smooth[middle + 1])
    area = np.concatenate([[0.0], np.cumsum(x - baseline, dtype=float)])
    places = np.arange(len(area)) - 0.5
    at = lambda p: np.interp(p, places, area)  # noqa: E731
    swing = 2 * at(centre) - at(centre - pitch / 2) - at(centre + pitch / 2)
    return centre / RATE, swing


def shaft_angle(times, swing):
    turns = len(times) // TEETH
    times, swing = times[:turns * TEETH], swing[:turns * TEETH]
    fold = swing.reshape(turns, TEETH)
    first = int(np.argmax(np.median(fold / fold.mean(axis=1, keepdims=True), axis=0)))
    times = times[first:first + (turns - 1) * TEETH]
    nominal = np.arange(len(times)) * 2 * np.pi / TEETH
    kernel = np.ones(TEETH + 1)
    kernel[[0, -1]] = 0.5
    late = times[TEETH // 2:-(TEETH // 2)] - np.convolve(times, kernel / TEETH, mode="valid")
    place = np.arange(TEETH // 2, TEETH // 2 + len(late)) % TEETH
    speed = 2 * np.pi / TEETH * (len(times) - 1) / (times[-1] - times[0])
    errors = np.bincount(place, late, TEETH) / np.bincount(place, minlength=TEETH) * speed
    angle = nominal + np.tile(errors - errors[0], turns - 1)
    return CubicHermiteSpline(times, angle, np.gradient(angle, times)), times[::TEETH]


def readings(channels):
    times, swing = tooth_times(channels[:, 0])
    angle, reference = shaft_angle(times, swing)
    phasors = []
    for begin, end in zip(reference[::BLOCK], reference[BLOCK::BLOCK]):
        rows = slice(int(np.ceil(begin * RATE)), int(np.ceil(end * RATE)))
        t = np.arange(rows.start, rows.stop) / RATE
        z = np.exp(1j * angle(t))
        columns = [f(z ** h) for h in range(1, HARMONICS + 1) for f in (np.real, np.imag)]
        table = np.column_stack(columns + [np.ones(len(t)), np.linspace(-1, 1, len(t))])
        beta = np.linalg.solve(table.T @ table, table.T @ channels[rows, 1:].astype(float))
        phasors.append(beta[0] - 1j * beta[1])
    return np.array(phasors)


def main():
    channels = np.fromfile(sys.argv[1], np.float32).reshape(-1, 4)
    best = np.inf
    for _ in range(3):
        begin = time.process_time()
        phasors = readings(channels)
        best = min(best, time.process_time() - begin)
    mean = phasors.mean(axis=0)
    print(f"{channels.size / best:.3g} samples/s, {len(channels) / RATE / best:.0f} times real time")
    print("amplitudes", np.abs(mean), "phases [deg]", np.degrees(np.angle(mean)), "(written: 0.5 0.6 0.7; 0, 22.9, 45.8)")


if __name__ == "__main__":
    main()
