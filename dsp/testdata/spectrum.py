"""Makes spectrum.json: power spectral densities by SciPy, for spectrum_test.go.

Run: /usr/bin/python3 testdata/spectrum.py > testdata/spectrum.json  (Debian python3-scipy 1.10.1)
The signals are made from closed forms, the same in the test.
"""
import json
import numpy as np
from scipy import signal

cases = []
for rate, n in [(1000.0, 1000), (400.0, 1600), (60.0, 240)]:
    t = np.arange(n) / rate
    x = 9.8 + 0.3 * t + 1.5 * np.cos(2 * np.pi * 0.1013 * rate * t + 0.4) + 0.2 * np.cos(2 * np.pi * 0.2531 * rate * t)
    # Without its trend, as SciPy removes it, so that only the spectrum is compared.
    f, p = signal.welch(x, rate, window="hann", nperseg=n, detrend="linear", scaling="density")
    cases.append({"rate": rate, "n": n, "df": f[1], "density": p[:: max(1, len(p) // 40)].tolist(), "every": max(1, len(p) // 40)})
print(json.dumps(cases))
