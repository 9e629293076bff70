"""The same lungs, integrated by SciPy from their equations alone: second_lung.py SIMULATOR.

Airway pressure is the ideal machine's square wave or constant, so nothing of the simulator's circuit enters. Flow must
agree within 0.003 L/s (0.001 are the file's digits) wherever it does not jump, volumes of breaths within 0.5 %."""
import csv
import math
import os
import subprocess
import sys
import tempfile

import numpy as np
from scipy import integrate, optimize

simulator = sys.argv[1]
faults, judged = [], 0
DEFAULTS = dict(c=50, ri=10, re=12, c2=0, ri2=30, re2=40, k1=0, k2=0, width=0, mid=15, relax_e=0, relax_s=1, efl_s=0,
                efl_ml=0, efl_power=1, efl_ref=500, airway=0)
KEYS = dict(c="c_ml_cmh2o", ri="ri_cmh2o_s_l", re="re_cmh2o_s_l", c2="c2_ml_cmh2o", ri2="ri2_cmh2o_s_l",
            re2="re2_cmh2o_s_l", k1="tube_k1", k2="tube_k2", width="curve_width_cmh2o", mid="curve_mid_cmh2o",
            relax_e="relax_e_cmh2o_l", relax_s="relax_s", efl_s="efl_s", efl_ml="efl_ml",
            efl_power="efl_power", efl_ref="efl_ref_ml", airway="airway_ml_cmh2o")


class Lung:
    def __init__(self, **given):
        self.__dict__.update(DEFAULTS, **given)
        self.parts = [(self.c / 1000, self.ri, self.re)]
        if self.c2:
            self.parts.append((self.c2 / 1000, self.ri2, self.re2))
        self.all = sum(c for c, _, _ in self.parts)

    def recoil(self, c, v):
        if not self.width:
            return v / c
        b = 4 * self.width * c
        a = -b / (1 + math.exp(self.mid / self.width))
        return self.mid - self.width * math.log(b / (v - a) - 1)

    def volume(self, c, p):
        if not self.width:
            return p * c
        b = 4 * self.width * c
        return b / (1 + math.exp(-(p - self.mid) / self.width)) - b / (1 + math.exp(self.mid / self.width))

    def flows(self, state, x, pull):
        """Flow into each part for a pressure before the parts."""
        out = []
        for (c, ri, re), v in zip(self.parts, state):
            d = x - self.recoil(c, v) + pull
            q = d / (ri if d > 0 else re)
            if self.efl_s:
                above = max(0.0, v - self.efl_ml / 1000 * c / self.all)
                rel = max(above / (self.efl_ref / 1000 * c / self.all), 1e-3)
                q = max(q, -above / self.efl_s * rel ** (self.efl_power - 1))
            out.append(q)
        return out

    def split(self, state, p, pull):
        relax = state[len(self.parts)]

        def missing(x):
            q = sum(self.flows(state, x, pull))
            return x + relax + self.k1 * q + self.k2 * q * abs(q) - p
        if not (self.k1 or self.k2):
            return self.flows(state, p - relax, pull)
        return self.flows(state, optimize.brentq(missing, -200, 200, xtol=1e-12), pull)

    def run(self, pieces, pull, p_start):
        """pieces: (from, to, airway pressure). Dense flow as a function of time."""
        state = np.array([self.volume(c, p_start) for c, _, _ in self.parts] + [0.0])
        times, flow = [], []

        def slope(t, y, p):
            q = self.split(y, p, pull(t))
            return q + [self.relax_e * sum(q) - y[-1] / self.relax_s]
        for start, end, p in pieces:
            grid = np.arange(start, end, 0.01)
            got = integrate.solve_ivp(slope, (start, end), state, "RK45", t_eval=grid, args=(p,), rtol=1e-7, atol=1e-10,
                                      max_step=0.02)
            times += list(grid)
            flow += [sum(self.split(got.y[:, k], p, pull(t))) for k, t in enumerate(grid)]
            last = integrate.solve_ivp(slope, (start, end), state, "RK45", args=(p,), rtol=1e-7, atol=1e-10, max_step=0.02)
            state = last.y[:, -1]
        return np.array(times), np.array(flow)


def recording(folder, lung, settings, seconds, acts=""):
    script = os.path.join(folder, "case.txt")
    keys = " ".join(f"{KEYS[k]}={getattr(lung, k)}" for k in KEYS)
    with open(script, "w", encoding="ascii") as f:
        f.write(f"ideal\nwarmup 0\nstep 0.0005\nrate 100\nseconds {seconds}\n0 set {settings} {keys}\n{acts}")
    stem = os.path.join(folder, "case")
    subprocess.run([simulator, "script", script, "-o", stem, "--csv"], check=True)
    with open(stem + ".csv", encoding="ascii") as f:
        rows = list(csv.DictReader(f))
    with open(stem + ".truth/breaths.csv", encoding="ascii") as f:
        breaths = list(csv.DictReader(f))
    assert len(breaths) >= 2 or "cpap" in settings
    return np.array([float(r["t_s"]) for r in rows]), np.array([float(r["flow_l_s"]) for r in rows]), breaths


