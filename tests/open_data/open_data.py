"""Real breathing of healthy adults, openly published: open_data.py TIDEMARK SET [FOLDER].

SET is obstructive, raw or apnoea. FOLDER (or, first, the environment's TIDEMARK_OPEN_DATA) holds obstructive/ and
apnoea/ as published; without it the test is skipped (77). The recordings are not ours and are not kept here:

  obstructive, raw   Clifton, Guy, Calje-van der Klei, Knopp, Chase (2023), Simulated Obstructive Disease Respiratory
                     Pressure and Flow, version 1.0.0, PhysioNet, doi 10.13026/xczc-3662, CC BY 4.0
  apnoea             Hill, Guy, Clifton, Pretty, Chase (2026), Respiratory and Pulse Oximetry Waveforms from Healthy
                     Adults During Simulated Apnoea Events, version 1.0.0, PhysioNet, doi 10.13026/s45r-k263, CC BY 4.0
"""
import csv
import os
import subprocess
import sys
import tempfile

SKIP = 77
DOI = {"obstructive": "10.13026/xczc-3662", "raw": "10.13026/xczc-3662", "apnoea": "10.13026/s45r-k263"}
PLACE = {"obstructive": "obstructive/processed", "raw": "obstructive/raw", "apnoea": "apnoea"}
WITHIN_S = 0.3  # agreement of onsets that is fair for processing results: common practice, no source
MECHANICS = ["cdyn_ml_cmh2o", "cstat_ml_cmh2o", "fit_crs_ml_cmh2o", "fit_r_cmh2o_s_l", "fit_re_cmh2o_s_l", "fit_p0_cmh2o",
             "total_peep_cmh2o", "autopeep_cmh2o", "autopeep_flow_cmh2o", "autopeep_fit_cmh2o", "driving_cmh2o",
             "rc_exp_s", "trapped_ml"]
VOLUMES = ["vti_ml", "vte_ml", "vt_ml_kg", "leak_pct", "ve_l_min", "peak_insp_flow_l_s", "peak_exp_flow_l_s",
           "end_exp_flow_l_s", "cdyn_ml_cmh2o", "cstat_ml_cmh2o"]
faults = []


def need(truth, text):
    if not truth:
        faults.append(text)


def run(tidemark, path, *options):
    """The breaths, the exit status, and what was said."""
    with tempfile.TemporaryDirectory() as out:
        tables = os.path.join(out, "tables")
        done = subprocess.run([tidemark, "breaths", path, "-o", tables, *options], capture_output=True, text=True,
                              check=False, timeout=120)
        if done.returncode not in (0, 1):
            sys.exit(f"{path}: exit {done.returncode}: {done.stderr}")
        with open(os.path.join(tables, "breaths.csv"), newline="", encoding="utf-8") as f:
            rows = list(csv.DictReader(f))
        with open(os.path.join(tables, "events.csv"), newline="", encoding="utf-8") as f:
            events = list(csv.DictReader(f))
    return rows, events, done.returncode, done.stderr


def why(row, column):
    for part in row["why_empty"].split(";"):
        code, _, columns = part.partition(":")
        if column in columns.split(","):
            return code
    return ""


def match(published, found):
    """One to one, nearest pairs first: (pairs of (index published, index found), found without partner)."""
    pairs, used_p, used_f = [], set(), set()
    order = sorted((abs(p - f), i, k) for i, p in enumerate(published) for k, f in enumerate(found))
    for distance, i, k in order:
        if distance <= WITHIN_S and i not in used_p and k not in used_f:
            pairs.append((i, k))
            used_p.add(i)
            used_f.add(k)
    return pairs, [k for k in range(len(found)) if k not in used_f]


def load(path):
    with open(path, newline="", encoding="utf-8") as f:
        rows = list(csv.reader(f))[1:]
    columns = [[float(r[i]) for r in rows] for i in range(4)]
    onsets = [int(float(r[4])) - 1 for r in rows if r[4] and float(r[4]) > 0]
    return columns, onsets


def integral(t, q):
    """Running trapezoid in mL: the second opinion."""
    total = [0.0]
    for k in range(1, len(t)):
        total.append(total[-1] + 500.0 * (q[k] + q[k - 1]) * (t[k] - t[k - 1]))
    return total


def at(t, values, when):
    step = (t[-1] - t[0]) / (len(t) - 1)
    k = min(max(int((when - t[0]) / step), 0), len(t) - 2)
    share = (when - t[k]) / (t[k + 1] - t[k])
    return values[k] + share * (values[k + 1] - values[k])


