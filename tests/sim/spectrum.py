"""Disturbances have the spectrum and the size that the trade describes, by SciPy: spectrum.py SIMULATOR.

Numbers: heart 0.8 to 2.5 Hz (infants to 3.5), flow 1 to 5 L/min and pressure 0.1 to 0.8 cmH2O peak to peak (common
practice, no source); secretions a sawtooth of 4 to 15 Hz, 2 to 10 L/min, mostly in the first half of expiration (Jubran,
Tobin, Crit Care Med 1994, from memory); condensate 2 to 8 Hz, irregular, 0.5 to 3 cmH2O, in both phases, more than flow
times the limb's resistance (common practice, no source). A disturbance is the difference between two runs of one passive
patient, with and without it."""
import csv
import os
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal

simulator = sys.argv[1]
faults = []
RATE = 100
folder = tempfile.TemporaryDirectory()


def run(settings, seconds=200, head=""):
    script, stem = os.path.join(folder.name, "case.txt"), os.path.join(folder.name, "case")
    with open(script, "w", encoding="ascii") as f:
        f.write(f"seed 5\nrate {RATE}\nseconds {seconds}\n{head}0 set {settings}\n")
    subprocess.run([simulator, "script", script, "-o", stem, "--csv"], check=True)
    columns = np.loadtxt(stem + ".csv", delimiter=",", skiprows=1)
    with open(stem + ".truth/breaths.csv", encoding="ascii") as f:
        return columns[:, 0], columns[:, 1], columns[:, 2], list(csv.DictReader(f))


def want(name, value, low, high):
    print(f"{name}: {value:.3f}")
    if not low <= value <= high:
        faults.append(f"{name}: {value:.4f}, wanted {low} to {high}")


def band(x, low, high):
    """Share of the power above 0.3 Hz that lies between low and high; frequency of the largest line."""
    f, power = signal.welch(x - np.mean(x), RATE, nperseg=1024)
    above = f > 0.3
    return power[(f >= low) & (f <= high)].sum() / power[above].sum(), f[above][np.argmax(power[above])]


