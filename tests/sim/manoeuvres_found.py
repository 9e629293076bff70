"""Scripted recordings of the simulator, and what the program has to find in them: manoeuvres_found.py SIM TIDEMARK.

What is easily missed: holds against strong pulls, in leaks and in small clocked lungs; silences, openings and suction in
a patient who makes no breath. An event is found that starts within 1 s and overlaps by half; none of a kind named here
may be said where there is none. The truth is the simulator's; silences are what is left between its events."""

import csv
import os
import subprocess
import sys
import tempfile

HOLDS = ("insp_hold", "exp_hold")
OPEN = ("suction", "disconnection")
NOISE = "noise_p=0.05 noise_q=0.003"

CASES = {
    # efforts that pull pressure under the plateau while gas still flows in
    "pulled": (HOLDS, f"""seed 5
rate 100
seconds 330
0 set mode=vc vt_ml=370 tif_s=0.9 drive_per_min=17 rate_per_min=10 pmus_cmh2o=13 effort_rise_s=1.2 peep_cmh2o=9 {NOISE}
0 set c_ml_cmh2o=45 ri_cmh2o_s_l=8 re_cmh2o_s_l=9
80 insp_hold seconds=3
150 insp_hold seconds=2.5
220 insp_hold seconds=4
"""),
    # a hold in which pressure sinks, by a clock
    "leaking": (HOLDS, f"""seed 6
rate 100
seconds 330
0 set mode=pc dp_cmh2o=13 rate_per_min=17.3 peep_cmh2o=7 leak_k=0.03 c_ml_cmh2o=60 ri_cmh2o_s_l=6 re_cmh2o_s_l=7
0 set noise_p=0.15 noise_q=0.008
80 exp_hold seconds=5.5
150 exp_hold seconds=3
220 insp_hold seconds=3
270 exp_hold seconds=4.8
"""),
    # nothing shows but an inflation that doesn't come
    "infant": (HOLDS, """seed 7
rate 50
seconds 330
patient infant
0 set mode=pc ti_s=0.4 dp_cmh2o=8 rate_per_min=52.7 peep_cmh2o=5 c_ml_cmh2o=3 ri_cmh2o_s_l=50 re_cmh2o_s_l=60
0 set trig_flow_l_s=0.006 bias_l_s=0.02 circuit_ml_cmh2o=0.4 noise_p=0.1 noise_q=0.001
80 exp_hold seconds=3.7
150 exp_hold seconds=5
220 exp_hold seconds=3
"""),
    # nobody breathes: a beating heart and a leak
    "silent": (OPEN + ("apnoea",) + HOLDS, """seed 8
rate 125/2
seconds 700
0 set mode=cpap trigger=none peep_cmh2o=8 drive_per_min=0 leak_k=0.01 heart_l_s=0.04 heart_per_min=74
0 set noise_p=0.15 noise_q=0.008 c_ml_cmh2o=50 ri_cmh2o_s_l=9 re_cmh2o_s_l=10
60 disconnect form=a seconds=12
170 suction form=closed seconds=9 flow=0.2
280 disconnect form=b seconds=20
400 suction form=closed seconds=12 flow=0.4
520 suction form=open seconds=8
"""),
}


def table(path):
    with open(path, encoding="utf-8", newline="") as f:
        return [(r["event"], float(r["start_s"]), float(r["end_s"])) for r in csv.DictReader(f)]


def silences(events, seconds):
    """What is left between openings and suction, 20 s and more."""
    at, out = 0.0, []
    for _, a, z in sorted((e for e in events if e[0] in OPEN), key=lambda e: e[1]) + [("end", seconds, seconds)]:
        if a - at >= 20:
            out.append(("apnoea", at, a))
        at = max(at, z)
    return out


def alike(t, f):
    return t[0] == f[0] or (t[0] in OPEN and f[0] in OPEN)


def check(name, kinds, script, sim, tidemark, folder):
    base = os.path.join(folder, name)
    with open(base + ".txt", "w", encoding="utf-8") as f:
        f.write(script)
    subprocess.run([sim, "script", base + ".txt", "-o", base], check=True, stdout=subprocess.DEVNULL)
    subprocess.run([tidemark, "breaths", base + ".log.gz", "-o", base + ".tables"], check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    truth = [e for e in table(base + ".truth/events.csv") if e[0] in kinds and e[0] != "apnoea"]
    if "apnoea" in kinds:
        truth += silences(truth, 700)
    found = [e for e in table(base + ".tables/events.csv") if e[0] in kinds]
    bad = 0
    for t in truth:
        if not any(alike(t, f) and abs(f[1] - t[1]) <= 1 and min(f[2], t[2]) - max(f[1], t[1]) >= 0.5 * (t[2] - t[1])
                   for f in found):
            print(f"{name}: {t} not found in {found}")
            bad += 1
    for f in found:
        if not any(alike(t, f) and t[1] < f[2] + 1 and t[2] > f[1] - 1 for t in truth):
            print(f"{name}: {f} said where none is")
            bad += 1
    return bad + (not truth)


def main():
    sim, tidemark = sys.argv[1:3]
    with tempfile.TemporaryDirectory() as folder:
        sys.exit(sum(check(n, k, s, sim, tidemark, folder) for n, (k, s) in CASES.items()) > 0)


if __name__ == "__main__":
    main()
