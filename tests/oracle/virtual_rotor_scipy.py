#!/usr/bin/env python3
"""Checks the virtual rotor with SciPy: virtual_rotor_scipy.py EXPORT, EXPORT being the program
virtual_rotor_export. Leaves with status 1 when any figure is out of its tolerance.

1. The same matrices through scipy.linalg.eig: whirl modes, and critical speeds from a generalized pencil.
2. The same rotor built anew: Timoshenko elements by Gauss quadrature of the shape functions of Nelson, J. Mech.
   Des. 102 (1980) 793, in rotations (theta, psi) about the axes and not slopes, the gyroscope from its angular
   momentum, the force from where the mass stands; response through scipy.linalg.solve.
3. A recorded run-up through the critical speed, which the library makes from steady-state answers, against a time
   integration (Newmark's average acceleration, 0.1 ms) of the rotor built anew, angular acceleration included.
   This shows how much a steady-state answer is off in a ramp: 7 % of the largest vibration at 10 % of full speed a
   second, and in proportion to the ramp.
"""
import json
import subprocess
import sys

import numpy as np
import scipy.linalg

J = 1j


def complex_of(a):
    a = np.array(a)
    return a[..., 0] + 1j * a[..., 1]


def hutchinson(outer, inner, nu):
    """Shear coefficient as printed in Hutchinson, J. Appl. Mech. 68 (2001) 87 (from memory)."""
    a, b = outer / 2, inner / 2
    return (6 * (a**2 + b**2) ** 2 * (1 + nu) ** 2
            / (7 * a**4 + 34 * a**2 * b**2 + 7 * b**4 + nu * (12 * a**4 + 48 * a**2 * b**2 + 12 * b**4)
               + nu**2 * (4 * a**4 + 16 * a**2 * b**2 + 4 * b**4)))


def element(length, outer, inner, e, nu, rho):
    """(mass, stiffness, rotary) in (w1, s1, w2, s2), s the slope of the section, by 6-point Gauss quadrature."""
    area = np.pi / 4 * (outer**2 - inner**2)
    second = np.pi / 64 * (outer**4 - inner**4)
    shear = hutchinson(outer, inner, nu) * e / (2 * (1 + nu)) * area
    f = 12 * e * second / (shear * length**2)
    mass, stiff, rotary = np.zeros((4, 4)), np.zeros((4, 4)), np.zeros((4, 4))
    for x, w in zip(*np.polynomial.legendre.leggauss(6)):
        z, w = (x + 1) / 2, w / 2 * length
        n = np.array([1 - 3 * z**2 + 2 * z**3 + f * (1 - z), length * (z - 2 * z**2 + z**3 + f * (z - z**2) / 2),
                      3 * z**2 - 2 * z**3 + f * z, length * (z**3 - z**2 - f * (z - z**2) / 2)]) / (1 + f)
        dn = np.array([-6 * z + 6 * z**2 - f, length * (1 - 4 * z + 3 * z**2 + f * (1 - 2 * z) / 2),
                       6 * z - 6 * z**2 + f, length * (3 * z**2 - 2 * z - f * (1 - 2 * z) / 2)]) / (1 + f) / length
        d = np.array([6 * (z**2 - z) / length, 1 - 4 * z + 3 * z**2 + f * (1 - z),
                      6 * (z - z**2) / length, 3 * z**2 - 2 * z + f * z]) / (1 + f)
        dd = np.array([6 * (2 * z - 1) / length, -4 + 6 * z - f, 6 * (1 - 2 * z) / length,
                       6 * z - 2 + f]) / (1 + f) / length
        mass += w * rho * (area * np.outer(n, n) + second * np.outer(d, d))
        stiff += w * (e * second * np.outer(dd, dd) + shear * np.outer(dn - d, dn - d))
        rotary += w * rho * second * np.outer(d, d)
    return mass, stiff, rotary


