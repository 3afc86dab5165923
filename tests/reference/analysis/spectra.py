"""Spectra of a short record by scipy.signal, for the spectra's tests.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/spectra.py > analysis/tests/data/spectra.json
Hann, 50 % overlap, scaling "density", detrend "constant"; odd and even segments.
"""
import json
import numpy as np
from scipy import signal

rng = np.random.default_rng(7)
n, fs = 400, 250.0
x = rng.standard_normal(n) + 0.5
y = signal.lfilter([0.3, 0.2], [1, -0.6], x) + 0.2 * rng.standard_normal(n) + 0.01 * np.arange(n)
out = {"fs": fs, "x": x.tolist(), "y": y.tolist(), "cases": []}
for seg in (64, 45):
    kw = dict(fs=fs, window="hann", nperseg=seg, noverlap=seg // 2, detrend="constant", scaling="density")
    f, pxx = signal.welch(x, **kw)
    _, pxy = signal.csd(x, y, **kw)
    kw.pop("scaling")
    _, coh = signal.coherence(x, y, **kw)
    out["cases"].append(dict(segment=seg, f=f.tolist(), pxx=pxx.tolist(), re=pxy.real.tolist(), im=pxy.imag.tolist(),
                             coherence=coh.tolist()))
print(json.dumps(out))
