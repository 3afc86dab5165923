"""Whether the three units' parameters hold together: every derived figure from the rig files, beside what a design table
for such units gives.

Independent of the Rust code: matrices and `eigvals` for modes, `scipy.signal` for rise and phase, closed forms and `quad`
for the rest. With `--describe` it also runs `truerim virtual --describe --json` for each unit and mounting, and stops when a
figure differs from its own by more than 0.1 % (0.5 % where a time is counted in steps).

Run: /opt/pyref/bin/python tests/reference/plant/parameters.py [--describe target/release/truerim]
"""

import argparse
import json
import pathlib
import subprocess
import tomllib

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.signal import StateSpace, step

import unit
from linear import matrices
from unit import si

RIGS = pathlib.Path(__file__).resolve().parents[3] / "rigs"
# The design table: name -> geared, belt, direct. Computed there from a two-mass model; no mass between gear and belt, the
# whole efficiency in one number, copper at 20 °C.
TABLE = {
    "reflected inertia, g·m²": (2.4, 2.0, 3.5),
    "first clamped mode, Hz": (50, 93, 162),
    "on an ideal clamp, Hz": (51, 106, 208),
    "free antiresonance, Hz": (26, 44, 98),
    "free resonance, Hz": (57, 115, 230),
    "linear rise 10-90 %, ms": (3.3, 1.4, 0.9),
    "linear overshoot, %": (67, 81, 92),
    "-90 deg with delay, Hz": (31, 56, 130),
    "-90 deg without delay, Hz": (51, 94, 162),
    "acceleration with rim, rad/s²": (250, 500, 830),
    "acceleration, bare hub, rad/s²": (1000, 2300, 3700),
    "peak current, A": (7.1, 9.4, 17.8),
    "copper loss, W": (60, 71, 213),
    "full torque up to, rad/s": (31, 20, 33),
    "no-load speed, rad/s": (48, 30, 46),
    "sustained torque, N·m": (1.5, 4.4, 10.2),
    "heating at peak, K/s": (2.4, None, None),
    "sensor on a full step, N·m": (None, 12.7, 31),
}


def free(u, disc, ks, cs):
    """M, K on a disc instead of ground: the sensor's spring alone, the fixture behind it turns with nothing."""
    m, _, k = matrices(u)
    n = len(m)
    k[-1, -1] += ks - u.kr
    whole = np.zeros((n + 1, n + 1))
    whole[:n, :n] = k
    whole[n, n] = ks
    whole[n - 1, n] = whole[n, n - 1] = -ks
    return np.diag([*np.diag(m), disc]), whole


def hz(m, k):
    """Undamped modes, the lowest first."""
    w2 = np.sort(np.linalg.eigvals(np.linalg.solve(m, k)).real)
    return np.sqrt(np.clip(w2, 0, None)) / (2 * np.pi)


def chain(u):
    """Clamped: state space from torque demand to sensor torque, with the current loop."""
    m, c, k = matrices(u)
    n = len(m)
    a = np.zeros((2 * n + 1, 2 * n + 1))
    a[:n, n:2 * n] = np.eye(n)
    a[n:2 * n, :n], a[n:2 * n, n:2 * n] = -np.linalg.solve(m, k), -np.linalg.solve(m, c)
    a[n, -1] = 1 / m[0, 0]
    a[-1, -1] = -u.loop
    b = np.zeros((2 * n + 1, 1))
    b[-1, 0] = u.loop
    out = np.zeros((1, 2 * n + 1))
    out[0, n - 1], out[0, 2 * n - 1] = u.kr, u.cr
    return StateSpace(a, b, out, [[0.0]])


def steady(side, v):
    """Friction of one side at a steady speed."""
    return side.tc + (side.ts - side.tc) * np.exp(-(v / side.vs) ** 2) + side.s2 * v