def build(rotor, nodes):
    """M, C, G, K with (u, v, theta, psi) per node: u' ~ psi, v' ~ -theta; then u, v of each casing."""
    count = 4 * len(nodes) + 2 * len(rotor["supports"])
    m, c, g, k = (np.zeros((count, count)) for _ in range(4))
    ends = np.cumsum([s[0] for s in rotor["shaft"]])
    material = rotor["youngs_modulus"], rotor["poissons_ratio"], rotor["density"]
    slope_x, slope_y = np.diag([1, 1, 1, 1]), np.diag([1, -1, 1, -1])
    for i in range(len(nodes) - 1):
        mid = (nodes[i] + nodes[i + 1]) / 2
        _, outer, inner = rotor["shaft"][int(np.searchsorted(ends, mid))]
        me, ke, re = element(nodes[i + 1] - nodes[i], outer, inner, *material)
        x, y = 4 * i + np.array([0, 3, 4, 7]), 4 * i + np.array([1, 2, 5, 6])
        for dofs, turn in ((x, slope_x), (y, slope_y)):
            m[np.ix_(dofs, dofs)] += turn @ me @ turn
            k[np.ix_(dofs, dofs)] += turn @ ke @ turn
        # The shaft's axis points along (psi, -theta, 1); angular momentum Ip spin times that, Ip = 2 Id.
        g[np.ix_(x, y)] += 2 * slope_x @ re @ slope_y
        g[np.ix_(y, x)] -= 2 * slope_y @ re @ slope_x
    near = lambda at: int(np.argmin(np.abs(np.array(nodes) - at)))
    for at, mass, diametral, polar in rotor["discs"]:
        u = 4 * near(at)
        m[[u, u + 1, u + 2, u + 3], [u, u + 1, u + 2, u + 3]] += [mass, mass, diametral, diametral]
        g[u + 2, u + 3] += polar  # theta: d/dt (Ip spin psi)
        g[u + 3, u + 2] -= polar  # psi: d/dt (-Ip spin theta)
    for i, s in enumerate(rotor["supports"]):
        shaft, casing = 4 * near(s["at"]) + np.array([0, 1]), 4 * len(nodes) + 2 * i + np.array([0, 1])
        m[casing, casing] += s["casing_mass"]
        for matrix, between, ground in ((k, "stiffness", "casing_stiffness"), (c, "damping", "casing_damping")):
            b, o = np.array(s[between]), np.array(s[ground])
            matrix[np.ix_(shaft, shaft)] += b
            matrix[np.ix_(casing, casing)] += b + o
            matrix[np.ix_(shaft, casing)] -= b
            matrix[np.ix_(casing, shaft)] -= b
    return m, c, g, k, near


def response(rotor, nodes, matrices, spin, at, moment):
    """What the velocity sensors read [mm/s peak, lead] of `moment` [g mm] at `at`."""
    m, c, g, k, near = matrices
    # The mass stands at x + j y = r e^{j (spin t + pickup + theta)}; split in cos and sin of spin t.
    stands = moment * 1e-6 * np.exp(J * np.radians(rotor["pickup_deg"])) * spin**2
    in_x = stands.real + J * stands.imag           # Re(stands e^{jwt}) = stands.real cos - stands.imag sin
    in_y = stands.imag - J * stands.real           # Im(stands e^{jwt}) = stands.imag cos + stands.real sin
    force = np.zeros(len(m), complex)
    force[4 * near(at)], force[4 * near(at) + 1] = in_x, in_y
    q = scipy.linalg.solve(k - spin**2 * m + J * spin * (c + spin * g), force)
    read = []
    for support, degrees in rotor["sensors"]:
        casing = 4 * len(nodes) + 2 * support
        along = q[casing] * np.cos(np.radians(degrees)) + q[casing + 1] * np.sin(np.radians(degrees))
        read.append(1e3 * J * spin * along)
    return np.array(read)


