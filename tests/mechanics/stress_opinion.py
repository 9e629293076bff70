"""SciPy's opinion of our power law on drawn pressure curves: stress_opinion.py STRESS_STDIN.

A search over the exponent alone against Levenberg and Marquardt over all three (scipy.optimize.curve_fit); our standard
error is that of the linearised fit, widened by the residuals' correlation, so that it must never be under SciPy's."""
import subprocess
import sys

import numpy as np
from scipy.optimize import curve_fit

dice = np.random.default_rng(1)
faults = []
fitted = 0


def law(t, a, b, c):
    return a * t**b + c


for noise in (0.0, 0.05, 0.2):
    for index in (0.6, 0.7, 0.8, 1.0, 1.2, 1.3, 1.6):
        for span in (0.5, 0.8, 1.4):
            t = np.linspace(0.11, 0.1 + span, 24)
            p = law(t, 12 / span, index, 11) + noise * dice.standard_normal(len(t))
            theirs, cov = curve_fit(law, t, p, p0=(10, 1, 10), maxfev=20000)
            text = f"{len(t)}\n" + "\n".join(f"{x!r} {y!r}" for x, y in zip(t.tolist(), p.tolist()))
            out = subprocess.run([sys.argv[1]], input=text, capture_output=True, text=True, check=True).stdout.split()
            b, a, c, rmse, se = map(float, out[:5])
            if theirs[1] < 0.32 or theirs[1] > 2.48:
                continue
            fitted += 1
            left = float(np.sqrt(np.mean((p - law(t, *theirs))**2)))
            # Where the line is nearly straight a and c trade places: they are held to what the exponent leaves open.
            if abs(b - theirs[1]) > 1e-3 or abs(rmse - left) > 1e-4 + 1e-4 * left or abs(a - theirs[0]) > 0.02 * abs(theirs[0]) + 0.02:
                faults.append(f"b {index} span {span} noise {noise}: {b} {a} {c} rmse {rmse}, SciPy {theirs} rmse {left}")
            if noise and se < 0.999 * float(np.sqrt(cov[1, 1])):
                faults.append(f"b {index} span {span} noise {noise}: error {se}, SciPy {float(np.sqrt(cov[1, 1]))}")
for fault in faults:
    print("WRONG", fault)
print(f"stress index: {fitted} curves fitted, {len(faults)} differ")
sys.exit(1 if faults or fitted < 55 else 0)
