"""SciPy's opinion of our integrals and least squares on simulated breaths:
second_opinion.py TIDEMARK SIMULATOR LSQ_STDIN.

Integrals: the trapezoid from the times that the table gives, over the samples of the recording. Least squares: the
equation of motion of each passive breath, by our QR and by SciPy's."""
import csv
import os
import subprocess
import sys
import tempfile

import numpy as np
from scipy import integrate, linalg

from sim import simulate

tidemark, simulator, lsq = sys.argv[1:4]
faults = []


def near(name, ours, theirs, absolute, relative=0.0):
    if not abs(ours - theirs) <= absolute + relative * abs(theirs):
        faults.append(f"{name}: {ours}, SciPy {theirs}")


def between(t, values, start, end):
    """Samples from start to end, with the ends interpolated."""
    inside = (t > start) & (t < end)
    times = np.concatenate(([start], t[inside], [end]))
    return times, np.concatenate(([np.interp(start, t, values)], values[inside], [np.interp(end, t, values)]))


def integrals(row, t, p, q):
    start = float(row["start_s"])
    turn, end = start + float(row["ti_s"]), start + float(row["ttot_s"])
    # Times are printed to the millisecond, and where flow jumps within one step nobody knows its course; flow lags
    # pressure, by which the start is found, by up to 20 ms.
    step = np.median(np.diff(t))
    jump = max(float(np.abs(np.diff(between(t, q, at - 2 * step, at + 2 * step + 0.02)[1])).max()) for at in (start, turn, end))
    edge_ml = 1000 * jump * step + 1.0
    # Volume is counted to where flow turns, just after the expiratory side opens, and back to where it turns again: at
    # a turn the running integral has its extreme.
    times, flow = between(t, q, start, end)
    volume = 1000 * np.concatenate(([0.0], integrate.cumulative_trapezoid(flow, times)))
    top = volume[(times > turn - 2 * step) & (times < turn + 0.12)].max()
    if row["vti_ml"]:
        near(f"breath at {start}: vti_ml", float(row["vti_ml"]), top, edge_ml, 0.002)
    if row["vte_ml"]:
        near(f"breath at {start}: vte_ml", float(row["vte_ml"]), top - volume[times > max(turn, end - 0.75)].min(), edge_ml, 0.01)
    if row["pmean_cmh2o"]:
        mean = integrate.trapezoid(*between(t, p, start, end)[::-1]) / (end - start)
        near(f"breath at {start}: pmean_cmh2o", float(row["pmean_cmh2o"]), mean, 0.06)
    return 1


def least_squares(row, t, p, q):
    start = float(row["start_s"])
    times, flow = between(t, q, start, start + float(row["ttot_s"]))
    pressure = np.interp(times, t, p)
    volume = np.concatenate(([0.0], integrate.cumulative_trapezoid(flow, times)))
    a = np.column_stack((volume, flow, np.ones_like(flow)))
    x, residues, _, _ = linalg.lstsq(a, pressure)
    text = f"{len(times)} 3\n" + "\n".join(" ".join(repr(float(v)) for v in r) for r in np.column_stack((a, pressure)))
    out = subprocess.run([lsq], input=text, capture_output=True, text=True, check=True).stdout.split()
    for name, ours, theirs in zip("E R P0".split(), map(float, out[0:6:2]), x):
        near(f"breath at {start}: {name}", ours, theirs, 0, 1e-9)
    near(f"breath at {start}: residual", float(out[6]), float(residues), 0, 1e-9)
    scaled = a / np.linalg.norm(a, axis=0)
    near(f"breath at {start}: condition", float(out[7]), np.linalg.cond(scaled), 0, 1e-6)
    return 1


def coughed(text):
    """When a passive patient coughs: flow turns many times, and where one breath ends is a matter of taste."""
    with open(text.removesuffix(".csv") + ".truth/events.csv", newline="", encoding="utf-8") as f:
        return [(float(r["start_s"]), float(r["end_s"])) for r in csv.DictReader(f) if r["event"] == "cough"]


def main():
    counted = [0, 0]
    with tempfile.TemporaryDirectory() as scratch:
        for seed in (16, 18, 32, 34):  # passive (by number modulo 16): an effort before t2 draws gas that vte_ml leaves out
            _, text = simulate(simulator, scratch, seed, 3)
            t, p, q = np.loadtxt(text, delimiter=",", skiprows=1, usecols=(0, 1, 2)).T
            out = os.path.join(scratch, f"tables{seed}")
            subprocess.run([tidemark, "breaths", text, "-o", out], check=True, capture_output=True)
            with open(os.path.join(out, "breaths.csv"), newline="", encoding="utf-8") as f:
                rows = [r for r in csv.DictReader(f) if r["ttot_s"] and float(r["start_s"]) > 1]
            coughs = coughed(text)
            rows = [r for r in rows if not any(float(r["start_s"]) < end and float(r["start_s"]) + float(r["ttot_s"]) > start
                                               for start, end in coughs)]
            for row in rows[:-1]:
                counted[0] += integrals(row, t, p, q)
                counted[1] += least_squares(row, t, p, q)
    for fault in faults:
        print("WRONG", fault)
    print(f"second opinion: {counted[0]} breaths integrated, {counted[1]} fitted, {len(faults)} differ")
    sys.exit(1 if faults or counted[0] < 60 or counted[1] < 40 else 0)


main()