def obstructive(tidemark, path, name):
    (t, _, q, v_tidal), onsets = load(path)
    rows, _, _, said = run(tidemark, path)
    starts = [float(r["start_s"]) for r in rows]
    pairs, extra = match([t[i] for i in onsets], starts)
    missed = [t[i] for k, i in enumerate(onsets) if k not in {p for p, _ in pairs}]
    # The breath under way when the recording begins is not listed by the publisher; nor is a last, cut one.
    extra = [k for k in extra if starts[k] > WITHIN_S and not (starts[k] > t[onsets[-1]] and not rows[k]["te_s"])]
    need(not missed, f"{name}: published onsets not found: {missed}; found {starts}; said: {said}")
    need(len(extra) <= 1, f"{name}: extra breaths at {[starts[k] for k in extra]}")
    total = integral(t, q)
    compared = 0
    for i, k in pairs:
        row, first = rows[k], onsets[i]
        for column in MECHANICS:
            need(not row[column], f"{name}: breath at {starts[k]} s: {column} {row[column]} of a person who breathes")
        need(why(row, "fit_crs_ml_cmh2o"), f"{name}: breath at {starts[k]} s: no reason for the empty compliance")
        last = onsets[i + 1] if i + 1 < len(onsets) else len(t)
        if not row["vti_ml"] or last == len(t):
            continue
        vti, t0, t1 = float(row["vti_ml"]), starts[k], starts[k] + float(row["ti_s"])
        ours = at(t, total, t1) - at(t, total, t0)
        # Flow here comes in coarse levels: where it jumps between two samples nobody knows its course.
        need(abs(vti - ours) <= 3.0, f"{name}: breath at {t0} s: vti_ml {vti}, trapezoid between its own times {ours:.1f}")
        # The publisher starts at the index, we where flow turned inward: that stretch is taken off before comparing.
        peak = 1000.0 * max(v_tidal[first:last]) + total[first] - at(t, total, t0)
        need(abs(vti - peak) <= max(5.0, 0.01 * peak),
             f"{name}: breath at {t0} s: vti_ml {vti}, the publisher's own volume {peak:.1f}")
        compared += 1
    need(compared >= len(onsets) - 1, f"{name}: only {compared} volumes of {len(onsets) - 1} could be compared")
    print(f"{name}: {len(onsets)} onsets published, {len(pairs)} found, {len(extra)} extra, {compared} volumes compared")


def raw(tidemark, path, name):
    """Jittering stamps, then padding in which time falls from data row 3362 (line 3363) on."""
    rows, _, status, said = run(tidemark, path, "--columns", "time=1,pressure=2,flow_in=3,flow_out=4",
                                "--flow-unit", "uncalibrated")
    need(status == 1, f"{name}: exit {status}, where time falls it is 1")
    need("3363" in said, f"{name}: the line where time falls (3363) is not named: {said}")
    need(rows and all(float(r["start_s"]) < 33.55 for r in rows), f"{name}: breaths out of the padding, or none at all")
    # The onsets of the same trial as published in its processed form, read there: 4.00 11.59 18.91 25.32 32.72 s.
    pairs, extra = match([4.00, 11.59, 18.91, 25.32], [float(r["start_s"]) for r in rows])
    need(len(pairs) == 4, f"{name}: of the trial's four whole breaths {len(pairs)} found, at "
                          f"{[r['start_s'] for r in rows]}")
    for row in rows:
        for column in VOLUMES + MECHANICS:
            need(not row[column], f"{name}: {column} {row[column]} from a flow without calibration")
    print(f"{name}: {len(rows)} breaths, {len(extra)} besides the four whole ones; said: {said.strip()[:300]}")


# Read by eye, within 0.3 s, not published: inspirations begun before the hold (and of them perhaps one under way
# at the start), the last one's end, the next one's begin, inspirations after the hold.
APNOEA = {
    "Subject1_4cmH2O_apnea1.csv": (3, 0, 12.4, 26.5, 11),
    "Subject2_8cmH2O_apnea1.csv": (3, 1, 11.2, 25.6, 8),
}
BEGUN = {"Subject13_4cmH2O_normal.csv": 17}


def apnoea(tidemark, path, name):
    rows, _, status, said = run(tidemark, path, "--columns", "time=1,pressure=2,flow=3", "--flow-unit", "uncalibrated")
    need(status == 1 and said, f"{name}: exit {status}; the padding in which time falls is to be told")
    starts = [float(r["start_s"]) for r in rows]
    for row in rows:
        for column in VOLUMES:
            need(not row[column], f"{name}: {column} {row[column]} from a flow without calibration")
            need(why(row, column) in ("no_calib", "not_built"), f"{name}: {column} empty with '{why(row, column)}'")
    if name in APNOEA:
        before, under_way, ends, begins, after = APNOEA[name]
        early = [k for k, s in enumerate(starts) if s < ends]
        late = [k for k, s in enumerate(starts) if s > begins - WITHIN_S]
        need(len(early) + len(late) == len(rows), f"{name}: a breath inside the hold: {starts}")
        need(before - under_way <= len(early) <= before, f"{name}: {len(early)} inspirations before the hold, read {before}")
        if rows and not rows[-1]["te_s"]:
            late = late[:-1] if len(late) == after + 1 else late  # one that the recording's end cuts was not read
        need(len(late) == after, f"{name}: {len(late)} inspirations after the hold, read {after}: {starts}")
        if early and late:
            end = starts[early[-1]] + float(rows[early[-1]]["ti_s"] or "nan")
            need(abs(end - ends) <= WITHIN_S, f"{name}: the last inspiration before the hold ends at {end}, read {ends}")
            need(abs(starts[late[0]] - begins) <= WITHIN_S, f"{name}: the next begins at {starts[late[0]]}, read {begins}")
    elif name in BEGUN:
        need(len(rows) == BEGUN[name], f"{name}: {len(rows)} inspirations, read {BEGUN[name]}: {starts}")
    print(f"{name}: {len(rows)} inspirations, exit {status}")


def main():
    tidemark, kind = sys.argv[1:3]
    folder = os.environ.get("TIDEMARK_OPEN_DATA") or (sys.argv[3] if len(sys.argv) > 3 else "")
    place = os.path.join(folder, PLACE[kind])
    if not folder or not os.path.isdir(place):
        print(f"skipped: set TIDEMARK_OPEN_DATA to a folder that holds {PLACE[kind]}/ of doi {DOI[kind]} (CC BY 4.0)")
        sys.exit(SKIP)
    names = sorted(n for n in os.listdir(place) if n.endswith(".csv"))
    need(names, f"{place}: no recordings")
    for name in names:
        {"obstructive": obstructive, "raw": raw, "apnoea": apnoea}[kind](tidemark, os.path.join(place, name), name)
    for fault in faults:
        print("WRONG", fault)
    sys.exit(1 if faults else 0)


main()