def run_up(case, matrices):
    """Largest distance of the recorded run-up from the integrated one, in parts of the largest vibration."""
    rotor, run, (m, c, g, k, near) = case["rotor"], case["run_up"], matrices
    step, speed = 1e-4, run["from_rpm"] * np.pi / 30
    faster = (run["to_rpm"] - run["from_rpm"]) * np.pi / 30 / run["seconds"]
    push = np.zeros(len(m), complex)  # force = Re(push (spin^2 - j faster) e^{j angle})
    for at, moment in [*zip(rotor["planes"], run["unbalance"]), *rotor["as_found"]]:
        stands = complex(*moment) * 1e-6 * np.exp(J * np.radians(rotor["pickup_deg"]))
        push[4 * near(at)] += stands
        push[4 * near(at) + 1] -= J * stands
    spin_at = lambda t: speed + faster * t
    angle_at = lambda t: np.radians(run["start_angle_deg"]) + speed * t + faster * t**2 / 2
    force_at = lambda t: np.real(push * (spin_at(t) ** 2 - J * faster) * np.exp(J * angle_at(t)))
    stiffness = k + faster * g  # d/dt (spin G q) = spin G q' + faster G q
    start = scipy.linalg.solve(k - speed**2 * m + J * speed * (c + speed * g), push * speed**2)
    q = np.real(start * np.exp(J * angle_at(0)))
    v = np.real(J * speed * start * np.exp(J * angle_at(0)))
    a = scipy.linalg.solve(m, force_at(0) - (c + speed * g) @ v - stiffness @ q)
    signals, farthest_off = np.array(run["signals"]), 0.0
    for i in range(1, round(run["seconds"] / step)):
        t = i * step
        damping = c + spin_at(t) * g
        v, q = v + step / 2 * a, q + step * v + step**2 / 4 * a
        a = np.linalg.solve(m + step / 2 * damping + step**2 / 4 * stiffness, force_at(t) - damping @ v - stiffness @ q)
        v, q = v + step / 2 * a, q + step**2 / 4 * a
        if i % 10 == 0:
            for (support, degrees), recorded in zip(rotor["sensors"], signals[i // 10]):
                casing = len(m) - 2 * len(rotor["supports"]) + 2 * support
                along = v[casing] * np.cos(np.radians(degrees)) + v[casing + 1] * np.sin(np.radians(degrees))
                farthest_off = max(farthest_off, abs(1e3 * along - recorded))
    return farthest_off / np.max(np.abs(signals))


def oscillating(values):
    values = values[np.isfinite(values)]
    values = values[values.imag > 1e-6 * np.abs(values)]
    return values[np.argsort(values.imag)]


def farthest(ours, theirs, count=12):
    """Largest relative distance of the `count` lowest values of either to the nearest of the other."""
    one_way = lambda a, b: max(np.min(np.abs(b - v)) / abs(v) for v in a[:count])
    return max(one_way(ours, theirs), one_way(theirs, ours))


def whirl(m, c, g, k, spin):
    n, zero, one = len(m), np.zeros_like(m), np.eye(len(m))
    return oscillating(scipy.linalg.eig(np.block([[zero, one], [-k, -(c + spin * g)]]),
                                        np.block([[one, zero], [zero, m]]), right=False))


def criticals(m, c, g, k):
    zero, one = np.zeros_like(m), np.eye(len(m))
    return oscillating(scipy.linalg.eig(np.block([[zero, one], [-k, -c]]).astype(complex),
                                        np.block([[one, zero], [zero, m - J * g]]), right=False))


def check(case, name):
    rotor, nodes, worst = case["rotor"], case["node_at"], {}
    exported = [np.array(case[x]) for x in "MCGK"]
    anew = build(rotor, nodes)

    def note(what, value, tolerance):
        worst[what] = (max(value, worst.get(what, (0,))[0]), tolerance)

    for at_speed in case["speeds"]:
        spin = at_speed["rpm"] * np.pi / 30
        ours = complex_of(at_speed["whirl"])
        note("whirl modes, same matrices", farthest(ours, whirl(*exported, spin)), 1e-6)
        note("whirl modes, built anew", farthest(ours, whirl(*anew[:4], spin)), 1e-6)
        influence = np.column_stack([response(rotor, nodes, anew, spin, at, 1.0) for at in rotor["planes"]])
        given = complex_of(at_speed["influence"])
        note("influence coefficients, built anew", np.max(np.abs(influence - given) / np.abs(given)), 1e-7)
        found = sum(response(rotor, nodes, anew, spin, at, complex(*mom)) for at, mom in rotor["as_found"])
        given = complex_of(at_speed["as_found"])[:, 0]
        note("as-found vibration, built anew", np.max(np.abs(found - given) / np.abs(given)), 1e-7)
    note("critical speeds, same matrices", farthest(complex_of(case["critical"]), criticals(*exported)), 1e-6)
    if name == "demonstration rotor":
        note("run-up at 10 % a second, integrated", run_up(case, anew), 0.08)
    good = True
    for what, (value, tolerance) in worst.items():
        good = good and value <= tolerance
        print(f"{name}: {what}: largest relative difference {value:.1e} (limit {tolerance:.0e})"
              + ("" if value <= tolerance else "  TOO LARGE"))
    return good


def main():
    cases = json.loads(subprocess.run([sys.argv[1]], check=True, capture_output=True).stdout)
    results = [check(case, name) for case, name in zip(cases, ("demonstration rotor", "family member"))]
    sys.exit(0 if all(results) else 1)


if __name__ == "__main__":
    main()
