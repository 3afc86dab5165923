"""Rises of two other wheelbases, linear, by exact state-space stepping.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/rise_other.py > analysis/tests/data/rise/other.csv

"single": one inertia on the rig's spring, 60 Hz, damping ratio 0.05, slew 2 N.m/ms, current loop 500 Hz, no hub at all.
"direct": rotor 3.5e-3, hub 8e-4 kg.m2, shaft 6000 N.m/rad and 0.90 N.m.s/rad, rig 1e4 N.m/rad, rotor 0.015 N.m.s/rad,
slew 10 N.m/ms, current loop 1200 Hz.  Both through the 1000 Hz second-order Butterworth amplifier.
"""
import numpy as np
from scipy import signal

t = np.arange(0, 0.0701, 50e-6)
w = 2 * np.pi * 1000
amp = np.array([w * w]), np.array([1, np.sqrt(2) * w, w * w])


def rise(amplitude, slew, loop, num, den):
    n, d = np.polymul(num, amp[0]), np.polymul(np.polymul(den, amp[1]), [1 / (2 * np.pi * loop), 1])
    # A ramp is a step through 1/s; the limited ramp is the difference of two.
    _, r = signal.step((n, np.polymul(d, [1, 0])), T=np.linspace(0, t[-1], 2 * (len(t) - 1) + 1))
    fine = np.linspace(0, t[-1], len(r))
    late = np.interp(t - amplitude / slew, fine, r, left=0.0)
    return slew * (r[::2] - late)


w1 = 2 * np.pi * 60
single = rise(1.75, 2000.0, 500.0, [w1 * w1], [1, 2 * 0.05 * w1, w1 * w1])
jm, jh, k, c, kr, visc = 3.5e-3, 8e-4, 6000.0, 0.90, 1e4, 0.015
den = np.polysub(np.polymul([jm, c + visc, k], [jh, c, k + kr]), np.polymul([c, k], [c, k]))
direct = rise(4.0, 10000.0, 1200.0, np.polymul([c, k], [kr]), den)
print("t_s,single_1.75,direct_4")
for row in zip(t, single, direct):
    print(f"{row[0]:.6f},{row[1]:.7f},{row[2]:.7f}")
