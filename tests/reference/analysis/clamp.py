"""Torque through a clamped two-mass drive, on a rig that gives way and on one that does not, by python-control 0.10.

States: rotor angle and speed, hub angle and speed; input: motor torque; outputs: torque in the rig's spring and damper.
The ideal clamp has one mass and the drive's spring as output. Prints Rust lines: frequency, rig (re, im), ideal (re, im).
Then 95 % of the magnitude of ideal over rig at 40 Hz with each figure drawn from its normal distribution, 200,000 draws.

Run: /opt/pyref/bin/python tests/reference/analysis/clamp.py
"""
import control
import numpy as np

JM, JH, K, C, KR, CR, B = 2.0e-3, 1.0e-3, 900.0, 0.40, 3333.0, 0.2, 0.012


def main():
    """Prints."""
    a = np.array([[0, 1, 0, 0], [-K / JM, -(C + B) / JM, K / JM, C / JM], [0, 0, 0, 1],
                  [K / JH, C / JH, -(K + KR) / JH, -(C + CR) / JH]])
    rig = control.ss(a, [[0], [1 / JM], [0], [0]], [[0, 0, KR, CR]], [[0]])
    ideal = control.ss([[0, 1], [-K / JM, -(C + B) / JM]], [[0], [1 / JM]], [[K, C]], [[0]])
    for f in (5.0, 40.0, 92.0, 110.0, 250.0, 400.0):
        r, i = complex(rig(2j * np.pi * f)), complex(ideal(2j * np.pi * f))
        print(f"({f}, {r.real:.9f}, {r.imag:.9f}, {i.real:.9f}, {i.imag:.9f}),")
    rng = np.random.default_rng(3)
    n = 200_000
    kr, jh, k, jm = (v * (1 + u * rng.standard_normal(n)) for v, u in ((KR, 0.05), (JH, 0.1), (K, 0.05), (JM, 0.03)))
    s = 2j * np.pi * 40
    drive, spring = k + C * s, kr + CR * s
    measured = drive * spring / ((jm * s * s + B * s + drive) * (jh * s * s + drive + spring) - drive**2)
    ratio = drive / (jm * s * s + B * s + drive) / measured
    print(f"at 40 Hz: sd of real {ratio.real.std():.6f} and imaginary {ratio.imag.std():.6f} part, mean {ratio.mean():.6f}")


if __name__ == "__main__":
    main()