def coast_down(u, inertia, v0):
    """Seconds from v0 to rest: what the teeth carry adds friction, and they carry what slows the rotor."""
    shaft = u.gear.bs if u.gear else 0.0
    mu = u.gear.mu if u.gear else 0.0

    def slowing(v):
        # Unknown F and T: F = friction + mu T, T = motor's friction + mu T - jm/J F.
        own = steady(u.fm, v)
        rows = np.array([[1.0, -mu], [u.jm / inertia, 1.0 - mu]])
        return np.linalg.solve(rows, [own + steady(u.fh, v) + shaft * v, own])[0]

    knots = [x for x in (u.fm.vs, 3 * u.fm.vs) if x < v0]
    return quad(lambda v: inertia / slowing(v), 0, v0, points=knots, epsabs=1e-10)[0]


def figures(name):
    """All figures of one unit: those of the table, and those that `--describe` gives, SI."""
    file = RIGS / f"{name}.toml"
    u = unit.load(file)
    v = tomllib.loads(file.read_text(encoding="utf-8"))["virtual"]
    motor, heat, mount = v["motor"], v["heat"], v["mounting"]
    disc = si(v["mountings"]["free"]["disc"])
    m, _, k = matrices(u)
    fm, fk = free(u, disc, si(mount["sensor_stiffness"]), si(mount["damping"]))
    two = (u.drive.k if not u.gear else 1 / (1 / u.drive.k + 1 / u.gear.mesh.k), u.jh + disc)
    system = chain(u)
    t, y = step(system, T=np.linspace(0, 0.05, 500_001))
    rise = t[np.argmax(y >= 0.9)] - t[np.argmax(y >= 0.1)]
    delay = u.dead_s + u.poll_s / 2

    def phase(f, d):
        s = 2j * np.pi * f
        a = system.A
        g = (system.C @ np.linalg.solve(s * np.eye(len(a)) - a, system.B))[0, 0] * np.exp(-s * d)
        return g

    def quarter(d):
        f = np.arange(1.0, 400.0, 0.25)
        p = np.unwrap(np.angle([phase(x, d) for x in f]))
        i = np.argmax(p < -np.pi / 2)
        return brentq(lambda x: np.interp(x, f, p) + np.pi / 2, f[i - 1], f[i])

    bare = u.jm + (u.gear.js if u.gear else 0) + u.jh
    kt20 = u.kt
    peak_a = u.peak / kt20
    r20, loss = si(motor["resistance"]), si(motor.get("loss_factor", 1))
    air = si(heat["ambient"])
    at = lambda c: r20 * (1 + 0.00393 * (c - 20))
    limit = si(v["derating"]["span"][0]) if "derating" in v else air + 90
    power = (limit - air) / (si(heat["winding_case"]) + si(heat["case_air"]))
    alpha = si(motor.get("flux_loss_per_kelvin", 0))
    flux = 1 - alpha * (air + power * si(heat["case_air"]) - 20)
    sustained = np.sqrt(power / (loss * at(limit))) * kt20 * flux
    modes = hz(m, k)
    held = hz(fm[1:, 1:], fk[1:, 1:])
    free_modes = hz(fm, fk)
    table = {
        "reflected inertia, g·m²": 1e3 * u.jm,
        "first clamped mode, Hz": modes[0],
        "on an ideal clamp, Hz": hz(m[:-1, :-1], k[:-1, :-1])[0],
        "free antiresonance, Hz": held[0],
        "free resonance, Hz": free_modes[1],
        "linear rise 10-90 %, ms": 1e3 * rise,
        "linear overshoot, %": 100 * (y.max() - 1),
        "-90 deg with delay, Hz": quarter(delay),
        "-90 deg without delay, Hz": quarter(0.0),
        "acceleration with rim, rad/s²": u.peak / (bare + disc),
        "acceleration, bare hub, rad/s²": u.peak / bare,
        "peak current, A": peak_a,
        "copper loss, W": loss * peak_a**2 * r20,
        "full torque up to, rad/s": (u.volt - u.r * peak_a) / u.ke,
        "no-load speed, rad/s": u.volt / u.ke,
        "sustained torque, N·m": sustained,
        "heating at peak, K/s": loss * peak_a**2 * r20 / si(heat["winding"]),
        "sensor on a full step, N·m": u.peak * y.max(),
    }
    told = {
        "rotor_inertia": u.jm, "inertia": bare, "mode": modes[0],
        "mode_ideal_clamp": table["on an ideal clamp, Hz"],
        "linear_rise": rise, "linear_overshoot": y.max() - 1,
        "quarter_turn": quarter(0.0), "quarter_turn_delayed": quarter(delay),
        "peak_current": peak_a, "peak_loss": loss * peak_a**2 * at(air),
        "peak_warming": loss * peak_a**2 * at(air) / si(heat["winding"]),
        "full_torque_speed": (u.volt - u.r * peak_a) / u.ke, "no_load_speed": u.volt / u.ke,
        "sustained_torque": sustained, "acceleration_bare": u.peak * u.flux / bare,
    }
    on_disc = {
        "inertia_with_disc": bare + disc, "acceleration": u.peak * u.flux / (bare + disc), "antiresonance": held[0],
        "mode": free_modes[1],
        "coast_down": [coast_down(u, bare + disc, v0) for v0 in (5.0, 10.0)],
    }
    shaft = u.gear.bs if u.gear else 0.0
    driven = {
        "friction_at": {x: steady(u.fm, x) + steady(u.fh, x) + shaft * x for x in (0.05, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)},
        "cogging": [a for _, a, _, _ in u.ripple if a > 0],
    }
    return table, told, on_disc, driven, two


