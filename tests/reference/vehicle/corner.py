"""The car of `Car::SALOON` on a smooth road into a corner past its limit, by scipy's DOP853 from the equations of motion.

Independent of the Rust integration and its step. Single track at a steady speed u (Pacejka, Tire and Vehicle Dynamics, ch. 1):

  m (v' + u r) = F_f cos d + F_r,   I r' = a F_f cos d - b F_r,   slip' = (u/L)(tan(alpha) - slip)
  brush tyre: x = |slip| C/(3 mu F_z), F = mu F_z (1 - (1-x)^3), M = mu F_z a_c (1-x)^3 x
  rim torque: -(F_f R tan(caster) + M cos sqrt(caster^2 + inclination^2) + F_z scrub sin(inclination) sin d)/ratio

Prints the rows that vehicle/tests/scipy.rs holds: time (s), rim torque (N m), rim angle (rad), front slip angle (rad).
Run: python tests/reference/vehicle/corner.py
"""

import numpy as np
import scipy
from scipy.integrate import solve_ivp

M, I, A, B = 1250.0, 1700.0, 1.15, 1.45
C_F, C_R, HALF, RELAX, MU = 130e3, 160e3, 0.065, 0.35, 1.0
RATIO, CASTER, INCLINE, SCRUB, RADIUS = 14.0, 0.04, 0.2, 0.015, 0.3
G, U, ARMS = 9.80665, 90 / 3.6, 0.1
F_ZF, F_ZR = M * G * B / (A + B), M * G * A / (A + B)


def ramp(t, a, b):
    """Half a cosine."""
    return 0.5 - 0.5 * np.cos(np.pi * np.clip((t - a) / (b - a), 0, 1))


def aim(t):
    """Rim angle that the driver is on the way to."""
    most, slides = MU * G, 3 * MU * F_ZF / C_F
    return -(ramp(t, 0.5, 3.5) - ramp(t, 5.0, 7.0)) * RATIO * ((A + B) * most / U ** 2 + 1.3 * slides)


def brush(slip, stiffness, most):
    """Side force and aligning torque."""
    x = min(abs(slip) * stiffness / (3 * most), 1.0)
    return np.sign(slip) * most * (1 - (1 - x) ** 3), np.sign(slip) * most * HALF * (1 - x) ** 3 * x


def rate(t, y):
    """Rates of side speed, yaw rate, both slips and the rim's angle."""
    v, r, front, rear, rim = y
    d = rim / RATIO
    f, _ = brush(front, C_F, MU * F_ZF)
    h, _ = brush(rear, C_R, MU * F_ZR)
    alpha_f, alpha_r = d - np.arctan2(v + A * r, U), -np.arctan2(v - B * r, U)
    f *= np.cos(d)
    return [(f + h) / M - U * r, (A * f - B * h) / I, U / RELAX * (np.tan(alpha_f) - front),
            U / RELAX * (np.tan(alpha_r) - rear), (aim(t) - rim) / ARMS]


def main():
    """Prints the rows."""
    times = np.arange(0, 33) * 0.25
    times = times[times <= 8.0]
    found = solve_ivp(rate, (0, 8), [0.0] * 5, method="DOP853", rtol=1e-10, atol=1e-12, max_step=0.01, t_eval=times)
    print("scipy", scipy.__version__)
    for t, y in zip(times, found.y.T):
        f, m = brush(y[2], C_F, MU * F_ZF)
        torque = -(f * RADIUS * np.tan(CASTER) + m * np.cos(np.hypot(CASTER, INCLINE))
                   + F_ZF * SCRUB * np.sin(INCLINE) * np.sin(y[4] / RATIO)) / RATIO
        print(f"    [{t:.2f}, {torque:.6f}, {y[4]:.6f}, {np.arctan(y[2]):.7f}],")


if __name__ == "__main__":
    main()