def swing(x):
    """Peak to peak, in the mean of the larger pieces of a second."""
    pieces = x[:len(x) // RATE * RATE].reshape(-1, RATE)
    return float(np.percentile(np.ptp(pieces, axis=1), 75))


def phase_of(t, breaths):
    """0 before t1, else the share of expiration that is over; NaN outside whole breaths."""
    out = np.full_like(t, np.nan)
    for b in breaths:
        if b["t2_s"]:
            t0, t1, t2 = (float(b[k]) for k in ("t0_s", "t1_s", "t2_s"))
            out[(t >= t0) & (t < t1)] = 0
            late = (t >= t1) & (t < t2)
            out[late] = (t[late] - t1) / (t2 - t1) + 1e-9
    return out


def heart():
    for beats, per_min, size in (("adult", 78, 0.05), ("fast adult", 150, 0.03)):
        _, p, q, _ = run(f"mode=cpap heart_per_min={per_min} heart_l_s={size} heart_third=0.2")
        share, line = band(q, 0.7, 3.6 * per_min / 60)
        want(f"heart, {beats}: share of power from 0.7 Hz to the third harmonic", share, 0.9, 1)
        want(f"heart, {beats}: largest line, Hz", line, 0.9 * per_min / 60, 1.1 * per_min / 60)
        want(f"heart, {beats}: flow, L/min peak to peak", 60 * swing(q), 1, 5)
        want(f"heart, {beats}: pressure, cmH2O peak to peak", swing(p), 0.05, 0.8)
    _, _, q, _ = run("mode=cpap heart_per_min=190 heart_l_s=0.004 c_ml_cmh2o=4 ri_cmh2o_s_l=50 re_cmh2o_s_l=60 "
                     "circuit_ml_cmh2o=0.3", head="patient infant\n")
    want("heart, infant: largest line, Hz", band(q, 1, 2)[1], 2.9, 3.5)
    for name, breath in (("steady", 0), ("damped by a full lung", 0.8)):
        keys = "mode=vc vt_ml=500 tif_s=1 pause_s=2 rate_per_min=10 trigger=none"
        t, p, _, breaths = run(f"{keys} heart_per_min=90 heart_l_s=0.06 heart_breath={breath}")
        still = run(keys)[1]
        at = phase_of(t, breaths)
        # In the pause the valves are shut: the beat's whole pressure shows.
        starts = [float(b["t0_s"]) for b in breaths if b["t2_s"] and float(b["t0_s"]) >= 0]
        pause = np.any([(t > s + 1.3) & (t < s + 2.9) for s in starts], axis=0) & (at == 0)
        sizes[name] = float(np.std((p - still)[pause]))
    want("heart: ripple of a full lung over that of an undamped one", sizes["damped by a full lung"] / sizes["steady"],
         0.15, 0.35)


sizes = {}


def secretions():
    keys = "mode=vc vt_ml=450 rate_per_min=15 trigger=none re_cmh2o_s_l=14"
    t, _, still, breaths = run(keys)
    at = phase_of(t, breaths)
    for hz in (5, 8, 13):
        d = run(f"{keys} secretions=0.12 secretions_hz={hz}")[2] - still
        # The mean course is not part of the trembling.
        high = signal.sosfiltfilt(signal.butter(4, 3, "high", fs=RATE, output="sos"), d)
        share, line = band(high, 4, 15)
        want(f"secretions at {hz} Hz: largest line, Hz", line, hz - 0.2, hz + 0.2)
        want(f"secretions at {hz} Hz: share of power from 4 to 15 Hz", share, 0.5, 1)
        early = high[(at > 0) & (at <= 0.5)]
        want(f"secretions at {hz} Hz: L/min peak to peak in early expiration", 60 * swing(early), 2, 10)
        want(f"secretions at {hz} Hz: share of energy in the first half of expiration",
             np.sum(early ** 2) / np.nansum(high[~np.isnan(at)] ** 2), 0.7, 1)


def condensate():
    keys = "mode=pc dp_cmh2o=14 rate_per_min=15 trigger=none valve_r=2.5 servo_r=1.5"
    t, p, q, breaths = run(keys)
    at = phase_of(t, breaths)
    _, wet_p, wet_q, _ = run(keys + " condensate_cmh2o=2.5")
    dp, dq = wet_p - p, wet_q - q
    share, _ = band(dp, 2, 8)
    want("condensate: share of power from 2 to 8 Hz", share, 0.85, 1)
    f, power = signal.welch(dp, RATE, nperseg=1024)
    want("condensate: share of its largest line (irregular)", float(power.max() / power.sum()), 0, 0.15)
    want("condensate: cmH2O peak to peak", swing(dp), 0.5, 3)
    inspired, expired = np.std(dp[at == 0]), np.std(dp[at > 0])
    want("condensate: inspiration over expiration", inspired / expired, 0.5, 2)
    for name, part in (("inspiration", at == 0), ("expiration", at > 0)):
        want(f"condensate: pressure over flow in {name}, in limb resistances", float(np.std(dp[part]) / np.std(dq[part])) / 2.5,
             2, 20)


def noises():
    _, p, q, _ = run("mode=cpap noise_p=0.2 noise_q=0.01", 400)
    want("white noise: share of power from 10 to 30 Hz", band(p, 10, 30)[0], 0.37, 0.44)
    _, p, q, _ = run("mode=cpap slow_noise_p=0.2 slow_noise_q=0.01 slow_noise_s=0.2", 1000)
    want("slow noise of pressure: sd", float(np.std(p)), 0.19, 0.21)
    want("slow noise of flow: sd", float(np.std(q)), 0.0094, 0.0106)
    d = q - np.mean(q)
    want("slow noise: autocorrelation after one time constant (1/e)", float(np.mean(d[20:] * d[:-20]) / np.var(d)), 0.3, 0.43)


heart()
secretions()
condensate()
noises()
folder.cleanup()
for fault in faults:
    print("FAULT", fault)
sys.exit(1 if faults else 0)