def compare(program, name, mounting, expected):
    """Holds the program's figures against `expected`."""
    rig = RIGS / f"{name}.toml"
    command = [program, "virtual", "--rig", str(rig), "--describe", "--json", "--mounting", mounting]
    rows = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    values = {}
    for row in rows:
        values.setdefault(row["id"], []).append(row["value"])
        if row["id"] == "friction_at":
            values[row["name"]] = [row["value"]]
    count = 0

    def one(what, got, want, part=1e-3):
        nonlocal count
        count += 1
        assert abs(got / want - 1) < part, f"{name}, {mounting}, {what}: {got} where {want} is due"

    for what, want in expected.items():
        if isinstance(want, dict):
            for x, y in want.items():
                one(f"{what} {x}", values[f"Friction torque at {x:g} rad/s"][0], y)
        elif isinstance(want, list):
            for got, x in zip(values[what], want):
                one(what, got, x)
        else:
            one(what, values[what][0], want, 5e-3 if what in ("linear_rise", "linear_overshoot") else 1e-3)
    return count


def main():
    """Prints the table; with a program, compares it too."""
    p = argparse.ArgumentParser()
    p.add_argument("--describe", metavar="PROGRAM")
    o = p.parse_args()
    names = ("geared", "belt", "direct")
    found = {name: figures(name) for name in names}
    print(f"{'':32}" + "".join(f"{name:>24}" for name in names))
    for what, given in TABLE.items():
        cells = []
        for name, table in zip(names, given):
            got = found[name][0][what]
            cells.append(f"{got:10.4g}" + (f" ({table:g}, {100 * (got / table - 1):+.1f} %)" if table else ""))
        print(f"{what:32}" + "".join(f"{cell:>24}" for cell in cells))
    for name in names:
        _, told, on_disc, driven, two = found[name]
        k, hub_disc = two
        jm = told["rotor_inertia"]
        print(f"{name}: two masses on one spring: antiresonance {np.sqrt(k / hub_disc) / 2 / np.pi:.1f} Hz, resonance "
              f"{np.sqrt(k * (1 / jm + 1 / hub_disc)) / 2 / np.pi:.1f} Hz; coast-down from 5 and 10 rad/s "
              + ", ".join(f"{x:.4f} s" for x in on_disc["coast_down"]))
        if o.describe:
            n = compare(o.describe, name, "clamped", told) + compare(o.describe, name, "free", on_disc)
            n += compare(o.describe, name, "back-driven", driven)
            print(f"{name}: {n} figures of {o.describe} agree")


if __name__ == "__main__":
    main()