def compare(name, ours, theirs, jumps):
    global judged
    t, q = ours
    their_q = np.interp(t, *theirs)
    clear = (t <= theirs[0][-1]) & np.all([np.abs(t - j) > 0.03 for j in jumps], axis=0)
    judged += int(clear.sum())
    worst = float(np.max(np.abs(q - their_q)[clear]))
    print(f"{name}: {clear.sum()} samples, worst difference of flow {worst:.5f} L/s")
    if worst > 0.003:
        faults.append(f"{name}: flow differs by {worst:.4f} L/s")


def least_squares(name, theirs, breath):
    """The truth's dynamic constants against numpy's fit of SciPy's own breath."""
    t, q = theirs
    t0, t1, t2 = (float(breath[k]) for k in ("t0_s", "t1_s", "t2_s"))
    inside = (t >= t0 - 1e-9) & (t < t2 - 1e-9)
    t, q = t[inside], q[inside]
    p = np.where(t < t1 - 1e-9, 20.0, 5.0)
    # No trapezoid across the jump of flow at t1.
    steps = 0.01 * np.where(np.arange(1, len(q)) == np.searchsorted(t, t1 - 1e-9), q[:-1], (q[1:] + q[:-1]) / 2)
    v = np.concatenate(([0.0], np.cumsum(steps)))
    fit = np.linalg.lstsq(np.column_stack((v, np.maximum(q, 0), np.minimum(q, 0), np.ones_like(q))), p, rcond=None)[0]
    for column, value in zip(("dyn_c_ml_cmh2o", "dyn_ri_cmh2o_s_l", "dyn_re_cmh2o_s_l"), (1000 / fit[0], fit[1], fit[2])):
        if not abs(float(breath[column]) - value) <= 0.02 * value:
            faults.append(f"{name}: {column} {breath[column]}, numpy {value:.3f}")


PRESSURE = "mode=pc dp_cmh2o=15 ti_s=1 rate_per_min=15 peep_cmh2o=5"
LUNGS = {
    "one part": dict(),
    "two parts": dict(c=30, re=10, c2=20, ri2=40, re2=60),
    "two parts behind a tube": dict(c=30, ri=8, re=10, c2=20, ri2=40, re2=60, k1=3, k2=8),
    "curved": dict(c=60, width=6, mid=14),
    "relaxing": dict(c=50, relax_e=8, relax_s=0.7),
    "limited behind a tube": dict(c=60, ri=12, re=12, efl_s=1.6, efl_ml=200, k1=3, k2=8),
    "limited by a cap": dict(c=60, ri=12, re=12, efl_s=1.8, efl_ml=250, efl_power=0.5, efl_ref=600),
    "limited, scooped": dict(c=60, ri=12, re=12, efl_s=1.8, efl_ml=250, efl_power=2, efl_ref=600),
    "all at once": dict(c=40, ri=8, re=10, c2=30, ri2=30, re2=45, k1=3, k2=8, width=8, mid=12, relax_e=5, relax_s=1.5,
                        efl_s=1.5, efl_ml=150),
}
with tempfile.TemporaryDirectory() as folder:
    for name, given in LUNGS.items():
        lung = Lung(**given)
        t, q, breaths = recording(folder, lung, PRESSURE, 14)
        pieces, jumps, at = [], [], 0.0
        for b in breaths[:2]:
            t0, t1, t2 = (float(b[k]) for k in ("t0_s", "t1_s", "t2_s"))
            pieces += [(at, t0, 5)] if t0 > at else []
            pieces += [(t0, t1, 20), (t1, t2, 5)]
            jumps += [t0, t1, t2]
            at = t2
        theirs = lung.run(pieces, lambda _: 0.0, 5)
        compare(name, (t, q), theirs, jumps)
        inside = (theirs[0] >= float(breaths[1]["t0_s"])) & (theirs[0] < float(breaths[1]["t1_s"]))
        vt = 1000 * integrate.trapezoid(np.append(theirs[1][inside], theirs[1][inside][-1]), dx=0.01)
        if abs(vt - float(breaths[1]["vti_t_ml"])) > 0.005 * vt:
            faults.append(f"{name}: {breaths[1]['vti_t_ml']} mL inspired, SciPy {vt:.2f}")
        if given.get("efl_s"):
            if not float(breaths[1]["efl_share"]) > 0.4 or breaths[1]["dyn_c_ml_cmh2o"]:
                faults.append(f"{name}: is limited, and no fit means anything")
        elif given:
            least_squares(name, theirs, breaths[1])
        elif breaths[1]["dyn_c_ml_cmh2o"]:
            faults.append(f"{name}: its constants stand in mechanics.csv")
    for name in ("two parts", "all at once"):
        lung = Lung(**LUNGS[name])
        t, q, _ = recording(folder, lung, "mode=cpap peep_cmh2o=5", 8, "2 effort form=halfsine peak=9 seconds=1.1\n")

        def pull(at):
            return 9 * math.sin(math.pi * (at - 2) / 1.1) if 2 < at < 3.1 else 0.0
        compare(name + ", an effort at CPAP", (t, q), lung.run([(0, 7.5, 5)], pull, 5), [2, 3.1])
if judged < 5000:
    faults.append(f"only {judged} samples could be judged")
for fault in faults:
    print(fault)
sys.exit(1 if faults else 0)
