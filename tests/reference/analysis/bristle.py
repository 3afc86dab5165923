"""Fundamental of Dahl friction over a sinusoidal displacement of amplitude X (in Fc/sigma), in units of sigma.

dF/dtheta integrated by scipy over four periods, the last one projected. Run: /opt/pyref/bin/python bristle.py
"""
import numpy as np
from scipy.integrate import quad, solve_ivp


def main():
    """Prints a line an amplitude."""
    for x in (0.1, 1.0, 3.0, 12.0):
        rate = lambda t, f: x * np.cos(t) - abs(x * np.cos(t)) * f
        periods = 4 + int(8 / x)
        run = solve_ivp(rate, (0, 2 * np.pi * periods), [0.0], rtol=1e-11, atol=1e-13, max_step=0.02, dense_output=True)
        start = 2 * np.pi * (periods - 1)
        part = lambda w: quad(lambda t: run.sol(start + t)[0] * w(t), 0, 2 * np.pi, limit=400, points=[np.pi / 2, 1.5 * np.pi],
                              epsabs=1e-10)[0] / np.pi / x
        print(f"({x}, {part(np.sin):.7f}, {part(np.cos):.7f}),")


if __name__ == "__main__":
    main()
