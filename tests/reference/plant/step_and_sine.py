"""Torque, angles and speeds of the clamped belt unit for a step and a sine, by scipy's LSODA between breakpoints.

Independent of the Rust plant. The slewed torque demand is piecewise linear and known in closed form; the integrator
is restarted at each of its corners. Writes step.txt and sine.txt beside this file: time (s), rim torque (N·m), hub
angle (rad), motor angle (rad), motor torque (N·m).

Run: /opt/pyref/bin/python tests/reference/plant/step_and_sine.py
"""

import pathlib
import sys

import numpy as np
import scipy
from scipy.integrate import solve_ivp

import model
import unit

PHASE = 0.4  # the first read is at PHASE * poll period
PERIOD = 1e-3  # of the setpoints


def step_setpoint(k):
    """Setpoint number k: 3.5 N·m from 5 ms on."""
    return 3.5 if k >= 5 else 0.0


def sine_setpoint(k):
    """Setpoint number k: 1.5 N·m + 1.4 N·m at 40 Hz."""
    return 1.5 + 1.4 * np.sin(2 * np.pi * 40 * k * PERIOD)


def demand(u, setpoint, end):
    """Corners (t, s) of the slewed demand."""
    t, s, corners = 0.0, 0.0, [(0.0, 0.0)]
    reads = [(PHASE * u.poll_s + i * u.poll_s) for i in range(int(end / u.poll_s) + 1)]
    changes = [(r + u.dead_s, np.clip(u.gain * setpoint(int(np.floor(r / PERIOD + 1e-9))) + u.offset, -u.peak, u.peak))
               for r in reads]
    for i, (at, target) in enumerate(changes):
        corners.append((at, s))
        until = changes[i + 1][0] if i + 1 < len(changes) else end
        needs = abs(target - s) / u.slew
        if needs > 0 and at + needs < until:
            corners.append((at + needs, target))
            s = target
        else:
            s += np.clip(target - s, -u.slew * (until - at), u.slew * (until - at))
    corners.append((max(end, corners[-1][0] + 1e-9), s))
    return corners


def run(u, setpoint, end, every):
    """Rows at multiples of `every`."""
    corners = demand(u, setpoint, end + 2e-3)
    times = np.arange(0, int(round(end / every)) + 1) * every
    y, rows = np.zeros(7), []
    for (t0, s0), (t1, s1) in zip(corners, corners[1:]):
        if t1 - t0 <= 1e-12:
            continue
        inside = times[(times >= t0 - 1e-12) & (times < t1 - 1e-12)]
        f = lambda t, y: model.rhs(u, s0 + (s1 - s0) * (t - t0) / (t1 - t0), y)
        sol = solve_ivp(f, (t0, t1), y, method="LSODA", rtol=1e-9, atol=1e-12, max_step=2e-4, dense_output=True)
        assert sol.success
        for t in inside:
            v = sol.sol(t)
            rows.append((t, model.rim_torque(u, v), v[3], v[1], v[0]))
        y = sol.y[:, -1]
    return np.array(rows)


def main():
    """Writes both files."""
    u = unit.load()
    here = pathlib.Path(__file__).resolve().parent
    for name, setpoint, end in (("step", step_setpoint, 0.06), ("sine", sine_setpoint, 0.1)):
        rows = run(u, setpoint, end, 1e-3)
        head = (f"{name}: rigs/{u.file}, clamped, poll phase {PHASE}, no clock error; step_and_sine.py, Python "
                f"{sys.version.split()[0]}, numpy {np.__version__}, scipy {scipy.__version__}\n"
                "time_s rim_torque_nm hub_angle_rad motor_angle_rad motor_torque_nm")
        np.savetxt(here / f"{name}.txt", rows, header=head, fmt="%.12e")
        print(name, rows.shape, "peak", np.abs(rows[:, 1]).max())


if __name__ == "__main__":
    main()
