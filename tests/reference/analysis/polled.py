"""Fundamental of a polled and slew-limited sine, by brute force: gain over sinc(f T) and delay beyond T/2.

A demand that every 1 ms goes to the value of a 1.4 N·m sine, followed at no more than 2 N·m/ms in steps of 1 us, over 2 s
(whole periods of every whole frequency), projected on exp(-i 2 pi f t). Run: /opt/pyref/bin/python polled.py
"""
import numpy as np

A, T, S, H, LENGTH = 1.4, 1e-3, 2000.0, 1e-6, 2.0
F = np.array([13.0, 51.0, 153.0, 241.0])


def main():
    """Prints a line a frequency."""
    n, per = round(LENGTH / H), round(T / H)
    y, target, total = np.zeros(F.size), np.zeros(F.size), np.zeros(F.size, complex)
    for i in range(n + n // 2):
        t = i * H
        if i % per == 0:
            target = A * np.sin(2 * np.pi * F * t)
        before, y = y, y + np.clip(target - y, -S * H, S * H)
        if i >= n // 2:
            total += 0.5 * (before + y) * np.exp(-2j * np.pi * F * (t + H / 2))
    g = total * H / LENGTH / (A / 2j)
    for f, gain, phase in zip(F, np.abs(g) / np.sinc(F * T), np.angle(g)):
        print(f"{f:5.0f} Hz  gain over sinc {gain:.6f}  extra delay {(-phase / (2 * np.pi * f) - T / 2) * 1e6:.2f} us")


if __name__ == "__main__":
    main()
