"""Setpoints of 250 µs each, put together piece by piece."""

import numpy as np

import fast

PERIOD = fast.STRIDE * fast.H  # of setpoints, s
RAMP = 50.0  # N m/s


class Line:
    """Setpoints put together piece by piece, from a rest and the small torque that each procedure begins with."""

    def __init__(self, u):
        self.values, self.now = [], 0.0
        self.hold(0.5)
        self.ramp(0.05 * u.peak)
        self.hold(0.3)
        self.ramp(0.0)
        self.hold(0.4)

    def at(self):
        """Number of setpoints so far."""
        return len(self.values)

    def hold(self, seconds):
        """Stays."""
        self.values += [self.now] * int(round(seconds / PERIOD))

    def ramp(self, to):
        """Goes at the procedures' rate, exactly: ringing, and with it what friction keeps, depends on the rate by a third."""
        n = int(np.ceil(abs(to - self.now) / RAMP / PERIOD))
        self.values += list(self.now + np.sign(to - self.now) * RAMP * PERIOD * np.arange(n))
        self.now = to

    def jump(self, to):
        """Is there at once."""
        self.now = to

    def shape(self, function, seconds):
        """A function of the time since here, counted from the present torque."""
        self.values += list(self.now + function(np.arange(int(round(seconds / PERIOD))) * PERIOD))

    def play(self, values):
        """Setpoints as they are."""
        self.values += list(values)
        self.now = 0.0
