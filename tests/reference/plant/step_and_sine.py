"""Torque, angles and speeds of the clamped units for a step and a sine, by scipy's LSODA between breakpoints.

Independent of the Rust plant. The slewed torque demand is piecewise linear and known in closed form; the integrator
is restarted at each of its corners. Writes step.txt and sine.txt for the belt unit, and the same with geared- and
direct- in front for the others, beside this file: time (s), rim torque (N·m), hub
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


# Per unit: level of the step (N·m, from 5 ms on); preload, amplitude (N·m) and frequency (Hz) of the sine; end of the
# two (s); longest step of the integrator (s).
UNITS = {
    "belt": (3.5, (1.5, 1.4, 40), (0.06, 0.1), 2e-4),
    "geared": (1.2, (0.645, 0.6, 20), (0.1, 0.15), 2e-5),
    "direct": (6.4, (3.44, 3.2, 80), (0.06, 0.1), 2e-5),
}


def step_setpoint(level):
    """Setpoint number k of the step."""
    return lambda k: level if k >= 5 else 0.0


def sine_setpoint(preload, amplitude, hz):
    """Setpoint number k of the sine."""
    return lambda k: preload + amplitude * np.sin(2 * np.pi * hz * k * PERIOD)


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


def run(u, setpoint, end, every, max_step):
    """Rows at multiples of `every`."""
    corners = demand(u, setpoint, end + 2e-3)
    times = np.arange(0, int(round(end / every)) + 1) * every
    y, rows = np.zeros(model.states(u)), []
    for (t0, s0), (t1, s1) in zip(corners, corners[1:]):
        if t1 - t0 <= 1e-12:
            continue
        inside = times[(times >= t0 - 1e-12) & (times < t1 - 1e-12)]
        f = lambda t, y: model.rhs(u, s0 + (s1 - s0) * (t - t0) / (t1 - t0), y)
        sol = solve_ivp(f, (t0, t1), y, method="LSODA", rtol=1e-9, atol=1e-12, max_step=max_step, dense_output=True)
        assert sol.success
        for t in inside:
            v = sol.sol(t)
            rows.append((t, model.rim_torque(u, v), v[3], v[1], u.flux * v[0]))
        y = sol.y[:, -1]
    return np.array(rows)


def main():
    """Writes the files of the units named, of all by default."""
    here = pathlib.Path(__file__).resolve().parent
    for name in sys.argv[1:] or UNITS:
        level, sine, ends, max_step = UNITS[name]
        u = unit.load(here.parents[2] / "rigs" / f"{name}.toml")
        prefix = "" if name == "belt" else f"{name}-"
        for kind, setpoint, end in (("step", step_setpoint(level), ends[0]), ("sine", sine_setpoint(*sine), ends[1])):
            rows = run(u, setpoint, end, 1e-3, max_step)
            head = (f"{kind}: rigs/{u.file}, clamped, poll phase {PHASE}, no clock error; step_and_sine.py, Python "
                    f"{sys.version.split()[0]}, numpy {np.__version__}, scipy {scipy.__version__}\n"
                    "time_s rim_torque_nm hub_angle_rad motor_angle_rad motor_torque_nm")
            np.savetxt(here / f"{prefix}{kind}.txt", rows, header=head, fmt="%.12e")
            print(name, kind, rows.shape, "peak", np.abs(rows[:, 1]).max())


if __name__ == "__main__":
    main()
